"""A clip that was sent: its rows, how it fares, what its student says about it."""

from __future__ import annotations

from datetime import datetime
from functools import partial
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from analysis import files
from analysis import services as analysis
from analysis.models import Run, Video
from coaching.intake import queries, upload_buffer
from coaching.intake.models import RequestedAngle, Submission, Upload
from coaching.intake.promise import promised_time
from coaching.intake.services.refusals import no_stature
from coaching.lessons.models import Entry
from coaching.lessons.services import record
from coaching.lessons.wording.codes import quality_message
from coaching.people import access, ball
from coaching.people.errors import LessonError
from coaching.people.models import Student, Studio, User
from coaching.people.once import SENT_TWICE, in_turn
from coaching.people.queries import may_measure, studio_zone


@transaction.atomic
def submit_video(
    *,
    student: Student,
    by: User | None,
    original: str,
    sha256: str,
    size_bytes: int,
    angle: RequestedAngle | None = None,
    text: str = "",
    view: str = "",
    kind: str = "",
    replaces: Submission | None = None,
) -> Submission:
    """Make the submission, its video and the check, and tell the thread.

    `original` names a file in the video storage. A clip replaces the refused ones of its
    angle, and `replaces` when it is still unanswered.
    """
    if student.stature_cm is None:
        raise no_stature()
    now = timezone.now()
    files.claim(original)
    video = Video.objects.create(
        original=original,
        sha256=sha256,
        size_bytes=size_bytes,
        view=angle.view if angle else (view or "other"),
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
        text=text.strip(),
        created_at=now,
        promised_at=promise(studio=student.studio, at=now),
    )
    analysis.request_run(video=video, kind=Run.Kind.CHECK)
    refs: dict[str, Any] = {"submission": submission.pk}
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
    record(student=student, kind=Entry.Kind.SENT, author=by, text=submission.text, **refs)
    return submission


def _replace(pks: list[int], new: Submission) -> None:
    Submission.objects.filter(
        pk__in=pks, answered_at__isnull=True, replaced_by__isnull=True
    ).update(replaced_by=new)


def record_run(*, run: Run) -> None:
    """Tell the thread how a clip fares; called inside the run's closing transaction."""
    if run.background or run.kind == Run.Kind.RENDER:  # news to nobody, or told on its own page
        return
    submission = Submission.objects.filter(video=run.video_id).select_related("student").first()
    if submission is None:
        return
    refused = queries.rejects(run) if run.kind == Run.Kind.CHECK else []
    if run.status == Run.Status.FAILED and run.error_code in queries.CLIP_TROUBLE:
        refused = [run.error_code]
    if refused and not submission.overridden_at:
        _record_once(submission, Entry.Kind.REFUSED, codes=refused)
    elif run.status == Run.Status.DONE and _is_last(run):
        _record_once(submission, Entry.Kind.READY)


def _is_last(run: Run) -> bool:
    """Whether nothing follows: the measuring, or the copy of a clip that is not to be measured."""
    if run.kind == Run.Kind.MEASURE:
        return True
    return run.kind == Run.Kind.COPY and not run.video.runs.filter(kind=Run.Kind.MEASURE).exists()


def may_be_measured(*, video: Video) -> bool:
    """Whether the student, or a minor's guardian, agreed that clips are measured."""
    student = Student.objects.filter(submissions__video=video).first()
    return student is None or may_measure(student)


def measure_unmeasured(*, student: Student) -> None:
    """Measuring is agreed to now, so clips that came without it are measured, too."""
    measured = Run.objects.filter(kind=Run.Kind.MEASURE).values("video")
    rows = queries.videos_of(student).filter(erased_at__isnull=True).exclude(copy="")
    for video in rows.exclude(pk__in=measured):
        analysis.request_measuring(video=video)


def measure_no_longer(*, student: Student) -> None:
    """Measuring that waits or is under way is given up; the clips are with the coach as they are.

    A worker that holds one of them finds its claim gone and stores nothing.
    """
    going = Run.objects.filter(video__submission__student=student, kind=Run.Kind.MEASURE)
    held = going.exclude(status=Run.Status.DONE).select_for_update(of=("self",))
    rows = dict(held.values_list("pk", "video"))
    Run.objects.filter(pk__in=rows).delete()
    clips = Submission.objects.filter(video__in=rows.values(), video__erased_at=None)
    for submission in clips.exclude(video__copy=""):
        _record_once(submission, Entry.Kind.READY)


def _record_once(submission: Submission, kind: str, **refs: Any) -> None:
    """A later pipeline's run of the same clip is no news."""
    known = Entry.objects.filter(
        thread__student=submission.student, kind=kind, refs__submission=submission.pk
    )
    if not known.exists():
        record(student=submission.student, kind=kind, submission=submission.pk, **refs)


@transaction.atomic
def override_refusal(*, submission: Submission, by: User, text: str) -> None:
    """Use a refused clip all the same, with a word to the other side; it is measured.

    The student's side sends it on; a coach of the studio may want to look at it, too.
    """
    access.require_writing(by, submission.student)
    if not text.strip():
        raise LessonError(_("Add a word: why can it be used?"), code="no_words")
    if not queries.can_override(submission):
        raise LessonError(
            _("There is nothing your coach could look at in that file. Film it again."),
            code="cannot_override",
            status=409,
        )
    now = timezone.now()
    won = Submission.objects.filter(pk=submission.pk, overridden_at__isnull=True).update(
        override_note=text.strip()[:300],
        overridden_at=now,
        promised_at=promise(studio=submission.student.studio, at=now),
    )
    if not won:  # the form sent twice
        return
    analysis.request_run(video=submission.video, kind=Run.Kind.COPY)
    record(
        student=submission.student,
        kind=Entry.Kind.MESSAGE,
        author=by,
        text=text.strip(),
        submission=submission.pk,
    )


@transaction.atomic
def say_it_is_right(*, submission: Submission, by: User) -> None:
    """The student's side says that what we doubt in a clip is as it should be.

    The coach reads it in the thread; nothing has to be answered, and saying it again changes
    nothing.
    """
    access.require_acting(by, submission.student)
    in_turn(submission.student)
    codes = queries.doubts(submission)
    if not codes:
        return
    seen = " ".join(str(quality_message(code).seen) for code in codes)
    record(
        student=submission.student,
        kind=Entry.Kind.MESSAGE,
        author=by,
        text=_("“%(seen)s” The clip is right as it is.") % {"seen": seen},
        needs_answer=False,
        submission=submission.pk,
        right=codes,
    )


def retry(*, submission: Submission, by: User) -> None:
    """Anybody who may see a clip lets stopped work start again after trouble on our side."""
    access.require_reading(by, submission.student)
    run = queries.stopped_run(submission)
    if run is not None and run.error_code in queries.CLIP_TROUBLE:
        raise LessonError(
            _("This clip can’t be measured, however often we try. Film it again."),
            code="clip_trouble",
            status=409,
        )
    if run is None or not analysis.retry_run(run=run):
        raise LessonError(
            _("The work on this clip is going on already."), code="not_stopped", status=409
        )


@transaction.atomic
def send_word(*, submission: Submission, by: User, text: str) -> None:
    """A word to the coach about a clip; the same word within a minute is the form sent twice."""
    access.require_acting(by, submission.student)
    if not text.strip():
        raise LessonError(_("Write a word first."), code="no_words")
    in_turn(submission.student)
    if Entry.objects.filter(
        thread__student=submission.student,
        kind=Entry.Kind.MESSAGE,
        author=by,
        text=text.strip(),
        refs__submission=submission.pk,
        created_at__gt=timezone.now() - SENT_TWICE,
    ).exists():
        return
    record(
        student=submission.student,
        kind=Entry.Kind.MESSAGE,
        author=by,
        text=text.strip(),
        submission=submission.pk,
    )


def describe_ball(
    *, submission: Submission, by: User, flight: str = "", height: str = "", strike: str = ""
) -> None:
    """What the ball did in a clip, as its student chose it; empty is left open."""
    access.require_acting(by, submission.student)
    if submission.answered_at is not None:
        raise LessonError(
            _("Your coach has answered this clip already: write a message instead."),
            code="answered",
            status=409,
        )
    chosen = {"flight": flight, "height": height, "strike": strike}
    if ball.known(chosen) != chosen:
        raise LessonError(_("Choose one of the pictures."), code="unknown")
    Submission.objects.filter(pk=submission.pk).update(**chosen)


def promise(*, studio: Studio, at: datetime) -> datetime:
    """When the studio will have answered what comes in `at`."""
    return promised_time(
        at,
        hours=studio.turnaround_hours,
        holidays=studio.holidays.values_list("starts_on", "ends_on"),
        zone=studio_zone(studio),
        weekdays=studio.weekdays,
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


@transaction.atomic
def erase_clips(*, student: Student) -> int:
    """Consent is withdrawn: every file of the student's clips goes, and what is on its way.

    Rows first; files when the transaction has committed.
    """
    for upload in Upload.objects.filter(student=student):
        transaction.on_commit(partial(upload_buffer.remove, upload.pk), robust=True)
        upload.delete()
    videos = list(queries.videos_of(student).filter(erased_at__isnull=True))
    for video in videos:
        analysis.erase_media(video=video)
    return len(videos)
