"""A student joins: the link, the body first, the rest, what he agrees to."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from coaching.lessons.models import Entry
from coaching.people import queries
from coaching.people.errors import LessonError
from coaching.people.models import BodyNote, Consent, Invitation, Student, User
from coaching.people.services import joining, students
from tests import factories

ACCOUNT = {"name": "Sam Reed", "email": "sam@example.org", "password": factories.PASSWORD}
ABOUT = {
    "handedness": "left",
    "stature": "5 ft 10 in",
    "age_band": "18_59",
    "goals": "Turn without pain",
    "usual_miss": "low and right",
    "practice_place": "foam",
}


@pytest.fixture
def invitation(coach: User) -> Invitation:
    studio = coach.memberships.get().studio
    return students.invite_student(studio=studio, by=coach, name="Sam", email="sam@example.org")


def join(invitation: Invitation) -> str:
    return reverse("people:join", args=[invitation.token])


def test_invitation_is_mailed_with_its_link(
    coach: User, mailoutbox: list, django_capture_on_commit_callbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        made = students.invite_student(
            studio=coach.memberships.get().studio, by=coach, name="Kim", email="Kim@Example.org"
        )
    assert [m.to for m in mailoutbox] == [["kim@example.org"]]
    assert made.token in mailoutbox[0].body


def test_whole_way_in(invitation: Invitation, client: Client) -> None:
    student = invitation.student
    assert client.get(join(invitation)).status_code == 200
    answer = client.post(join(invitation), ACCOUNT | {"adult": "yes"})
    assert answer.url == reverse("people:body", args=[student.pk])

    # Nothing else opens before the body was asked about.
    early = client.get(reverse("people:about", args=[student.pk]))
    assert early.url == reverse("people:body", args=[student.pk])
    body = {"hip": "on", "hip_kind": "painful", "hip_side": "right", "hip_text": "turning in"}
    answer = client.post(reverse("people:body", args=[student.pk]), body)
    assert answer.url == reverse("people:about", args=[student.pk])

    answer = client.post(reverse("people:about", args=[student.pk]), ABOUT)
    assert answer.url == reverse("people:consents", args=[student.pk])
    answer = client.post(
        reverse("people:consents", args=[student.pk]), {"purposes": ["store", "share_coach"]}
    )
    assert answer.status_code == 302

    student.refresh_from_db()
    assert student.joined_at and student.handedness == "left"
    assert student.stature_cm == pytest.approx(177.8)
    assert student.user.units == "imperial"
    assert queries.consents_missing(student) == []
    assert queries.next_step(student) is None
    note = student.body_notes.get()
    # The right hip of somebody who turns out to play left-handed leads.
    assert (note.region, note.side, note.text) == ("hip", "lead", "turning in")
    joined = Entry.objects.get(kind="joined")
    assert joined.refs == {"body_notes": [note.pk]}


def test_adult_may_join_without_agreeing_but_not_send(
    invitation: Invitation, client: Client
) -> None:
    client.post(join(invitation), ACCOUNT | {"adult": "yes"})
    student = invitation.student
    client.post(reverse("people:body", args=[student.pk]), {"nothing": "on"})
    client.post(reverse("people:about", args=[student.pk]), ABOUT)
    page = reverse("people:consents", args=[student.pk])
    refused = client.post(page, {})  # nothing is on: that is said by the other button
    assert refused.status_code == 400 and "Nothing is switched on" in refused.content.decode()
    client.post(page, {"decline": "1"})
    student.refresh_from_db()
    assert student.joined_at
    assert queries.consents_missing(student) == ["store", "share_coach"]


@pytest.mark.parametrize(
    ("fields", "status", "text"),
    [
        ({"used_at": timezone.now()}, 410, "used"),
        ({"withdrawn_at": timezone.now()}, 410, "withdrawn"),
        ({"expires_at": timezone.now() - timedelta(minutes=1)}, 410, "too old"),
    ],
)
def test_closed_links_say_so(
    invitation: Invitation, client: Client, fields: dict, status: int, text: str
) -> None:
    Invitation.objects.filter(pk=invitation.pk).update(**fields)
    for answer in (client.get(join(invitation)), client.post(join(invitation), ACCOUNT)):
        assert answer.status_code == status
        assert text in answer.content.decode()
    assert not User.objects.filter(email="sam@example.org").exists()


def test_unknown_link(db: None, client: Client) -> None:
    assert client.get(reverse("people:join", args=["nothing"])).status_code == 404


def test_form_sent_twice_makes_one_account(invitation: Invitation, client: Client) -> None:
    client.post(join(invitation), ACCOUNT | {"adult": "yes"})
    again = client.post(join(invitation), ACCOUNT | {"adult": "yes"})
    assert again.url == reverse("people:body", args=[invitation.student_id])
    other = Client().post(join(invitation), ACCOUNT | {"email": "b@example.org", "adult": "yes"})
    assert other.status_code == 410
    assert User.objects.filter(email__in=["sam@example.org", "b@example.org"]).count() == 1


def test_address_with_an_account_is_told_to_sign_in(invitation: Invitation, client: Client) -> None:
    factories.make_user(email="sam@example.org")
    answer = client.post(join(invitation), ACCOUNT | {"adult": "yes"})
    assert answer.status_code == 400
    assert "sign in" in answer.content.decode()
    invitation.refresh_from_db()
    assert invitation.used_at is None


def test_coach_cannot_take_up_the_own_link(invitation: Invitation, coach: User, client_for) -> None:
    answer = client_for(coach).post(join(invitation), {"adult": "yes"})
    assert answer.status_code == 400
    assert Student.objects.get(pk=invitation.student_id).user is None


def test_new_link_closes_the_old_one(invitation: Invitation, coach: User, client: Client) -> None:
    fresh = students.renew_invitation(student=invitation.student, by=coach)
    assert client.get(join(invitation)).status_code == 410
    assert client.get(join(fresh)).status_code == 200


def test_body_needs_an_answer(student: Student, client_for) -> None:
    client = client_for(student.user)
    page = reverse("people:body", args=[student.pk])
    assert client.post(page, {}).status_code == 400
    both = client.post(page, {"nothing": "on", "hip": "on", "hip_kind": "stiff"})
    assert both.status_code == 400
    assert not BodyNote.objects.exists()


def test_later_note_tells_the_coach(student: Student) -> None:
    joining.note_body(
        student=student, by=student.user, notes=[{"region": "back", "kind": "stiff", "side": ""}]
    )
    entry = Entry.objects.get(kind="body_noted")
    assert entry.refs["body_notes"] == [student.body_notes.get().pk]
    joining.note_body(student=student, by=student.user, notes=[])
    assert Entry.objects.filter(kind="body_noted").count() == 1


def test_only_the_person_says_it_is_over(student: Student, coach: User, client_for) -> None:
    note = joining.note_body(
        student=student, by=student.user, notes=[{"region": "back", "kind": "stiff"}]
    )[0]
    page = reverse("people:body_over", args=[student.pk, note.pk])
    assert client_for(coach).post(page).status_code == 404
    assert client_for(student.user).post(page).status_code == 302
    note.refresh_from_db()
    assert note.over_at


def test_quarterly_question_for_minors_yearly_for_adults(student: Student) -> None:
    student.profile_confirmed_at = timezone.now() - timedelta(days=100)
    assert not queries.profile_is_old(student)
    student.age_band = Student.AgeBand.MINOR
    assert queries.profile_is_old(student)
    student.profile_confirmed_at = timezone.now() - timedelta(days=80)
    assert not queries.profile_is_old(student)


def test_turning_out_to_be_a_minor_voids_what_he_agreed_to(student: Student) -> None:
    joining.describe_student(student=student, by=student.user, age_band="under_18")
    assert queries.consents_missing(student) == ["store", "share_coach"]
    assert queries.next_step(student) == "people:guardian_wait"
    with pytest.raises(LessonError) as refusal:
        joining.describe_student(student=student, by=student.user, age_band="18_59")
    assert refusal.value.status == 403


@pytest.mark.parametrize(
    ("written", "cm"),
    [("178", 178), ("178 cm", 178), ("1.78 m", 178), ("1,78", 178), ("5 ft 10 in", 177.8),
     ("5'10\"", 177.8), ("5’ 10”", 177.8), ("6 ft", 182.9), ("6'", 182.9)],
)  # fmt: skip
def test_stature_as_people_write_it(written: str, cm: float) -> None:
    from coaching.people.stature import parse_stature_cm

    assert parse_stature_cm(written)[0] == pytest.approx(cm, abs=0.05)


@pytest.mark.parametrize("written", ["", "tall", "17", "9 ft", "-178", "178 in", "1780"])
def test_what_is_no_stature(written: str) -> None:
    from coaching.people.stature import parse_stature_cm

    with pytest.raises(ValueError, match=r"not a .*height|not a .*length"):
        parse_stature_cm(written)


@pytest.mark.parametrize(
    ("written", "cm"), [("94", 94), ("94,5 cm", 94.5), ("0.94 m", 94), ("37 in", 94), ('37"', 94)]
)
def test_a_clubs_length_as_people_write_it(written: str, cm: float) -> None:
    from coaching.people.stature import parse_club_cm

    assert parse_club_cm(written) == pytest.approx(cm, abs=0.05)


@pytest.mark.parametrize("written", ["", "long", "9.4", "37 ft", "940", "-94"])
def test_what_is_no_clubs_length(written: str) -> None:
    from coaching.people.stature import parse_club_cm

    with pytest.raises(ValueError, match=r"not a .*height|not a .*length"):
        parse_club_cm(written)


def test_consents_are_unticked(student: Student, client_for) -> None:
    Consent.objects.all().delete()
    page = client_for(student.user).get(reverse("people:consents", args=[student.pk]))
    assert b"checkbox" in page.content and b"checked" not in page.content


def test_home_leads_to_the_step_that_is_open(
    invitation: Invitation, client: Client, student: Student, client_for
) -> None:
    client.post(join(invitation), ACCOUNT | {"adult": "yes"})
    home = client.get(reverse("today", args=[invitation.student_id]))
    assert home.url == reverse("people:body", args=[invitation.student_id])
    old = timezone.now() - timedelta(days=400)
    Student.objects.filter(pk=student.pk).update(profile_confirmed_at=old)
    page = client_for(student.user).get(reverse("today", args=[student.pk]))
    assert reverse("people:confirm", args=[student.pk]) in page.content.decode()
