"""Variants of attacks on accounts, guardians and letters."""

from __future__ import annotations

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from coaching.lessons import services as lessons
from coaching.notify import ical
from coaching.notify import services as notify
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Guardianship, Invitation, Letter, Student, User
from coaching.people.services import consent, joining
from coaching.people.services import studio as studios
from tests import factories

pytestmark = pytest.mark.django_db


def letters() -> list[Letter]:
    """What waits to be sent of accounts themselves."""
    return list(Letter.objects.order_by("pk"))


# Who finds a phone that is signed in makes another address the account's, and asks there for a
# new password.


def test_another_address_takes_the_password(coach: User, client_for) -> None:
    page = reverse("account_email")
    change = {"action_add": "", "email": "thief@example.org"}
    answer = client_for(coach, fresh=False).post(page, change)
    assert answer.url.startswith(reverse("account_reauthenticate"))
    assert letters() == [] and not coach.emailaddress_set.filter(email="thief@example.org")
    client_for(coach).post(page, change)
    assert [letter.to for letter in letters()] == ["thief@example.org"]


def test_changing_the_address_writes_to_few(coach: User, client_for, settings) -> None:
    """Each try writes to an address that nobody has proved: a relay, were there no end of it."""
    assert "20/d/user" in settings.ACCOUNT_RATE_LIMITS["manage_email"]
    client = client_for(coach)
    for number in range(12):
        change = {"action_add": "", "email": f"someone{number}@example.org"}
        client.post(reverse("account_email"), change)
    assert len(letters()) <= 10


# A letter that lets in is led elsewhere by whoever asks for it with another name of the site.


@pytest.mark.parametrize("host", ["localhost", "evil.example:8080"])
def test_a_mailed_link_leads_to_this_site_whatever_host_was_asked(
    host: str, coach: User, settings
) -> None:
    settings.ALLOWED_HOSTS = ["*"]
    settings.SITE_URL = "https://lessons.example.org"
    client = Client(headers={"Host": host})
    client.post(reverse("account_reset_password"), {"email": coach.email})
    (letter,) = letters()
    assert "https://lessons.example.org/" in letter.body
    assert host not in letter.body


def test_a_mailed_proof_leads_to_this_site(coach: User, client_for, settings) -> None:
    settings.ALLOWED_HOSTS = ["*"]
    settings.SITE_URL = "https://lessons.example.org"
    change = {"action_add": "", "email": "new@example.org"}
    client_for(coach).post(reverse("account_email"), change, headers={"Host": "localhost"})
    (letter,) = letters()
    assert "https://lessons.example.org/" in letter.body and "localhost" not in letter.body


# Whoever had the account once keeps the calendar's secret address.


def test_a_new_password_closes_the_calendar(coach: User, client_for) -> None:
    feed = reverse("notify:calendar", args=[notify.feed_of(coach).token])
    assert Client().get(feed).status_code == 200
    client = client_for(coach)
    new = "another quiet evening 9"
    client.post(
        reverse("account_change_password"),
        {"oldpassword": factories.PASSWORD, "password1": new, "password2": new},
    )
    assert Client().get(feed).status_code == 404
    assert client.get(reverse("notify:settings")).status_code == 200  # and there is a new one


# A letter waits for its mail server; meanwhile its reader has left.


def test_a_letter_does_not_follow_who_has_left(student: Student, coach: User) -> None:
    colleague = factories.make_coach(studio=student.studio, name="Leaving")
    Student.objects.filter(pk=student.pk).update(coach=colleague)
    student.refresh_from_db()
    lessons.send_message(student=student, author=student.user, text="In confidence.")
    assert notify.address_entries() == 1
    studios.remove_member(membership=colleague.memberships.get(), by=coach)
    notify.deliver()
    assert [letter for letter in mail.outbox if colleague.email in letter.to] == []


def test_a_letter_about_the_end_reaches_the_guardian_whom_it_ends(coach: User) -> None:
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    guardian = factories.make_guardian(student=minor)
    other = factories.make_guardian(student=minor)
    consent.declare_of_age(student=minor, by=other)
    consent.declare_of_age(student=minor, by=guardian)
    notify.send_notices()
    assert not access.students_read(other).filter(pk=minor.pk).exists()
    assert any(other.email in letter.to for letter in mail.outbox)


# A minor names another minor as guardian.


def test_somebody_under_18_is_no_guardian(coach: User) -> None:
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    friend = factories.make_student(coach=coach, age_band="under_18", consents=False).user
    assert minor.user is not None and friend is not None
    consent.name_guardian(student=minor, by=minor.user, name="Friend", email=friend.email)
    link = Invitation.objects.get(kind="guardian")
    with pytest.raises(LessonError) as refusal:
        consent.agree_as_guardian(invitation=link, user=friend, purposes=["store"])
    assert refusal.value.code == "minor_guardian"
    assert not Guardianship.objects.filter(verified_at__isnull=False).exists()


def test_a_guardian_does_not_join_as_a_minor(coach: User) -> None:
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    guardian = factories.make_guardian(student=minor)
    link = factories.make_invitation()
    with pytest.raises(LessonError) as refusal:
        joining.join_student(invitation=link, user=guardian, is_minor=True)
    assert refusal.value.code == "minor_guardian"
    assert joining.join_student(invitation=link, user=guardian, is_minor=False).user == guardian


# A name with a line of its own makes lines of the calendar.


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n", "\x0b", "\x85", "\u2028"])
def test_no_name_begins_a_line_of_the_calendar(end: str) -> None:
    event = ical.Event(
        uid="a@b",
        when=timezone.now(),
        summary=f"Studio{end}ATTACH:http://host.example",
        url="https://lessons.example.org",
        changed_at=timezone.now(),
    )
    told = ical.calendar([event], name="x").decode()
    assert not any(line.startswith("ATTACH") for line in told.splitlines())


# What a secret link shows stays in the cache of a proxy or a shared computer.


@pytest.mark.parametrize("name", ["people:join", "account_confirm_email"])
def test_what_a_secret_link_opens_is_kept_by_no_cache(name: str, client: Client) -> None:
    key = factories.make_invitation().token
    answer = client.get(reverse(name, args=[key]))
    assert "no-store" in answer.headers["Cache-Control"]


def test_the_form_of_a_new_password_is_kept_by_no_cache(client: Client) -> None:
    way = reverse("account_reset_password_from_key", kwargs={"uidb36": "1", "key": "abc-def"})
    assert "no-store" in client.get(way).headers["Cache-Control"]
