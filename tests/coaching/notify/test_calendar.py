"""Calendars against RFC 5545, and who reads whose."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from coaching.notify import services
from coaching.notify.ical import Event, calendar, escaped, folded
from coaching.people.models import Student, User
from tests import factories


def test_escaping_of_rfc_5545_3_3_11() -> None:
    given = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    # The RFC's own example, §3.3.11.
    assert escaped(given) == "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared."
    assert escaped("a,b;c\\d") == "a\\,b\\;c\\\\d"


@pytest.mark.parametrize("text", ["x" * 74, "x" * 75, "x" * 76, "x" * 300, "ü" * 120, "🙂" * 60])
def test_folding_of_rfc_5545_3_1(text: str) -> None:
    line = folded(text)
    assert line.endswith(b"\r\n")
    parts = line[:-2].split(b"\r\n ")
    assert all(len(part) + bool(i) <= 75 for i, part in enumerate(parts))
    assert b"".join(parts).decode() == text
    for part in parts:
        part.decode()  # no letter is torn


def test_event_on_a_day_and_at_a_moment() -> None:
    made = datetime(2026, 3, 1, 8, 30, tzinfo=UTC)
    day = Event("a@x", date(2026, 3, 31), "Film; now", "https://x/1", made)
    moment = Event("b@x", datetime(2026, 3, 2, 9, 0, tzinfo=UTC), "Answer", "https://x/2", made)
    lines = calendar([day, moment], name="C").decode().split("\r\n")
    assert lines[0] == "BEGIN:VCALENDAR" and lines[-2:] == ["END:VCALENDAR", ""]
    assert "DTSTART;VALUE=DATE:20260331" in lines and "DTEND;VALUE=DATE:20260401" in lines
    assert "DTSTART:20260302T090000Z" in lines and "DTSTAMP:20260301T083000Z" in lines
    assert "SUMMARY:Film\\; now" in lines
    assert lines.count("BEGIN:VEVENT") == lines.count("END:VEVENT") == 2


def read(user: User) -> str:
    address = reverse("notify:calendar", args=[services.feed_of(user).token])
    answer = Client().get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    return answer.content.decode()


def test_each_reads_what_is_theirs(student: Student, coach: User, stranger: User) -> None:
    request = factories.make_request(
        student=student, due_on=timezone.localdate() + timedelta(days=3)
    )
    clip = factories.make_submission(student=student)
    assert f"UID:request-{request.pk}@" in read(student.user)
    assert "UID:promise" not in read(student.user)
    assert f"UID:promise-{clip.pk}@" in read(coach)
    for other in (stranger, factories.make_student(coach=coach).user):
        assert "VEVENT" not in read(other)


def test_what_is_over_or_stopped_leaves_the_calendar(student: Student) -> None:
    now = timezone.now()
    for fields in ({"closed_at": now}, {"suspended_at": now}):
        factories.make_request(student=student, due_on=timezone.localdate(), **fields)
    factories.make_submission(student=student, answered_at=now)
    assert "VEVENT" not in read(student.user)
    assert "VEVENT" not in read(student.coach)


def test_no_promise_that_stands_is_missing_from_a_calendar(coach: User) -> None:
    """Whoever waits for an answer and whoever promised it read the same promises."""
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    guardian = factories.make_guardian(student=minor)
    waiting = [factories.make_submission(student=minor) for _ in range(3)]
    factories.make_submission(student=minor, answered_at=timezone.now())
    factories.make_submission(student=minor, replaced_by=waiting[0])
    factories.make_checked(factories.make_submission(student=minor), reject="dark")
    for reader, word in ((minor.user, "answer"), (guardian, "answer"), (coach, "promise")):
        events = read(reader)
        assert events.count("BEGIN:VEVENT") == len(waiting), reader
        for clip in waiting:
            assert f"UID:{word}-{clip.pk}@" in events
            assert f"DTSTART:{clip.promised_at.astimezone(UTC):%Y%m%dT%H%M%SZ}" in events


def test_new_address_closes_the_old_one(student: Student, client_for) -> None:
    old = services.feed_of(student.user).token
    client_for(student.user).post(reverse("notify:renew"))
    assert Client().get(reverse("notify:calendar", args=[old])).status_code == 404
    assert services.feed_of(student.user).token != old


def test_account_that_was_closed_shows_nothing(student: Student) -> None:
    token = services.feed_of(student.user).token
    User.objects.filter(pk=student.user.pk).update(is_active=False)
    assert Client().get(reverse("notify:calendar", args=[token])).status_code == 404


@pytest.mark.parametrize("name", ["settings", "renew"])
def test_anonymous(db: None, name: str) -> None:
    page = reverse(f"notify:{name}")
    assert "/login/" in Client().post(page).url
