"""Idle sessions, secrets in the database, passwords that everybody uses, and who looked."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from allauth.mfa.totp.internal.auth import (
    TOTP,
    format_hotp_value,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.contrib.auth.password_validation import validate_password
from django.core.cache import cache
from django.core.exceptions import ImproperlyConfigured, ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from coaching.people import middleware
from coaching.people.models import Student, User
from tests import factories

pytestmark = pytest.mark.django_db
SECRET = "JBSWY3DPEHPK3PXP"


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Let the clock of the middleware stand so many hours from now."""
    began = timezone.now()

    def move(hours: float) -> None:
        then: datetime = began + timedelta(hours=hours)
        monkeypatch.setattr(middleware.timezone, "now", lambda: then)

    return move


def test_a_session_that_nothing_is_done_with_ends(
    coach: User, client_for: Any, settings: Any, at: Any
) -> None:
    settings.SESSION_IDLE_HOURS = 8
    client, page = client_for(coach), reverse("people:profile")
    for hours in (0, 7, 14):  # each within eight hours of the one before
        at(hours)
        assert client.get(page).status_code == 200
    at(23)
    gone = client.get(page)
    assert gone.status_code == 302 and gone.url.startswith(reverse("account_login"))
    assert page in gone.url
    assert client.get(reverse("waiting")).status_code == 302


def test_without_the_setting_nobody_is_signed_out(
    coach: User, client_for: Any, settings: Any, at: Any
) -> None:
    assert settings.SESSION_IDLE_HOURS == 0
    client = client_for(coach)
    for hours in (0, 13 * 24):
        at(hours)
        assert client.get(reverse("people:profile")).status_code == 200


def test_being_there_is_not_written_down_with_every_request(
    coach: User, client_for: Any, settings: Any, at: Any
) -> None:
    settings.SESSION_IDLE_HOURS = 8
    client = client_for(coach)
    for hours, written in ((0, True), (0.1, False), (1, True), (1.1, False)):
        at(hours)
        before = client.session.get("last_at")
        client.get(reverse("people:profile"))
        assert (client.session["last_at"] != before) == written


def test_the_secret_of_a_second_step_is_closed_by_a_key(coach: User, settings: Any) -> None:
    settings.SECOND_STEP_KEYS = []
    plain = TOTP.activate(coach, SECRET)
    assert plain.instance.data["secret"] == SECRET
    plain.instance.delete()
    settings.SECOND_STEP_KEYS = ["first-long-random-text"]
    kept = TOTP.activate(coach, SECRET).instance
    assert SECRET not in str(kept.data)
    assert _opens(kept)
    settings.SECOND_STEP_KEYS = ["second-long-random-text", "first-long-random-text"]
    assert _opens(kept)
    settings.SECOND_STEP_KEYS = ["second-long-random-text"]
    with pytest.raises(ImproperlyConfigured, match="SECOND_STEP_KEYS"):
        _opens(kept)
    kept.data = {"secret": SECRET}  # from before there were keys
    assert _opens(kept)


def _opens(kept: Any) -> bool:
    cache.clear()  # a code is taken once
    code = format_hotp_value(hotp_value(SECRET, next(yield_hotp_counters_from_time())))
    return bool(TOTP(kept).validate_code(code))


@pytest.mark.parametrize("password", ["password123", "iloveyou", "1q2w3e4r5t"])
def test_a_password_that_everybody_uses_is_refused(password: str) -> None:
    with pytest.raises(ValidationError, match="too common"):
        validate_password(password)


def test_a_student_and_a_guardian_read_who_looked_at_a_film(
    client_for: Any, settings: Any, tmp_path: Any
) -> None:
    settings.MEDIA_ROOT = tmp_path
    guardian = factories.make_guardian()
    minor = Student.objects.get(guardianships__user=guardian)
    factories.make_consents(minor, given_by=guardian)
    assert minor.coach is not None and minor.user is not None
    clip = factories.make_submission(student=minor, video=factories.make_video(files=True))
    looked = client_for(minor.coach).get(reverse("intake:media", args=[clip.video_id, "copy"]))
    assert looked.status_code == 200
    page = reverse("people:log", args=[minor.pk])
    ways = {"people:profile": minor.user, "people:guardian": guardian}
    for name, reader in ways.items():
        text = client_for(reader).get(page).content.decode()
        assert minor.coach.name in text and "looked at a film" in text
        args = [minor.pk] if name == "people:guardian" else []
        assert page in client_for(reader).get(reverse(name, args=args)).content.decode()
    for other in (factories.make_student(coach=minor.coach).user, factories.make_coach()):
        assert client_for(other).get(page).status_code == 404
    assert Client().get(page).status_code == 302
