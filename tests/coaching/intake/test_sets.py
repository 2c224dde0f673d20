"""Request sets: a studio's own, sent in one tap, without another student's name."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse

from coaching.intake import sets
from coaching.intake.models import Request, RequestSet
from coaching.intake.presets import PRESETS
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.people.queries import student_day
from tests import factories

ANGLES = [{"view": "face_on", "kind": "swing", "ball": "ball", "repetitions": 2}]


def form(**fields: object) -> dict[str, object]:
    row = {"view": "face_on", "kind": "swing", "repetitions": 2, "effort": "full", "ball": "ball"}
    counts = {"TOTAL_FORMS": 1, "INITIAL_FORMS": 0}
    return {
        "title": "First look",
        **{f"angle-{name}": value for name, value in counts.items()},
        **{f"angle-0-{name}": value for name, value in row.items()},
        **fields,
    }


def test_a_set_is_written_changed_and_sent_with_its_words_and_day(
    client: Client, coach: User, student: Student
) -> None:
    client.force_login(coach)
    address = reverse("intake:sets", args=[student.studio_id])
    other = factories.make_student(coach=coach, name="Brannoc Quill").name
    words = f"As on most days, {{name}}. Not like {other}."
    answer = client.post(address, form(text=words, due_days=5))
    row = RequestSet.objects.get()
    assert answer.url == reverse("intake:set", args=[student.studio_id, row.pk])
    assert row.text == "As on most days, {name}. Not like {name}."
    asked = client.get(reverse("intake:ask", args=[student.pk]), {"preset": f"set-{row.pk}"})
    first = student.name.split()[0]
    assert f"As on most days, {first}." in asked.content.decode()
    sets.send_set(student=student, by=coach, slug=f"set-{row.pk}")
    request = Request.objects.get()
    assert (request.text, request.angles.get().repetitions) == (
        f"As on most days, {first}. Not like {first}.", 2,
    )  # fmt: skip
    assert request.due_on == student_day(student) + timedelta(days=5)


def test_what_is_wrong_is_said_and_nothing_typed_is_lost(
    client: Client, coach: User, student: Student
) -> None:
    client.force_login(coach)
    address = reverse("intake:sets", args=[student.studio_id])
    answer = client.post(address, form(**{"angle-0-view": "", "text": "My words"}))
    assert answer.status_code == 400
    page = answer.content.decode()
    assert "Choose at least one film." in page and "My words" in page
    assert not RequestSet.objects.exists()


def test_a_set_of_another_studio_is_no_set(coach: User, student: Student) -> None:
    stranger = factories.make_coach(role="owner")
    studio = stranger.memberships.get().studio
    row = sets.save_set(studio=studio, by=stranger, title="Theirs", angles=ANGLES)
    assert sets.preset_of(student.studio, f"set-{row.pk}") == PRESETS[0]
    with pytest.raises(LessonError):
        sets.send_set(student=student, by=coach, slug=f"set-{row.pk}")
