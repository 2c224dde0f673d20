"""Rows of a lesson for the tests of diagnosis and practice; each valid with no arguments."""

from __future__ import annotations

from typing import Any

from analysis.models import Run
from coaching.diagnosis.models import Finding
from coaching.diagnosis.services import findings
from coaching.intake.models import Submission
from coaching.people.models import Student, Studio
from coaching.practice.models import Assignment, Attempt, Drill, DrillVersion
from coaching.practice.services import assigning, library
from coaching.review.models import Review
from coaching.review.services import sending
from tests import factories

TURN = ("pelvis_turn_deg", "top")
PITCH = ("shaft_pitch_deg", "late_back")
UPRIGHT = {
    PITCH: (88.0, 3.0),
    TURN: (24.0, 4.0),
    ("pelvis_to_ball_down_cm", "impact"): (7.0, 1.5),
    ("trunk_tilt_change_deg", "impact"): (-12.0, 3.0),
}

TURN_RUNG: dict[str, Any] = {
    "kind": "slow",
    "text": "Slow swings, no ball.",
    "view": "down_the_line",
    "film_kind": "rehearsal",
    "effort": "slow",
    "ball": "none",
    "need": 3,
    "repetitions": 3,
    "criteria": [
        {"comparison": "at_least", "measure": "pelvis_turn_deg", "event": "top", "low": 38}
    ],
}


def make_drill(*, studio: Studio | None = None, **fields: Any) -> DrillVersion:
    row: dict[str, Any] = {
        "slug": "a-drill",
        "title": "A drill",
        "cause": "",
        "purpose": "To turn.",
        "set_up": "Stand.",
        "instructions": [{"text": "Turn."}],
        "cautions": "Stop if it hurts.",
        "loads": ["hip"],
        "ladder": [TURN_RUNG, TURN_RUNG | {"kind": "ball", "film_kind": "swing", "effort": "full"}],
        "source": "common practice, no published source",
    } | fields
    return library.save_drill(by=None, studio=studio or factories.make_studio(), row=row)[0]


def make_review(*, student: Student | None = None, figures: dict[Any, Any] | None = None) -> Review:
    """A draft that answers one measured clip down the line."""
    student = student or factories.make_student()
    clip = factories.make_submission(student=student)
    factories.make_measured(clip, UPRIGHT if figures is None else figures)
    review = Review.objects.create(student=student, coach=student.coach)
    review.submissions.add(clip)
    return review


def make_finding(
    *, review: Review | None = None, kind: str = "cause", text: str = "your hips barely turn",
    **fields: Any,
) -> Finding:  # fmt: skip
    review = review or make_review()
    return findings.add_finding(
        review=review, by=review.student.coach, kind=kind, text=text, **fields
    )


def make_assignment(
    *, review: Review | None = None, opened: bool = True, steps: Any = None, **fields: Any
) -> Assignment:
    """A drill for a student; with `opened`, its lesson was sent and the first step is asked for."""
    review = review or make_review()
    version = fields.pop("drill", None) or make_drill(studio=review.student.studio)
    assignment = assigning.assign_drill(
        review=review, by=review.student.coach, drill=version, steps=steps, **fields
    )
    if opened:
        sending.publish_review(review=review, by=review.student.coach)
        assignment.refresh_from_db()
    return assignment


def open_attempt(assignment: Assignment) -> Attempt:
    return Attempt.objects.filter(step__assignment=assignment, verdict=None).latest("pk")


def send_film(attempt: Attempt, *readings: Any, key: tuple[str, str] = TURN) -> Submission:
    """The student's clip for an attempt, measured: one reading (or reason) a repetition."""
    clip = factories.make_submission(angle=attempt.angle, student=attempt.step.assignment.student)
    factories.make_checked(clip)
    factories.make_run(video=clip.video, kind=Run.Kind.COPY)
    run = factories.make_run(video=clip.video)
    for repetition, reading in enumerate(readings):
        factories.make_measurement(
            run=run, measure=key[0], event=key[1], reading=reading, repetition=repetition
        )
    return clip


def library_drill(studio: Studio, slug: str) -> Drill:
    return Drill.objects.get(studio=studio, slug=slug)


def typed(ladder: list[dict[str, Any]]) -> dict[str, str]:
    """A ladder as the fields of its editor."""
    fields: dict[str, str] = {}
    for place, step in enumerate(ladder):
        key = f"step-{place}"
        fields |= {f"{key}-{k}": str(v) for k, v in step.items() if k != "criteria"}
        for number, criterion in enumerate(step["criteria"]):
            row = dict(criterion)
            if "measure" in row:
                row["figure"] = f"{row.pop('measure')}@{row.pop('event')}"
            fields |= {f"{key}-{number}-{k}": str(v) for k, v in row.items()}
    return fields
