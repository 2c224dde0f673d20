"""No value from outside makes a 5xx, and no column takes what it should not hold."""

from __future__ import annotations

import base64
import json
import math
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction
from django.test import Client
from django.urls import reverse
from rest_framework import serializers
from rest_framework.test import APIClient

from analysis.models import Video
from coaching import numbers
from coaching.fields import Number
from coaching.intake.models import Submission, Upload
from coaching.people.models import Student, User
from tests import factories, odd_input
from tests.coaching.practice import making

OURS = [m for m in apps.get_models() if m.__module__.startswith(("coaching.", "analysis."))]


# Columns


def columns(wanted: Any) -> list[Any]:
    return [
        pytest.param(model, field, id=f"{model._meta.label}.{field.name}")
        for model in OURS
        for field in model._meta.local_concrete_fields
        if wanted(field)
    ]


def names_of(model: Any) -> set[str]:
    return {constraint.name for constraint in model._meta.constraints}


@pytest.mark.parametrize(("model", "field"), columns(lambda field: field.choices))
def test_every_choice_is_kept_by_the_database(model: Any, field: Any) -> None:
    wanted = f"{model._meta.label_lower.replace('.', '_')}_{field.name}_listed"
    assert wanted in names_of(model), "decorate the model with analysis.columns.guarded"


@pytest.mark.parametrize(("model", "field"), columns(lambda f: isinstance(f, models.FloatField)))
def test_every_number_is_kept_finite_by_the_database(model: Any, field: Any) -> None:
    wanted = f"{model._meta.label_lower.replace('.', '_')}_{field.name}_finite"
    assert wanted in names_of(model), "decorate the model with analysis.columns.guarded"


@pytest.mark.django_db
@pytest.mark.parametrize(
    "odd",
    [{"kind": "chipping"}, {"view": ""}, {"club_cm": math.inf}, {"stature_cm": math.nan}],
    ids=str,
)
def test_the_database_refuses(odd: dict[str, Any]) -> None:
    video = factories.make_video()
    with pytest.raises(IntegrityError), transaction.atomic():
        Video.objects.filter(pk=video.pk).update(**odd)


def writable_floats(kind: type[serializers.Serializer[Any]]) -> list[str]:
    return [
        f"{kind.__module__}.{kind.__name__}.{name}"
        for name, field in kind().fields.items()
        if isinstance(field, serializers.FloatField)
        and not field.read_only
        and not isinstance(field, Number)
    ]


def test_serializers_that_take_numbers_take_finite_ones() -> None:
    """DRF's own FloatField reads "nan" and "inf"."""
    from coaching.api.serializers.clips import CorrectionSerializer
    from coaching.api.serializers.people import AboutSerializer
    from coaching.api.serializers.review import MarkSerializer
    from coaching.review import serializers as review

    taking = [CorrectionSerializer, MarkSerializer, AboutSerializer]
    taking += [
        kind
        for kind in vars(review).values()
        if isinstance(kind, type) and issubclass(kind, serializers.Serializer)
    ]
    assert [name for kind in taking for name in writable_floats(kind)] == []


# The one reader of numbers

NO_NUMBERS = ["", " ", "nan", "inf", "-inf", "²", "٣", "1_000", "0x10", "1e", "\0", "9" * 5000,
              "1e400", "--1", "1 2", "true"]  # fmt: skip


@pytest.mark.parametrize("text", NO_NUMBERS)
def test_what_is_no_number(text: str) -> None:
    with pytest.raises(ValueError, match="not a"):
        numbers.real(text)
    with pytest.raises(ValueError, match="not a"):
        numbers.whole(text)
    assert numbers.row_key(text) is None


def test_numbers_as_people_type_them() -> None:
    assert [numbers.real(text) for text in ("4,5", "−3", " 12 ", ".5", "1e2")] == [
        4.5, -3.0, 12.0, 0.5, 100.0,
    ]  # fmt: skip
    assert numbers.whole("007") == 7
    assert numbers.row_key(str(2**63 - 1)) == 2**63 - 1
    assert numbers.row_key(str(2**63)) is None
    with pytest.raises(ValueError, match="from 0 to 10"):
        numbers.whole("11", high=10)


def test_no_other_place_reads_numbers_from_requests() -> None:
    """`int(` and `float(` of what a request brought are found by their source."""
    guilty = []
    for path in (odd_input.ROOT / "coaching").rglob("*.py"):
        for at, line in enumerate(path.read_text().splitlines(), 1):
            plain = line.replace("numbers.", "")
            if "isdecimal()" in plain or "isdigit()" in plain:
                guilty.append(f"{path.name}:{at}")
            if any(f"{kind}(request." in plain for kind in ("int", "float")):
                guilty.append(f"{path.name}:{at}")
    allowed = {"serve.py", "shown.py"}  # a port from the environment, a caption's number
    assert [place for place in guilty if place.split(":")[0] not in allowed] == []


# The door


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/students/%00/", "/%00", "/login/%00", "/join/a%00b/"])
def test_nul_in_an_address_is_a_page_that_does_not_exist(path: str) -> None:
    assert Client(raise_request_exception=False).get(path).status_code in {400, 404}


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"[" * 100_000, "application/json"),
        (json.dumps({"text": "a\0b"}).encode(), "application/json"),
        (b'{"words": "\\ud800"}', "application/json"),
        (b'{"words": 1e400}', "application/json"),
        (json.dumps({"text": "x" * 2_000_000}).encode(), "application/json"),
        (b"words=a%00b", "application/x-www-form-urlencoded"),
    ],
    ids=["deep", "nul", "surrogate", "infinite", "two megabytes", "form nul"],
)
def test_the_api_refuses_what_no_database_keeps(
    coach: User, student: Student, body: bytes, kind: str
) -> None:
    client = APIClient(raise_request_exception=False)
    client.force_authenticate(coach)
    answer = client.generic("POST", f"/api/students/{student.pk}/message/", body, content_type=kind)
    assert answer.status_code == 400
    assert not student.thread.entries.exists()


@pytest.mark.parametrize("body", [b"[]", b"7", b'"yes"', b"null"])
def test_the_api_takes_an_object_and_nothing_else(
    coach: User, student: Student, body: bytes
) -> None:
    attempt = making.open_attempt(making.make_assignment())
    making.send_film(attempt, (52, 4), (50, 4))
    client = APIClient(raise_request_exception=False)
    client.force_authenticate(attempt.step.assignment.student.user)
    path = f"/api/attempts/{attempt.pk}/answer/"
    assert client.generic("POST", path, body, content_type="application/json").status_code == 400


@pytest.mark.parametrize("text", ["x" * 2_000_000, "a\0b"], ids=["long", "nul"])
def test_a_form_with_too_much_is_one_sentence(
    coach: User, student: Student, client_for: Any, text: str
) -> None:
    page = reverse("thread_send", args=[student.pk])
    answer = client_for(coach).post(page, {"text": text}, headers={"Accept": "text/html"})
    assert answer.status_code == 400
    assert not student.thread.entries.exists()


@pytest.mark.parametrize("offset", ["9" * 30, "²", "-5", "nan"])
def test_pages_of_the_api_take_any_offset(coach: User, student: Student, offset: str) -> None:
    client = APIClient(raise_request_exception=False)
    client.force_authenticate(coach)
    for name in ("offset", "limit", "student"):
        assert client.get("/api/submissions/", {name: offset}).status_code == 200


@pytest.mark.parametrize("key", ["²", "abc", "9" * 30, "1.5", "-1", "nan"])
@pytest.mark.parametrize("row", ["students", "reviews", "drills", "attempts", "pain"])
def test_keys_that_are_no_numbers_are_no_rows(coach: User, row: str, key: str) -> None:
    client = APIClient(raise_request_exception=False)
    client.force_authenticate(coach)
    assert client.get(f"/api/{row}/{key}/").status_code == 404


# Forms that take numbers


@pytest.mark.parametrize("value", ["nan", "inf", "1e400", "²", "9" * 5000])
def test_a_limit_that_is_no_number_is_refused(
    coach: User, student: Student, client_for: Any, value: str
) -> None:
    review = making.make_review(student=student)
    drill = making.make_drill(studio=student.studio).drill_id
    page = reverse("practice:assign", args=[review.pk])
    limit = {
        "step-0-0-comparison": "at_least",
        "step-0-0-figure": "pelvis_turn_deg@top",
        "step-0-0-low": value,
    }
    for fields in ({"per_day": value}, {"per_day": "30", **limit}):
        assert client_for(coach).post(page, {"drill": drill, **fields}).status_code == 400
    assert not review.assignments.exists()


@pytest.mark.parametrize("value", ["9" * 30, "9" * 1500, "²", "nan"])
def test_keys_in_forms_that_are_none(
    coach: User, student: Student, client_for: Any, value: str
) -> None:
    client = client_for(coach)
    thread = reverse("thread", args=[student.pk])
    assert client.get(thread, {"before": value}).status_code == 200
    page = reverse("people:hand_over", args=[student.pk])
    assert client.post(page, {"to": value}).status_code == 400


# What an upload says of itself


def told(**pairs: str) -> str:
    return ",".join(f"{k} {base64.b64encode(v.encode()).decode()}" for k, v in pairs.items())


@pytest.fixture
def sent(student: Student, settings: Any, tmp_path: Path, client_for: Any) -> Any:
    settings.UPLOAD_BUFFER, settings.MEDIA_ROOT = tmp_path / "buffer", tmp_path / "media"
    client = client_for(student.user)
    client.raise_request_exception = False
    return lambda **pairs: client.post(
        "/uploads/",
        data=b"12345",
        content_type="application/offset+octet-stream",
        headers={
            "Tus-Resumable": "1.0.0",
            "Upload-Length": "5",
            "Upload-Metadata": told(student=str(student.pk), **pairs),
        },
    )


@pytest.mark.parametrize("kind", ["chipping", "k" * 40])
def test_an_odd_kind_of_film_is_refused_before_the_first_byte(sent: Any, kind: str) -> None:
    answer = sent(kind=kind)
    assert answer.status_code == 400 and "kind" in answer.json()["detail"]
    assert not Upload.objects.exists() and not Submission.objects.exists()


@pytest.mark.parametrize("text", ["\0", "x" * 3000], ids=["nul", "long"])
def test_odd_words_with_a_clip_are_refused(sent: Any, text: str) -> None:
    assert sent(text=text).status_code == 400


@pytest.mark.parametrize("length", ["9" * 5000, "9" * 30, "²", "1e9"])
def test_lengths_that_are_none(student: Student, client_for: Any, length: str) -> None:
    headers = {"Tus-Resumable": "1.0.0", "Upload-Length": length.encode().decode("latin-1")}
    client = client_for(student.user)
    assert client.post("/uploads/", headers=headers).status_code == 400


def test_a_range_of_many_digits_is_no_range(
    student: Student, client_for: Any, settings: Any, tmp_path: Path
) -> None:
    settings.MEDIA_ROOT = tmp_path
    clip = factories.make_submission(student=student, video=factories.make_video(files=True))
    page = f"/media/{clip.video_id}/copy"
    answer = client_for(student.user).get(page, headers={"Range": f"bytes={'9' * 5000}-"})
    assert answer.status_code == 200


# Everything at once


@pytest.mark.django_db
def test_odd_values_in_every_parameter_make_no_5xx(
    coach: User, student: Student, settings: Any, tmp_path: Path
) -> None:
    """The short form of the figure `fuzz_5xx`; 300 requests of each role."""
    settings.UPLOAD_BUFFER, settings.MEDIA_ROOT = tmp_path / "buffer", tmp_path / "media"
    odd_input.world(coach, student)
    fuzz = odd_input.Fuzz({"nobody": None, "student": student.user, "coach": coach})
    assert len(fuzz.addresses) > 150 and len(fuzz.parameters) > 60
    assert fuzz.run(300) == []
    assert connection.vendor
