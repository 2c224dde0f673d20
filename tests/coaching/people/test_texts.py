"""One line as it is typed: spaces tidied, nothing cut off in silence."""

from __future__ import annotations

import re

import pytest
from django.conf import settings

from coaching.people.errors import LessonError
from coaching.people.models import Student
from coaching.people.texts import in_one_line, short_line
from coaching.practice.services import stopping


def test_a_line_is_tidied_and_a_long_one_refused() -> None:
    assert in_one_line("  Turn \n the\thips ") == "Turn the hips"
    assert short_line(" x " * 3, most=5) == "x x x"
    with pytest.raises(LessonError, match="at most 4 letters") as refused:
        short_line("x x x", most=4)
    assert refused.value.code == "too_long"


@pytest.mark.django_db
def test_pain_is_never_refused_for_its_words(student: Student) -> None:
    assert student.user is not None
    told = stopping.report_pain(student=student, by=student.user, region="hip", text="ow " * 200)
    assert len(told.text) <= 300 and told.text.startswith("ow ow")


def test_one_module_tidies() -> None:
    by_hand = re.compile(r'" "\.join\(.*\.split\(\)\)')
    found = {
        str(path.relative_to(settings.BASE_DIR))
        for path in (settings.BASE_DIR / "coaching").rglob("*.py")
        if by_hand.search(path.read_text())
    }
    assert found == {"coaching/people/texts.py"}
