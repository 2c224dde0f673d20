"""What a program, or a browser at the API's addresses, learned or did and should not have."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from allauth.mfa.totp.internal.auth import TOTP
from django.urls import get_resolver, reverse
from django.utils import timezone
from rest_framework.renderers import JSONRenderer
from rest_framework.test import APIClient
from rest_framework.views import APIView

from coaching.lessons.models import Entry
from coaching.people.models import ApiToken, BodyNote, Guardianship, Student, User
from coaching.people.services import studio as studio_services
from coaching.review.models import Review
from tests import factories
from tests.coaching.practice import making

pytestmark = pytest.mark.django_db


def program(user: User) -> APIClient:
    _row, key = ApiToken.issue(user, name="test")
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {key}")
    return client


# A browser that asks for a page got forms whose lists held every row of every studio.


@pytest.mark.parametrize(
    "address",
    [
        "submissions/{clip}/override/",
        "reviews/{review}/text/",
        "attempts/1/take_back/",
        "students/",
    ],
)
def test_no_form_lists_the_rows_of_others(address: str, student: Student, client_for) -> None:
    stranger = factories.make_student(name="Foreign Person")
    hidden = factories.make_submission(student=stranger)
    ids = {
        "clip": factories.make_submission(student=student).pk,
        "review": making.make_review(student=student).pk,
    }
    accept = {"Accept": "text/html,application/xhtml+xml,*/*;q=0.8"}
    answer = client_for(student.user).get("/api/" + address.format(**ids), headers=accept)
    assert answer.headers["Content-Type"] == "application/json"
    told = answer.content.decode()
    assert "Foreign Person" not in told and f"({hidden.pk})" not in told


def test_every_operation_answers_in_json() -> None:
    views = [pattern for pattern in _patterns(get_resolver()) if hasattr(pattern, "cls")]
    assert len(views) > 40
    told = {renderer for view in views for renderer in view.cls.renderer_classes}
    assert {kind.format for kind in told} <= {"json", "openapi", "yaml"}
    assert JSONRenderer in told and APIView.renderer_classes == [JSONRenderer]


def _patterns(resolver: Any) -> Any:
    for pattern in resolver.url_patterns:
        if hasattr(pattern, "url_patterns"):
            yield from _patterns(pattern)
        else:
            yield pattern.callback


# A student answers a question that is still a draft, and reads the draft by it.


def test_a_draft_is_not_read_by_answering_it(coach: User, student: Student) -> None:
    draft = Review.objects.create(student=student, coach=coach)
    question = making.make_finding(review=draft, kind="question", text="a hip that is stiff")
    address = f"/api/findings/{question.pk}/answer/"
    answer = program(student.user).post(address, {"text": "Yes."}, format="json")
    assert answer.status_code == 404
    question.refresh_from_db()
    assert question.answered_at is None and question.answer == ""


# A studio asks for a second step: a program went in with the password alone.


def test_a_program_needs_the_second_step_that_a_studio_asks_for(coach: User) -> None:
    before = program(coach)
    assert before.get("/api/students/").status_code == 200
    studio = coach.memberships.get().studio
    studio_services.change_studio(studio=studio, by=coach, second_step_required=True)
    for client in (before, program(coach)):
        answer = client.get("/api/students/")
        assert answer.status_code == 403 and "second step" in answer.json()["detail"]
    given = {"email": coach.email, "password": factories.PASSWORD}
    refused = APIClient().post("/api/login/", given, format="json")
    assert (refused.status_code, refused.json()["code"]) == (403, "second_step")
    TOTP.activate(coach, "JBSWY3DPEHPK3PXP")
    assert before.get("/api/students/").status_code == 200


# Who finds a phone that is signed in makes a key, and the key erases without the password.


def test_a_key_is_made_only_after_the_password(student: Student, client_for) -> None:
    page = reverse("people:tokens")
    client = client_for(student.user, fresh=False)
    assert client.get(page).status_code == 200  # what is there may be read, and removed
    answer = client.post(page, {"name": "mine"})
    assert answer.url.startswith(reverse("account_reauthenticate"))
    assert not student.user.api_tokens.exists()


# The API is another entrance to the same names: what goes into our e-mails holds no link.


@pytest.mark.parametrize("name", ["Win at http://host.example", "See www.host.example"])
def test_no_name_that_a_program_gives_carries_a_link(
    name: str, coach: User, student: Student
) -> None:
    studio = student.studio
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    guardian = {"name": name, "email": "g@example.org"}
    link = factories.make_invitation(studio=studio)
    join = {"name": name, "email": "n@example.org", "password": "three words in a row"}
    agree = factories.make_invitation(
        studio=studio, student=minor, kind="guardian", email="h@example.org"
    )
    Guardianship.objects.create(student=minor, email="h@example.org", name="H")
    tries = [
        (program(minor.user), f"/api/students/{minor.pk}/guardian/", guardian),
        (program(coach), f"/api/studios/{studio.pk}/invite/", {"name": name}),
        (APIClient(), f"/api/join/{link.token}/", join | {"is_minor": False}),
        (APIClient(), f"/api/agree/{agree.token}/", join | {"purposes": ["store"]}),
    ]
    for client, address, data in tries:
        answer = client.post(address, data, format="json")
        assert answer.status_code == 400, address
        assert "links" in str(answer.json()), address
    for model in (User, Student, Guardianship):
        assert not model.objects.filter(name=name).exists()


# One request that makes rows without end.


def test_the_body_has_so_many_parts_and_no_more(student: Student) -> None:
    notes = [{"region": "hip", "kind": "stiff", "text": f"{n}"} for n in range(41)]
    address = f"/api/students/{student.pk}/body/"
    answer = program(student.user).post(address, {"notes": notes}, format="json")
    assert answer.status_code == 400 and not BodyNote.objects.exists()
    assert (
        program(student.user).post(address, {"notes": notes[:40]}, format="json").status_code == 201
    )


# A key in the body: what is somebody else's is not told apart from what is not there.


def test_a_foreign_key_in_a_body_is_as_one_that_is_not_there(
    coach: User, student: Student, stranger: User
) -> None:
    foreign = factories.make_student(coach=stranger)
    clip = factories.make_submission(student=foreign)
    theirs = making.make_assignment(review=making.make_review(student=foreign))
    draft = Review.objects.create(student=student, coach=coach)
    draft.submissions.add(factories.make_submission(student=student))
    mark = {"start_s": 0.1, "shape": "line", "points": [[0.1, 0.1], [0.2, 0.2]]}
    bodies = [
        (coach, f"/api/reviews/{draft.pk}/mark/", "video", clip.video_id, mark),
        (student.user, f"/api/students/{student.pk}/pain/", "assignment", theirs.pk,
         {"region": "hip"}),
    ]  # fmt: skip
    for user, address, name, key, data in bodies:
        told = []
        for value in (key, 10**9):
            answer = program(user).post(address, data | {name: value}, format="json")
            told.append((answer.status_code, answer.json()))
        assert told[0] == told[1], address
        assert told[0][0] in {400, 404}


def test_old_keys_do_not_outlive_their_time_in_the_body(student: Student) -> None:
    """A key that has expired reads nothing, and leaves no trace that it was tried as somebody."""
    client = program(student.user)
    ApiToken.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert client.get("/api/students/").status_code == 401
    assert not Entry.objects.filter(author=student.user).exists()
