"""Founding a studio, who works in it, days off, and a student's place in it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pytest
from django.core.management import call_command
from django.test import Client, override_settings
from django.urls import reverse

from coaching.people import words
from coaching.people.errors import LessonError
from coaching.people.models import Invitation, Membership, Student, Studio, User
from coaching.people.services import students
from coaching.people.services.studio import add_holiday, change_role, invite_member, remove_member
from tests import factories

SETUP = {
    "studio": "Far Meadow",
    "name": "Robin",
    "email": "robin@example.org",
    "password": factories.PASSWORD,
}


def test_first_studio_is_founded_on_the_page_once(db: None, client: Client) -> None:
    assert b"Create your own studio" in client.get(reverse("account_login")).content
    answer = client.post(reverse("people:setup"), SETUP)
    assert answer.url == reverse("people:invite")
    owner = Studio.objects.get().memberships.get()
    assert (owner.role, owner.user.email) == ("owner", "robin@example.org")
    again = Client().post(reverse("people:setup"), SETUP | {"email": "b@example.org"})
    assert again.status_code == 409
    assert Studio.objects.count() == 1


def test_strangers_found_nothing_on_a_public_server(db: None, client: Client, settings) -> None:
    settings.EMBEDDED = False
    assert client.post(reverse("people:setup"), SETUP).status_code == 409
    assert not Studio.objects.exists()


def test_createstudio(db: None, monkeypatch: pytest.MonkeyPatch, client: Client) -> None:
    monkeypatch.setenv("OWNER_PASSWORD", factories.PASSWORD)
    for _ in range(2):  # a second studio of the same name gets an address of its own
        call_command("createstudio", "Far Meadow", "--email", "r@example.org", "--owner", "Robin")
    assert sorted(Studio.objects.values_list("slug", flat=True)) == ["far-meadow", "far-meadow-2"]
    assert client.login(username="r@example.org", password=factories.PASSWORD)


def test_colleague_joins_through_the_link(coach: User, client: Client) -> None:
    studio = coach.memberships.get().studio
    invitation = invite_member(studio=studio, by=coach, email="Col@example.org", role="assistant")
    page = reverse("people:join", args=[invitation.token])
    assert b"assistant" in client.get(page).content
    form = {"name": "Col", "email": "col@example.org", "password": factories.PASSWORD}
    assert client.post(page, form).status_code == 302
    assert studio.memberships.get(user__email="col@example.org").role == "assistant"
    with pytest.raises(LessonError):
        invite_member(studio=studio, by=coach, email="col@example.org", role="coach")


def test_link_for_a_colleague_opens_for_that_address_only(
    coach: User, stranger: User, client_for
) -> None:
    studio = coach.memberships.get().studio
    invitation = invite_member(studio=studio, by=coach, email="c@x.org", role="coach")
    page = reverse("people:join", args=[invitation.token])
    assert client_for(stranger).post(page).status_code == 403
    assert studio.memberships.count() == 1


def test_a_studio_keeps_an_owner(coach: User) -> None:
    own = coach.memberships.get()
    with pytest.raises(LessonError):
        change_role(membership=own, by=coach, role="coach")
    with pytest.raises(LessonError):
        remove_member(membership=own, by=coach)
    factories.make_coach(studio=own.studio, role="owner")
    remove_member(membership=own, by=coach)
    assert not Membership.objects.filter(user=coach).exists()


def test_days_off_and_turnaround(coach: User, stranger: User, client_for) -> None:
    studio = coach.memberships.get().studio
    client = client_for(coach)
    add = reverse("people:holiday_add", args=[studio.pk])
    wrong = client.post(add, {"starts_on": "2026-12-24", "ends_on": "2026-12-20"})
    assert wrong.status_code == 400 and not studio.holidays.exists()
    client.post(add, {"starts_on": "2026-12-24", "ends_on": "2027-01-02"})
    assert studio.holidays.get().ends_on == date(2027, 1, 2)
    promise = reverse("people:promise", args=[studio.pk])
    told = {"turnaround_hours": "24", "time_zone": "Pacific/Auckland", "working_days": ["5", "1"]}
    no_day = client.post(promise, told | {"working_days": []})
    assert no_day.status_code == 400 and b"at least one day of the week" in no_day.content
    client.post(promise, told)
    page = reverse("people:studio", args=[studio.pk])
    client.post(page, {"name": "New", "accent": "heather"})
    studio.refresh_from_db()
    assert (studio.name, studio.accent, studio.turnaround_hours) == ("New", "heather", 24)
    assert (studio.time_zone, studio.weekdays) == ("Pacific/Auckland", {1, 5})
    assert b'data-accent="heather"' in client.get(page).content
    other = client_for(stranger)
    assert other.get(reverse("people:studio", args=[studio.pk])).status_code == 404
    assert other.post(add, {"starts_on": "2026-12-24", "ends_on": "2026-12-24"}).status_code == 404


def test_holiday_moves_standing_promises(student: Student, coach: User) -> None:
    from django.utils import timezone

    submission = factories.make_submission(student=student)
    factories.make_checked(submission)
    before = submission.promised_at
    today = timezone.localdate()
    add_holiday(
        studio=student.studio, by=coach, starts_on=today, ends_on=today + timezone.timedelta(days=5)
    )
    submission.refresh_from_db()
    assert submission.promised_at > before


def test_hand_over(student: Student, coach: User, stranger: User, client_for) -> None:
    client = client_for(coach)
    hand = reverse("people:hand_over", args=[student.pk])
    assert client.post(hand, {"to": stranger.pk}).status_code == 400
    assert client.post(hand, {"to": "x"}).status_code == 400
    colleague = factories.make_coach(studio=student.studio)
    assert client.post(hand, {"to": colleague.pk}).status_code == 302
    student.refresh_from_db()
    assert student.coach == colleague
    assert client_for(stranger).post(hand).status_code == 404


def test_back_never_leads_away(student: Student, coach: User, client_for) -> None:
    page = reverse("people:close", args=[student.pk])
    answer = client_for(coach).post(page, {"next": "https://elsewhere.example/"})
    assert answer.url.startswith("/")


def test_assistant_prepares_but_does_not_invite(coach: User, client_for) -> None:
    studio = coach.memberships.get().studio
    helper = factories.make_coach(studio=studio, role="assistant")
    client = client_for(helper)
    assert client.post(reverse("people:invite"), {"name": "X"}).status_code == 404
    assert not Invitation.objects.exists()


def test_assistant_reads_the_profile_and_changes_nothing(student: Student, client_for) -> None:
    helper = factories.make_coach(studio=student.studio, role="assistant")
    page = reverse("people:student_edit", args=[student.pk])
    text = client_for(helper).get(page).content.decode()
    assert "right-handed" in text and "Name and address" not in text
    assert client_for(helper).post(page, {"name": "X"}).status_code == 404


def test_ten_wrong_passwords_close_the_door_for_a_while(coach: User, client: Client) -> None:
    page = reverse("account_login")
    wrong = {"login": coach.email, "password": "no"}
    for _ in range(10):
        assert client.post(page, wrong).status_code == 200
    right = {"login": coach.email, "password": factories.PASSWORD}
    assert client.post(page, right).status_code == 429
    # Somebody else is not shut out.
    other = factories.make_user()
    right["login"] = other.email.upper()
    assert client.post(page, right).status_code == 302


@pytest.fixture
def two_languages() -> Iterator[None]:
    with override_settings(LANGUAGES=[("en", "English"), ("de", "Deutsch")]):
        yield
    words.use_our_words()  # other languages make Django read its own catalogues anew


def test_language_and_units_are_kept(student: Student, client_for, two_languages: None) -> None:
    client = client_for(student.user)
    form = {"name": "Sam", "units": "imperial", "language": "de"}
    assert client.post(reverse("people:profile"), form).status_code == 302
    student.user.refresh_from_db()
    assert (student.user.units, student.user.language) == ("imperial", "de")
    assert student.user.preferences["keys"] is True  # has no review room to choose for
    assert b'<html lang="de">' in client.get(reverse("people:profile")).content


def test_password_is_set_anew_through_a_letter(
    student: Student, client: Client, mailoutbox: list, django_capture_on_commit_callbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("account_reset_password"), {"email": student.user.email})
    link = next(line for line in mailoutbox[0].body.splitlines() if "/password/" in line)
    page = client.get(link, follow=True)
    assert page.status_code == 200
    new = {"password1": "another quiet 8", "password2": "another quiet 8"}
    assert client.post(page.redirect_chain[-1][0], new).url == reverse("home")  # signed in
    assert Client().login(username=student.user.email, password="another quiet 8")


def test_one_language_is_no_question(student: Student, client_for) -> None:
    page = client_for(student.user).get(reverse("people:profile"))
    assert "Deutsch" not in page.content.decode() and "Language" not in page.content.decode()


@pytest.mark.parametrize(("backend", "claimed"), [("console", False), ("locmem", True)])
def test_mail_is_claimed_only_where_it_leaves(
    student: Student, coach: User, client_for, settings, backend: str, claimed: bool
) -> None:
    settings.EMAIL_BACKEND = f"django.core.mail.backends.{backend}.EmailBackend"
    made = students.invite_student(
        studio=student.studio, by=coach, name="Kit", email="kit@example.org"
    )
    page = client_for(coach).get(reverse("people:student_edit", args=[made.student_id]))
    assert ("We wrote it to" in page.content.decode()) == claimed
