"""A letter that lets somebody in outlives its process, and the mail server's absence."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.db import transaction
from django.test import Client
from django.utils import timezone

from coaching.people import outbox
from coaching.people.models import Letter, User
from coaching.people.services import consent, students
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def by_the_worker(settings: Any) -> None:
    settings.MAIL_IN_BACKGROUND = True


def reset(email: str) -> int:
    return Client().post("/password/reset/", {"email": email}).status_code


def test_a_new_password_is_asked_for_and_the_process_dies(coach: User) -> None:
    assert reset(coach.email) == 302
    assert mail.outbox == []  # nothing of this process is needed any more
    assert outbox.deliver() == 1
    (letter,) = mail.outbox
    assert letter.to == [coach.email] and "/password/reset/key/" in letter.body
    assert not Letter.objects.exists()  # it held a link that opens the account
    assert outbox.deliver() == 0


def test_an_address_without_an_account_gets_no_letter(coach: User) -> None:
    assert reset("nobody@example.org") == 302
    assert not Letter.objects.exists()


def test_an_invitation_that_is_not_stored_is_not_mailed(coach: User) -> None:
    studio = coach.memberships.get().studio
    with transaction.atomic():
        students.invite_student(studio=studio, by=coach, name="Jo", email="jo@example.org")
        assert Letter.objects.count() == 1
        transaction.set_rollback(True)
    assert not Letter.objects.exists()


def test_a_mail_server_that_is_away_loses_nothing(
    coach: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    reset(coach.email)

    def away(self: EmailBackend, messages: Any) -> int:
        raise ConnectionRefusedError

    with monkeypatch.context() as patch:
        patch.setattr(EmailBackend, "send_messages", away)
        assert outbox.deliver() == 0
    assert outbox.deliver() == 0  # not yet again
    Letter.objects.update(retry_at=timezone.now())
    assert outbox.deliver() == 1 and len(mail.outbox) == 1


def test_a_worker_killed_over_a_letter_leaves_it_to_the_next(
    coach: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    reset(coach.email)

    def killed(self: EmailBackend, messages: Any) -> int:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(EmailBackend, "send_messages", killed)
        with pytest.raises(KeyboardInterrupt):
            outbox.deliver()
    letter = Letter.objects.get()
    assert letter.attempts == 1 and letter.retry_at > timezone.now()
    Letter.objects.update(retry_at=timezone.now())
    assert outbox.deliver() == 1


def test_two_workers_send_one_letter(coach: User) -> None:
    reset(coach.email)
    letter = Letter.objects.get()
    assert outbox._send(letter) == 1
    assert outbox._send(letter) == 0  # read before the other had it
    assert len(mail.outbox) == 1


def test_nothing_that_opens_an_account_lies_about(coach: User) -> None:
    reset(coach.email)
    Letter.objects.update(created_at=timezone.now() - timedelta(days=4), attempts=80)
    assert outbox.deliver() == 0
    assert not Letter.objects.exists() and mail.outbox == []


def test_a_guardian_of_a_minor_is_written_to_in_the_same_way(coach: User) -> None:
    student = factories.make_student(coach=coach, age_band="under_18", consents=False)
    consent.name_guardian(student=student, by=student.user, email="g@example.org", name="Ada")
    assert Letter.objects.get().to == "g@example.org"
