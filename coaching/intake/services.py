"""Every write of the intake: asking for angles, taking clips in, telling how they fare."""

from __future__ import annotations

import logging
import uuid
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path, PurePath
from typing import Any

from django.conf import settings
from django.core.files.base import File
from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from analysis import services as analysis
from analysis.models import Run, Video
from coaching.intake import queries, spool
from coaching.intake.models import Request, RequestedAngle, Submission, Upload
from coaching.intake.promise import promised_time
from coaching.lessons.models import Entry
from coaching.lessons.services import record
from coaching.people.errors import LessonError
from coaching.people.models import Consent, Student, Studio, User

logger = logging.getLogger(__name__)
ANGLE_FIELDS = ("view", "kind", "club", "effort", "ball", "bar_across", "repetitions")
MAX_ANGLES = 8
MAX_UNFINISHED = 10  # broken uploads one person may have waiting
VOICE_MAX_BYTES = 200 * 1024**2
KNOWN_ENDINGS = frozenset(
    {".mp4", ".mov", ".m4v", ".webm", ".mkv", ".avi", ".3gp", ".ts", ".mts", ".m2ts", ".mpg"}
)


# Asking


@transaction.atomic
def request_angles(
    *,
    student: Student,
    by: User,
    angles: Iterable[Mapping[str, Any]],
    words: str = "",
    due_on: date | None = None,
    tell: bool = True,
) -> Request:
    """Ask a student to film. Each of `angles` gives some of `ANGLE_FIELDS`; `view` is needed.

    `tell=False` leaves the thread alone, for a service that writes its own entry.
    """
    wanted = [{key: row[key] for key in ANGLE_FIELDS if key in row} for row in angles]
    if not wanted:
        raise LessonError(_("Choose at least one angle."), code="no_angle")
    if len(wanted) > MAX_ANGLES:
        raise LessonError(_("Ask for at most eight angles at a time."), code="too_many_angles")
    if student.closed_at:
        raise LessonError(
            _("This student has left. Open the student again first."), code="student_closed"
        )
    request = Request.objects.create(
        student=student, asked_by=by, words=words.strip(), due_on=due_on
    )
    for position, row in enumerate(wanted):
        angle = RequestedAngle(request=request, position=position, **row)
        _check_angle(angle)
        angle.save()
    if tell:
        record(
            student=student,
            kind=Entry.Kind.REQUESTED,
            author=by,
            words=request.words,
            request=request.pk,
        )
    return request


def _check_angle(angle: RequestedAngle) -> None:
    for name in ("view", "kind", "effort", "ball", "bar_across"):
        field: Any = angle._meta.get_field(name)
        if getattr(angle, name) not in dict(field.choices or ()):
            raise LessonError(
                _("Choose one of the listed values for %(name)s.") % {"name": name},
                code=f"wrong_{name}",
            )
    if not 1 <= int(angle.repetitions) <= 10:
        raise LessonError(_("Ask for 1 to 10 repetitions."), code="wrong_repetitions")


def close_request(*, request: Request) -> None:
    """Nothing more is filmed for it; what came back stays."""
    Request.objects.filter(pk=request.pk, closed_at__isnull=True).update(closed_at=timezone.now())


def suspend_requests(*, student: Student, requests: QuerySet[Request] | None = None) -> int:
    """Pain: nothing more is filmed for the student's open requests (or for `requests`)."""
    rows = student.requests.all() if requests is None else requests.filter(student=student)
    open_now = rows.filter(closed_at__isnull=True, suspended_at__isnull=True)
    return open_now.update(suspended_at=timezone.now())


def resume_requests(*, student: Student, requests: QuerySet[Request] | None = None) -> int:
    """A person has reopened filming; the software never does by itself."""
    rows = student.requests.all() if requests is None else requests.filter(student=student)
    return rows.filter(closed_at__isnull=True, suspended_at__isnull=False).update(suspended_at=None)


# Taking in


def refuse_unless_welcome(*, student: Student, angle: RequestedAngle | None) -> None:
    """Say before the first byte why a clip cannot be taken now.

    Raises
    ------
    LessonError
    """
    missing = queries.consents_missing(student)
    if missing and student.is_minor:
        raise LessonError(
            _("Before any video is kept, your guardian must agree. Ask them to open their link."),
            code="guardian_consent",
            status=403,
        )
    if Consent.Purpose.STORE in missing:
        raise LessonError(
            _("Before any video is kept, agree to it in your profile."), code="consent", status=403
        )
    if missing:
        raise LessonError(
            _("Your coach may not see your clips yet. Agree to share them in your profile."),
            code="consent",
            status=403,
        )
    if student.stature_cm is None:
        raise _no_stature()
    if student.closed_at:
        raise LessonError(
            _("Your lessons here are closed. Write to your coach to open them again."),
            code="student_closed",
            status=409,
        )
    if angle is not None and angle.request.suspended_at:
        raise LessonError(
            _("Filming this is stopped because something hurt. Your coach will write to you."),
            code="suspended",
            status=409,
        )
    if angle is not None and angle.request.closed_at:
        raise LessonError(
            _("Your coach has closed this request. Look at your page for what to film now."),
            code="closed",
            status=409,
        )


def _no_stature() -> LessonError:
    return LessonError(
        _("Tell us how tall you are in your profile first: every length is measured by it."),
        code="stature",
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
        if before.length == length and (before.finished_at or before.expires_at > timezone.now()):
            return before
        # Another clip, sent from a page that the browser had kept.
        if before.finished_at:
            key = None
        else:
            discard_upload(upload=before)
    refuse_size(length=length, purpose=purpose)
    if purpose == Upload.Purpose.CLIP:
        if student is None:
            raise LessonError(_("Say whose clip this is."), code="no_student")
        refuse_unless_welcome(student=student, angle=angle)
        _refuse_duration(metadata.get("duration", ""))
    waiting = by.uploads.filter(finished_at__isnull=True, expires_at__gt=timezone.now())
    if waiting.count() >= MAX_UNFINISHED:
        raise LessonError(
            _("Ten clips of yours are still on their way. Finish or remove one of them first."),
            code="too_many_uploads",
            status=429,
        )
    pk = key or uuid.uuid4()
    try:
        spool.create(pk, length=length or 0)
    except spool.NoRoom:
        raise no_room() from None
    try:
        with transaction.atomic():
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
        return create_upload(by=by, length=length, purpose=purpose, key=key)


def max_bytes(purpose: str) -> int:
    return VOICE_MAX_BYTES if purpose == Upload.Purpose.VOICE else settings.UPLOAD_MAX_BYTES


def refuse_size(*, length: int | None, purpose: str) -> None:
    if purpose not in Upload.Purpose.values:
        raise LessonError(_("Say what the file is for."), code="purpose")
    if length is None and purpose != Upload.Purpose.VOICE:
        raise LessonError(_("Say how long the file is."), code="length")
    if length == 0 and purpose != Upload.Purpose.VOICE:
        raise LessonError(
            _("That file is empty. Choose the clip again, or film it once more."), code="empty"
        )
    if length is not None and length > max_bytes(purpose):
        raise too_big(purpose)


def too_big(purpose: str = Upload.Purpose.CLIP) -> LessonError:
    size = max_bytes(purpose) // 1024**2
    return LessonError(
        _("That file is over %(size)s MB. Cut the clip to the swings and send that.")
        % {"size": size},
        code="too_big",
        status=413,
    )


def no_room() -> LessonError:
    return LessonError(
        _("We have no room for your clip right now. Keep it on your phone and try again later."),
        code="disk_full",
        status=507,
    )


def _refuse_duration(text: str) -> None:
    """The browser tells how long a clip is where it can read it."""
    try:
        seconds = float(text)
    except ValueError:
        return
    if seconds > settings.VIDEO_MAX_SECONDS:
        raise LessonError(
            _("That clip is longer than three minutes. Cut it to the swings and send that."),
            code="too_long",
            status=413,
        )


def finish_upload(*, upload: Upload) -> Submission | None:
    """Turn a whole upload into a submission, its video and its first run; once.

    The bytes go into storage outside any transaction; the rows are written in one short
    one; only when it has committed does the spool forget. Whatever breaks on the way, the
    spool still holds the clip and calling again goes on. Voices and demonstrations stay
    in the spool until `take_upload`.
    """
    upload.refresh_from_db()
    if upload.purpose != Upload.Purpose.CLIP:
        Upload.objects.filter(pk=upload.pk, finished_at__isnull=True).update(
            finished_at=timezone.now()
        )
        return None
    if upload.submission_id or upload.finished_at:
        return upload.submission
    assert upload.student is not None, "create_upload asks for it"
    try:
        digest = spool.sha256(upload.pk)
        name = _store_original(upload)
    except FileNotFoundError:  # another request has just finished it
        upload.refresh_from_db()
        return upload.submission
    except spool.NoRoom:
        raise no_room() from None
    try:
        submission, kept = _submit_once(upload, name=name, digest=digest)
    except BaseException:
        _originals().delete(name)
        raise
    if not kept:
        _originals().delete(name)
    return submission


@transaction.atomic
def _submit_once(upload: Upload, *, name: str, digest: str) -> tuple[Submission | None, bool]:
    """The submission, and whether the stored file became its original."""
    row = Upload.objects.select_for_update().get(pk=upload.pk)
    if row.finished_at:
        return row.submission, False
    assert row.student is not None
    before = queries.same_clip(angle=row.angle, student=row.student, sha256=digest)
    submission = before or submit_video(
        student=row.student,
        by=row.owner,
        original=name,
        sha256=digest,
        size_bytes=row.length or 0,
        angle=row.angle,
        words=row.metadata.get("words", ""),
        view=row.metadata.get("view", ""),
        kind=row.metadata.get("kind", ""),
        replaces=_replaced_by(row),
    )
    row.submission, row.finished_at = submission, timezone.now()
    row.save(update_fields=["submission", "finished_at"])
    transaction.on_commit(partial(spool.remove, row.pk))
    return submission, before is None


def _replaced_by(upload: Upload) -> Submission | None:
    """The clip that the sender wants replaced; somebody else's is not looked at."""
    wanted = upload.metadata.get("replaces", "")
    if not wanted.isdecimal():
        return None
    return Submission.objects.filter(
        pk=int(wanted), student=upload.student, angle=upload.angle, answered_at__isnull=True
    ).first()


def _originals() -> Any:
    return Video._meta.get_field("original").storage


def _store_original(upload: Upload) -> str:
    """Save the spooled bytes under a name of our own; the student's is never used."""
    ending = PurePath(upload.metadata.get("filename", "")).suffix.lower()
    name = f"{uuid.uuid4().hex}{ending if ending in KNOWN_ENDINGS else ''}"
    field: Any = Video._meta.get_field("original")
    try:
        with spool.opened(upload.pk) as file:
            return str(field.storage.save(field.generate_filename(None, name), file))
    except FileNotFoundError:
        raise
    except OSError as error:
        raise spool.NoRoom from error


@transaction.atomic
def submit_video(
    *,
    student: Student,
    by: User | None,
    original: str,
    sha256: str,
    size_bytes: int,
    angle: RequestedAngle | None = None,
    words: str = "",
    view: str = "",
    kind: str = "",
    replaces: Submission | None = None,
) -> Submission:
    """Make the submission, its video and the check, and tell the thread.

    `original` names a file in the video storage. A clip replaces the refused ones of its
    angle, and `replaces` when it is still unanswered.
    """
    if student.stature_cm is None:
        raise _no_stature()
    now = timezone.now()
    told = dict(Video._meta.get_field("view").choices or ())
    video = Video.objects.create(
        original=original,
        sha256=sha256,
        size_bytes=size_bytes,
        view=angle.view if angle else (view if view in told else "other"),
        kind=angle.kind if angle else (kind or "swing"),
        handedness=student.handedness,
        stature_cm=student.stature_cm,
        club_cm=student.club_cm,
        repetitions=angle.repetitions if angle else None,
    )
    submission = Submission.objects.create(
        student=student,
        angle=angle,
        video=video,
        sent_by=by,
        words=words.strip(),
        created_at=now,
        promised_at=promise(studio=student.studio, at=now),
    )
    analysis.request_run(video=video, kind=Run.Kind.CHECK)
    refs = {"submission": submission.pk}
    if angle is not None:
        refs |= {"angle": angle.pk, "request": angle.request_id}
        refused = [
            clip
            for clip in queries.with_runs(
                angle.submissions.filter(replaced_by__isnull=True).exclude(pk=submission.pk)
            )
            if queries.state(clip) == queries.State.REFUSED
        ]
        _replace([clip.pk for clip in refused], submission)
    if replaces is not None:
        _replace([replaces.pk], submission)
        refs["replaces"] = replaces.pk
    record(student=student, kind=Entry.Kind.SENT, author=by, words=submission.words, **refs)
    return submission


def _replace(pks: list[int], new: Submission) -> None:
    Submission.objects.filter(
        pk__in=pks, answered_at__isnull=True, replaced_by__isnull=True
    ).update(replaced_by=new)


def receive_file(
    *,
    by: User,
    student: Student,
    file: File[Any],
    angle: RequestedAngle | None = None,
    words: str = "",
    replaces: str = "",
    key: uuid.UUID | None = None,
    view: str = "",
    kind: str = "",
) -> Submission:
    """Take a whole file in one go: the form without script, the demo, a program."""
    metadata = {
        "filename": PurePath(file.name or "").name,
        "words": words,
        "replaces": replaces,
        "view": view,
        "kind": kind,
    }
    upload = create_upload(
        by=by, length=file.size, student=student, angle=angle, metadata=metadata, key=key
    )
    if upload.finished_at is None and spool.offset(upload.pk) != upload.length:
        try:
            spool.adopt(upload.pk, file)
        except spool.NoRoom:
            raise no_room() from None
        except (spool.WrongOffset, spool.HoldLost):
            raise LessonError(
                _("This clip is being sent already. Wait a moment, then open your page again."),
                code="being_sent",
                status=409,
            ) from None
    submission = finish_upload(upload=upload)
    assert submission is not None
    return submission


def discard_upload(*, upload: Upload) -> None:
    """Give an unfinished upload up; its bytes go."""
    if upload.finished_at and upload.purpose == Upload.Purpose.CLIP:
        raise LessonError(
            _("That clip has arrived already. Replace it on its page instead."),
            code="finished",
            status=409,
        )
    spool.remove(upload.pk)
    upload.delete()


def spool_path(upload: Upload) -> Path:
    """Where the bytes that have arrived so far can be read."""
    return spool.path(upload.pk)


@contextmanager
def take_upload(*, upload: Upload, by: User) -> Iterator[File[Any]]:
    """A voice's or demonstration's bytes, to save into a file field; the spool then forgets.

    Works on a part as well, so that a recording cut short by a crash is kept.
    """
    if upload.owner_id != by.pk or upload.purpose == Upload.Purpose.CLIP:
        raise LessonError(_("That recording is not yours."), code="not_yours", status=404)
    try:
        with spool.opened(upload.pk) as file:
            yield file
    except FileNotFoundError:
        raise LessonError(
            _("That recording is gone. Record it once more."), code="gone", status=410
        ) from None
    now = timezone.now()
    Upload.objects.filter(pk=upload.pk).update(finished_at=now, expires_at=now)
    transaction.on_commit(partial(spool.remove, upload.pk))


def clear_uploads() -> int:
    """Forget uploads past their time, and bytes that belong to no upload.

    A clip that is whole but was never finished (the server stopped in that moment) is
    finished here, so that nothing sent is lost.
    """
    now = timezone.now()
    for upload in Upload.objects.filter(finished_at__isnull=True, purpose=Upload.Purpose.CLIP):
        if upload.length and _offset(upload) == upload.length:
            try:
                finish_upload(upload=upload)
            except LessonError as refusal:  # no room, say: the next hour tries again
                logger.warning("Upload %s waits: %s", upload.pk, refusal.sentence)
    gone = list(Upload.objects.filter(expires_at__lte=now))
    for upload in gone:
        spool.remove(upload.pk)
    Upload.objects.filter(pk__in=[upload.pk for upload in gone]).delete()
    known = {str(pk) for pk in Upload.objects.values_list("pk", flat=True)}
    yesterday = (now - timedelta(days=1)).timestamp()
    for file in spool.strays(known):
        if file.exists() and file.stat().st_mtime < yesterday:
            file.unlink(missing_ok=True)
    return len(gone)


def _offset(upload: Upload) -> int:
    try:
        return spool.offset(upload.pk)
    except FileNotFoundError:
        return 0


# What became of a clip


def tell_run(*, run: Run) -> None:
    """Tell the thread how a clip fares; called inside the run's closing transaction."""
    submission = Submission.objects.filter(video=run.video_id).select_related("student").first()
    if submission is None:
        return
    refused = queries.rejects(run) if run.kind == Run.Kind.CHECK else []
    if run.status == Run.Status.FAILED and run.error_code in queries.CLIP_TROUBLE:
        refused = [run.error_code]
    if refused and not submission.overridden_at:
        _tell_once(submission, Entry.Kind.REFUSED, codes=refused)
    elif run.kind == Run.Kind.MEASURE and run.status == Run.Status.DONE:
        _tell_once(submission, Entry.Kind.READY)


def _tell_once(submission: Submission, kind: str, **refs: Any) -> None:
    """A later pipeline's run of the same clip is no news."""
    told = Entry.objects.filter(
        thread__student=submission.student, kind=kind, refs__submission=submission.pk
    )
    if not told.exists():
        record(student=submission.student, kind=kind, submission=submission.pk, **refs)


@transaction.atomic
def override_refusal(*, submission: Submission, by: User, words: str) -> None:
    """The student sends a refused clip all the same, with a word; it is copied and measured."""
    if not words.strip():
        raise LessonError(_("Add a word for your coach: why is it good?"), code="no_words")
    if not queries.can_override(submission):
        raise LessonError(
            _("There is nothing your coach could look at in that file. Film it again."),
            code="cannot_override",
            status=409,
        )
    now = timezone.now()
    Submission.objects.filter(pk=submission.pk, overridden_at__isnull=True).update(
        override_words=words.strip()[:300],
        overridden_at=now,
        promised_at=promise(studio=submission.student.studio, at=now),
    )
    analysis.request_run(video=submission.video, kind=Run.Kind.COPY)
    record(
        student=submission.student,
        kind=Entry.Kind.MESSAGE,
        author=by,
        words=words.strip(),
        submission=submission.pk,
    )


def retry(*, submission: Submission) -> None:
    """A person lets the work on a clip start again after trouble on our side."""
    run = queries.stopped_run(submission)
    if run is None or not analysis.retry_run(run=run):
        raise LessonError(
            _("The work on this clip is going on already."), code="not_stopped", status=409
        )


@transaction.atomic
def send_word(*, submission: Submission, by: User, words: str) -> None:
    """A word to the coach about a clip."""
    if not words.strip():
        raise LessonError(_("Write a word first."), code="no_words")
    record(
        student=submission.student,
        kind=Entry.Kind.MESSAGE,
        author=by,
        words=words.strip(),
        submission=submission.pk,
    )


def promise(*, studio: Studio, at: datetime) -> datetime:
    """When the studio will have answered what comes in `at`."""
    return promised_time(
        at,
        hours=studio.turnaround_hours,
        holidays=studio.holidays.values_list("starts_on", "ends_on"),
        zone=timezone.get_default_timezone(),
    )


@transaction.atomic
def renew_promises(*, studio: Studio) -> int:
    """Work out open promises anew, after holidays were entered or taken back."""
    rows = Submission.objects.filter(
        student__studio=studio, answered_at__isnull=True, replaced_by__isnull=True
    )
    changed = 0
    for row in rows:
        promised = promise(studio=studio, at=row.overridden_at or row.created_at)
        changed += rows.filter(~Q(promised_at=promised), pk=row.pk).update(promised_at=promised)
    return changed


def erase_clips(*, student: Student) -> int:
    """Consent is withdrawn: every file of the student's clips goes, and what is on its way."""
    for upload in Upload.objects.filter(student=student):
        spool.remove(upload.pk)
        upload.delete()
    videos = list(queries.videos_of(student).filter(erased_at__isnull=True))
    for video in videos:
        analysis.erase_media(video=video)
    return len(videos)
