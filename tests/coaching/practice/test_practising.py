"""Practised alone: noted once, one line a day, nobody mailed."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.http import Http404
from django.urls import reverse
from django.utils import timezone

from coaching.lessons.models import Entry
from coaching.notify.services import address_entries
from coaching.people.errors import LessonError
from coaching.practice.models import PracticeSeries
from coaching.practice.services import practising, stopping
from tests.coaching.practice.making import make_assignment, make_review, open_attempt

pytestmark = pytest.mark.django_db


@pytest.fixture
def assignment(student):
    assignment = make_assignment(review=make_review(student=student))
    open_attempt(assignment)
    assignment.refresh_from_db()
    return assignment


def told(assignment, **fields):
    fields = {"key": uuid.uuid4(), "repetitions": 10} | fields
    return practising.record_practice(assignment=assignment, by=assignment.student.user, **fields)


def lines(student):
    return Entry.objects.filter(thread__student=student, kind=Entry.Kind.PRACTISED)


def test_one_line_a_day_grows_and_mails_nobody(assignment):
    told(assignment, felt="hard")
    told(assignment, felt="right")
    told(assignment, at=timezone.now() - timedelta(days=2))
    assert lines(assignment.student).count() == 2
    assert practising.practised_today(assignment) == 20
    address_entries()
    assert not lines(assignment.student).filter(notices__isnull=False).exists()


def test_the_same_series_told_again_is_one(assignment):
    key = uuid.uuid4()
    assert told(assignment, key=key) == told(assignment, key=key, repetitions=3)
    assert PracticeSeries.objects.get().repetitions == 10


def test_a_late_one_keeps_its_own_day_and_an_odd_clock_does_not(assignment):
    yesterday = timezone.now() - timedelta(days=1)
    assert told(assignment, at=yesterday).created_at == yesterday
    for odd in (timezone.now() + timedelta(days=1), timezone.now() - timedelta(days=400)):
        assert abs(told(assignment, at=odd).created_at - timezone.now()) < timedelta(minutes=1)


def test_what_is_no_count_is_refused(assignment):
    for count in (0, -1, 301):
        with pytest.raises(LessonError):
            told(assignment, repetitions=count)
    with pytest.raises(LessonError):
        told(assignment, felt="great")


def test_only_the_student_side_tells(assignment, coach):
    with pytest.raises(Http404):
        practising.record_practice(assignment=assignment, by=coach, key=uuid.uuid4(), repetitions=3)


def test_pages(assignment, client_for, coach):
    client = client_for(assignment.student.user)
    page = reverse("practice:practise", args=[assignment.pk])
    assert "It stands there. Start" in client.get(page).content.decode()
    post = {"key": uuid.uuid4(), "repetitions": "12", "felt": "right"}
    answer = client.post(reverse("practice:practised", args=[assignment.pk]), post)
    assert answer.url == reverse("practice:drill", args=[assignment.pk])
    thread = reverse("thread", args=[assignment.student_id])
    for reader in (client, client_for(coach)):
        assert "12 times" in reader.get(thread).content.decode()
    bad = {"repetitions": "many", "queued": "1"}
    answer = client.post(reverse("practice:practised", args=[assignment.pk]), bad)
    assert answer.status_code == 400
    told(assignment, repetitions=30)
    assert "enough for today" in client.get(page).content.decode()


def test_a_stopped_drill_is_not_practised_but_what_was_done_is_noted(assignment, client_for):
    stopping.stop_drill(assignment=assignment, by=assignment.student.user)
    assignment.refresh_from_db()
    client = client_for(assignment.student.user)
    page = reverse("practice:practise", args=[assignment.pk])
    assert client.get(page).url == reverse("practice:drill", args=[assignment.pk])
    assert told(assignment).pk
