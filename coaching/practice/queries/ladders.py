"""Ladders: where a student stands, what is open and what is due."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, tzinfo
from typing import Any

from django.db.models import Prefetch, Q, QuerySet
from django.utils import timezone

from coaching.diagnosis.models import Finding
from coaching.intake.models import RequestedAngle, Submission
from coaching.people.models import Student
from coaching.people.queries import student_zone
from coaching.practice.models import Assignment, Attempt, Criterion, Drill, Step, Verdict


def latest_clip(attempt: Attempt) -> Submission | None:
    """The clip that stands for an attempt: the newest that was not replaced."""
    clips = [clip for clip in attempt.angle.submissions.all() if clip.replaced_by_id is None]
    return max(clips, key=lambda clip: clip.pk, default=None)


def with_ladder(rows: QuerySet[Assignment]) -> QuerySet[Assignment]:
    """Everything a ladder shows, in a constant number of queries."""
    attempts = (
        Attempt.objects.select_related("verdict__submission", "angle__request")
        .prefetch_related(
            Prefetch(
                "angle__submissions",
                queryset=Submission.objects.select_related("video", "angle").order_by("pk"),
            )
        )
        .order_by("pk")
    )
    return rows.select_related(
        "drill_version__drill", "finding", "student__user", "student__studio", "review"
    ).prefetch_related("steps__criteria", Prefetch("steps__attempts", queryset=attempts))


def with_steps(rows: QuerySet[Assignment]) -> QuerySet[Assignment]:
    """What `current_step` and `passed_days` look at, and the drill's title; criteria are apart."""
    attempts = (
        Attempt.objects.select_related("verdict__submission", "angle")
        .prefetch_related(
            Prefetch("angle__submissions", queryset=Submission.objects.order_by("pk"))
        )
        .order_by("pk")
    )
    return rows.select_related("drill_version").prefetch_related(
        "steps", Prefetch("steps__attempts", queryset=attempts)
    )


@dataclass(frozen=True)
class CurrentStep:
    """Where a student stands on a ladder, and the one next thing there.

    `state`: `film` (an attempt is open), `sent` (the coach has it), `stopped` (pain),
    `done` (the ladder is climbed or ended) or `waiting` (nothing is open yet).
    """

    assignment: Assignment
    state: str
    step: Step | None = None
    attempt: Attempt | None = None
    clip: Submission | None = None

    @property
    def number(self) -> int:
        return self.step.position + 1 if self.step else 0

    @property
    def due_on(self) -> date | None:
        """By when the open step is filmed; None where no day was said, or it has come."""
        return self.attempt.angle.request.due_on if self.state == "film" and self.attempt else None

    @property
    def goes_on(self) -> bool:
        return self.step is not None and self.state not in ("stopped", "done")


def current_step(assignment: Assignment) -> CurrentStep:
    step = next(
        (r for r in assignment.steps.all() if r.passed_at is None and r.skipped_at is None), None
    )
    if assignment.closed_at or step is None:
        return CurrentStep(assignment, "done", step)
    if assignment.stopped_at:
        return CurrentStep(assignment, "stopped", step)
    attempt = max(step.attempts.all(), key=lambda a: a.pk, default=None)
    if attempt is None or verdict_of(attempt) is not None:
        return CurrentStep(assignment, "waiting", step, attempt)
    clip = latest_clip(attempt)
    return CurrentStep(assignment, "sent" if clip else "film", step, attempt, clip)


def verdict_of(attempt: Attempt) -> Verdict | None:
    return getattr(attempt, "verdict", None)


@dataclass(frozen=True)
class Place:
    """One step as the ladder shows it; `stone` is the mark, `word` stands beside it."""

    step: Step
    state: str  # passed, skipped, now, ahead, stopped
    passes: int  # days passed so far, of `step.days`
    attempts: int

    @property
    def stone(self) -> str:
        return {"passed": "done", "now": "way", "stopped": "stop"}.get(self.state, "leave")


def ladder_view(assignment: Assignment) -> list[Place]:
    current = current_step(assignment)
    zone = student_zone(assignment.student)
    return [_place(step, current, zone) for step in assignment.steps.all()]


def _place(step: Step, current: CurrentStep, zone: tzinfo) -> Place:
    verdicts = [v for a in step.attempts.all() if (v := verdict_of(a)) is not None]
    state = "ahead"
    if step.passed_at:
        state = "passed"
    elif step.skipped_at:
        state = "skipped"
    elif current.step == step:
        state = "stopped" if current.state == "stopped" else "now"
    return Place(step, state, passed_days(verdicts, zone), len(verdicts))


def passed_days(verdicts: Iterable[Verdict], zone: tzinfo) -> int:
    """On how many different days a step was passed since the last step back.

    Days are the student's, by `zone`: an afternoon of practice is one of them anywhere.
    """
    days: set[date] = set()
    for verdict in sorted(verdicts, key=lambda v: v.pk):
        if verdict.decision == Verdict.Decision.PASSED:
            days.add(timezone.localdate(verdict.submission.created_at, zone))
        elif verdict.decision == Verdict.Decision.STEP_BACK:
            days.clear()
    return len(days)


def open_assignments(students: QuerySet[Student] | Student) -> QuerySet[Assignment]:
    """Drills a student may see and has not finished."""
    owner = {"student": students} if isinstance(students, Student) else {"student__in": students}
    return with_ladder(
        Assignment.objects.filter(**owner, opened_at__isnull=False, closed_at__isnull=True)
    ).order_by("pk")


def passed_drills(student: Student) -> QuerySet[Assignment]:
    """Drills climbed to the end, newest first; a drill that was stopped is none of them."""
    undone = Step.objects.filter(passed_at=None, skipped_at=None)
    return (
        student.assignments.filter(closed_at__isnull=False, opened_at__isnull=False)
        .exclude(steps__in=undone)
        .select_related("drill_version")
        .order_by("-closed_at")
    )


def final_targets(assignment: Assignment) -> dict[tuple[str, str], Criterion]:
    """What the last step asks of each measure: early steps overshoot it on purpose."""
    steps = list(assignment.steps.all())
    if not steps:
        return {}
    return {(c.measure, c.event): c for c in steps[-1].criteria.all() if c.measure}


def due_for_new_look(students: QuerySet[Student]) -> QuerySet[Finding]:
    """Compensations whose causes have passed: is it still there?"""
    return (
        Finding.objects.filter(
            student__in=students, look_again_at__lte=timezone.now(), closed_at__isnull=True
        )
        .select_related("student")
        .order_by("look_again_at")
    )


def checks_due(students: QuerySet[Student]) -> QuerySet[Assignment]:
    """Climbed ladders whose check film is proposed and not asked for yet."""
    return (
        Assignment.objects.filter(
            student__in=students,
            check_due_on__lte=timezone.localdate(),
            check_request__isnull=True,
        )
        .select_related("student", "drill_version")
        .order_by("check_due_on")
    )


def passed_steps(assignments: Iterable[Assignment]) -> list[Step]:
    """Steps of these that were passed, newest first; from memory when steps were prefetched."""
    found = [(s.passed_at, s.pk, s) for a in assignments for s in a.steps.all() if s.passed_at]
    return [step for _at, _pk, step in sorted(found, reverse=True)]


def measures_asked(assignments: Iterable[Assignment]) -> list[tuple[str, str]]:
    """The (measure, event) pairs that drills ask for, each once, in order of coming up."""
    criteria = [c for a in assignments for s in a.steps.all() for c in s.criteria.all()]
    criteria.sort(key=lambda c: (c.position, c.pk))
    return list(dict.fromkeys((c.measure, c.event) for c in criteria if c.measure))


def library(studio_ids: Iterable[int]) -> QuerySet[Drill]:
    """Drills in use, each with its versions, by title of the newest one."""
    return (
        Drill.objects.filter(Q(studio__in=studio_ids), retired_at__isnull=True)
        .prefetch_related("versions")
        .order_by("cause", "slug")
    )


def angle_of(step: Step) -> dict[str, object]:
    """What to ask the student to film for a step."""
    return {
        "view": step.view,
        "kind": step.film_kind,
        "club": step.club,
        "effort": step.effort,
        "ball": step.ball,
        "bar_across": step.bar_across,
        "repetitions": step.repetitions,
    }


def attempt_to_judge(assignment: Assignment) -> Attempt | None:
    """The attempt whose clip has come back and waits for its verdict."""
    rows = Attempt.objects.filter(
        step__assignment=assignment, verdict=None, angle__submissions__isnull=False
    )
    return rows.order_by("-pk").first()


def drills_sharing(attempt: Attempt) -> list[Assignment]:
    """Other drills that the same film is for."""
    others = Attempt.objects.filter(angle=attempt.angle_id).exclude(pk=attempt.pk)
    rows = others.select_related("step__assignment__drill_version").order_by("pk")
    return [other.step.assignment for other in rows]


# What a step says in a drill file; `criteria` beside it.
STEP_PARTS = ("kind", "text", "view", "film_kind", "effort", "ball", "need", "repetitions", "days")


def row_of(step: Step) -> dict[str, Any]:
    """A student's own step in the shape of a drill file."""
    row = {name: getattr(step, name) for name in STEP_PARTS}
    if step.film_kind == "bar":
        row["bar_across"] = step.bar_across
    row |= {name: v for name in ("club", "within_days") if (v := getattr(step, name))}
    return row | {"criteria": [_criterion_row(c) for c in step.criteria.all()]}


def _criterion_row(criterion: Criterion) -> dict[str, Any]:
    names = ("measure", "event", "low", "high", "change", "aim", "question")
    told = {name: v for name in names if (v := getattr(criterion, name)) not in (None, "")}
    return {"comparison": criterion.comparison, **told}


def steps_ahead(assignment: Assignment) -> list[Step]:
    """Steps that nobody was asked for yet: they may still be changed."""
    rows = assignment.steps.filter(passed_at=None, skipped_at=None, attempts=None)
    return list(rows.order_by("position").prefetch_related("criteria"))


def steps_behind(assignment: Assignment) -> list[Step]:
    """Steps that somebody was asked for: what lies ahead may not ask for more."""
    ahead = [step.pk for step in steps_ahead(assignment)]
    rows = assignment.steps.exclude(pk__in=ahead).filter(skipped_at=None)
    return list(rows.order_by("position").prefetch_related("criteria"))


def open_angle(current: CurrentStep) -> RequestedAngle | None:
    """The angle to film now, if any."""
    return current.attempt.angle if current.state == "film" and current.attempt else None
