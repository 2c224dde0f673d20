"""The consent goes while a clip is on its way: nothing of it is kept, and somebody is told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as live

from analysis import services as analysis
from analysis import work
from analysis.models import LooseFile, Run
from coaching.intake import queries, upload_buffer
from coaching.intake.models import Submission, Upload
from coaching.intake.services import clips, uploads
from coaching.people.errors import LessonError
from coaching.people.models import Student
from coaching.people.services import consent, joining
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def own_folders(settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT, settings.UPLOAD_BUFFER = tmp_path / "media", tmp_path / "buffer"


def opened(student: Student) -> Upload:
    angle = factories.make_angle(request=factories.make_request(student=student, angles=0))
    assert student.user is not None
    return uploads.create_upload(by=student.user, length=4, student=student, angle=angle)


def whole(upload: Upload) -> Upload:
    lock, _size = upload_buffer.acquire(upload.pk)
    upload_buffer.append(upload.pk, b"film", lock=lock)
    return upload


def nothing_is_kept() -> bool:
    folders = (Path(live.MEDIA_ROOT), Path(live.UPLOAD_BUFFER))
    files = [path for folder in folders for path in folder.rglob("*") if path.is_file()]
    rows = (Submission.objects, Upload.objects, LooseFile.objects)
    return files == [] and not any(row.exists() for row in rows)


def test_void_in_the_meantime(student: Student) -> None:
    """Somebody turns out to be a minor: what they agreed to themselves does not count."""
    upload = whole(opened(student))
    joining.describe_student(student=student, by=student.user, age_band="under_18")
    with pytest.raises(LessonError) as refusal:
        uploads.finish_upload(upload=upload, by=student.user)
    assert refusal.value.status == 403 and nothing_is_kept()
    uploads.clear_uploads()  # and no sweep finishes it later
    assert nothing_is_kept()


def between(
    monkeypatch: pytest.MonkeyPatch, place: Any, name: str, student: Student
) -> Callable[..., Any]:
    """The consent is taken back just after `place.name` was called."""
    real = getattr(place, name)

    def called(*args: Any, **kwargs: Any) -> Any:
        found = real(*args, **kwargs)
        consent.withdraw_consents(student=student, by=student.user)
        return found

    monkeypatch.setattr(place, name, called)
    return called


def test_taken_back_while_the_bytes_are_stored(
    student: Student, monkeypatch: pytest.MonkeyPatch
) -> None:
    upload = whole(opened(student))
    between(monkeypatch, uploads, "_store_original", student)
    with pytest.raises(LessonError) as refusal:
        uploads.finish_upload(upload=upload, by=student.user)
    assert refusal.value.status == 410 and nothing_is_kept()


def test_taken_back_before_the_end_is_known(student: Student) -> None:
    upload = whole(opened(student))
    consent.withdraw_consents(student=student, by=student.user)
    with pytest.raises(LessonError) as refusal:
        uploads.finish_upload(upload=upload, by=student.user)
    assert refusal.value.status == 410 and nothing_is_kept()


def test_taken_back_while_an_upload_opens(
    student: Student, monkeypatch: pytest.MonkeyPatch
) -> None:
    between(monkeypatch, upload_buffer, "create", student)
    with pytest.raises(LessonError) as refusal:
        opened(student)
    assert refusal.value.status == 403 and nothing_is_kept()


# Measuring is agreed to no longer while a worker is at it.


@pytest.mark.parametrize("how", ["taken back", "void"])
def test_measuring_that_is_under_way_is_given_up(
    how: str, student: Student, monkeypatch: pytest.MonkeyPatch
) -> None:
    consent.give_consents(student=student, by=student.user, purposes=["measure"])
    video = factories.make_video(files=True)
    clip = factories.make_submission(student=student, video=video)
    for kind in ("check", "copy"):
        factories.make_run(video=video, kind=kind, status="done")
    run = analysis.request_run(video=video, kind=Run.Kind.MEASURE)
    again = analysis.request_run(
        video=factories.make_submission(student=student).video, kind=Run.Kind.MEASURE
    )  # waits

    def work_on(row: Run, progress: Any) -> Any:
        if how == "void":
            joining.describe_student(student=student, by=student.user, age_band="under_18")
        else:
            consent.choose_consents(
                student=student, by=student.user, purposes=["store", "share_coach"]
            )

        def store(row: Run) -> None:
            raise AssertionError("stored all the same")

        return {}, [], store

    monkeypatch.setattr(work, "WORK", {Run.Kind.MEASURE: work_on})
    assert analysis.run(run.pk) is False
    assert not Run.objects.filter(pk__in=[run.pk, again.pk]).exists()
    clip = Submission.objects.get(pk=clip.pk)
    assert queries.state(clip) == queries.State.READY  # the coach judges it by eye
    assert student.thread.entries.filter(kind="ready", refs__submission=clip.pk).count() == 1


# A clip that stopped every process which opened it is not tried again at its sender's wish.


def test_a_clip_that_is_too_heavy_is_not_tried_again(student: Student) -> None:
    clip = factories.make_submission(student=student)
    run = factories.make_run(
        video=clip.video, kind="check", status="failed", error_code="too_heavy"
    )
    with pytest.raises(LessonError) as refusal:
        clips.retry(submission=Submission.objects.get(pk=clip.pk), by=student.user)
    assert (refusal.value.status, refusal.value.code) == (409, "clip_trouble")
    assert Run.objects.get(pk=run.pk).status == "failed"
