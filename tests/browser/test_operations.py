"""The owner finds what failed, and tries it again: by keyboard at a desk, by finger on a phone."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from analysis import services as analysis
from coaching import health
from coaching.lessons import services as lessons
from coaching.notify.models import Notice
from coaching.people.models import Student, User
from tests import factories
from tests.browser.hands import Fingers, Keys

WAYS = [pytest.param("phone", Fingers(), id="phone"), pytest.param("desk", Keys(), id="desk")]


@pytest.mark.parametrize(("width", "hands"), WAYS)
def test_the_owner_tries_again(
    student: Student,
    coach: User,
    width: str,
    hands: Fingers | Keys,
    request: Any,
    assert_accessible: Any,
    picture: Any,
    monkeypatch: pytest.MonkeyPatch,
    settings: Any,
) -> None:
    monkeypatch.setattr(health, "_broker_answers", lambda: True)
    settings.READY_FREE_MIB = 1
    analysis.sweep()
    _busy_studio(student, coach)
    page = request.getfixturevalue(width)(coach)
    page.goto("/practice/")
    hands.press(page.get_by_role("link", name="Operations"))
    said = "2 films could not be worked on. One email has not got out. All else runs."
    expect(page.get_by_role("heading", level=1)).to_have_text(said)
    assert_accessible(page)
    picture(page, f"operations-{width}")
    page.emulate_media(color_scheme="dark")
    picture(page, f"operations-{width}-dark")
    hands.press(page.get_by_role("button", name=re.compile("Try again ?: Sam Reed")).first)
    expect(page.get_by_role("status")).to_contain_text("We are trying again.")
    expect(page.get_by_role("heading", level=1)).to_contain_text("One film could not be worked on.")


def _busy_studio(student: Student, coach: User) -> None:
    """Films in every state, an email that does not get out, and three people who work here."""
    studio = student.studio
    fenn = factories.make_student(coach=coach, name="Alexandra Featherstone-Haugh")
    for person, code in ((student, "internal"), (fenn, "unreadable")):
        clip = factories.make_submission(student=person)
        factories.make_run(
            video=clip.video, kind="measure", status="failed", error_code=code, attempts=3
        )
    for place, (status, progress) in enumerate((("running", 0.4), ("queued", 0.0))):
        clip = factories.make_submission(student=fenn)
        kind = "measure" if place else "check"
        factories.make_run(
            video=clip.video, kind=kind, status=status, progress=progress,
            started_at=timezone.now() if progress else None, heartbeat_at=timezone.now(),
        )  # fmt: skip
    answered = factories.make_submission(student=student)
    answered.answered_at = timezone.now()
    answered.video.size_bytes = 81 * 10**9
    answered.video.save()
    answered.save()
    entry = lessons.send_message(student=student, author=coach, text="How is the hip?")
    Notice.objects.create(
        entry=entry, user=student.user, attempts=6, retry_at=timezone.now() - timedelta(hours=1)
    )
    factories.make_coach(studio=studio, name="Tobin Reed", last_login=timezone.now())
    factories.make_coach(studio=studio, role="assistant", name="Ines Kolb")
