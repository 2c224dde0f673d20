"""Attacks that once worked, played whole: each has to fail at its first step."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from io import BytesIO
from zipfile import ZipFile

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from coaching.lessons.models import Entry
from coaching.notify import services as notify
from coaching.people import access, queries
from coaching.people.errors import LessonError
from coaching.people.models import ApiToken, AuditEntry, Guardianship, Student, User
from coaching.people.services import consent, joining, record, students
from coaching.people.services.studio import change_role, invite_member, remove_member
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def minor(coach: User) -> Student:
    student = factories.make_student(coach=coach, age_band="under_18", consents=False, name="Jo")
    guardian = factories.make_guardian(student=student, name="Ada", email="ada@example.org")
    consent.give_consents(student=student, by=guardian, purposes=["store", "share_coach"])
    return student


@pytest.fixture
def guardian(minor: Student) -> User:
    return User.objects.get(email="ada@example.org")


def program(user: User) -> APIClient:
    _row, key = ApiToken.issue(user, name="test")
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {key}")
    return client


# A minor names a friend as second guardian, who then says that the minor is 18.


def test_a_minor_names_no_second_guardian(minor: Student, guardian: User) -> None:
    friend = {"name": "A friend", "email": "friend@example.org"}
    path = f"/api/students/{minor.pk}/guardian/"
    answer = program(minor.user).post(path, friend, format="json")
    assert (answer.status_code, answer.json()["code"]) == (403, "guardian_decides")
    assert not Guardianship.objects.filter(email="friend@example.org").exists()
    assert access.student_read(guardian, minor.pk) == minor


@pytest.mark.parametrize("who", ["guardian", "owner"])
def test_the_guardian_or_the_owner_names_another(
    who: str, minor: Student, guardian: User, coach: User
) -> None:
    by = guardian if who == "guardian" else coach
    path = f"/api/students/{minor.pk}/guardian/"
    answer = program(by).post(path, {"name": "Ben", "email": "ben@example.org"}, format="json")
    assert answer.status_code == 204
    entry = Entry.objects.get(kind="guardian")
    assert (entry.refs["step"], entry.author) == ("named", by)
    assert AuditEntry.objects.filter(act="guardian_named", by=by, student_id=minor.pk).exists()


@pytest.mark.parametrize("role", ["coach", "assistant"])
def test_other_staff_names_no_guardian(role: str, minor: Student) -> None:
    colleague = factories.make_coach(studio=minor.studio, role=role)
    path = f"/api/students/{minor.pk}/guardian/"
    new = {"name": "Ben", "email": "ben@example.org"}
    assert program(colleague).post(path, new, format="json").status_code == 404


def test_one_guardian_alone_does_not_end_the_other(
    minor: Student, guardian: User, mailoutbox: list
) -> None:
    second = factories.make_guardian(student=minor, name="Ben", email="ben@example.org")
    joining.describe_student(student=minor, by=second, age_band="18_59")
    minor.refresh_from_db()
    assert minor.is_minor
    assert access.student_read(guardian, minor.pk) == minor
    notify.send_notices()
    told = {to for mail in mailoutbox for to in mail.to}
    assert {"ada@example.org", minor.user.email} <= told
    # Once the other guardian says so too, it counts, and all of them hear of it.
    mailoutbox.clear()
    joining.describe_student(student=minor, by=guardian, age_band="18_59")
    minor.refresh_from_db()
    assert not minor.is_minor
    assert not queries.wards_of(guardian).exists() and not queries.wards_of(second).exists()
    notify.send_notices()
    told = {to for mail in mailoutbox for to in mail.to}
    assert {"ben@example.org", minor.user.email, minor.coach.email} <= told
    steps = [entry.refs["step"] for entry in Entry.objects.filter(kind="guardian")]
    assert steps == ["says_of_age", "came_of_age"]


def test_letters_to_guardians_have_an_end(coach: User) -> None:
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    for number in range(3):
        email = f"g{number}@example.org"
        consent.name_guardian(student=minor, by=minor.user, name="G", email=email)
    with pytest.raises(LessonError) as refusal:
        consent.name_guardian(student=minor, by=minor.user, name="G", email="g9@example.org")
    assert refusal.value.status == 429
    assert minor.invitations.count() == 3


@pytest.mark.parametrize("name", ["Win at http://host.example", "a\nSubject: b", "x@host.example"])
def test_a_name_carries_no_link_into_our_e_mails(name: str, minor: Student, client_for) -> None:
    page = reverse("people:guardian_add", args=[minor.pk])
    client = client_for(User.objects.get(email="ada@example.org"))
    assert client.post(page, {"name": name, "email": "b@example.org"}).status_code == 400
    new = {"name": name, "email": "b@example.org"}
    answer = program(minor.user).post(f"/api/students/{minor.pk}/guardian/", new, format="json")
    assert answer.status_code in {400, 403}


# A student joins with the address of a coming coach, and keeps a key of that account.


def test_nobody_waits_in_an_account_for_its_rights(
    coach: User, mailoutbox: list, django_capture_on_commit_callbacks
) -> None:
    studio = coach.memberships.get().studio
    link = students.invite_student(studio=studio, by=coach, name="Eve", email="")
    joined = APIClient().post(
        f"/api/join/{link.token}/",
        {"name": "Eve", "email": "soon@example.org", "password": factories.PASSWORD,
         "is_minor": False},
        format="json",
    )  # fmt: skip
    key = joined.json()["token"]
    browser = Client()
    browser.login(username="soon@example.org", password=factories.PASSWORD)
    assert browser.get(reverse("people:profile")).status_code == 200
    # The address is invited as a coach. Its real owner sets a new password by e-mail ...
    door = invite_member(studio=studio, by=coach, email="soon@example.org", role="coach")
    owner = Client()
    with django_capture_on_commit_callbacks(execute=True):
        owner.post(reverse("account_reset_password"), {"email": "soon@example.org"})
    letter = next(mail.body for mail in mailoutbox if "/password/" in mail.body)
    path = re.search(r"https?://[^/]+(/password/\S+)", letter)[1]
    page = owner.get(path, follow=True)
    new = {"password1": "another quiet 8", "password2": "another quiet 8"}
    assert owner.post(page.redirect_chain[-1][0], new).status_code == 302
    # ... and takes the invitation up.
    assert owner.post(reverse("people:join", args=[door.token])).status_code == 302
    assert owner.get(reverse("waiting")).status_code == 200
    # Eve's key and session are void.
    program_of_eve = APIClient()
    program_of_eve.credentials(HTTP_AUTHORIZATION=f"Token {key}")
    assert program_of_eve.get("/api/waiting/").status_code == 401
    assert "/login/" in browser.get(reverse("people:profile"))["Location"]


def test_a_role_ends_keys_and_sessions_of_before(coach: User, client_for) -> None:
    studio = coach.memberships.get().studio
    helper = factories.make_coach(studio=studio, role="assistant")
    key, page = program(helper), client_for(helper)
    assert key.get("/api/students/").status_code == 200
    change_role(membership=helper.memberships.get(), by=coach, role="coach")
    assert key.get("/api/students/").status_code == 401
    assert "/login/" in page.get(reverse("people:profile"))["Location"]
    helper.refresh_from_db()
    key = program(helper)
    remove_member(membership=helper.memberships.get(), by=coach)
    assert key.get("/api/students/").status_code == 401


def test_an_address_that_is_not_proved_gets_no_e_mails(coach: User, mailoutbox: list) -> None:
    user = factories.make_user(email="victim@example.org", proved=False)
    student = factories.make_student(coach=coach, user=user)
    from coaching.lessons.services import send_message

    send_message(student=student, author=coach, text="Hello")
    notify.send_notices()
    assert mailoutbox == []


def test_only_the_mailed_link_proves_an_address(coach: User, mailoutbox: list) -> None:
    studio = coach.memberships.get().studio
    account = {"name": "Kim", "password": factories.PASSWORD, "adult": "yes"}
    for number, by_mail in enumerate([True, False]):
        email = f"kim{number}@example.org"
        door = students.invite_student(studio=studio, by=coach, name="Kim", email=email)
        from coaching.people.mail import address_of

        mailed = address_of(door).partition("?mailed=")[2] if by_mail else "guess"
        page = reverse("people:join", args=[door.token])
        Client().post(page, account | {"email": email, "mailed": mailed})
        assert queries.has_proved_address(User.objects.get(email=email)) is by_mail


# Consent that is void.


def test_the_studio_gets_no_film_whose_consent_is_void(
    coach: User, minor: Student, guardian: User
) -> None:
    factories.make_submission(student=minor, video=factories.make_video(files=True))
    joining.describe_student(student=minor, by=guardian, age_band="18_59")
    minor.refresh_from_db()
    assert not queries.shares_with_coach(minor)
    for by, holds in ((coach, False), (minor.user, True)):
        archive = ZipFile(BytesIO(b"".join(record.export_record(minor, by=by))))
        assert (len(archive.namelist()) == 4) is holds  # the record, original, copy and still
        assert (archive.namelist() == ["record.json"]) is not holds
        withheld = json.loads(archive.read("record.json"))["files_withheld"]
        assert withheld == ("" if holds else "consent")


def test_void_consent_asks_and_then_erases(minor: Student, guardian: User) -> None:
    clip = factories.make_submission(student=minor, video=factories.make_video(files=True))
    joining.describe_student(student=minor, by=guardian, age_band="18_59")
    minor.refresh_from_db()
    asked = Entry.objects.filter(kind="consent").last()
    assert asked.refs["void"] and asked.refs["erased_on"] == minor.films_erased_on.isoformat()
    now = timezone.now()
    assert consent.erase_void_films(now + timedelta(days=29)) == 0
    reminder = now + timedelta(days=23)
    consent.erase_void_films(reminder)
    consent.erase_void_films(reminder)
    assert Entry.objects.filter(kind="consent", refs__reminder=True).count() == 1
    assert consent.erase_void_films(now + timedelta(days=31)) == 1
    clip.video.refresh_from_db()
    assert clip.video.erased_at
    assert consent.erase_void_films(now + timedelta(days=32)) == 0


def test_who_agrees_again_in_time_keeps_the_films(minor: Student, guardian: User) -> None:
    joining.describe_student(student=minor, by=guardian, age_band="18_59")
    minor.refresh_from_db()
    consent.give_consents(student=minor, by=minor.user, purposes=["store", "share_coach"])
    minor.refresh_from_db()
    assert minor.films_erased_on is None


# The log of who saw what.


def test_the_log_is_only_added_to(coach: User, student: Student, request) -> None:
    from django.db import DatabaseError, connection, transaction

    students.rename_student(student=student, by=coach, name="Sam", email="")
    row = AuditEntry.objects.get(act="changed")
    for change in (row.save, row.delete, AuditEntry.objects.all().delete):
        with pytest.raises(TypeError):
            change()
    if request.config.getoption("nomigrations", False):
        return  # the trigger is made by a migration
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE people_auditentry SET act = 'saw_film'")


def test_the_owner_and_the_student_read_the_log(coach: User, student: Student, client_for) -> None:
    b"".join(record.export_record(student, by=coach))
    own = reverse("people:log", args=[student.pk])
    assert "downloaded the whole record" in client_for(student.user).get(own).content.decode()
    studio = reverse("people:studio_log", args=[student.studio_id])
    assert "downloaded the whole record" in client_for(coach).get(studio).content.decode()
    other = factories.make_student(coach=coach)
    assert client_for(other.user).get(own).status_code == 404


def test_the_log_outlives_the_record(coach: User, student: Student) -> None:
    pk = student.pk
    record.erase_record(student=student, by=coach)
    assert AuditEntry.objects.filter(act="erased", student_id=pk, by=coach).exists()


# A bad holiday.


def test_a_coach_sees_no_owners_page_by_a_bad_holiday(student: Student, client_for) -> None:
    colleague = factories.make_coach(studio=student.studio)
    add = reverse("people:holiday_add", args=[student.studio_id])
    answer = client_for(colleague).post(add, {"starts_on": "nonsense", "ends_on": ""})
    assert answer.status_code == 400
    text = answer.content.decode()
    assert "Days off" in text
    assert "Who works here" not in text and "@" not in text


# The same form sent twice.


def test_the_same_form_sent_twice_makes_one(coach: User) -> None:
    studio = coach.memberships.get().studio
    for email in ("", "kim@example.org"):
        rows = [
            students.invite_student(studio=studio, by=coach, name="Kim", email=email)
            for _ in range(2)
        ]
        assert rows[0] == rows[1]
    members = [
        invite_member(studio=studio, by=coach, email="c@example.org", role="coach")
        for _ in range(2)
    ]
    assert members[0] == members[1]
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    named = [
        consent.name_guardian(student=minor, by=minor.user, name="G", email="g@example.org")
        for _ in range(2)
    ]
    assert named[0] == named[1]
    assert Entry.objects.filter(kind="guardian").count() == 1


def test_a_look_at_a_film_is_written_once(coach: User, student: Student, client_for) -> None:
    clip = factories.make_submission(student=student, video=factories.make_video(files=True))
    page = reverse("intake:media", args=[clip.video_id, "copy"])
    for user in (coach, coach, student.user):
        assert client_for(user).get(page).status_code == 200
    assert [row.by for row in AuditEntry.objects.filter(act="saw_film")] == [coach]
