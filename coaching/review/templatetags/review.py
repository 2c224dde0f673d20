"""What other slices' pages show of a review."""

from __future__ import annotations

import json
from typing import Any

from django import template

from coaching.people.models import Student
from coaching.review import queries
from coaching.review.models import Review

register = template.Library()


@register.inclusion_tag("review/_wanted.html")
def wanted_lines(student: Student, review: Review | None = None) -> dict[str, Any]:
    """The lines a coach wants to see next time, each over its still; those of one review."""
    marks = queries.wanted_marks(student, review=review)
    return {"marks": [mark | {"marks_json": json.dumps([mark])} for mark in marks]}
