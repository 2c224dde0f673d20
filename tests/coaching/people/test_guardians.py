"""A minor's guardian: an own contact, consent by purpose, sees everything, withdraws."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from analysis.models import Video
from coaching.lessons.models import Entry
from coaching.people import access, queries
from coaching.people.errors import LessonError
from coaching.people.models import Invitation, Student, User
from coaching.people.services import consent, joining, students
from tests import factories


@pytest.fixture
def minor(coach: User) -> Student:
    """Has an account and nothing else: the guardian has not answered."""
    invitation = students.invite_student(
        studio=coach.memberships.get().studio, by=coach, name="Jo", email="jo@example.org"
    )
    user = factories.make_user(name="Jo", email="jo@example.org")
    return joining.join_student(invitation=invitation, user=user, is_minor=True)


@pytest.fixture
def link(minor: Student) -> Invitation:
    return consent.name_guardian(student=minor, by=minor.user, name="Ada", email="ada@example.org")


def test_nothing_is_kept_before_the_guardian_agrees(minor: Student, client_for) -> None:
    client = client_for(minor.user)
    wait = reverse("people:guardian_wait", args=[minor.pk])
    for step in ("people:body", "people:about", "people:consents"):
        assert client.get(reverse(step, args=[minor.pk])).url == wait
    with pytest.raises(LessonError):
        joining.note_body(student=minor, by=minor.user, notes=[{"region": "hip", "kind": "stiff"}])
    with pytest.raises(LessonError):
        joining.describe_student(student=minor, by=minor.user, stature_cm=150.0)
    with pytest.raises(LessonError):
        consent.give_consents(student=minor, by=minor.user, purposes=["store"])
    assert queries.consents_missing(minor) == ["store", "share_coach"]


@pytest.mark.parametrize("email", ["jo@example.org", "JO@example.org", "jo+mum@example.org"])
def test_guardian_needs_an_address_of_their_own(minor: Student, email: str) -> None:
    with pytest.raises(LessonError) as refusal:
        consent.name_guardian(student=minor, by=minor.user, name="Ada", email=email)
    assert refusal.value.code == "same_address"


def test_coach_cannot_be_the_guardian(minor: Student, coach: User) -> None:
    with pytest.raises(LessonError) as refusal:
        consent.name_guardian(student=minor, by=minor.user, name="C", email=coach.email)
    assert refusal.value.code == "staff_guardian"


def test_letter_goes_to_the_guardian_only(
    minor: Student, mailoutbox: list, django_capture_on_commit_callbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        made = consent.name_guardian(
            student=minor, by=minor.user, name="Ada", email="ada@example.org"
        )
    assert [m.to for m in mailoutbox if made.token in m.body] == [["ada@example.org"]]


def test_guardian_agrees_through_the_link(link: Invitation, minor: Student, client: Client) -> None:
    page = reverse("people:join", args=[link.token])
    form = {"name": "Ada", "email": "other@example.org", "password": factories.PASSWORD}
    refused = client.post(page, form | {"purposes": ["store"]})
    assert refused.status_code == 400  # must say that she is the guardian
    answer = client.post(page, form | {"purposes": ["store", "share_coach"], "is_guardian": "on"})
    assert answer.url == reverse("people:guardian", args=[minor.pk])
    guardian = User.objects.get(email="ada@example.org")  # the address the link proves
    assert not User.objects.filter(email="other@example.org").exists()
    assert queries.consents_missing(minor) == []
    assert queries.next_step(minor) == "people:body"
    assert access.student_read(guardian, minor.pk) == minor
    assert client.get(answer.url).status_code == 200
    # Only once.
    assert Client().get(page).status_code == 410


def test_student_cannot_use_the_guardians_link(
    link: Invitation, minor: Student, client_for
) -> None:
    page = reverse("people:join", args=[link.token])
    form = {"purposes": ["store", "share_coach"], "is_guardian": "on"}
    assert client_for(minor.user).post(page, form).status_code == 400
    assert queries.consents_missing(minor) == ["store", "share_coach"]
    link.refresh_from_db()
    assert link.used_at is None


def test_each_purpose_by_itself(link: Invitation, minor: Student) -> None:
    guardian = factories.make_user(email="ada@example.org")
    consent.agree_as_guardian(invitation=link, user=guardian, purposes=["store"])
    assert queries.consents_missing(minor) == ["share_coach"]
    assert not queries.shares_with_coach(minor)
    consent.give_consents(student=minor, by=guardian, purposes=["store", "share_coach"])
    assert queries.shares_with_coach(minor)
    assert minor.consents.count() == 2


def test_a_guardian_says_no_and_leaves_nothing_behind(
    link: Invitation, minor: Student, client: Client
) -> None:
    page = reverse("people:join", args=[link.token])
    answer = client.post(page, {"decline": "1"})
    assert answer.status_code == 200 and "You said no" in answer.content.decode()
    assert not User.objects.filter(email="ada@example.org").exists()
    assert not minor.guardianships.exists() and queries.next_step(minor) == "people:guardian_wait"
    assert Entry.objects.filter(kind="guardian").last().refs["step"] == "declined"
    assert client.post(page, {"decline": "1"}).status_code == 410
    client.force_login(minor.user)
    waiting = client.get(reverse("people:guardian_wait", args=[minor.pk])).content.decode()
    assert "Your guardian said no." in waiting


def test_the_rest_is_optional_and_taken_back_alone(student: Student, client_for) -> None:
    page = reverse("people:consents", args=[student.pk])
    client = client_for(student.user)
    client.post(page, {"purposes": ["store", "share_coach", "show_others"]})
    assert queries.agreed_purposes(student) == {"store", "share_coach", "show_others"}
    assert not queries.may_measure(student) and queries.consents_missing(student) == []
    entry = Entry.objects.filter(kind="consent").last()
    assert set(entry.refs["purposes"]) == {"measure", "check"} and entry.refs["some"]
    # What films stand on is taken back on its own page only, which says that they go.
    answer = client.post(page, {"purposes": ["show_others"]})
    assert answer.url == reverse("people:withdraw", args=[student.pk])
    assert queries.consents_missing(student) == []


def test_minor_who_joins_is_done_without_own_consents(minor: Student, link: Invitation) -> None:
    guardian = factories.make_user(email="ada@example.org")
    consent.agree_as_guardian(invitation=link, user=guardian, purposes=["store", "share_coach"])
    joining.note_body(student=minor, by=minor.user, notes=[])
    joining.describe_student(student=minor, by=minor.user, stature_cm=150.0)
    joining.finish_joining(student=minor, by=minor.user)
    assert queries.next_step(minor) is None
    assert Entry.objects.filter(kind="joined").count() == 1


def test_withdrawing_erases_the_clips(client_for, django_capture_on_commit_callbacks) -> None:
    guardian = factories.make_guardian()
    minor = queries.wards_of(guardian).get()
    consent.give_consents(student=minor, by=guardian, purposes=["store", "share_coach"])
    video = factories.make_video(files=True)
    factories.make_submission(student=minor, video=video)
    kept = video.original.storage
    name = video.original.name
    client = client_for(guardian)
    page = reverse("people:withdraw", args=[minor.pk])
    assert client.get(page).status_code == 200
    assert kept.exists(name)
    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(page).url == reverse("people:guardian", args=[minor.pk])
    assert not kept.exists(name)
    video = Video.objects.get(pk=video.pk)
    assert video.erased_at and not video.original and not video.copy and not video.still
    assert queries.consents_missing(minor) == ["store", "share_coach"]
    entry = Entry.objects.filter(kind="consent").last()
    assert entry.refs["given"] is False and entry.author == guardian


def test_only_the_guardian_says_that_he_came_of_age(client_for) -> None:
    guardian = factories.make_guardian()
    minor = queries.wards_of(guardian).get()
    consent.give_consents(student=minor, by=guardian, purposes=["store", "share_coach"])
    with pytest.raises(LessonError):
        joining.describe_student(student=minor, by=minor.user, age_band="18_59")
    minor.refresh_from_db()
    joining.describe_student(student=minor, by=guardian, age_band="18_59")
    # From now on he agrees for himself, and the guardian sees nothing more.
    assert queries.consents_missing(minor) == ["store", "share_coach"]
    assert not queries.wards_of(guardian).exists()
