"""Shared reads: what state a clip is in, what is still missing, what waits for a coach."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Prefetch, QuerySet
from django.utils import timezone

from analysis.models import Run, Video
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.lessons.models import Entry
from coaching.lessons.wording import codes as sentences
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
CLIP_TROUBLE = frozenset({"unreadable", "too_short", "too_long", "too_heavy"})
# What a network may have misread, and the one who was there knows better.
MAY_BE_MISTAKEN = frozenset({"several_people", "sideways", "wrong_view", "wrong_hand"})


def rejects(run: Run | None) -> list[str]:
    """The codes for which a check refused its clip."""
    if run is None or run.status != Run.Status.DONE:
        return []
    return [row["code"] for row in run.result.get("quality", ()) if row["level"] == "reject"]


def warnings(submission: Submission) -> list[str]:
    """Codes worth telling although the clip is good to use; the measuring knows best."""
    run = submission.video.measured() or submission.video.latest(Run.Kind.CHECK)
    if run is None:
        return []
    return [row["code"] for row in run.result.get("quality", ()) if row["level"] == "warn"]


def said_right(submission: Submission) -> set[str]:
    """The codes of which the student's side has said that the clip is right all the same."""
    said = Entry.objects.filter(
        thread__student=submission.student_id,
        refs__submission=submission.pk,
        refs__right__isnull=False,
    ).values_list("refs__right", flat=True)
    return {code for codes in said for code in codes}


def doubts(submission: Submission) -> list[str]:
    """Warnings of a clip in use that may be mistakes of ours, and that nobody has answered."""
    in_use = {State.COPYING, State.MEASURING, State.READY}
    if submission.overridden_at or submission.replaced_by_id or state(submission) not in in_use:
        return []
    found = [code for code in warnings(submission) if code in MAY_BE_MISTAKEN]
    said = said_right(submission) if found else set()
    return [code for code in found if code not in said]


def state(submission: Submission) -> str:
    """Where a clip is, from its runs; no query when `video__runs` was prefetched."""
    if submission.answered_at:
        return State.REVIEWED
    video = submission.video
    if video.measured():  # measured again in the background, it stays with the coach
        return State.READY
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
    # The copy asks for the measuring in its own transaction, unless it is not agreed to.
    return State.READY if measure is None else State.MEASURING


def is_unmeasured(submission: Submission) -> bool:
    """Whether a clip is with the coach and no program looks at it, as its student chose."""
    copy, measure = (submission.video.latest(k) for k in (Run.Kind.COPY, Run.Kind.MEASURE))
    return bool(copy and copy.status == Run.Status.DONE and measure is None)


def stopped_run(submission: Submission) -> Run | None:
    """The run that failed, for the retry button."""
    runs = [
        run
        for run in submission.video.runs.all()
        if run.status == Run.Status.FAILED
        and not run.background
        and run.kind != Run.Kind.RENDER  # a lesson film; its own page tells of it
    ]
    return max(runs, key=lambda run: run.pk, default=None)


def codes(submission: Submission) -> list[str]:
    """Why a clip was refused, worst first."""
    check = submission.video.latest(Run.Kind.CHECK)
    found = rejects(check)
    if not found and (run := stopped_run(submission)) and run.error_code in CLIP_TROUBLE:
        found = [run.error_code]
    return found


def cut_edges(submission: Submission) -> list[str]:
    """The edges of the picture that cut the golfer off, where the check has said which."""
    check = submission.video.latest(Run.Kind.CHECK)
    rows = check.result.get("quality", ()) if check and check.status == Run.Status.DONE else ()
    return [edge for row in rows if row["code"] == "body_cut" for edge in row.get("edges", ())]


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
    advice: list[sentences.Advice]
    trouble: sentences.Advice | None
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
        label=sentences.CLIP_STATES[now],
        share=round(low + (high - low) * (run.progress if run else 0.0), 3),
        done=now not in State.MOVING,
        advice=[sentences.quality_message(code) for code in refused],
        trouble=sentences.run_error_message(stopped.error_code) if stopped else None,
        can_override=can_override(submission) if refused else False,
    )


def with_runs(rows: QuerySet[Submission]) -> QuerySet[Submission]:
    """Everything that `state` and `progress` look at, in a constant number of queries."""
    return rows.select_related(
        "video", "student", "student__coach", "angle", "angle__request", "sent_by"
    ).prefetch_related("video__runs")


def waiting_submissions(students: QuerySet[Student]) -> QuerySet[Submission]:
    """Clips that have come back and have no answer yet, nearest promise first.

    Refused ones are among them: `state` tells, and they wait for the student. As few tables as
    can be: beyond eight, with those of the rights, PostgreSQL joins every studio's clips first.
    """
    rows = Submission.objects.filter(
        student__in=students, answered_at__isnull=True, replaced_by__isnull=True
    )
    return with_states(rows.select_related("student", "angle")).order_by("promised_at", "pk")


def with_states(rows: QuerySet[Submission]) -> QuerySet[Submission]:
    """With what `state` looks at, and not what it never asks of a run."""
    runs = Run.objects.defer("options", "claim", "heartbeat_at", "queued_at", "started_at")
    return rows.select_related("video").prefetch_related(Prefetch("video__runs", runs))


@dataclass(frozen=True)
class Came:
    """A clip that waits, in the few words that a list of hundreds is ordered by."""

    pk: int
    student: int
    angle: int | None
    request: int | None
    sent_at: datetime
    promised_at: datetime
    state: str


def that_came(students: QuerySet[Student]) -> list[Came]:
    """`waiting_submissions`, each with its state and without the rows around it.

    Runs are read of clips alone that nobody has measured yet: a measured one is with the coach.
    """
    measured = Exists(Run.objects.measured().filter(video=OuterRef("video")))
    rows = Submission.objects.filter(
        student__in=students, answered_at__isnull=True, replaced_by__isnull=True
    ).order_by("promised_at", "pk")
    columns = ("pk", "student", "angle", "angle__request", "created_at", "promised_at")
    found = list(rows.annotate(measured=measured).values_list("measured", *columns))
    unmeasured = [pk for done, pk, *_rest in found if not done]
    others = with_states(Submission.objects.filter(pk__in=unmeasured)) if unmeasured else ()
    states = {clip.pk: state(clip) for clip in others}
    came = []
    for done, pk, student, angle, request, sent_at, promised_at in found:
        if (now := State.READY if done else states.get(pk)) is not None:
            came.append(Came(pk, student, angle, request, sent_at, promised_at, now))
    return came


def clips_of(student: Student) -> QuerySet[Submission]:
    return with_runs(student.submissions.all()).order_by("-created_at", "-pk")


def standing(submission: Submission) -> bool:
    """Whether the clip still counts as an answer to its angle."""
    return submission.replaced_by_id is None and state(submission) != State.REFUSED


def is_wanted_again(refused: Submission) -> bool:
    """Whether a clip that was sent back is still to be filmed again: nothing else came for its
    angle, and its request is neither closed nor stopped for pain."""
    angle = refused.angle
    if angle is None:
        return True
    if angle.request.closed_at or angle.request.suspended_at:
        return False
    return not any(standing(clip) for clip in clips_for(angle))


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


def repetitions_missing(submission: Submission) -> int:
    """How many repetitions the angle still lacks once all its clips are measured; 0 until then."""
    angle = submission.angle
    if angle is None or angle.kind == "setup" or submission.replaced_by_id is not None:
        return 0
    rows = angle.submissions.filter(replaced_by__isnull=True)
    runs = [clip.video.measured() for clip in with_runs(rows) if standing(clip)]
    if not all(runs):
        return 0
    # An older run says nothing of its repetitions.
    seen = [len(run.result["reps"]) for run in runs if run and "reps" in run.result]
    return max(0, angle.repetitions - sum(seen)) if len(seen) == len(runs) and seen else 0


def next_angle(student: Student) -> RequestedAngle | None:
    """What to film now: the first angle still missing, the earliest due request first."""
    rows = sorted(
        open_requests(student),
        key=lambda r: (r.due_on is None, r.due_on or timezone.localdate(r.created_at)),
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
