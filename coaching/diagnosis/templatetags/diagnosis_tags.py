"""What the diagnosis' fragments need, from inside the pages that include them."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.translation import gettext as _

from coaching.diagnosis import beside, queries
from coaching.diagnosis.catalogue import Entry
from coaching.diagnosis.grounds import Ground
from coaching.diagnosis.models import Finding
from coaching.diagnosis.queries import Diagnosis, Line
from coaching.diagnosis.sentences import because_of, start
from coaching.lessons.wording import amounts
from coaching.people.models import Student
from coaching.people.sides import for_student, without_sides
from coaching.review.models import Review

register = template.Library()


@register.simple_tag
def findings_sidebar(review: Review) -> dict[str, Any]:
    """The context of `diagnosis/_findings.html`."""
    context = beside.findings_context(review)
    # The drills beside it show the same.
    review.shown_diagnosis = context["diagnosis"]  # type: ignore[attr-defined]
    return context


@register.simple_tag
def diagnosis_of(student: Student) -> Diagnosis:
    """The student's findings as they were sent."""
    return queries.diagnosis_of(student)


@register.simple_tag
def leading_sentence(review: Review) -> str:
    """The one sentence of an answer: what changes first; empty while nothing was found."""
    found = queries.sentences(queries.diagnosis_of(review.student, review))
    return found[0] if found else ""


@register.filter
def sentences_of(diagnosis: Diagnosis) -> list[str]:
    return queries.sentences(diagnosis)


@register.simple_tag
def because(finding: Finding | None, reader: Student | None = None) -> str:
    """`because your hips barely turn`: why something is done. Empty where nothing joins.

    With `reader` in that student's left and right.
    """
    if finding is None:
        return ""
    return because_of([queries.said(finding)], handedness=_hand(reader))


@register.simple_tag
def finding_words(finding: Finding, reader: Student | None = None) -> str:
    """A finding with all that it is there because of, as it was sent."""
    hand = _hand(reader)
    text = start(for_student(finding.text, hand) if hand else finding.text)
    causes = [queries.said(link.cause) for link in finding.causal_links.all()]
    return " ".join(filter(None, [text, because_of(causes, handedness=hand)]))


def _hand(reader: Student | None) -> str:
    return (reader.handedness or "right") if reader else ""


@register.filter
def of_finding(rows: dict[int, Any], pk: int) -> Any:
    """What is kept for one finding."""
    return rows.get(pk, []) if rows else []


@register.filter
def grounds_words(line: Line) -> str:
    """What became of the figure a finding rests on; empty while it stands."""
    grounds = line.grounds
    if grounds is None or grounds.state == Ground.STANDS:
        return ""
    if grounds.now is None:
        return _("The figure behind this is not read any more.")
    now = amounts.value_words(grounds.now.value, grounds.now.sd, measure=line.finding.measure)
    if grounds.state == Ground.CHANGED:
        return _("The figure behind this reads %(now)s now.") % {"now": now}
    return _("The figure behind this reads %(now)s now: it does not support this any more.") % {
        "now": now
    }


@register.filter
def coach_name(entry: Entry) -> str:
    """An entry's name with lead and trail, whatever the hand."""
    return without_sides(entry.name)


@register.filter
def coach_clause(entry: Entry) -> str:
    return without_sides(entry.clause)
