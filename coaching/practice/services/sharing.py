"""One film for the steps of several drills: joined while nobody has filmed it, parted again."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import QuerySet
from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from analysis.core.measures import measures_of
from coaching.intake.models import Request, RequestedAngle
from coaching.intake.services import asking
from coaching.practice.models import Assignment, Attempt, Criterion, Step
from coaching.practice.queries.ladders import angle_of

# A film of somebody who moves begins with how they stand.
_HOLDS_THE_STANCE = ("rehearsal", "hold", "swing")


def join_film(*, step: Step, due_on: date | None) -> Attempt | None:
    """An attempt at a step on a film that another drill asks for; None when none fits.

    The film is one that nobody has sent yet, of the same side, kind, speed, ball and club.
    How somebody stands is seen in a slow swing as well.
    """
    open_now = Attempt.objects.filter(
        step__assignment__student=step.assignment.student_id,
        step__assignment__closed_at=None,
        verdict=None,
        angle__submissions=None,
        angle__request__closed_at=None,
        angle__request__suspended_at=None,
    )
    rows = open_now.exclude(step__assignment=step.assignment_id).select_related("angle", "step")
    for attempt in rows.order_by("-pk"):
        sharers = [a.step for a in Attempt.objects.filter(angle=attempt.angle_id)]
        film = _film_of([*sharers, step])
        if film is not None:
            return _join(attempt.angle, step, film=film, due_on=due_on)
    return None


def _film_of(steps: list[Step]) -> dict[str, Any] | None:
    """The film in which all of `steps` can be judged; None when there is none."""
    most = max(steps, key=lambda s: s.film_kind != "setup")
    film = angle_of(most)
    if not all(_fits(step, film) for step in steps):
        return None
    return film | {"repetitions": max(step.repetitions for step in steps)}


def _fits(step: Step, film: dict[str, Any]) -> bool:
    own = angle_of(step)
    if all(own[name] == film[name] for name in own if name != "repetitions"):
        return True
    if step.film_kind != "setup" or film["kind"] not in _HOLDS_THE_STANCE:
        return False
    if (step.view, step.club) != (film["view"], film["club"]) or step.ball != film["ball"]:
        return False
    read = {(m.id, m.event) for m in measures_of(film["view"], film["kind"])}
    asked = step.criteria.exclude(comparison__in=Criterion.BY_EYE)
    return all(key in read for key in asked.values_list("measure", "event"))


def _join(
    angle: RequestedAngle, step: Step, *, film: dict[str, Any], due_on: date | None
) -> Attempt:
    RequestedAngle.objects.filter(pk=angle.pk).update(**film)
    attempt = Attempt.objects.create(step=step, angle=angle)
    name_drills(angle.request, due_on=due_on)
    return attempt


def name_drills(request: Request, *, due_on: date | None = None) -> None:
    """Say on a request which drills its film is for, and the earlier of two days."""
    attempts = Attempt.objects.filter(angle__request=request).select_related(
        "step__assignment__drill_version"
    )
    steps = [attempt.step for attempt in attempts.order_by("pk")]
    texts = list(dict.fromkeys(step.text for step in steps if step.text))
    if len(steps) > 1:
        titles = [f"“{step.assignment.drill_version.title}”" for step in steps]
        named = get_text_list(titles, _("and"))
        texts.insert(0, _("One film for %(drills)s.") % {"drills": named})
    days = [day for day in (request.due_on, due_on) if day is not None]
    Request.objects.filter(pk=request.pk).update(
        text=" ".join(texts), due_on=min(days, default=None)
    )


def part_from(stopped: QuerySet[Assignment]) -> None:
    """Give drills that go on a film of their own, where they shared one with a stopped drill.

    What was filmed already stays shared: it is only judged.
    """
    others = (
        Attempt.objects.filter(
            verdict=None,
            angle__submissions=None,
            angle__request__closed_at=None,
            angle__attempts__step__assignment__in=stopped,
        )
        .exclude(step__assignment__in=stopped)
        .select_related("step", "angle__request")
        .distinct()
    )
    for attempt in list(others):
        shared = attempt.angle.request
        attempt.angle = asking.ask_apart(request=shared, angle=angle_of(attempt.step))
        attempt.save(update_fields=["angle"])
        name_drills(attempt.angle.request)
        name_drills(shared)


def others_unjudged(attempt: Attempt) -> QuerySet[Attempt]:
    """Attempts on the same film that have no verdict yet, this one left out."""
    return Attempt.objects.filter(angle=attempt.angle_id, verdict=None).exclude(pk=attempt.pk)


def unask(requests: QuerySet[Request], *, assignment: Assignment) -> None:
    """Remove a drill from requests that nobody has answered; an empty request goes."""
    pks = list(requests.values_list("pk", flat=True))
    Attempt.objects.filter(angle__request__in=pks, step__assignment=assignment).delete()
    standing = Request.objects.filter(pk__in=pks)
    standing.filter(angles__attempts=None).delete()
    for request in standing.all():
        name_drills(request)
