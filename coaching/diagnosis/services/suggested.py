"""Entries of the catalogue taken as findings, and suggestions taken or dismissed."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from coaching.diagnosis import entries, queries, suggestions
from coaching.diagnosis.catalogue import Entry as CatalogueEntry
from coaching.diagnosis.models import Dismissal, Finding, SeenByEye
from coaching.diagnosis.services.findings import add_finding, link, refuse_sent
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.review.models import Review


@transaction.atomic
def add_entry(
    *,
    review: Review,
    by: User,
    entry: str,
    kind: str = "",
    text: str = "",
    effect: Finding | None = None,
) -> Finding:
    """Write down an entry of the catalogue: by its figure when that shows it, else by eye.

    It is linked at once to what stands of its usual causes and effects; `effect` is a
    finding that is there because of it, whatever is usual.
    """
    known = _known_entry(review, entry)
    found = next((s for s in suggestions.suggestions_for(review) if s.entry.id == entry), None)
    finding = add_finding(
        review=review,
        by=by,
        kind=kind or known.kind,
        text=text or entries.clause_for(known, review.student),
        measurement=found.measurement if found else None,
        reading=found.reading if found else None,
        entry=entry,
    )
    if effect is not None:
        link(by=by, effect=effect, cause=finding)
    _link_what_is_usual(finding, by)
    return finding


def _known_entry(review: Review, entry: str) -> CatalogueEntry:
    known = entries.catalogue_of(review.student.studio_id).get(entry)
    if known is None:
        raise LessonError(_("There is no such finding."), code="unknown")
    return known


def _link_what_is_usual(finding: Finding, by: User) -> None:
    """Links to what stands already; one that would close a circle is left out."""
    catalogue = entries.catalogue_of(finding.student.studio_id)
    causes_ = {entry.id for entry in catalogue.causes_of(finding.entry)}
    effects = {entry.id for entry in catalogue.effects_of(finding.entry)}
    others = queries.visible(finding.student, finding.review).exclude(pk=finding.pk)
    for other in others.filter(closed_at__isnull=True).exclude(entry=""):
        if other.entry in causes_:
            _link_if_sound(by=by, effect=finding, cause=other)
        elif other.entry in effects:
            _link_if_sound(by=by, effect=other, cause=finding)


def _link_if_sound(*, by: User, effect: Finding, cause: Finding) -> None:
    try:
        with transaction.atomic():
            link(by=by, effect=effect, cause=cause)
    except LessonError as error:
        if error.code != "circle":
            raise


@transaction.atomic
def accept_suggestion(
    *, review: Review, by: User, entry: str, kind: str = "", text: str = ""
) -> Finding:
    """Take a suggested finding, perhaps in the coach's own words, linked to what stands."""
    access.require_staff(by, review.student)
    if entry not in {s.entry.id for s in suggestions.suggestions_for(review)}:
        raise LessonError(
            _("This suggestion does not stand any more: the figures have changed."),
            code="gone",
            status=409,
        )
    return add_entry(review=review, by=by, entry=entry, kind=kind, text=text)


def dismiss_suggestion(*, student: Student, entry: str, by: User) -> None:
    """Remember that this is not to be suggested for this student again."""
    access.require_staff(by, student)
    if entries.catalogue_of(student.studio_id).get(entry) is None:
        raise LessonError(_("There is no such suggestion."), code="unknown")
    Dismissal.objects.get_or_create(student=student, entry=entry, defaults={"by": by})


def suggest_again(*, student: Student, entry: str, by: User) -> None:
    """Take a dismissal back."""
    access.require_staff(by, student)
    Dismissal.objects.filter(student=student, entry=entry).delete()


def suggest_findings(review: Review) -> list[suggestions.Suggested]:
    """What the review's figures suggest; reads only."""
    return suggestions.suggestions_for(review)


@transaction.atomic
def judge_by_eye(*, review: Review, by: User, measure: str, event: str, entry: str = "") -> None:
    """What the coach saw where the club points at the camera: an entry, or that it is fine."""
    access.require_staff(by, review.student)
    refuse_sent(review)
    wanted = {(row.measure, row.event): row for row in suggestions.offered(review).end_on}
    asked = wanted.get((measure, event))
    if asked is None or entry not in {"", *(e.id for e in asked.entries)}:
        raise LessonError(_("This figure can be read, or is not asked for."), code="unknown")
    SeenByEye.objects.create(review=review, measure=measure, event=event, entry=entry)
    if entry and not review.findings.filter(entry=entry).exists():
        add_entry(review=review, by=by, entry=entry)


@transaction.atomic
def add_usual_miss(*, review: Review, by: User) -> list[Finding]:
    """What the ball does, as the student chose it, as the last stones of the chain."""
    access.require_staff(by, review.student)
    wanted = queries.usual_miss_left(review, queries.diagnosis_of(review.student, review))
    if not wanted:
        raise LessonError(_("The student has not chosen what the ball does."), code="no_miss")
    return [add_entry(review=review, by=by, entry=e.id) for e in wanted]
