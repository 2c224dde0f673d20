"""What people of the demo do, each through the service that a page would call."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from django.core.files import File
from django.db import models

from analysis import services as analysis
from analysis.models import Run
from coaching.diagnosis.models import Finding
from coaching.diagnosis.services import findings, suggested
from coaching.intake.models import RequestedAngle, Submission
from coaching.intake.services import asking, uploads
from coaching.people.models import AuditEntry, Student, User
from coaching.people.services.record import rows_of
from coaching.practice.models import Assignment, Attempt, Drill
from coaching.practice.services import assigning, judging, refusals
from coaching.review.models import Review
from coaching.review.services import drafts

CLIPS = Path(__file__).parent / "clips"

Say = Callable[[str], None]

BEHIND: dict[str, Any] = {"view": "down_the_line", "kind": "swing", "club": "7 iron"}

FRONT: dict[str, Any] = {**BEHIND, "view": "face_on"}

SETUP: dict[str, Any] = {
    **BEHIND,
    "kind": "setup",
    "effort": RequestedAngle.Effort.STILL,
    "ball": RequestedAngle.Ball.NONE,
}


class DemoFailed(Exception):
    """The message says which clip could not be measured, and why."""


def person_of(student: Student) -> User:
    """Everybody of the demo has an account."""
    assert student.user is not None
    return student.user


def ask_for(
    student: Student, coach: User, angles: Sequence[Mapping[str, Any]], text: str
) -> list[RequestedAngle]:
    request = asking.request_angles(student=student, by=coach, angles=angles, text=text)
    return list(request.angles.all())


def send_clip(angle: RequestedAngle, clip: str, text: str = "") -> Submission:
    """The clip goes in, and a worker's work is done at once."""
    student = angle.request.student
    with (CLIPS / clip).open("rb") as held:
        sent = uploads.receive_file(
            by=person_of(student),
            student=student,
            file=File(held, name=clip),
            angle=angle,
            text=text,
        )
    going = (Run.Status.QUEUED, Run.Status.RUNNING)
    while run := sent.video.runs.filter(status__in=going).order_by("pk").first():
        if not analysis.run(run.pk):
            time.sleep(0.5)  # a worker that is up already has it in hand
    if broken := sent.video.runs.filter(status=Run.Status.FAILED).first():
        raise DemoFailed(f"{clip} could not be measured ({broken.kind}: {broken.error_code}).")
    sent.refresh_from_db()
    return sent


def open_answer(clip: Submission, coach: User, text: str) -> Review:
    draft = drafts.open_draft(submissions=[clip], by=coach)
    drafts.save_words(review=draft, text=text, revision=draft.revision, by=coach)
    draft.refresh_from_db()
    return draft


def drill_of(student: Student, slug: str) -> Drill:
    return Drill.objects.get(studio=student.studio, slug=slug)


def take_suggested(draft: Review, coach: User, entry: str) -> Finding:
    """An entry by the clip's own figures; where they do not suggest it, it stands as seen by eye.

    `tests/coaching/demo` holds the story to what the figures say.
    """
    return suggested.add_entry(review=draft, by=coach, entry=entry)


def little_turn(draft: Review, coach: User) -> Finding:
    """Cause, what follows from it, what the body makes of both, and what the ball does."""
    cause = take_suggested(draft, coach, "little-hip-turn")
    for entry in ("steep-coming-down", "early-extension", "loss-of-posture", "even-tempo"):
        take_suggested(draft, coach, entry)
    suggested.add_usual_miss(review=draft, by=coach)
    return cause


def shallow_hands(draft: Review, coach: User) -> Finding:
    """The hands lack depth, and the body makes room for them."""
    cause = take_suggested(draft, coach, "hands-lack-depth")
    findings.link(by=coach, effect=take_suggested(draft, coach, "loss-of-posture"), cause=cause)
    return cause


def turn_and_shaft(
    kind: str, *, film: str, effort: str, ball: str, need: int, of: int, turn: float, aim: float
) -> dict[str, Any]:
    """A step that asks for two things at once: the turn and the shaft past the ball."""
    text = {
        "slow": "Slow, no ball: turn first, then let the handle point past the ball.",
        "several": "Three in a row without stopping, as slow as before.",
        "ball": "A ball now. The move first; where the ball goes comes second.",
    }
    return {
        "kind": kind,
        "text": text[kind],
        "view": "down_the_line",
        "film_kind": film,
        "effort": effort,
        "ball": ball,
        "need": need,
        "repetitions": of,
        "criteria": [
            {
                "comparison": "at_least",
                "measure": "pelvis_turn_deg",
                "event": "top",
                "low": turn,
            },
            {
                "comparison": "at_least",
                "measure": "shaft_aim_deg",
                "event": "lead_arm_down",
                "low": aim,
            },
        ],
    }


# The first step asks for more than the last: a new move shrinks as speed rises.
TURN_LADDER = [
    turn_and_shaft(
        "slow", film="rehearsal", effort="slow", ball="none", need=1, of=1, turn=40, aim=8
    ),
    turn_and_shaft(
        "several", film="rehearsal", effort="slow", ball="none", need=2, of=3, turn=38, aim=6
    ),
    turn_and_shaft("ball", film="swing", effort="full", ball="ball", need=2, of=3, turn=36, aim=3),
]

DEPTH_LADDER = [
    {
        "kind": "slow",
        "text": "Slow swings, no ball.",
        "view": "down_the_line",
        "film_kind": "rehearsal",
        "effort": "slow",
        "ball": "none",
        "need": 1,
        "repetitions": 1,
        "criteria": [
            {
                "comparison": "changed_by",
                "measure": "hand_depth_cm",
                "event": "top",
                "change": 8,
            }
        ],
    }
]


def assign(
    draft: Review, cause: Finding, coach: User, *, slug: str, ladder: list[dict[str, Any]]
) -> Assignment:
    return assigning.assign_drill(
        review=draft,
        by=coach,
        drill=drill_of(draft.student, slug),
        finding=cause,
        steps=refusals.without_missing_balls(draft.student, ladder),
        text="Ten slow ones each evening, in front of a window you can see yourself in.",
    )


def open_angle(assignment: Assignment) -> RequestedAngle:
    """The film that the student's present step asks for."""
    step = assignment.steps.filter(passed_at__isnull=True).earliest("position")
    return step.attempts.filter(verdict__isnull=True).latest("pk").angle


def judge(clip: Submission, coach: User, decision: str, cue: str = "") -> None:
    judging.judge_attempt(
        attempt=Attempt.objects.get(angle=clip.angle_id),
        by=coach,
        decision=decision,
        cue=cue,
        submission=clip,
    )


def let_time_pass(student: Student, span: timedelta) -> None:
    """Move everything that hangs on a student back in time by `span`, but for the log.

    The database lets nobody change a row of the log.
    """
    student.refresh_from_db()  # a clip may hold its student as they were before the last move
    for model, rows in rows_of(student).items():
        if model is AuditEntry:
            continue
        fields = [f for f in model._meta.concrete_fields if isinstance(f, models.DateField)]
        for row in rows.values():
            moved = {f.attname: _earlier(getattr(row, f.attname), span) for f in fields}
            moved = {name: value for name, value in moved.items() if value is not None}
            if moved:
                model._base_manager.filter(pk=row.pk).update(**moved)
    student.refresh_from_db()


def let_wait(clip: Submission, *, hours: int) -> None:
    """The clip waits for its answer, as clips do."""
    let_time_pass(clip.student, timedelta(hours=hours))
    clip.refresh_from_db()


def _earlier(value: date | datetime | None, span: timedelta) -> date | datetime | None:
    return value - span if value is not None else None
