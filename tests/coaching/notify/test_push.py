"""Notifications to browsers: what they say, where they may go, and when they stop."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.http import Http404
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from coaching.lessons.models import Entry
from coaching.notify import devices, pushing, services
from coaching.notify.models import PushMessage, PushSubscription
from coaching.notify.tasks import send_pushes
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.people.services import studio as studios
from coaching.people.services.record import erase_record
from tests import factories, push_service
from tests.coaching.notify.test_emails import record
from tests.push_service import PushService

pytestmark = pytest.mark.django_db
SETTINGS = "/you/emails/"


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch, settings: Any) -> PushService:
    return push_service.install(monkeypatch, settings)


def told(service: PushService) -> list[dict[str, Any]]:
    """The notifications that come of the entries so far."""
    services.address_entries()
    send_pushes()
    return service.notifications


def test_a_notification_reaches_the_browser_closed_and_signed(
    student: Student, coach: User, service: PushService
) -> None:
    service.subscribe(student.user)
    record(student, "message", author=coach, text="Turn a little more.")
    (notification,) = told(service)
    assert notification["title"] == "Robin Vale wrote to you"
    assert notification["url"] == reverse("thread", args=[student.pk])
    assert "Turn" not in notification["title"] + notification["body"]
    assert 0 < int(notification["headers"]["ttl"]) <= pushing.KEPT_FOR.total_seconds()
    assert not PushMessage.objects.exists()
    assert told(service) == [notification]  # once


def test_no_notification_names_a_student_or_the_body(coach: User, service: PushService) -> None:
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False, name="Pip Lo")
    guardian = factories.make_guardian(student=minor, name="Dana Lo")
    for user in (minor.user, guardian, coach):
        service.subscribe(user)
    for kind in Entry.Kind.values:
        for author in (minor.user, guardian, coach, None):
            record(minor, kind, author=author, text="my knee hurts")
            told(service)
    assert len(service.notifications) > 3 * len(Entry.Kind.values)
    for notification in service.notifications:
        shown = f"{notification['title']} {notification['body']}".lower()
        for word in ("pip", "lo ", "dana", "knee", "pain", "hurt", "body", "under"):
            assert word not in shown, notification
        assert notification["title"] and "\n" not in notification["title"]


def test_what_is_urgent_stands_alone_and_no_later_note_takes_its_place(
    student: Student, coach: User, service: PushService
) -> None:
    service.subscribe(coach)
    for kind in ("message", "pain", "ready"):
        record(student, kind, author=student.user)
    first, second = told(service)
    assert first["title"] == "Please look today: this cannot wait"
    assert second["title"] == "Several things are new"
    assert (first["headers"]["Urgency"], second["headers"]["Urgency"]) == ("high", "normal")
    assert first["tag"] != second["tag"] and first["headers"]["Topic"] == first["tag"]


def test_letters_that_are_switched_off_are_no_notes_either(
    student: Student, coach: User, service: PushService
) -> None:
    service.subscribe(student.user)
    services.choose_emails(user=student.user, wanted=["work"])
    record(student, "message", author=coach)
    assert told(service) == []


@pytest.mark.parametrize("status", [404, 410])
def test_a_browser_that_is_gone_is_forgotten(
    student: Student, coach: User, service: PushService, status: int
) -> None:
    service.subscribe(student.user)
    service.answers = [status]
    record(student, "message", author=coach)
    assert told(service) == []
    assert not PushSubscription.objects.exists() and not PushMessage.objects.exists()


@pytest.mark.parametrize("status", [302, 400, 403, 429, 500, 503])
def test_what_is_not_taken_is_tried_again_later(
    student: Student, coach: User, service: PushService, status: int
) -> None:
    service.subscribe(student.user)
    service.answers = [status]
    service.headers = {"Location": "https://127.0.0.1/inside"}
    record(student, "message", author=coach)
    assert told(service) == [] and told(service) == []
    assert len(service.asked) == 1  # no redirect was followed, and nobody is asked twice at once
    PushMessage.objects.update(retry_at=timezone.now())
    assert len(told(service)) == 1


def test_a_notification_that_has_had_its_time_is_not_sent(
    student: Student, coach: User, service: PushService
) -> None:
    service.subscribe(student.user)
    record(student, "message", author=coach)
    services.address_entries()
    PushMessage.objects.update(expires_at=timezone.now())
    send_pushes()
    assert service.asked == [] and not PushMessage.objects.exists()
    record(student, "message", author=coach)
    services.address_entries()
    PushMessage.objects.update(attempts=pushing.MOST_ATTEMPTS)
    send_pushes()
    assert service.asked == [] and not PushMessage.objects.exists()


def test_two_workers_send_one_notification(
    student: Student, coach: User, service: PushService
) -> None:
    service.subscribe(student.user)
    record(student, "message", author=coach)
    services.address_entries()
    message = PushMessage.objects.select_related(
        "subscription__user", "entry__thread__student__studio", "entry__author"
    ).get()
    assert [pushing._send_turn([message]), pushing._send_turn([message])] == [1, 0]
    assert len(service.asked) == 1


@pytest.mark.parametrize(
    "endpoint",
    [
        "http://push.example.org/a",
        "https://push.example.org:8443/a",
        "https://push.example.org@127.0.0.1/a",
        "https://127.0.0.1/a",
        "https://[::1]/a",
        "https://localhost/a",
        "https://169.254.169.254/latest",
        "https://10.0.0.8/a",
        "https://evilpush.example.org/a",
        "https://push.example.org.evil.example/a",
        "https://push.example.net/a",  # the star stands for a name
        "https://push.example.org/" + "a" * 1000,
        "https://push.example.org/\n",
        "https://pu\u0455h.example.org/",
        "https://[/",
        "",
    ],
)
def test_nothing_is_posted_to_any_other_address(
    student: Student, service: PushService, endpoint: str
) -> None:
    told = service.browser().told | {"endpoint": endpoint}
    with pytest.raises(LessonError):
        devices.subscribe(user=student.user, session_key="s", **told)
    assert not PushSubscription.objects.exists()


def test_a_star_takes_any_name_before(student: Student, service: PushService) -> None:
    assert service.subscribe(student.user, service.browser(host="eu.push.example.net")).pk


@pytest.mark.parametrize(
    "keys", [{"p256dh": "AAAA"}, {"p256dh": "B" * 87}, {"auth": "AAAA"}, {"auth": "ü"}]
)
def test_keys_that_close_nothing_are_refused(
    student: Student, service: PushService, keys: dict[str, str]
) -> None:
    with pytest.raises(LessonError, match="key"):
        devices.subscribe(user=student.user, session_key="s", **(service.browser().told | keys))


def test_only_so_many_browsers_a_person(student: Student, service: PushService) -> None:
    rows = [service.subscribe(student.user) for _ in range(devices.MOST + 2)]
    kept = set(student.user.push_subscriptions.values_list("pk", flat=True))
    assert kept == {row.pk for row in rows[2:]}


def turn_on(client: Client, service: PushService) -> PushSubscription:
    answer = client.post(reverse("notify:push_on"), service.browser().told)
    assert answer.status_code == 204
    cookie = answer.cookies[devices.COOKIE]
    assert cookie["httponly"] and cookie["samesite"] == "Lax"
    return PushSubscription.objects.latest("pk")


def test_the_page_offers_it_shows_it_and_stops_it(
    student: Student, service: PushService, client_for: Callable[[User], Client]
) -> None:
    client = client_for(student.user)
    page = client.get(SETTINGS).content.decode()
    assert f'data-key="{pushing.public_key()}"' in page and "On no device so far." in page
    row = turn_on(client, service)
    page = client.get(SETTINGS).content.decode()
    assert "This device" in page and "data-key" not in page
    elsewhere = client_for(student.user).get(SETTINGS).content.decode()
    assert "Another device" in elsewhere and "data-key" in elsewhere
    assert row.endpoint not in page + elsewhere
    client.post(reverse("notify:push_off", args=[row.pk]))
    assert not PushSubscription.objects.exists()


def test_without_a_key_nothing_is_offered_and_nothing_goes(
    student: Student, coach: User, client_for: Callable[[User], Client], settings: Any
) -> None:
    client = client_for(student.user)
    page = client.get(SETTINGS).content.decode()
    assert "push-switch" not in page and 'id="notifications"' not in page
    answer = client.post(reverse("notify:push_on"), {"endpoint": "https://push.example.org/a"})
    assert answer.status_code == 409 and b"no notifications" in answer.content
    factories.make_push_subscription(user=student.user)
    record(student, "message", author=coach)
    services.address_entries()
    assert not PushMessage.objects.exists()


def test_what_is_odd_is_a_sentence(
    student: Student, service: PushService, client_for: Callable[[User], Client]
) -> None:
    answer = client_for(student.user).post(reverse("notify:push_on"), {"endpoint": "https://x/"})
    assert answer.status_code == 400 and b"not known here" in answer.content


def test_nobody_stops_the_notifications_of_another(
    student: Student, coach: User, service: PushService, client_for: Callable[[User], Client]
) -> None:
    row = service.subscribe(student.user)
    answer = client_for(coach).post(reverse("notify:push_off", args=[row.pk]))
    assert answer.status_code == 404
    with pytest.raises(Http404):
        devices.unsubscribe(subscription=row, by=coach)


def test_signing_out_ends_them_there_and_nowhere_else(
    student: Student, service: PushService, client_for: Callable[[User], Client]
) -> None:
    here, there = client_for(student.user), client_for(student.user)
    turn_on(here, service)
    kept = turn_on(there, service)
    here.post(reverse("account_logout"))
    assert list(PushSubscription.objects.all()) == [kept]


def test_somebody_else_signing_in_there_ends_them(
    student: Student, coach: User, service: PushService, client_for: Callable[[User], Client]
) -> None:
    client = client_for(student.user)
    turn_on(client, service)
    del client.cookies["sessionid"]  # the session ran out by itself
    form = {"login": coach.email, "password": factories.PASSWORD}
    assert client.post(reverse("account_login"), form).status_code == 302
    assert not PushSubscription.objects.exists()


def test_a_session_that_ran_out_ends_nothing_and_one_ended_from_afar_does(
    student: Student, service: PushService, client_for: Callable[[User], Client]
) -> None:
    client = client_for(student.user)
    row = turn_on(client, service)
    del client.cookies["sessionid"]
    form = {"login": student.email, "password": factories.PASSWORD}
    assert client.post(reverse("account_login"), form).status_code == 302
    row.refresh_from_db()
    assert row.session_key == client.cookies["sessionid"].value  # the same browser, known again
    client_for(student.user).post(reverse("usersessions_list"))
    assert not PushSubscription.objects.exists()


def test_a_new_password_or_role_ends_them_until_they_sign_in_again(
    student: Student, coach: User, service: PushService
) -> None:
    row = service.subscribe(student.user)
    User.objects.filter(pk=student.user.pk).update(access_epoch=5)
    record(student, "message", author=coach)
    assert told(service) == [] and not PushMessage.objects.exists()
    student.user.refresh_from_db()
    assert devices.of_user(student.user) == [] and PushSubscription.objects.get() == row


def test_who_leaves_a_studio_is_told_nothing_more(coach: User, service: PushService) -> None:
    helper = factories.make_coach(studio=coach.memberships.get().studio, role="coach")
    theirs = factories.make_student(coach=helper)
    service.subscribe(helper)
    record(theirs, "message", author=theirs.user)
    services.address_entries()
    studios.remove_member(membership=helper.memberships.get(), by=coach)
    send_pushes()
    assert service.asked == []


def test_erasing_takes_them_along_and_the_record_names_them(
    student: Student, service: PushService, client_for: Callable[[User], Client]
) -> None:
    row = service.subscribe(student.user)
    answer = client_for(student.user).get(reverse("people:export", args=[student.pk]))
    archive = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))
    text = archive.read("record.json").decode()
    (device,) = json.loads(text)["notifications_to_devices"]
    assert device["since"][:10] == f"{row.created_at:%Y-%m-%d}"
    for secret in (row.endpoint, row.auth, row.p256dh, row.device):
        assert secret not in text
    erase_record(student=student, by=student.user)
    assert not PushSubscription.objects.exists()


def test_the_command_makes_a_key_that_works(
    capsys: pytest.CaptureFixture[str], settings: Any
) -> None:
    call_command("push_key")
    name, _, key = capsys.readouterr().out.strip().partition("=")
    assert name == "PUSH_PRIVATE_KEY" and pushing.public_key() == ""
    settings.PUSH_PRIVATE_KEY = key
    assert len(pushing.public_key()) == 87 and devices._is_point(pushing.public_key())


def test_a_line_that_is_away_stops_no_other(
    student: Student, coach: User, service: PushService, monkeypatch: pytest.MonkeyPatch
) -> None:
    import requests

    service.subscribe(student.user)
    service.subscribe(coach)
    record(student, "message", author=coach)
    record(student, "message", author=student.user)
    real = service.send
    asked: list[str] = []

    def send(request: requests.PreparedRequest) -> requests.Response:
        asked.append(str(request.url))
        if len(asked) == 1:
            raise requests.ConnectionError
        return real(request)

    monkeypatch.setattr(service, "send", send)
    assert len(told(service)) == 1
    assert PushMessage.objects.get().retry_at > timezone.now() + timedelta(seconds=50)
