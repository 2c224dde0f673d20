"""A drill into a draft answer, and open when the answer is sent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.diagnosis.models import Finding
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Region, Student, User
from coaching.people.once import SENT_TWICE, in_turn
from coaching.people.texts import short_line
from coaching.practice import drills
from coaching.practice.models import Assignment, Criterion, Drill, DrillVersion, Step
from coaching.practice.queries import ladders, pain, progress
from coaching.practice.services.judging import open_step
from coaching.practice.services.refusals import (
    refuse_missing_balls,
    refuse_what_hurts,
    refuse_wrong_target,
    without_missing_balls,
)
from coaching.review.models import Review
from coaching.review.services.drafts import hold_draft

MOST_DRILLS = 3  # few drills at a time; more are practised by nobody


@transaction.atomic
def assign_drill(
    *,
    review: Review,
    by: User,
    drill: Drill | DrillVersion,
    finding: Finding | None = None,
    steps: Sequence[Mapping[str, Any]] | None = None,
    caution: str = "",
    text: str = "",
    override_reason: str = "",
    starts_on: date | None = None,
    due_on: date | None = None,
    per_day: int = 30,
    show_count_at_once: bool = True,
    ask_feel_first: bool = True,
) -> Assignment:
    """Put a drill into a draft answer; it opens for the student when that is sent.

    `steps` are as in a drill file; without them the drill's own ladder is taken.

    Raises
    ------
    LessonError
        `cause_open`: a compensation whose cause is open, without a reason; the cause and
        its drill are named. `question_open`, `no_target`: likewise. `hurts`: the drill
        loads what hurts. `ladder`, `schema`, `no_baseline`: the ladder cannot be judged.
    """
    access.require_teaching(by, review.student)
    hold_draft(review)
    student = review.student
    version = drill if isinstance(drill, DrillVersion) else drills.newest(drill)
    if version.drill.studio_id != student.studio_id:
        raise LessonError(_("Choose a drill of this student's studio."), code="wrong_studio")
    if review.assignments.count() >= MOST_DRILLS:
        raise LessonError(
            _("Three drills are enough for one answer. Remove one first."), code="too_many"
        )
    if due_on and starts_on and due_on < starts_on:
        raise LessonError(_("The last day lies before the first."), code="dates")
    if not 1 <= per_day <= 60:
        raise LessonError(_("Ask for 1 to 60 repetitions a day."), code="per_day")
    if finding is not None:
        refuse_wrong_target(review=review, finding=finding, reason=override_reason)
    refuse_what_hurts(student, version, reason=override_reason)
    ladder = without_missing_balls(student, version.ladder) if steps is None else list(steps)
    refuse_missing_balls(student, ladder)
    drills.check_steps(ladder)
    in_turn(review)
    twin = review.assignments.filter(
        drill_version=version,
        finding=finding,
        text=text.strip(),
        per_day=per_day,
        created_at__gt=timezone.now() - SENT_TWICE,
    ).first()
    if twin is not None:  # the same form sent twice
        return twin
    assignment = Assignment.objects.create(
        student=student,
        review=review,
        drill_version=version,
        finding=finding,
        caution=_caution(student, version, caution),
        text=text.strip(),
        override_reason=short_line(override_reason, most=300),
        starts_on=starts_on,
        due_on=due_on,
        per_day=per_day,
        show_count_at_once=show_count_at_once,
        ask_feel_first=ask_feel_first,
    )
    for position, row in enumerate(ladder):
        _make_step(assignment, position, row)
    return assignment


def _caution(student: Student, version: DrillVersion, text: str) -> str:
    """What the student reads before the exercise; a limit is always named."""
    cautions = [text.strip() or version.cautions]
    for region, limit in pain.limits(student).items():
        if region in version.loads:
            cautions.append(
                _("Only as far as your %(region)s lets you: %(limit)s.")
                % {"region": Region(region).label, "limit": limit.rstrip(".")}
            )
    return "\n".join(part for part in cautions if part)


def _make_step(assignment: Assignment, position: int, row: Mapping[str, Any]) -> Step:
    step = Step.objects.create(
        assignment=assignment,
        position=position,
        **{key: value for key, value in row.items() if key != "criteria"},
    )
    for place, criterion in enumerate(row["criteria"]):
        _make_criterion(step, place, criterion)
    return step


def _make_criterion(step: Step, position: int, row: Mapping[str, Any]) -> Criterion:
    criterion = Criterion(step=step, position=position, **row)
    if criterion.comparison not in Criterion.BY_EYE:
        baseline = progress.baseline_of(
            step.assignment.student,
            criterion.measure,
            criterion.event,
            view=step.view,
            kind=step.film_kind,
        )
        if baseline is not None:
            criterion.baseline = baseline.value
            criterion.baseline_uncertainty = baseline.uncertainty
            criterion.baseline_video = baseline.submission.video
            criterion.baseline_version = baseline.version
        elif criterion.comparison == Criterion.Comparison.CHANGED_BY:
            raise LessonError(
                _("Nothing was measured yet that could change. Ask for “at least” instead."),
                code="no_baseline",
                measure=criterion.measure,
            )
    criterion.save()
    return criterion


@transaction.atomic
def change_ahead(
    *, assignment: Assignment, by: User, steps: Sequence[Mapping[str, Any]]
) -> Assignment:
    """Write the steps anew that nobody was asked for yet; what was filmed stays as it is.

    Raises
    ------
    LessonError
        `ended` (409): the drill has ended. Else as `assign_drill` for its ladder.
    """
    access.require_teaching(by, assignment.student)
    if assignment.closed_at is not None:
        raise LessonError(_("This drill has ended."), code="ended", status=409)
    in_turn(assignment)
    ahead = ladders.steps_ahead(assignment)
    kept = assignment.steps.exclude(pk__in=[step.pk for step in ahead])
    refuse_missing_balls(assignment.student, list(steps))
    behind = [ladders.row_of(step) for step in ladders.steps_behind(assignment)]
    drills.check_steps([*behind, *steps])
    for step in ahead:
        step.delete()
    first = 1 + max(kept.values_list("position", flat=True), default=-1)
    for position, row in enumerate(steps, start=first):
        _make_step(assignment, position, row)
    return assignment


@transaction.atomic
def remove_assignment(*, assignment: Assignment, by: User) -> None:
    """Take a drill out of a draft; what was sent is ended by a verdict, never removed."""
    access.require_teaching(by, assignment.student)
    if assignment.opened_at is not None:
        raise LessonError(
            _("The student has this drill already. End it with a verdict."),
            code="published",
            status=409,
        )
    if assignment.review is not None:
        hold_draft(assignment.review)
    assignment.delete()


@transaction.atomic
def open_drills(*, review: Review, by: User) -> None:
    """Open the drills of an answer that is being sent; part of `publish_review`.

    Raises
    ------
    LessonError
        A drill aims at a compensation whose cause is open, because links changed after it
        was chosen, or loads what hurts by now. Then nothing is sent.
    """
    access.require_teaching(by, review.student)
    drafts = list(review.assignments.filter(opened_at__isnull=True).order_by("pk"))
    for assignment in drafts:
        if assignment.finding is not None:
            refuse_wrong_target(
                review=review, finding=assignment.finding, reason=assignment.override_reason
            )
        refuse_what_hurts(
            assignment.student, assignment.drill_version, reason=assignment.override_reason
        )
    for assignment in drafts:
        _open_assignment(assignment, by=by)


def _open_assignment(assignment: Assignment, *, by: User) -> None:
    assignment.opened_at = timezone.now()
    assignment.save(update_fields=["opened_at"])
    attempt = open_step(step=assignment.steps.order_by("position")[0], by=by)
    lessons.record(
        student=assignment.student,
        kind=Entry.Kind.ASSIGNED,
        author=by,
        text=assignment.text,
        assignment=assignment.pk,
        request=attempt.angle.request_id,
    )
