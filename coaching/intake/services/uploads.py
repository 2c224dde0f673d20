"""Unfinished uploads, and how a whole one becomes a clip."""

from __future__ import annotations

import logging
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import timedelta
from functools import partial
from pathlib import PurePath
from typing import Any

from django.conf import settings
from django.core.files.base import File
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from analysis import files, sweeping
from analysis.errors import StorageAway, StorageFull
from analysis.models import Video
from coaching.intake import queries, upload_buffer
from coaching.intake.models import RequestedAngle, Submission, Upload
from coaching.intake.serializers import clip_metadata
from coaching.intake.services import refusals
from coaching.intake.services.clips import submit_video
from coaching.intake.services.refusals import (
    gone,
    no_room,
    refuse_duration,
    refuse_size,
    refuse_unless_welcome,
    storage_away,
)
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.people.once import in_turn

logger = logging.getLogger(__name__)

MAX_UNFINISHED = 10  # broken uploads one person may have waiting

KNOWN_ENDINGS = frozenset(
    {".mp4", ".mov", ".m4v", ".webm", ".mkv", ".avi", ".3gp", ".ts", ".mts", ".m2ts", ".mpg"}
)


def create_upload(
    *,
    by: User,
    length: int | None,
    purpose: str = Upload.Purpose.CLIP,
    student: Student | None = None,
    angle: RequestedAngle | None = None,
    metadata: Mapping[str, str] | None = None,
    key: uuid.UUID | None = None,
) -> Upload:
    """Open an upload of `length` bytes, or of unknown length for a voice being spoken.

    The same `key` from the same person gives the same upload again, so that a form sent
    twice makes one clip.

    Raises
    ------
    LessonError
        Before the first byte: too big, too long, empty, no consent, closed, disk full.
    """
    metadata = dict(metadata or {})
    if key is not None and (before := Upload.objects.filter(pk=key).first()):
        if before.owner_id != by.pk:
            raise LessonError(_("Open the page again and send the clip from there."), code="key")
        # A filming link opens what was asked for by it, whatever else its maker is sending.
        is_same = (before.angle, before.student, before.purpose) == (angle, student, purpose)
        if not is_same:
            return create_upload(
                by=by, length=length, purpose=purpose, student=student, angle=angle,
                metadata=metadata,
            )  # fmt: skip
        if before.length == length and (before.finished_at or before.expires_at > timezone.now()):
            return before
        # Another clip, sent from a page that the browser had kept.
        if before.finished_at:
            key = None
        else:
            discard_upload(upload=before, by=by)
    refuse_size(length=length, purpose=purpose)
    if purpose == Upload.Purpose.CLIP:
        if student is None:
            raise LessonError(_("Say whose clip this is."), code="no_student")
        access.require_acting(by, student)
        if angle is not None and angle.request.student_id != student.pk:
            raise access.Http404
        refuse_unless_welcome(student=student, angle=angle)
        refuse_duration(clip_metadata(metadata).get("duration"))
    _refuse_too_many(by)
    pk = key or uuid.uuid4()
    try:
        upload_buffer.create(pk, length=length or 0)
    except upload_buffer.NoRoom:
        raise no_room() from None
    try:
        with transaction.atomic():
            in_turn(by)
            _refuse_too_many(by)
            if student is not None:  # a consent that is being taken back just now counts
                in_turn(student)
                refusals.refuse_without_consent(student)
            return Upload.objects.create(
                pk=pk,
                owner=by,
                student=student,
                angle=angle,
                purpose=purpose,
                length=length,
                metadata=metadata,
                expires_at=timezone.now() + timedelta(hours=settings.UPLOAD_EXPIRES_HOURS),
            )
    except IntegrityError:  # the same form, sent twice at once
        return create_upload(
            by=by, length=length, purpose=purpose, student=student, angle=angle,
            metadata=metadata, key=key,
        )  # fmt: skip
    except LessonError:
        if not Upload.objects.filter(pk=pk).exists():
            upload_buffer.remove(pk)
        raise


def _refuse_too_many(by: User) -> None:
    """Asked before the buffer's file is made, and again where nobody comes between."""
    waiting = by.uploads.filter(finished_at__isnull=True, expires_at__gt=timezone.now())
    if waiting.count() >= MAX_UNFINISHED:
        raise LessonError(
            _("Ten clips of yours are still on their way. Finish or remove one of them first."),
            code="too_many_uploads",
            status=429,
        )


def finish_upload(*, upload: Upload, by: User | None) -> Submission | None:
    """Turn a whole upload into a submission, its video and its first run; once.

    The bytes go into storage outside any transaction; the rows are written in one short
    one; only when it has committed does the buffer forget. Whatever breaks on the way, the
    buffer still holds the clip and calling again goes on. Voices and demonstrations stay
    in the buffer until `take_upload`. `by` is its owner, or None for the sweep.
    """
    if by is not None and upload.owner_id != by.pk:
        raise access.Http404
    try:
        upload.refresh_from_db()
    except Upload.DoesNotExist:  # erased with everything else, in this very moment
        raise gone() from None
    if upload.purpose != Upload.Purpose.CLIP:
        Upload.objects.filter(pk=upload.pk, finished_at__isnull=True).update(
            finished_at=timezone.now()
        )
        return None
    if upload.submission_id or upload.finished_at:
        return upload.submission
    assert upload.student is not None, "create_upload asks for it"
    try:
        digest = upload_buffer.sha256(upload.pk)
        name = _store_original(upload)
    except FileNotFoundError:  # another request has just finished it
        upload.refresh_from_db()
        return upload.submission
    except upload_buffer.NoRoom:
        raise no_room() from None
    try:
        return _submit_once(upload, name=name, digest=digest)
    except NotKept as error:
        upload_buffer.remove(upload.pk)
        upload.delete()
        raise error.refusal from None
    finally:
        files.discard(name)  # unless the film has become a submission's original


class NotKept(Exception):
    """The consent was taken back while the clip was on its way: its bytes go."""

    def __init__(self, refusal: LessonError) -> None:
        super().__init__(refusal.sentence)
        self.refusal = refusal


@transaction.atomic
def _submit_once(upload: Upload, *, name: str, digest: str) -> Submission | None:
    """The submission whose original the stored file became, or an earlier one.

    Whoever takes the consent back waits, or is waited for: the student's row is held.
    """
    assert upload.student is not None
    in_turn(upload.student)
    row = Upload.objects.select_for_update().filter(pk=upload.pk).first()
    if row is None:
        raise gone()
    if row.finished_at:
        return row.submission
    assert row.student is not None
    try:
        refusals.refuse_without_consent(row.student)
    except LessonError as refusal:
        raise NotKept(refusal) from None
    before = queries.same_clip(angle=row.angle, student=row.student, sha256=digest)
    said = clip_metadata(row.metadata)
    submission = before or submit_video(
        student=row.student,
        by=row.owner,
        original=name,
        sha256=digest,
        size_bytes=row.length or 0,
        angle=row.angle,
        text=said.get("text", ""),
        view=said.get("view", ""),
        kind=said.get("kind", ""),
        replaces=_replaced_by(row, said.get("replaces")),
    )
    row.submission, row.finished_at = submission, timezone.now()
    row.save(update_fields=["submission", "finished_at"])
    transaction.on_commit(partial(upload_buffer.remove, row.pk))
    return submission


def _replaced_by(upload: Upload, wanted: int | None) -> Submission | None:
    """The clip that the sender wants replaced; somebody else's is not looked at."""
    return Submission.objects.filter(
        pk=wanted or 0, student=upload.student, angle=upload.angle, answered_at__isnull=True
    ).first()


def _store_original(upload: Upload) -> str:
    """Save the buffered bytes under a name of our own; the student's is never used."""
    ending = PurePath(upload.metadata.get("filename", "")).suffix.lower()
    name = f"film{ending if ending in KNOWN_ENDINGS else ''}"
    try:
        with upload_buffer.opened(upload.pk) as file:
            return files.write(Video().original, name, file)
    except StorageFull as error:
        raise upload_buffer.NoRoom from error
    except StorageAway as error:
        raise storage_away() from error


def receive_file(
    *,
    by: User,
    student: Student,
    file: File[Any],
    angle: RequestedAngle | None = None,
    text: str = "",
    replaces: str = "",
    key: uuid.UUID | None = None,
    view: str = "",
    kind: str = "",
) -> Submission:
    """Take a whole file in one go: the form without script, the demo, a program."""
    metadata = {
        "filename": PurePath(file.name or "").name,
        "text": text,
        "replaces": replaces,
        "view": view,
        "kind": kind,
    }
    upload = create_upload(
        by=by, length=file.size, student=student, angle=angle, metadata=metadata, key=key
    )
    if upload.finished_at is None and upload_buffer.offset(upload.pk) != upload.length:
        try:
            upload_buffer.adopt(upload.pk, file)
        except upload_buffer.NoRoom:
            raise no_room() from None
        except (upload_buffer.WrongOffset, upload_buffer.LockLost):
            raise LessonError(
                _("This clip is being sent already. Wait a moment, then open your page again."),
                code="being_sent",
                status=409,
            ) from None
    submission = finish_upload(upload=upload, by=by)
    assert submission is not None
    return submission


def discard_upload(*, upload: Upload, by: User) -> None:
    """Give an unfinished upload of `by` up; its bytes go."""
    if upload.owner_id != by.pk:
        raise access.Http404
    if upload.finished_at and upload.purpose == Upload.Purpose.CLIP:
        raise LessonError(
            _("That clip has arrived already. Replace it on its page instead."),
            code="finished",
            status=409,
        )
    upload_buffer.remove(upload.pk)
    upload.delete()


@contextmanager
def take_upload(*, upload: Upload, by: User) -> Iterator[File[Any]]:
    """A voice's or demonstration's bytes, to save into a file field; the buffer then forgets.

    Works on a part as well, so that a recording cut short by a crash is kept.
    """
    if upload.owner_id != by.pk or upload.purpose == Upload.Purpose.CLIP:
        raise LessonError(_("That recording is not yours."), code="not_yours", status=404)
    try:
        with upload_buffer.opened(upload.pk) as file:
            yield file
    except FileNotFoundError:
        raise LessonError(
            _("That recording is gone. Record it once more."), code="gone", status=410
        ) from None
    now = timezone.now()
    Upload.objects.filter(pk=upload.pk).update(finished_at=now, expires_at=now)
    transaction.on_commit(partial(upload_buffer.remove, upload.pk))


def clear_uploads() -> int:
    """Forget uploads past their time, and bytes that belong to no upload.

    A clip that is whole but was never finished (the server stopped in that moment) is
    finished here, so that nothing sent is lost.
    """
    now = timezone.now()
    whole = Upload.objects.filter(finished_at__isnull=True, purpose=Upload.Purpose.CLIP)
    sweeping.each(whole, _finish_if_whole, what="An upload that is whole")
    gone = sweeping.each(
        Upload.objects.filter(expires_at__lte=now), _forget, what="An upload past its time"
    )
    known = {str(pk) for pk in Upload.objects.values_list("pk", flat=True)}
    yesterday = (now - timedelta(days=1)).timestamp()
    for file in upload_buffer.orphans(known):
        if file.exists() and file.stat().st_mtime < yesterday:
            file.unlink(missing_ok=True)
    return gone


def _finish_if_whole(upload: Upload) -> None:
    if not upload.length or _offset(upload) != upload.length:
        return
    try:
        finish_upload(upload=upload, by=None)
    except LessonError as refusal:  # no room, say: the next hour tries again
        logger.warning("Upload %s waits: %s", upload.pk, refusal.sentence)


def _forget(upload: Upload) -> None:
    upload_buffer.remove(upload.pk)
    upload.delete()


def _offset(upload: Upload) -> int:
    try:
        return upload_buffer.offset(upload.pk)
    except FileNotFoundError:
        return 0
