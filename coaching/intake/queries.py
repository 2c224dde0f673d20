"""Shared reads: what state a clip is in, what is still missing, what waits for a coach."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch, QuerySet

from analysis.models import Run, Video
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.lessons import words
from coaching.people.models import Student
from coaching.people.queries import consents_missing, shares_with_coach

__all__ = ["consents_missing", "shares_with_coach"]


class State:
    """The words for where a clip is; computed, never stored."""

    CHECKING = "checking"
    REFUSED = "refused"
    COPYING = "copying"
    MEASURING = "measuring"
    READY = "ready"
    FAILED = "failed"
    REVIEWED = "reviewed"

    MOVING = frozenset({CHECKING, COPYING, MEASURING})


# The clip itself is the trouble: film again. Any other code is ours: try again.
CLIP_TROUBLE = frozenset({"unreadable", "too_short", "too_long"})


def rejects(run: Run | None) -> list[str]:
    """The codes for which a check refused its clip."""
    if run is None or run.status != Run.Status.DONE:
        return []
    return [row["code"] for row in run.result.get("quality", ()) if row["level"] == "reject"]


def warnings(submission: Submission) -> list[str]:
    """Codes worth telling although the clip is good to use; the measuring knows best."""
    run = submission.video.latest(Run.Kind.MEASURE)
    if run is None or run.status != Run.Status.DONE:
        run = submission.video.latest(Run.Kind.CHECK)
    if run is None:
        return []
    return [row["code"] for row in run.result.get("quality", ()) if row["level"] == "warn"]


def state(submission: Submission) -> str:
    """Where a clip is, from its runs; no query when `video__runs` was prefetched."""
    if submission.answered_at:
        return State.REVIEWED
    video = submission.video
    check, copy, measure = (
        video.latest(kind) for kind in (Run.Kind.CHECK, Run.Kind.COPY, Run.Kind.MEASURE)
    )
    stopped = next((r for r in (check, copy, measure) if r and r.status == Run.Status.FAILED), None)
    if stopped is not None:
        return State.REFUSED if stopped.error_code in CLIP_TROUBLE else State.FAILED
    if rejects(check) and not submission.overridden_at:
        return State.REFUSED
    if check is None or check.status != Run.Status.DONE:
        return State.CHECKING
    if copy is None or copy.status != Run.Status.DONE:
        return State.COPYING
    if measure is None or measure.status != Run.Status.DONE:
        return State.MEASURING
    return State.READY


def stopped_run(submission: Submission) -> Run | None:
    """The run that failed, for the retry button."""
    runs = [run for run in submission.video.runs.all() if run.status == Run.Status.FAILED]
    return max(runs, key=lambda run: run.pk, default=None)


def codes(submission: Submission) -> list[str]:
    """Why a clip was refused, worst first."""
    check = submission.video.latest(Run.Kind.CHECK)
    found = rejects(check)
    if not found and (run := stopped_run(submission)) and run.error_code in CLIP_TROUBLE:
        found = [run.error_code]
    return found


def can_override(submission: Submission) -> bool:
    """Whether there is a film at all that the coach could look at."""
    return state(submission) == State.REFUSED and not CLIP_TROUBLE.intersection(codes(submission))


@dataclass(frozen=True)
class Progress:
    """What the status page shows, and the API answers."""

    state: str
    label: Any
    share: float  # of the whole way from sent to ready
    done: bool  # nothing will change by itself
    advice: list[words.Told]
    trouble: words.Told | None
    can_override: bool


# How far along each stage begins: about how long they take on the reference clips.
_STAGES = {State.CHECKING: (0.0, 0.2), State.COPYING: (0.2, 0.4), State.MEASURING: (0.4, 1.0)}
_RUN_OF = {
    State.CHECKING: Run.Kind.CHECK,
    State.COPYING: Run.Kind.COPY,
    State.MEASURING: Run.Kind.MEASURE,
}


def progress(submission: Submission) -> Progress:
    now = state(submission)
    low, high = _STAGES.get(now, (1.0, 1.0))
    run = submission.video.latest(_RUN_OF[now]) if now in _RUN_OF else None
    stopped = stopped_run(submission) if now == State.FAILED else None
    refused = codes(submission) if now == State.REFUSED else []
    return Progress(
        state=now,
        label=words.CLIP_STATES[now],
        share=round(low + (high - low) * (run.progress if run else 0.0), 3),
        done=now not in State.MOVING,
        advice=[words.quality_told(code) for code in refused],
        trouble=words.run_error_told(stopped.error_code) if stopped else None,
        can_override=can_override(submission) if refused else False,
    )


def with_runs(rows: QuerySet[Submission]) -> QuerySet[Submission]:
    """Everything that `state` and `progress` look at, in a constant number of queries."""
    return rows.select_related(
        "video", "student", "student__coach", "angle", "angle__request", "sent_by"
    ).prefetch_related("video__runs")


def waiting_submissions(students: QuerySet[Student]) -> QuerySet[Submission]:
    """Clips that have come back and have no answer yet, nearest promise first.

    Refused ones are among them: `state` tells, and they wait for the student.
    """
    return with_runs(
        Submission.objects.filter(
            student__in=students, answered_at__isnull=True, replaced_by__isnull=True
        )
    ).order_by("promised_at", "pk")


def clips_of(student: Student) -> QuerySet[Submission]:
    return with_runs(student.submissions.all()).order_by("-created_at", "-pk")


def standing(submission: Submission) -> bool:
    """Whether the clip still counts as an answer to its angle."""
    return submission.replaced_by_id is None and state(submission) != State.REFUSED


def open_requests(student: Student) -> QuerySet[Request]:
    """Requests that may be filmed now, with their angles and clips."""
    return with_clips(student.requests.filter(closed_at__isnull=True, suspended_at__isnull=True))


def requests_of(student: Student) -> QuerySet[Request]:
    return with_clips(student.requests.all())


def with_clips(rows: QuerySet[Request]) -> QuerySet[Request]:
    """With angles, their clips and runs, in a constant number of queries."""
    clips = Submission.objects.filter(replaced_by__isnull=True).select_related("video")
    return (
        rows.select_related("student")
        .prefetch_related(
            Prefetch(
                "angles__submissions", queryset=clips.prefetch_related("video__runs").order_by("pk")
            )
        )
        .order_by("-created_at", "-pk")
    )


def clips_for(angle: RequestedAngle) -> list[Submission]:
    """An angle's clips that were not replaced, oldest first; from memory when prefetched."""
    rows = [row for row in angle.submissions.all() if row.replaced_by_id is None]
    return sorted(rows, key=lambda row: row.pk)


def missing(request: Request) -> list[RequestedAngle]:
    """The angles for which no usable clip has come back yet."""
    return [
        angle
        for angle in request.angles.all()
        if not any(standing(clip) for clip in clips_for(angle))
    ]


def next_angle(student: Student) -> RequestedAngle | None:
    """What to film now: the first angle still missing, the earliest due request first."""
    rows = sorted(
        open_requests(student), key=lambda r: (r.due_on is None, r.due_on or r.created_at.date())
    )
    return next((angle for request in rows for angle in missing(request)), None)


def same_clip(*, angle: RequestedAngle | None, student: Student, sha256: str) -> Submission | None:
    """The very same file, sent for the same angle before."""
    return Submission.objects.filter(
        student=student,
        angle=angle,
        video__sha256=sha256,
        video__erased_at__isnull=True,
        replaced_by__isnull=True,
    ).first()


def videos_of(student: Student) -> QuerySet[Video]:
    return Video.objects.filter(submission__student=student)
