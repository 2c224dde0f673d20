"""Colleagues see who has a lesson open, and who has begun an answer."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from coaching.people.models import Student, User
from coaching.review import presence
from coaching.review.models import Review
from tests import factories


@pytest.fixture(autouse=True)
def _empty_cache() -> None:
    cache.clear()


def test_two_coaches_in_one_lesson_read_of_each_other(
    coach: User, student: Student, client_for: Callable[[User], Client]
) -> None:
    clip = factories.make_submission(student=student)
    factories.make_measured(clip, {})
    colleague = factories.make_coach(studio=student.studio, name="Tobin Reedlark")
    here = reverse("review:here", args=[clip.pk])
    assert client_for(colleague).post(here).json() == {"words": ""}
    assert (
        "Tobin Reedlark has this lesson open too." in client_for(coach).post(here).json()["words"]
    )
    page = client_for(coach).get(reverse("waiting")).content.decode()
    assert "open: Tobin Reedlark" in page
    other = client_for(colleague).get(reverse("waiting")).content.decode()
    assert f"open: {coach.name}" in other and "open: Tobin" not in other


def test_who_has_gone_is_forgotten(
    coach: User, student: Student, monkeypatch: pytest.MonkeyPatch
) -> None:
    colleague = factories.make_coach(studio=student.studio)
    presence.open_by(student.pk, colleague)
    later = presence.time.time() + presence.HELD_S + 1
    monkeypatch.setattr(presence.time, "time", lambda: later)
    assert presence.open_by(student.pk, coach) == []


def test_a_draft_stands_in_its_row_and_has_a_filter(
    coach: User, student: Student, client_for: Callable[[User], Client]
) -> None:
    clip = factories.make_submission(student=student)
    factories.make_measured(clip, {})
    other = factories.make_submission(student=factories.make_student(coach=coach, name="Ada Lane"))
    factories.make_measured(other, {})
    Review.objects.create(student=student, coach=coach).submissions.add(clip)
    client = client_for(coach)
    page = client.get(reverse("waiting"), {"kind": "drafts"}).content.decode()
    assert 'class="begun">draft' in page and f'data-key="clip-{clip.pk}"' in page
    assert f'data-key="clip-{other.pk}"' not in page
