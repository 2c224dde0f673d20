"""Each kind goes when its time is over; films only after both sides were told in good time."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.sessions.models import Session
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from coaching.notify import services as notify
from coaching.notify.models import Notice
from coaching.operations import retention
from coaching.people.models import ApiToken, Student, User
from coaching.people.queries import student_day
from coaching.people.services import consent, students
from coaching.people.services.consent import erase_void_films
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def closed(student: Student) -> Student:
    """Lessons that were closed 701 of 730 days ago, with one film stored."""
    factories.make_submission(student=student)
    ago = timedelta(days=701)
    Student.objects.filter(pk=student.pk).update(closed_at=timezone.now() - ago)
    student.refresh_from_db()
    return student


def later(student: Student, days: int) -> int:
    return erase_void_films(timezone.now() + timedelta(days=days))


def films(student: Student) -> int:
    return student.submissions.filter(video__erased_at=None).count()


def test_both_sides_are_told_a_month_before_and_a_week_before(
    closed: Student, client_for: Callable[[User], Client]
) -> None:
    assert retention.announce() == 1 and retention.announce() == 0
    closed.refresh_from_db()
    assert closed.films_erased_on == student_day(closed) + timedelta(days=30)
    notify.send_notices()
    assert sorted(m.to[0] for m in mail.outbox) == ["coach@example.org", "student@example.org"]
    assert all("kept until" in m.body for m in mail.outbox)
    page = client_for(closed.user).get(reverse("thread", args=[closed.pk])).content.decode()
    assert "Films are" in page and "Download the data before" in page
    assert later(closed, 23) == 0 and films(closed) == 1
    assert closed.thread.entries.filter(kind="consent").count() == 2
    assert later(closed, 30) == 1 and films(closed) == 0
    page = client_for(closed.user).get(reverse("thread", args=[closed.pk])).content.decode()
    assert "erased as announced" in page and "Nobody agreed again" not in page


def test_beginning_again_takes_it_back(closed: Student, coach: User) -> None:
    retention.announce()
    closed.refresh_from_db()
    students.reopen_student(student=closed, by=coach)
    assert later(closed, 60) == 0 and films(closed) == 1


def test_beginning_again_brings_no_void_consent_back(closed: Student, coach: User) -> None:
    consent.void_consents(closed, by=coach)
    students.reopen_student(student=closed, by=coach)
    assert later(closed, 60) == 1


@pytest.mark.parametrize("days", [0, 3650])
def test_a_studio_may_keep_them(closed: Student, settings: Any, days: int) -> None:
    settings.KEEP_FILMS_DAYS = days
    assert retention.announce() == 0


def test_who_still_learns_or_has_no_film_is_left_alone(student: Student, coach: User) -> None:
    factories.make_submission(student=student)
    factories.make_student(coach=coach, closed_at=timezone.now() - timedelta(days=2000))
    assert retention.announce() == 0


def test_rows_without_words_go_in_their_time(student: Student, coach: User) -> None:
    now = timezone.now()
    Session.objects.create(session_key="a" * 32, session_data="", expire_date=now)
    Session.objects.create(session_key="b" * 32, expire_date=now + timedelta(days=1))
    token, _key = ApiToken.issue(coach, name="dead")
    ApiToken.objects.filter(pk=token.pk).update(expires_at=now - timedelta(days=91))
    ApiToken.issue(coach, name="alive")
    old = factories.make_invitation(student=student, expires_at=now - timedelta(days=91))
    fresh = factories.make_invitation(student=student, expires_at=now)
    entry = student.thread.entries.create(kind="message")
    Notice.objects.create(entry=entry, user=coach, sent_at=now - timedelta(days=181))
    Notice.objects.create(entry=entry, user=student.user, attempts=6)  # never got out: kept
    told = retention.keep_no_longer()
    assert (told["sessions"], told["keys of programs"], told["marks of sent emails"]) == (1, 1, 1)
    assert Session.objects.get().session_key == "b" * 32
    assert ApiToken.objects.get().name == "alive" and Notice.objects.get().user == student.user
    left = type(old).objects.filter(student=student).values_list("pk", flat=True)
    assert fresh.pk in left and old.pk not in left
