"""What a phone wrote without a line: once, and with its own time."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from coaching.lessons.models import Entry
from coaching.people import once
from coaching.practice.models import PainReport

pytestmark = pytest.mark.django_db


def seconds(at):
    return str(int(at.timestamp()))


def test_words_that_arrive_twice_hours_apart_are_one_message(student, client_for):
    written = timezone.now() - timedelta(hours=5)
    post = {"text": "No line here.", "key": str(uuid.uuid4()), "at": seconds(written)}
    address = reverse("thread_send", args=[student.pk])
    assert "#entry-" in client_for(student.user).post(address, post).url
    Entry.objects.update(created_at=timezone.now() - timedelta(hours=5))
    assert client_for(student.user).post(address, post).url == reverse("thread", args=[student.pk])
    (entry,) = Entry.objects.filter(kind="message")
    assert abs(entry.created_at - written) < timedelta(minutes=1)
    again = post | {"key": str(uuid.uuid4())}
    client_for(student.user).post(address, again)
    assert Entry.objects.filter(kind="message").count() == 2  # written twice is two


def test_pain_keeps_its_own_time_and_is_one_report(student, client_for):
    felt = timezone.now() - timedelta(hours=2)
    post = {"region": "back", "key": str(uuid.uuid4()), "at": seconds(felt)}
    client = client_for(student.user)
    first, second = (client.post(reverse("pain", args=[student.pk]), post) for _ in range(2))
    (report,) = PainReport.objects.all()
    assert first.url == second.url == reverse("practice:pain_where", args=[report.pk])
    assert abs(report.created_at - felt) < timedelta(seconds=2)
    assert Entry.objects.get(kind="pain").created_at == report.created_at


def test_a_refused_post_may_come_again(student, client_for):
    post = {"text": "", "key": str(uuid.uuid4())}
    address = reverse("thread_send", args=[student.pk])
    assert client_for(student.user).post(address, post).status_code == 400
    assert "#entry-" in client_for(student.user).post(address, post | {"text": "Now"}).url


@pytest.mark.parametrize("odd", ["", "soon", "-3", "1e400", "9" * 30])
def test_an_odd_clock_is_not_believed(odd):
    assert once.moment(odd) is None


def test_another_s_key_is_another(student, coach):
    key = str(uuid.uuid4())
    assert once.first_time(student.user, key) and once.first_time(coach, key)
    assert not once.first_time(student.user, key)
    assert once.first_time(student.user, "none") and once.first_time(student.user, "none")
