"""What the diagnosis' fragments need, from inside the pages that include them."""

from __future__ import annotations

from typing import Any

from django import template

from coaching.diagnosis import queries, views
from coaching.diagnosis.queries import Diagnosis
from coaching.people.models import Student
from coaching.review.models import Review

register = template.Library()


@register.simple_tag
def findings_margin(review: Review) -> dict[str, Any]:
    """The context of `diagnosis/_findings.html`."""
    return views.margin_context(review)


@register.simple_tag
def diagnosis_of(student: Student) -> Diagnosis:
    """The student's findings as they were sent."""
    return queries.diagnosis_of(student)


@register.filter
def sentences_of(diagnosis: Diagnosis) -> list[str]:
    return queries.sentences(diagnosis)
