"""Letters: who gets them, once, and what a mail server that is away does to them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from allauth.account.models import EmailAddress
from django.core.mail.backends.locmem import EmailBackend
from django.urls import reverse
from django.utils import timezone

from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.notify import services
from coaching.notify.models import Notice
from coaching.notify.readers import FOR_COACH, FOR_STUDENT, GROUPS, readers_of
from coaching.notify.tasks import send_notices
from coaching.people.models import Student, User
from coaching.practice.services import judging
from tests import factories


def record(student: Student, kind: str, author: User | None = None, text: str = "") -> Entry:
    """An entry of a minute ago, when nothing can be undone any more."""
    entry = lessons.record(student=student, kind=kind, author=author, text=text)
    entry.created_at = timezone.now() - timedelta(minutes=1)
    entry.save()
    return entry


def test_every_turn_is_somebodys_and_can_be_switched_off_but_pain_and_guardians() -> None:
    kinds = set(Entry.Kind.values)
    assert kinds - FOR_COACH - FOR_STUDENT == {
        "sent",
        "practised",
    }  # told otherwise, or to nobody
    assert set().union(*GROUPS.values()) == (FOR_COACH | FOR_STUDENT) - {"pain", "guardian"}


@pytest.mark.parametrize("kind", sorted(FOR_STUDENT))
def test_student_hears_of_what_the_coach_did(student: Student, coach: User, kind: str) -> None:
    assert readers_of(record(student, kind, author=coach)) == [student.user]


@pytest.mark.parametrize("kind", sorted(FOR_COACH))
def test_coach_hears_of_what_the_student_did(student: Student, coach: User, kind: str) -> None:
    assert readers_of(record(student, kind, author=student.user)) == [coach]


@pytest.mark.parametrize("kind", Entry.Kind.values)
def test_guardian_is_copied_on_everything_except_the_own_words(coach: User, kind: str) -> None:
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    guardian = factories.make_guardian(student=minor)
    guardian.preferences = {"letters_off": list(GROUPS)}
    guardian.save()
    for author in (coach, minor.user, None):
        assert guardian in readers_of(record(minor, kind, author=author))
    assert guardian not in readers_of(record(minor, kind, author=guardian))


def test_unverified_guardian_hears_nothing(coach: User) -> None:
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    factories.make_guardian(student=minor, verified=False)
    assert readers_of(record(minor, "message", author=coach)) == [minor.user]


def test_student_without_a_coach_is_told_to_the_owners(student: Student, coach: User) -> None:
    Student.objects.filter(pk=student.pk).update(coach=None)
    student.refresh_from_db()
    assert readers_of(record(student, "message", author=student.user)) == [coach]


def test_switched_off_letters_stay_away_but_pain_does_not(student: Student, coach: User) -> None:
    services.choose_emails(user=coach, wanted=["work"])
    coach.refresh_from_db()
    student.refresh_from_db()
    assert readers_of(record(student, "message", author=student.user)) == []
    assert readers_of(record(student, "pain", author=student.user)) == [coach]


def test_letter_holds_the_words_and_the_way_back(
    student: Student, coach: User, mailoutbox: list
) -> None:
    record(student, "message", author=coach, text="Turn a little more & wait.")
    send_notices()
    (letter,) = mailoutbox
    assert letter.to == [student.user.email]
    assert letter.subject == "Robin Vale wrote to you"
    assert "Turn a little more & wait." in letter.body
    assert reverse("thread", args=[student.pk]) in letter.body


def test_one_letter_for_one_turn(student: Student, coach: User, mailoutbox: list) -> None:
    for kind in ("reviewed", "assigned", "assigned"):
        record(student, kind, author=coach)
    assert services.send_notices() == 1
    assert len(mailoutbox) == 1 and "several things" in mailoutbox[0].subject


@pytest.mark.parametrize("kind", lessons.UNDOABLE)
def test_nothing_is_mailed_while_it_can_be_undone(
    student: Student, coach: User, mailoutbox: list, kind: str
) -> None:
    entry = lessons.record(student=student, kind=kind, author=coach)
    assert services.send_notices() == 0
    entry.created_at = timezone.now() - services.HELD_FOR
    entry.save()
    assert services.send_notices() == 1
    assert services.HELD_FOR > lessons.UNDO_FOR


def test_told_once(student: Student, coach: User, mailoutbox: list) -> None:
    record(student, "message", author=coach, text="Hi")
    for _ in range(3):
        services.send_notices()
    assert len(mailoutbox) == 1
    assert Notice.objects.get().sent_at


def test_words_of_the_reader(student: Student, coach: User, mailoutbox: list) -> None:
    for kind in Entry.Kind.values:
        record(student, kind, author=coach if kind in FOR_STUDENT else student.user)
        services.send_notices()
    assert len(mailoutbox) == len(Entry.Kind.values) - 2  # what nobody is told of
    assert all("\n" not in letter.subject and letter.subject for letter in mailoutbox)
    pain = next(m for m in mailoutbox if "pain" in m.subject)
    assert pain.to == [coach.email]


def test_mail_server_that_is_away_loses_nothing(
    student: Student, coach: User, mailoutbox: list, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(self, messages):  # type: ignore[no-untyped-def]
        raise ConnectionRefusedError

    record(student, "message", author=coach, text="Hi")
    with monkeypatch.context() as patch:
        patch.setattr(EmailBackend, "send_messages", away)
        assert services.send_notices() == 0
    notice = Notice.objects.get()
    assert (notice.attempts, notice.sent_at) == (1, None)
    # Not at once again, but a minute later.
    assert services.send_notices() == 0 and not mailoutbox
    Notice.objects.update(retry_at=timezone.now() - timedelta(seconds=1))
    assert services.send_notices() == 1 and len(mailoutbox) == 1


def test_it_gives_up_in_the_end(student: Student, coach: User, mailoutbox: list) -> None:
    record(student, "message", author=coach, text="Hi")
    services.address_entries()
    Notice.objects.update(attempts=services.MOST_ATTEMPTS)
    assert services.deliver() == 0 and not mailoutbox


def test_two_workers_send_one_letter(student: Student, coach: User, mailoutbox: list) -> None:
    record(student, "message", author=coach, text="Hi")
    services.address_entries()
    notice = Notice.objects.select_related("user", "entry__thread__student__studio").get()
    # Both have read the row before either took it.
    assert [services._send_turn([notice]), services._send_turn([notice])] == [1, 0]
    assert len(mailoutbox) == 1


def test_demo_writes_to_nobody_outside(student: Student, coach: User, mailoutbox: list) -> None:
    student.studio.is_demo = True
    student.studio.save()
    record(student, "message", author=coach, text="Hi")
    services.send_notices()
    assert not mailoutbox and Notice.objects.get().sent_at


def test_letters_are_chosen_on_the_page(student: Student, client_for) -> None:
    page = reverse("notify:settings")
    client = client_for(student.user)
    assert client.get(page).status_code == 200
    assert client.post(page, {"wanted": ["text", "work"]}).status_code == 302
    student.user.refresh_from_db()
    assert student.user.preferences["letters_off"] == ["clips", "people"]


def test_a_letter_about_pain_is_never_given_up(
    student: Student, coach: User, mailoutbox: list
) -> None:
    record(student, "pain", author=student.user)
    services.address_entries()
    Notice.objects.update(attempts=200)
    assert services.unsent().count() == 1
    assert services.deliver() == 1 and len(mailoutbox) == 1


def test_a_letter_about_pain_is_tried_again_within_minutes(student: Student, coach: User) -> None:
    record(student, "pain", author=student.user)
    services.address_entries()
    Notice.objects.update(attempts=100)
    assert services._lease(Notice.objects.get())
    wait = Notice.objects.get().retry_at - timezone.now()
    assert wait <= services.LONGEST_PAIN_WAIT


def test_pain_goes_out_before_everything_that_came_earlier(
    student: Student, coach: User, mailoutbox: list, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(6):
        other = factories.make_student(coach=coach)
        record(other, "message", author=other.user, text=f"word {number}")
    record(student, "pain", author=student.user)
    monkeypatch.setattr(services, "BATCH", 2)
    services.send_notices()
    assert "pain" in mailoutbox[0].subject


def test_one_letter_that_cannot_be_written_stops_no_other(
    student: Student, coach: User, mailoutbox: list
) -> None:
    other = factories.make_student(coach=coach)
    User.objects.filter(pk=student.user.pk).update(email="no address\n")
    EmailAddress.objects.filter(user=student.user).update(email="no address\n")
    record(student, "message", author=coach, text="Hi")
    record(other, "message", author=coach, text="Hello")
    assert services.send_notices() == 1
    assert [letter.to for letter in mailoutbox] == [[other.user.email]]


def test_a_verdict_s_letter_says_drill_verdict_and_why_with_one_button(
    student: Student, coach: User, mailoutbox: list[Any]
) -> None:
    from tests.coaching.practice.making import make_assignment, make_review, open_attempt, send_film

    attempt = open_attempt(make_assignment(review=make_review(student=student)))
    send_film(attempt)
    judging.judge_attempt(attempt=attempt, by=coach, decision="nearly", cue="Hips first <now>.")
    Entry.objects.exclude(kind="judged").update(notified_at=timezone.now())
    Entry.objects.update(created_at=timezone.now() - timedelta(minutes=1))
    lessons.send_message(student=student, author=coach, text="See you.")
    send_notices()
    (letter,) = [row for row in mailoutbox if row.to == [student.user.email]]
    ((page, kind),) = letter.alternatives
    assert kind == "text/html"
    assert "Nearly: step 1 of “A drill”." in page and "Hips first &lt;now&gt;." in page
    assert "See you." in page
    assert page.count("display: inline-block") == 1
    for words in ("Nearly: step 1 of “A drill”.", "Hips first <now>."):
        assert words in letter.body
