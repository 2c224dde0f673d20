"""Whose day it is: pages and e-mails by the reader's clock, practice by the student's."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from coaching.intake.services import clips
from coaching.lessons import services as lessons
from coaching.notify import services as notify
from coaching.people import queries
from coaching.people.models import ApiToken, Student, User
from coaching.people.services import joining, students
from coaching.people.services.studio import add_holiday
from coaching.people.zones import moment_words, validate_zone
from coaching.practice.models import Verdict
from coaching.practice.queries.ladders import passed_days
from tests import factories

pytestmark = pytest.mark.django_db
# 1 July, 16:30 and 17:30 in California: one day there, two by the clock of the server.
AFTERNOON = (datetime(2026, 7, 1, 23, 30, tzinfo=UTC), datetime(2026, 7, 2, 0, 30, tzinfo=UTC))


def test_two_passes_on_one_afternoon_are_one_day(student: Student) -> None:
    rows = [
        Verdict(
            pk=number,
            submission=factories.make_submission(student=student, created_at=at),
            decision="passed",
        )
        for number, at in enumerate(AFTERNOON)
    ]
    assert passed_days(rows, ZoneInfo("UTC")) == 2
    student.user.time_zone = "America/Los_Angeles"
    assert passed_days(rows, queries.student_zone(student)) == 1


def test_a_student_without_a_zone_practises_by_the_studios_clock(student: Student) -> None:
    student.studio.time_zone = "Pacific/Auckland"
    assert queries.student_zone(student).key == "Pacific/Auckland"
    assert queries.student_day(student, AFTERNOON[0]).day == 2


@pytest.mark.parametrize("name", ["Nowhere/Land", "../../etc/passwd", "utc\0", ""])
def test_only_zones_of_the_list(name: str) -> None:
    with pytest.raises(ValidationError):
        validate_zone(name)


def test_pages_show_the_readers_clock(coach: User, student: Student, client_for) -> None:
    entry = lessons.send_message(student=student, author=coach, text="Hello")
    type(entry).objects.filter(pk=entry.pk).update(created_at=AFTERNOON[1])
    page = reverse("thread", args=[student.pk])
    User.objects.filter(pk=student.user.pk).update(time_zone="America/Los_Angeles")
    User.objects.filter(pk=coach.pk).update(time_zone="Pacific/Auckland")
    assert "17:30" in client_for(student.user).get(page).content.decode()
    assert "12:30" in client_for(coach).get(page).content.decode()
    assert timezone.get_current_timezone_name() == "UTC"  # put back after each answer


def test_e_mails_use_the_readers_clock(coach: User, student: Student, mailoutbox: list) -> None:
    on = queries.student_day(student) + timedelta(days=30)
    joining.describe_student(student=student, by=student.user, age_band="under_18")
    assert student.films_erased_on == on
    notify.send_notices()
    assert any(f"{on:%A}" in mail.body for mail in mailoutbox)


def test_a_key_of_a_program_reads_its_owners_clock(coach: User) -> None:
    User.objects.filter(pk=coach.pk).update(time_zone="Pacific/Auckland")
    coach.refresh_from_db()
    student = factories.make_student(coach=coach)
    lessons.send_message(student=student, author=coach, text="Hello")
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {ApiToken.issue(coach, name='x')[1]}")
    told = client.get(f"/api/students/{student.pk}/thread/").json()
    assert told[-1]["created_at"].endswith(("+12:00", "+13:00"))
    assert timezone.get_current_timezone_name() == "UTC"


def test_days_off_begin_at_the_studios_midnight(coach: User) -> None:
    studio = coach.memberships.get().studio
    sent = datetime(2026, 12, 23, 12, 0, tzinfo=UTC)
    promised = {}
    for name in ("UTC", "Pacific/Auckland"):
        studio.time_zone = name
        studio.holidays.all().delete()
        add_holiday(studio=studio, by=coach, starts_on=sent.date(), ends_on=sent.date())
        promised[name] = clips.promise(studio=studio, at=sent)
    # At noon UTC it is already the 24th in Auckland: the day off is over there.
    assert promised["UTC"] - promised["Pacific/Auckland"] == timedelta(hours=12)


def test_a_promise_names_its_clock() -> None:
    with timezone.override("America/Los_Angeles"):
        assert moment_words(AFTERNOON[0]) == "Wed 1 Jul, 16:30 PDT"
    with timezone.override("Asia/Kathmandu"):
        assert moment_words(AFTERNOON[0]).endswith("UTC+0545")


def test_joining_keeps_the_browsers_zone(coach: User) -> None:
    studio = coach.memberships.get().studio
    for number, (told, kept) in enumerate([("Europe/Lisbon", "Europe/Lisbon"), ("Mars/X", "")]):
        door = students.invite_student(studio=studio, by=coach, name=f"Kim {number}")
        form = {"name": "Kim", "email": f"kim{number}@example.org", "adult": "yes"}
        form |= {"password": factories.PASSWORD, "time_zone": told}
        Client().post(reverse("people:join", args=[door.token]), form)
        assert User.objects.get(email=form["email"]).time_zone == kept


def test_people_choose_their_zone(student: Student, client_for) -> None:
    page, client = reverse("people:profile"), client_for(student.user)
    form = {"name": "Sam", "units": "metric", "time_zone": "Africa/Nairobi"}
    assert client.post(page, form).status_code == 302
    student.user.refresh_from_db()
    assert student.user.time_zone == "Africa/Nairobi"
    assert client.post(page, form | {"time_zone": "Nowhere"}).status_code == 400
