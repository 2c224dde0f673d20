"""The whole record, taken along and erased."""

from __future__ import annotations

import io
import json
import zipfile

import pytest
from django.apps import apps
from django.core.files.storage import default_storage
from django.db import OperationalError
from django.urls import reverse
from django.utils import timezone

from analysis import files
from analysis.models import LooseFile, Video
from coaching.lessons import services as lessons
from coaching.people.models import BodyNote, Student, User
from coaching.people.services.record import erase_record
from coaching.review.models import Review
from tests import factories


@pytest.fixture
def full(student: Student, coach: User) -> Student:
    video = factories.make_video(files=True)
    submission = factories.make_submission(student=student, video=video)
    factories.make_measured(submission, {("pelvis_turn_deg", "top"): (38.0, 2.0)})
    lessons.send_message(student=student, author=student.user, text="Is this better?")
    BodyNote.objects.create(student=student, region="hip", kind="stiff")
    Review.objects.create(student=student, coach=coach, text="a draft")
    sent = Review.objects.create(
        student=student, coach=coach, text="what I saw", published_at=timezone.now()
    )
    sent.submissions.add(submission)
    return student


def unzipped(content: bytes) -> tuple[dict, zipfile.ZipFile]:
    archive = zipfile.ZipFile(io.BytesIO(content))
    return json.loads(archive.read("record.json")), archive


def test_export_holds_rows_and_files(full: Student, client_for) -> None:
    other = factories.make_submission()
    page = reverse("people:export", args=[full.pk])
    answer = client_for(full.user).get(page)
    record, archive = unzipped(b"".join(answer.streaming_content))
    rows = record["rows"]
    assert rows["people.student"][0]["name"] == full.name
    assert [e["text"] for e in rows["lessons.entry"]] == ["Is this better?"]
    assert rows["analysis.measurement"][0]["value"] == 38.0
    assert [s["id"] for s in rows["intake.submission"]] != [other.pk]
    assert {row["region"] for row in rows["people.bodynote"]} == {"hip"}
    # A draft that was never sent stays with the coach.
    assert [r["text"] for r in rows["review.review"]] == ["what I saw"]
    name = rows["analysis.video"][0]["original"]
    assert archive.read(name) == b"original"
    assert "token" not in json.dumps(record) and "password" not in json.dumps(record)


def test_every_table_that_hangs_on_a_student_is_walked(full: Student) -> None:
    """Whatever table is added with a way to the student is found without being named."""
    from coaching.people.services.record import rows_of

    reached = set(rows_of(full))
    direct = {
        model
        for model in apps.get_models()
        for field in model._meta.concrete_fields
        if field.related_model is Student and model._base_manager.filter(**{field.name: full})
    }
    assert direct and direct <= reached


def test_erasing_leaves_nothing(
    full: Student, client_for, django_capture_on_commit_callbacks
) -> None:
    other = factories.make_submission(video=factories.make_video(files=True))
    video = Video.objects.get(submission__student=full)
    names = [video.original.name, video.copy.name, video.still.name]
    client = client_for(full.user)
    page = reverse("people:erase", args=[full.pk])
    assert client.post(page, {"name": "somebody"}).status_code == 400
    assert Student.objects.filter(pk=full.pk).exists()
    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(page, {"name": full.name}).url == reverse("account_login")
    assert not Student.objects.filter(pk=full.pk).exists()
    assert not Video.objects.filter(pk=video.pk).exists()
    assert not User.objects.filter(pk=full.user_id).exists()
    assert not any(default_storage.exists(name) for name in names)
    assert default_storage.exists(other.video.original.name)


@pytest.mark.django_db(transaction=True)
def test_a_failed_erasure_loses_no_file(full: Student, monkeypatch: pytest.MonkeyPatch) -> None:
    names = [str(Video.objects.get().original.name), str(Video.objects.get().copy.name)]

    def locked(self: Student, *args: object, **kwargs: object) -> None:
        raise OperationalError("lock timeout")

    monkeypatch.setattr(Student, "delete", locked)
    with pytest.raises(OperationalError):
        erase_record(student=full, by=full.user)
    assert Student.objects.filter(pk=full.pk).exists()
    assert Video.objects.get().original.name == names[0]
    assert all(default_storage.exists(name) for name in names)
    assert not LooseFile.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_a_store_that_is_away_while_erasing_is_swept_later(
    full: Student, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = str(Video.objects.get().original.name)

    def away(self: object, name: str) -> None:
        raise ConnectionError("no answer")

    with monkeypatch.context() as patched:
        patched.setattr(type(default_storage), "delete", away, raising=False)
        erase_record(student=full, by=full.user)
    assert default_storage.exists(name)
    files.sweep()
    assert not default_storage.exists(name) and not LooseFile.objects.exists()


def test_account_that_serves_more_stays(full: Student) -> None:
    elsewhere = factories.make_student(user=full.user)
    erase_record(student=full, by=full.user)
    elsewhere.refresh_from_db()
    assert elsewhere.user is not None


def test_who_may(full: Student, coach: User, stranger: User, client_for) -> None:
    studio = coach.memberships.get().studio
    colleague = factories.make_coach(studio=studio)
    for name in ("people:export", "people:erase"):
        page = reverse(name, args=[full.pk])
        assert client_for(coach).get(page).status_code == 200
        for other in (colleague, stranger):
            assert client_for(other).get(page).status_code == 404
