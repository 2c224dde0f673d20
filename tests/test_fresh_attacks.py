"""The newer ways in, tried by a stranger, another student, an assistant, another studio's coach."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from coaching.diagnosis.services import voices
from coaching.intake import upload_buffer
from coaching.intake.models import Upload
from coaching.intake.services import filming_links, uploads
from coaching.notify.models import PushSubscription
from coaching.people.models import Consent, Student, User
from coaching.practice.models import PracticeSeries
from coaching.practice.services import practising
from coaching.review.models import Mark
from coaching.review.services import drafts, sending
from tests import factories
from tests.coaching.intake.test_filming_links import opened
from tests.coaching.practice import making
from tests.coaching.review.clips import make_clip

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]


@pytest.fixture
def other(coach: User) -> Student:
    """Another student of the same coach."""
    return factories.make_student(coach=coach)


def signed_in(user: User | None) -> APIClient:
    client = APIClient()
    client.force_authenticate(user)
    return client


def outsiders(student: Student, other: Student) -> Iterator[tuple[str, User | None]]:
    yield "stranger", None
    yield "student", other.user
    yield "coach elsewhere", factories.make_coach(role="owner")


# Practice over the API


def test_practice_is_told_by_the_student_alone(student: Student, other: Student) -> None:
    own = making.make_assignment(review=making.make_review(student=student))
    path = f"/api/assignments/{own.pk}/practise/"
    assistant = factories.make_coach(studio=student.studio, role="assistant")
    for who, user in (*outsiders(student, other), ("coach", student.coach), ("asst", assistant)):
        answer = signed_in(user).post(path, {"repetitions": 5}, format="json")
        assert answer.status_code == (401 if user is None else 404), who
    assert not PracticeSeries.objects.exists()


def test_the_key_of_another_students_practice_opens_nothing(
    student: Student, other: Student
) -> None:
    key, told = uuid.uuid4(), []
    for person, times in ((student, 7), (other, 9)):
        row = making.make_assignment(review=making.make_review(student=person))
        answer = signed_in(person.user).post(
            f"/api/assignments/{row.pk}/practise/",
            {"repetitions": times, "key": str(key)},
            format="json",
        )
        assert answer.status_code == 201
        told.append(answer.json()["repetitions"])
    assert told == [7, 9]


def test_a_day_of_practice_has_an_end(student: Student, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(practising, "MOST_A_DAY", 2)
    row = making.make_assignment(review=making.make_review(student=student))
    path, key = f"/api/assignments/{row.pk}/practise/", str(uuid.uuid4())
    body = {"repetitions": 5, "key": key}
    answers = [
        signed_in(student.user).post(path, told, format="json").status_code
        for told in (body, {"repetitions": 5}, {"repetitions": 5}, body)
    ]
    assert answers == [201, 201, 409, 201]  # the last was noted before


# Voice notes


@pytest.mark.django_db(transaction=True)
def test_a_voice_is_heard_by_its_own_studio_and_once_sent_by_its_student(
    student: Student, other: Student, client_for: ClientFor, coach: User
) -> None:
    review = making.make_review(student=student)
    finding = making.make_finding(review=review)
    voices.keep_voice(finding=finding, by=coach, voice=ContentFile(b"sound", name="a.webm"))
    path = reverse("diagnosis:voice", args=[finding.pk])
    for who, user in outsiders(student, other):
        answer = (client_for(user) if user else Client()).get(path)
        assert answer.status_code == (404 if user else 302), who
    assert student.user is not None
    mine = client_for(student.user)
    assert mine.get(path).status_code == 404  # nothing was sent yet
    assert client_for(coach).get(path).status_code == 200
    sending.publish_review(review=review, by=coach)
    assert mine.get(path).status_code == 200


# Consent switches


@pytest.mark.parametrize("way", ["consent", "withdraw"])
def test_nobody_else_agrees_or_withdraws(student: Student, other: Student, way: str) -> None:
    assistant = factories.make_coach(studio=student.studio, role="assistant")
    owner = factories.make_coach(studio=student.studio, role="owner")
    before = list(Consent.objects.order_by("pk").values())
    for who, user in (*outsiders(student, other), ("assistant", assistant), ("owner", owner)):
        path = f"/api/students/{student.pk}/{way}/"
        answer = signed_in(user).post(path, {"purposes": ["measure"]}, format="json")
        assert answer.status_code == (401 if user is None else 404), who
    assert list(Consent.objects.order_by("pk").values()) == before


# Comparisons


def test_a_comparison_takes_clips_of_one_whom_one_may_see(
    student: Student, other: Student, client_for: ClientFor, coach: User
) -> None:
    mine, again = make_clip(student=student), make_clip(student=student)
    theirs = make_clip(student=other)

    def compared(user: User | None, *pair: Any) -> int:
        client = client_for(user) if user else Client()
        asked = dict(zip("ab", [clip.video_id for clip in pair], strict=True))
        return client.get(reverse("review:compare"), asked).status_code

    assert student.user is not None
    assert compared(student.user, mine, again) == 200
    for pair in ((mine, theirs), (theirs, mine), (theirs, theirs)):
        assert compared(student.user, *pair) == 404
    assert compared(coach, mine, theirs) == 404  # one student's pictures beside another's
    for who, user in outsiders(student, other):
        assert compared(user, mine, again) == (404 if user else 302), who


# Links that film


def test_a_filming_link_writes_into_nothing_else_that_its_maker_sends(
    student: Student, settings: Any, tmp_path: Path
) -> None:
    settings.UPLOAD_BUFFER = tmp_path
    user = student.user
    assert user is not None
    asked = factories.make_request(student=student)
    link = filming_links.make_link(request=asked, by=user, days=3)
    elsewhere = factories.make_request(student=student).angles.get()
    key = uuid.uuid4()
    own = uploads.create_upload(by=user, length=5, student=student, angle=elsewhere, key=key)
    for length in (5, 6):  # as long as it, and not
        Upload.objects.filter(pk=own.pk).update(length=length)
        answer = opened(link, asked.angles.get(), key=str(key))
        assert answer.status_code == 201 and str(key) not in answer["Location"]
    assert Upload.objects.filter(pk=own.pk, angle=elsewhere).exists()
    assert upload_buffer.path(own.pk).exists()


# Browsers that get notifications


def test_a_subscription_is_ended_by_its_owner_alone(
    student: Student, other: Student, client_for: ClientFor
) -> None:
    assert student.user is not None and other.user is not None
    row = factories.make_push_subscription(user=student.user)
    address = reverse("notify:push_off", args=[row.pk])
    for user in (other.user, student.coach):
        assert client_for(user).post(address).status_code == 404
    assert Client().post(address).status_code == 302
    assert PushSubscription.objects.filter(pk=row.pk).exists()


# Marks of programs


def test_a_mark_lands_in_a_draft_of_the_own_studio_alone(
    student: Student, other: Student, coach: User
) -> None:
    clip, theirs = make_clip(student=student), make_clip(student=other)
    draft = drafts.open_draft(submissions=[clip], by=coach)
    body = {"video": clip.video_id, "start_s": 0.1, "shape": "note", "text": "x"}
    path = f"/api/reviews/{draft.pk}/mark/"
    for who, user in (*outsiders(student, other), ("its student", student.user)):
        answer = signed_in(user).post(path, body, format="json")
        assert answer.status_code == (401 if user is None else 404), who
    foreign = body | {"video": theirs.video_id}
    assert signed_in(coach).post(path, foreign, format="json").status_code == 404
    assert not Mark.objects.exists()
