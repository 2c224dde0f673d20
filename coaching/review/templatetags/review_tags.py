"""What other slices' pages show of a review."""

from __future__ import annotations

import json
from typing import Any

from django import template
from django.utils.html import json_script

from coaching.people.models import Student
from coaching.review import script_words as words
from coaching.review.models import Review
from coaching.review.queries import marked

register = template.Library()


@register.inclusion_tag("review/_wanted.html")
def wanted_lines(student: Student, review: Review | None = None) -> dict[str, Any]:
    """The lines a coach wants to see next time, each over its still; those of one review."""
    marks = marked.wanted_marks(student, review=review)
    return {"marks": [mark | {"marks_json": json.dumps([mark])} for mark in marks]}


@register.simple_tag
def script_words() -> str:
    """The sentences and addresses that the scripts of this page use, as a block of JSON."""
    return json_script(words.script_words(), "script-words")
