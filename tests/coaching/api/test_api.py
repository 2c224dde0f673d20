"""Who gets what from the API, and that its description is a valid one."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.generators import SchemaGenerator
from openapi_spec_validator import validate
from rest_framework.test import APIClient

from coaching.diagnosis.models import Finding
from coaching.lessons.wording import codes
from coaching.people.models import ApiToken
from coaching.practice.models import PainReport
from coaching.practice.services import practising
from coaching.review.models import Review
from tests import factories
from tests.coaching.practice.making import make_assignment, make_review, open_attempt

pytestmark = pytest.mark.django_db


def api(user=None):
    client = APIClient()
    if user is not None:
        client.force_authenticate(user)
    return client


def with_token(user, *, minutes_ago=0):
    """A client of a program that has signed in."""
    row, key = ApiToken.issue(user, name="test")
    made = timezone.now() - timedelta(minutes=minutes_ago)
    ApiToken.objects.filter(pk=row.pk).update(created_at=made)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {key}")
    return client


def test_the_schema_is_valid_openapi():
    """Checked by the independent validator of the OpenAPI specification."""
    validate(SchemaGenerator().get_schema(request=None, public=True))


def test_the_reference_page_names_every_operation(client):
    page = client.get(reverse("api:reference")).content.decode()
    for path in SchemaGenerator().get_schema(request=None, public=True)["paths"]:
        assert path in page


def test_nothing_is_open_to_somebody_unknown():
    for path in ("students", "submissions", "reviews", "waiting", "attempts", "pain"):
        assert api().get(f"/api/{path}/").status_code == 401


def test_a_wrong_password_gets_one_sentence(coach):
    answer = APIClient().post("/api/login/", {"email": coach.email, "password": "no"})
    assert answer.status_code == 400
    assert answer.json() == {
        "detail": "The address or the password is not right.",
        "code": "login",
    }


def rows_of(student):
    """One row of each kind that hangs on the student, by the name of its list."""
    clip = factories.make_submission(student=student)
    review = Review.objects.create(student=student)
    given = open_attempt(make_assignment(review=make_review(student=student))).step.assignment
    practised = practising.record_practice(
        assignment=given, by=student.user, key=uuid.uuid4(), repetitions=10
    )
    return {
        "students": student,
        "requests": clip.angle.request,
        "submissions": clip,
        "reviews": review,
        "findings": Finding.objects.create(
            student=student, review=review, kind="cause", text="the grip is strong"
        ),
        "pain": PainReport.objects.create(student=student, region="hip"),
        "practice": practised,
    }


def test_a_stranger_gets_404_and_empty_lists(student, stranger):
    client = api(stranger)
    for name, row in rows_of(student).items():
        assert client.get(f"/api/{name}/{row.pk}/").status_code == 404, name
        assert client.get(f"/api/{name}/").json()["results"] == [], name


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("students/{students}/message/", {"text": "Hello"}),
        ("students/{students}/request/", {"angles": [{"view": "face_on"}]}),
        ("students/{students}/pain/", {"region": "hip"}),
        ("students/{students}/thread/", None),
        ("students/{students}/body/", {"notes": []}),
        ("students/{students}/describe/", {"stature_cm": 170}),
        ("students/{students}/guardian/", {"name": "A", "email": "a@example.org"}),
        ("students/{students}/consent/", {"purposes": ["store"]}),
        ("students/{students}/withdraw/", {}),
        ("students/{students}/put_off/", {"thing": "clip-1", "until": None}),
        ("students/{students}/hand_over/", {"to": 1}),
        ("students/{students}/export/", None),
        ("students/{students}/erase/", {"name": "Sam Reed"}),
        ("students/{students}/progress/", None),
        ("reviews/{reviews}/suggestions/", None),
        ("reviews/{reviews}/take/", {"rule": "x"}),
        ("reviews/{reviews}/dismiss/", {"rule": "x"}),
        ("reviews/{reviews}/mark/", {"shape": "line"}),
        ("pain/{pain}/state/", {"text": "x"}),
        ("pain/{pain}/reopen/", {}),
        ("requests/{requests}/close/", {}),
        ("submissions/{submissions}/figures/", None),
        ("submissions/{submissions}/override/", {"text": "Please"}),
        ("submissions/{submissions}/retry/", {}),
        ("submissions/{submissions}/right/", {}),
        ("submissions/{submissions}/review/", {}),
        ("reviews/{reviews}/text/", {"text": "x", "revision": 0}),
        ("reviews/{reviews}/find/", {"kind": "cause", "text": "x"}),
        ("reviews/{reviews}/assign/", {"drill": 1}),
        ("reviews/{reviews}/publish/", {}),
        ("findings/{findings}/answer/", {"text": "x"}),
    ],
)
def test_a_stranger_cannot_do_anything(student, stranger, path, body):
    path = "/api/" + path.format(**{name: row.pk for name, row in rows_of(student).items()})
    client = api(stranger)
    answer = client.get(path) if body is None else client.post(path, body, format="json")
    assert answer.status_code == 404


def test_a_student_reads_but_does_not_teach(student):
    rows = rows_of(student)
    client = api(student.user)
    assert client.get(f"/api/submissions/{rows['submissions'].pk}/").status_code == 200
    assert client.get(f"/api/reviews/{rows['reviews'].pk}/").status_code == 404  # a draft
    assert client.get(f"/api/findings/{rows['findings'].pk}/").status_code == 404
    asked = client.post(
        f"/api/students/{student.pk}/request/", {"angles": [{"view": "face_on"}]}, format="json"
    )
    assert asked.status_code == 404


def test_an_assistant_prepares_but_does_not_publish(coach, student):
    studio = student.studio
    assistant = factories.make_coach(studio=studio, role="assistant")
    rows = rows_of(student)
    client = api(assistant)
    found = client.post(
        f"/api/reviews/{rows['reviews'].pk}/find/",
        {"kind": "cause", "text": "the stance is narrow"},
        format="json",
    )
    assert found.status_code == 201
    assert client.post(f"/api/reviews/{rows['reviews'].pk}/publish/").status_code == 404


def test_figures_before_measuring_say_so(coach, student):
    clip = factories.make_submission(student=student)
    answer = api(coach).get(f"/api/submissions/{clip.pk}/figures/")
    assert answer.status_code == 409
    assert answer.json()["code"] == "not_measured"


def test_figures_say_what_the_picture_lacks_as_the_pages_do(coach, student):
    clip = factories.make_submission(student=student)
    warned = {"code": "too_dark", "level": "warn", "message": "of the command line", "frame": 3}
    factories.make_run(video=clip.video, quality=[warned, warned | {"level": "reject"}])
    found = api(coach).get(f"/api/submissions/{clip.pk}/figures/").json()["quality"]
    assert [row["message"] for row in found] == [
        str(codes.next_time("too_dark")),
        str(codes.quality_message("too_dark")),
    ]
    assert found[0]["frame"] == 3


def test_a_clip_without_a_file_gets_one_sentence(student):
    angle = factories.make_angle(request=factories.make_request(student=student, angles=0))
    answer = api(student.user).post(f"/api/angles/{angle.pk}/send/", {}, format="multipart")
    assert answer.status_code == 400
    assert answer.json()["detail"] == "Choose a video to send."


def test_lists_do_not_cost_more_queries_with_more_rows(coach):
    client = api(coach)
    factories.make_submission(student=factories.make_student(coach=coach))
    with CaptureQueriesContext(connection) as few:
        client.get("/api/submissions/")
    for _ in range(5):
        factories.make_submission(student=factories.make_student(coach=coach))
    with CaptureQueriesContext(connection) as many:
        client.get("/api/submissions/")
    assert len(many) == len(few)


def test_a_used_or_unknown_link_says_so(student):
    told = {
        "name": "A",
        "email": "a@example.org",
        "password": factories.PASSWORD,
        "is_minor": False,
    }
    assert APIClient().post("/api/join/unknown/", told, format="json").status_code == 404
    used = factories.make_invitation(student=student, used_at=student.joined_at)
    answer = APIClient().post(f"/api/join/{used.token}/", told, format="json")
    assert answer.status_code == 410
    assert answer.json()["detail"]


def test_a_guardian_agrees_over_the_api(coach):
    student = factories.make_student(coach=coach, age_band="under_18", consents=False)
    api(student.user).post(
        f"/api/students/{student.pk}/guardian/",
        {"name": "Ada", "email": "ada@example.org"},
        format="json",
    )
    door = student.invitations.get(kind="guardian")
    answer = APIClient().post(
        f"/api/agree/{door.token}/",
        {"name": "Ada", "password": factories.PASSWORD, "purposes": ["store", "share_coach"]},
        format="json",
    )
    assert answer.status_code == 201
    assert student.consents.filter(withdrawn_at__isnull=True).count() == 2


def test_pain_opens_only_after_the_statement(coach, student):
    report = PainReport.objects.create(student=student, region="hip")
    assert api(coach).post(f"/api/pain/{report.pk}/reopen/").json()["code"] == "no_statement"
    api(student.user).post(
        f"/api/pain/{report.pk}/state/", {"text": "My physiotherapist agreed."}, format="json"
    )
    assert api(coach).post(f"/api/pain/{report.pk}/reopen/").status_code == 200


def test_the_record_is_taken_along_and_erased_by_its_owner(student):
    client = with_token(student.user)
    taken = client.get(f"/api/students/{student.pk}/export/")
    assert b"".join(taken.streaming_content).startswith(b"PK")
    wrong = client.post(f"/api/students/{student.pk}/erase/", {"name": "Sam"}, format="json")
    assert wrong.status_code == 400
    right = client.post(f"/api/students/{student.pk}/erase/", {"name": "Sam Reed"}, format="json")
    assert right.status_code == 204
    assert not type(student).objects.filter(pk=student.pk).exists()


def test_what_cannot_be_taken_back_needs_a_fresh_sign_in(student):
    client = with_token(student.user, minutes_ago=11)
    name = {"name": student.name}
    for answer in (
        client.get(f"/api/students/{student.pk}/export/"),
        client.post(f"/api/students/{student.pk}/withdraw/", {}, format="json"),
        client.post(f"/api/students/{student.pk}/erase/", name, format="json"),
    ):
        assert (answer.status_code, answer.json()["code"]) == (403, "sign_in_again")
    assert type(student).objects.filter(pk=student.pk).exists()
