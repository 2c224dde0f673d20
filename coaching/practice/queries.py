"""Shared reads of the practice: what came back against what was asked, ladders, pain.

Lists take a constant number of queries, however many rows there are.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Prefetch, Q, QuerySet
from django.utils import timezone

from analysis.models import Measurement, Run
from coaching.diagnosis.certainty import constant_share, mean_reading
from coaching.diagnosis.models import Finding
from coaching.intake.models import RequestedAngle, Submission
from coaching.lessons.reading import reading_of
from coaching.people import access
from coaching.people.models import BodyNote, Region, Student
from coaching.practice.criteria import (
    Suggestion,
    Target,
    at_least,
    at_most,
    between,
    changed_by,
    suggest,
    survives,
)
from coaching.practice.lines import Line, judged_lines
from coaching.practice.models import (
    Assignment,
    Attempt,
    Criterion,
    Drill,
    PainReport,
    Rung,
    SelfAnswer,
    Verdict,
)
from coaching.review.queries import player_data, with_figures

# Repetitions of a clip in order, each (measure, event) -> row.
Film = list[dict[tuple[str, str], Measurement]]


@dataclass(frozen=True)
class Asked:
    """One figure of one repetition against the criterion it was filmed for.

    It reads like a measurement, so that a span draws it.
    """

    criterion: Criterion
    repetition: int  # from 1, as people count
    value: float | None
    uncertainty: float | None
    reason: str
    frame: int | None

    @property
    def measure(self) -> str:
        return self.criterion.measure

    @property
    def event(self) -> str:
        return self.criterion.event

    @property
    def target(self) -> Target:
        target = target_of(self.criterion)
        assert target is not None, "a self-test has no figure"
        return target

    @property
    def counts(self) -> bool:
        """Whether the reading lies in the band."""
        return self.value is not None and self.target.counts(self.value)

    @property
    def chance(self) -> float | None:
        """Chance that the true value meets the criterion."""
        if self.value is None or self.uncertainty is None:
            return None
        return self.target.chance(self.value, self.uncertainty)

    @property
    def reading(self) -> str | None:
        c = self.criterion
        return reading_of(
            self.value, self.uncertainty, c.low, c.high, c.comparison,
            change=c.change, baseline=c.baseline, baseline_uncertainty=c.baseline_uncertainty,
        )  # fmt: skip


@dataclass(frozen=True)
class Judged:
    """A clip that came back for a rung: every figure, and what they suggest."""

    submission: Submission
    attempt: Attempt
    asked: tuple[Asked, ...]
    answers: tuple[tuple[Criterion, bool | None], ...]
    suggestion: Suggestion

    @property
    def by_repetition(self) -> list[tuple[int, list[Asked]]]:
        rows: dict[int, list[Asked]] = defaultdict(list)
        for figure in self.asked:
            rows[figure.repetition].append(figure)
        return sorted(rows.items())


def target_of(criterion: Criterion) -> Target | None:
    """The band a criterion asks for; None for a self-test."""
    kinds = Criterion.Comparison
    where = criterion.measure, criterion.event
    match criterion.comparison:
        case kinds.AT_LEAST:
            return at_least(*where, _given(criterion.low))
        case kinds.AT_MOST:
            return at_most(*where, _given(criterion.high))
        case kinds.BETWEEN:
            return between(*where, _given(criterion.low), _given(criterion.high))
        case kinds.CHANGED_BY:
            baseline = _given(criterion.baseline), criterion.baseline_uncertainty or 0.0
            return changed_by(*where, baseline, _given(criterion.change))
    return None


def _given(value: float | None) -> float:
    if value is None:
        raise ValueError("the criterion is not complete")
    return value


# --- what came back -----------------------------------------------------------------


def films(submissions: Iterable[Submission]) -> dict[int, Film]:
    """The newest measured repetitions of each clip, by submission. Two queries."""
    videos = {submission.video_id: submission.pk for submission in submissions}
    runs = Run.objects.filter(
        video__in=videos, kind=Run.Kind.MEASURE, status=Run.Status.DONE
    ).order_by("pk")
    newest = {run.video_id: run.pk for run in runs.only("pk", "video_id")}
    owner = {run: videos[video] for video, run in newest.items()}
    reps: dict[int, dict[int, dict[tuple[str, str], Measurement]]] = {
        pk: {} for pk in owner.values()
    }
    for row in Measurement.objects.filter(run__in=owner):
        reps[owner[row.run_id]].setdefault(row.repetition, {})[row.measure, row.event] = row
    return {pk: [by_rep[n] for n in sorted(by_rep)] for pk, by_rep in reps.items()}


def attempts_by_submission(submissions: Iterable[Submission]) -> dict[int, Attempt]:
    """The attempt each clip was filmed for; clips that answer a request of their own have none."""
    angles = {s.angle_id: s.pk for s in submissions if s.angle_id}
    attempts = (
        Attempt.objects.filter(angle__in=angles)
        .select_related("rung__assignment__drill_version", "verdict", "angle")
        .prefetch_related("rung__criteria")
    )
    found = {attempt.angle_id: attempt for attempt in attempts}
    return {s.pk: found[s.angle_id] for s in submissions if s.angle_id in found}


def judged(submissions: Sequence[Submission]) -> dict[int, Judged]:
    """Every clip that was filmed for a rung, against its criteria."""
    submissions = list(submissions)
    attempts = attempts_by_submission(submissions)
    measured = films([s for s in submissions if s.pk in attempts])
    answers: dict[tuple[int, int], bool] = {
        (answer.submission_id, answer.criterion_id): answer.yes
        for answer in SelfAnswer.objects.filter(submission__in=list(attempts))
    }
    return {
        s.pk: _judge(s, attempts[s.pk], measured.get(s.pk, []), answers)
        for s in submissions
        if s.pk in attempts
    }


def _judge(
    submission: Submission, attempt: Attempt, film: Film, answers: dict[tuple[int, int], bool]
) -> Judged:
    rung = attempt.rung
    criteria = list(rung.criteria.all())
    targets = {c: target for c in criteria if (target := target_of(c)) is not None}
    given = tuple((c, answers.get((submission.pk, c.pk))) for c in criteria if c not in targets)
    asked = tuple(
        _asked(criterion, number, row.get((criterion.measure, criterion.event)))
        for number, row in enumerate(film[: rung.repetitions], start=1)
        for criterion in targets
    )
    readings = [
        {
            key: (row.value, row.uncertainty)
            for key, row in figures.items()
            if row.value is not None and row.uncertainty is not None
        }
        for figures in film
    ]
    suggestion = suggest(
        list(targets.values()),
        readings,  # type: ignore[arg-type]
        need=rung.need,
        asked=rung.repetitions,
        answers=[answer for _, answer in given],
    )
    return Judged(submission, attempt, asked, given, suggestion)


def _asked(criterion: Criterion, repetition: int, row: Measurement | None) -> Asked:
    if row is None:
        return Asked(criterion, repetition, None, None, "not_measured", None)
    return Asked(criterion, repetition, row.value, row.uncertainty, row.reason, row.frame)


def measured_against_asked(submissions: Sequence[Submission]) -> dict[int, list[Asked]]:
    """One row per criterion and repetition, by submission."""
    return {pk: list(result.asked) for pk, result in judged(submissions).items()}


def attempts_to_judge(students: QuerySet[Student]) -> QuerySet[Submission]:
    """Clips filmed for a rung that have no verdict yet, nearest promise first."""
    return (
        Submission.objects.filter(
            student__in=students,
            angle__attempt__isnull=False,
            angle__attempt__verdict__isnull=True,
            answered_at__isnull=True,
            replaced_by__isnull=True,
        )
        .select_related("student", "video", "angle")
        .order_by("promised_at", "pk")
    )


def latest_clip(attempt: Attempt) -> Submission | None:
    """The clip that stands for an attempt: the newest that was not replaced."""
    clips = [clip for clip in attempt.angle.submissions.all() if clip.replaced_by_id is None]
    return max(clips, key=lambda clip: clip.pk, default=None)


@dataclass(frozen=True)
class Still:
    """One moment of a clip with the lines its figure is read from."""

    video_id: int
    event: str
    repetition: int  # from 1
    lines: tuple[Line, ...]


def stills_of(result: Judged) -> dict[int, Still]:
    """One still a repetition, of the moment its first figure is read at."""
    curves = player_data(with_figures(result.submission.video_id))["curves"]
    found: dict[int, Still] = {}
    for asked in result.asked:
        if asked.value is not None and asked.repetition not in found:
            lines = judged_lines(curves, asked.measure, asked.frame)
            found[asked.repetition] = Still(
                result.submission.video_id, asked.event, asked.repetition, tuple(lines)
            )
    return found


# --- ladders ------------------------------------------------------------------------


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
        "drill_version__drill", "finding", "student", "review"
    ).prefetch_related("rungs__criteria", Prefetch("rungs__attempts", queryset=attempts))


@dataclass(frozen=True)
class Step:
    """Where a student stands on a ladder, and the one next thing there.

    `state`: `film` (an attempt is open), `sent` (the coach has it), `stopped` (pain),
    `done` (the ladder is climbed or ended) or `waiting` (nothing is open yet).
    """

    assignment: Assignment
    state: str
    rung: Rung | None = None
    attempt: Attempt | None = None
    clip: Submission | None = None

    @property
    def number(self) -> int:
        return self.rung.position + 1 if self.rung else 0


def current_step(assignment: Assignment) -> Step:
    rung = next((r for r in assignment.rungs.all() if r.passed_at is None), None)
    if assignment.closed_at or rung is None:
        return Step(assignment, "done", rung)
    if assignment.stopped_at:
        return Step(assignment, "stopped", rung)
    attempt = max(rung.attempts.all(), key=lambda a: a.pk, default=None)
    if attempt is None or verdict_of(attempt) is not None:
        return Step(assignment, "waiting", rung, attempt)
    clip = latest_clip(attempt)
    return Step(assignment, "sent" if clip else "film", rung, attempt, clip)


def verdict_of(attempt: Attempt) -> Verdict | None:
    return getattr(attempt, "verdict", None)


@dataclass(frozen=True)
class Place:
    """One rung as the ladder shows it; `stone` is the mark, `word` stands beside it."""

    rung: Rung
    state: str  # passed, now, ahead, stopped
    passes: int  # days passed so far, of `rung.days`
    attempts: int

    @property
    def stone(self) -> str:
        return {"passed": "half", "now": "filled", "stopped": "crossed"}.get(self.state, "outlined")


def ladder_view(assignment: Assignment) -> list[Place]:
    step = current_step(assignment)
    return [_place(rung, step) for rung in assignment.rungs.all()]


def _place(rung: Rung, step: Step) -> Place:
    verdicts = [v for a in rung.attempts.all() if (v := verdict_of(a)) is not None]
    state = "ahead"
    if rung.passed_at:
        state = "passed"
    elif step.rung == rung:
        state = "stopped" if step.state == "stopped" else "now"
    return Place(rung, state, passed_days(verdicts), len(verdicts))


def passed_days(verdicts: Iterable[Verdict]) -> int:
    """On how many different days a rung was passed since the last step back."""
    days: set[date] = set()
    for verdict in sorted(verdicts, key=lambda v: v.pk):
        if verdict.decision == Verdict.Decision.PASSED:
            days.add(timezone.localdate(verdict.submission.created_at))
        elif verdict.decision == Verdict.Decision.STEP_BACK:
            days.clear()
    return len(days)


def open_assignments(students: QuerySet[Student] | Student) -> QuerySet[Assignment]:
    """Drills a student may see and has not finished."""
    owner = {"student": students} if isinstance(students, Student) else {"student__in": students}
    return with_ladder(
        Assignment.objects.filter(**owner, opened_at__isnull=False, closed_at__isnull=True)
    ).order_by("pk")


def final_targets(assignment: Assignment) -> dict[tuple[str, str], Criterion]:
    """What the last rung asks of each measure: early rungs overshoot it on purpose."""
    rungs = list(assignment.rungs.all())
    if not rungs:
        return {}
    return {(c.measure, c.event): c for c in rungs[-1].criteria.all() if c.measure}


# --- pain and limits ----------------------------------------------------------------


def open_pain(students: QuerySet[Student]) -> QuerySet[PainReport]:
    """Pain that no coach has reopened after, newest first; the unseen ones lead."""
    return (
        PainReport.objects.filter(student__in=students, reopened_at__isnull=True)
        .select_related("student", "assignment__drill_version")
        .order_by("seen_at", "-created_at")
    )


def hurting(student: Student) -> dict[str, str]:
    """Regions that hurt now, each with where that was said."""
    regions = {
        note.region: note.words or note.get_region_display()
        for note in student.body_notes.filter(
            over_at__isnull=True, kind__in=[BodyNote.Kind.PAINFUL, BodyNote.Kind.INJURY]
        )
    }
    for report in student.pain_reports.filter(reopened_at__isnull=True):
        regions[report.region] = report.words or report.get_region_display()
    return regions


def limits(student: Student) -> dict[str, str]:
    """Limits of the body that were accepted: the plan works inside them."""
    notes = student.body_notes.filter(accepted_as_limit_at__isnull=False, over_at__isnull=True)
    return {note.region: note.words or note.get_region_display() for note in notes}


def loads_any(loads: Sequence[str], regions: Iterable[str]) -> list[str]:
    """Which of `regions` a drill loads; pain somewhere unnamed counts for every drill."""
    return [region for region in regions if region in loads or region == Region.OTHER]


# --- what is due --------------------------------------------------------------------


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


# --- a measure over time ------------------------------------------------------------


@dataclass(frozen=True)
class Point:
    """The mean of one film's repetitions."""

    at: datetime
    value: float
    uncertainty: float
    repetitions: int
    submission: Submission
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Series:
    """One measure filmed under one condition; different conditions never share a line."""

    measure: str
    event: str
    view: str
    kind: str
    effort: str
    ball: str
    club: str
    points: tuple[Point, ...]

    @property
    def condition(self) -> tuple[str, str, str, str, str]:
        return self.view, self.kind, self.effort, self.ball, self.club


def series_of(student: Student) -> list[Series]:
    """The measures that were asked for or found, over time, each condition by itself."""
    clips = list(
        student.submissions.filter(replaced_by__isnull=True)
        .select_related("video", "angle")
        .order_by("created_at")
    )
    measured = films(clips)
    wanted = _followed(student)
    bands = {
        pk: {(a.measure, a.event): a.target for a in j.asked} for pk, j in judged(clips).items()
    }
    rows: dict[tuple[str, ...], list[Point]] = defaultdict(list)
    for clip in clips:
        for measure, event in wanted:
            point = _point(clip, measured.get(clip.pk, []), measure, event, bands.get(clip.pk, {}))
            if point is not None:
                rows[(measure, event, *_condition(clip))].append(point)
    found = [Series(*key, points=tuple(points)) for key, points in rows.items()]
    order = {key: place for place, key in enumerate(wanted)}
    return sorted(found, key=lambda s: (order[s.measure, s.event], s.points[0].at))


def _followed(student: Student) -> list[tuple[str, str]]:
    """Measures of the student's published criteria and findings, in order of coming up."""
    found = student.findings.filter(review__published_at__isnull=False).exclude(measure="")
    criteria = Criterion.objects.filter(
        rung__assignment__student=student, rung__assignment__opened_at__isnull=False
    ).exclude(measure="")
    pairs = [*criteria.values_list("measure", "event"), *found.values_list("measure", "event")]
    return list(dict.fromkeys(pairs))


def _condition(clip: Submission) -> tuple[str, ...]:
    angle = clip.angle
    if angle is None:
        return clip.video.view, clip.video.kind, "", "", ""
    return clip.video.view, clip.video.kind, angle.effort, angle.ball, angle.club


def _point(
    clip: Submission,
    film: Film,
    measure: str,
    event: str,
    bands: dict[tuple[str, str], Target],
) -> Point | None:
    readings = [
        (row.value, row.uncertainty)
        for figures in film
        if (row := figures.get((measure, event))) is not None
        and row.value is not None
        and row.uncertainty is not None
    ]
    if not readings:
        return None
    value, u = mean_reading(readings, share=constant_share(measure))
    band = bands.get((measure, event))
    low, high = (band.low, band.high) if band else (None, None)
    return Point(clip.created_at, value, u, len(readings), clip, _finite(low), _finite(high))


def _finite(value: float | None) -> float | None:
    return None if value is None or value in (float("inf"), float("-inf")) else value


@dataclass(frozen=True)
class Baseline:
    """The newest reading of a measure, as the coach sees it while choosing a target."""

    value: float
    uncertainty: float  # of the mean
    single: float  # of one repetition
    repetitions: int
    submission: Submission


def baseline_of(
    student: Student,
    measure: str,
    event: str,
    *,
    view: str = "",
    kind: str = "",
    submissions: Sequence[Submission] = (),
) -> Baseline | None:
    """The newest film in which a measure was read, the same kind of film first.

    A figure from another kind of film is still better than none to choose a target by.
    """
    clips = list(submissions) or list(
        student.submissions.filter(replaced_by__isnull=True)
        .select_related("video", "angle")
        .order_by("-created_at")[:20]
    )
    measured = films(clips)
    found = []
    for clip in clips:
        point = _point(clip, measured.get(clip.pk, []), measure, event, {})
        if point is None or (view and clip.video.view != view):
            continue
        singles = [
            row.uncertainty
            for figures in measured[clip.pk]
            if (row := figures.get((measure, event))) is not None and row.uncertainty is not None
        ]
        single = (sum(u * u for u in singles) / len(singles)) ** 0.5
        found.append(Baseline(point.value, point.uncertainty, single, point.repetitions, clip))
    found.sort(key=lambda b: (b.submission.video.kind == kind, b.submission.created_at))
    return found[-1] if found else None


def library(studio_ids: Iterable[int]) -> QuerySet[Drill]:
    """Drills in use, each with its versions, by title of the newest one."""
    return (
        Drill.objects.filter(Q(studio__in=studio_ids), retired_at__isnull=True)
        .prefetch_related("versions")
        .order_by("cause", "slug")
    )


def angle_of(rung: Rung) -> dict[str, object]:
    """What to ask the student to film for a rung."""
    return {
        "view": rung.view,
        "kind": rung.film_kind,
        "club": rung.club,
        "effort": rung.effort,
        "ball": rung.ball,
        "bar_across": rung.bar_across,
        "repetitions": rung.repetitions,
    }


def open_angle(step: Step) -> RequestedAngle | None:
    """The angle to film now, if any."""
    return step.attempt.angle if step.state == "film" and step.attempt else None


# --- how much of a change is left ---------------------------------------------------


@dataclass(frozen=True)
class Kept:
    """The mean of a rung's newest film, and the share of the first rung's change that is left."""

    rung: Rung
    value: float
    uncertainty: float
    share: float | None

    @property
    def percent(self) -> int | None:
        return None if self.share is None else round(100 * self.share)


def kept_change(assignment: Assignment) -> tuple[Criterion | None, list[Kept]]:
    """How much of a change survives as effort rises, for the last rung's first figure.

    Rungs without a film in which it was read are left out.
    """
    rungs = list(assignment.rungs.all())
    criterion = next((c for c in (rungs[-1].criteria.all() if rungs else ()) if c.measure), None)
    if criterion is None or criterion.baseline is None:
        return criterion, []
    clips = {r.pk: _newest_clip(r) for r in rungs}
    measured = films([clip for clip in clips.values() if clip])
    rows: list[tuple[Rung, Point]] = []
    for rung in rungs:
        clip = clips[rung.pk]
        if clip is None:
            continue
        point = _point(clip, measured.get(clip.pk, []), criterion.measure, criterion.event, {})
        if point is not None:
            rows.append((rung, point))
    return criterion, [
        Kept(r, p.value, p.uncertainty, survives(rows[0][1].value, criterion.baseline, p.value))
        for r, p in rows
    ]


def _newest_clip(rung: Rung) -> Submission | None:
    clips = [clip for a in rung.attempts.all() if (clip := latest_clip(a)) is not None]
    return max(clips, key=lambda clip: clip.pk, default=None)


def then_and_now(
    clip: Submission, event: str
) -> tuple[tuple[Submission, str] | None, tuple[Submission, str]]:
    """The student's first clip from the same side, and this one, each with its event."""
    first = (
        Submission.objects.filter(
            student=clip.student_id,
            replaced_by__isnull=True,
            video__view=clip.video.view,
            video__runs__kind=Run.Kind.MEASURE,
            video__runs__status=Run.Status.DONE,
            video__runs__events__event=event,
            video__runs__events__time_s__isnull=False,
            created_at__lt=clip.created_at,
        )
        .select_related("video", "angle")
        .order_by("created_at", "pk")
        .first()
    )
    return ((first, event) if first else None), (clip, event)


# --- who may see or change ----------------------------------------------------------


def assignment_read(user: access.AnyUser, pk: int) -> Assignment:
    """A drill that was sent, for whom it was sent to; a draft for its studio only; or 404."""
    rows = with_ladder(access.rows_read(user, Assignment))
    assignment = access.get_object_or_404(rows, pk=pk)
    if assignment.opened_at is None and not access.is_staff_of(user, assignment.student):
        raise access.Http404
    return assignment


def assignment_act(user: access.AnyUser, pk: int) -> Assignment:
    """A drill of the student himself, or of a guardian's ward."""
    rows = access.rows_acted(user, Assignment).filter(opened_at__isnull=False)
    return access.get_object_or_404(rows.select_related("student", "drill_version"), pk=pk)


def assignment_teach(user: access.AnyUser, pk: int) -> Assignment:
    rows = access.rows_taught(user, Assignment).select_related("student", "drill_version", "review")
    return access.get_object_or_404(rows, pk=pk)


def attempt_teach(user: access.AnyUser, pk: int) -> Attempt:
    """An attempt that `user` may judge."""
    rows = access.rows_taught(user, Attempt, "rung__assignment__student")
    return access.get_object_or_404(
        rows.select_related("rung__assignment__student", "angle__request", "verdict"), pk=pk
    )


def attempt_act(user: access.AnyUser, pk: int) -> Attempt:
    rows = access.rows_acted(user, Attempt, "rung__assignment__student")
    return access.get_object_or_404(rows.select_related("rung__assignment__student"), pk=pk)


def drill_read(user: access.AnyUser, pk: int) -> Drill:
    """A drill of a studio in which `user` works."""
    rows = Drill.objects.filter(studio__in=access.studios(user)).prefetch_related("versions")
    return access.get_object_or_404(rows.select_related("studio"), pk=pk)


def drill_teach(user: access.AnyUser, pk: int) -> Drill:
    rows = Drill.objects.filter(studio__in=access.studios(user, access.TEACHING))
    return access.get_object_or_404(rows.select_related("studio"), pk=pk)
