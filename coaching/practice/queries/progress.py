"""A measure over time, each condition and pipeline version by itself."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from analysis.models import Run
from coaching.intake.models import RequestedAngle, Submission
from coaching.lessons.estimates import (
    Band,
    Change,
    Estimate,
    constant_share,
    difference,
    estimate_of,
    mean_of,
    sd_of_mean,
)
from coaching.lessons.repeated import effort_pct
from coaching.people.models import Student
from coaching.practice.criteria import survives
from coaching.practice.models import Assignment, Criterion, Step
from coaching.practice.queries.filmed import Film, films, newest_version, rebase
from coaching.practice.queries.judged import judged_all
from coaching.practice.queries.ladders import latest_clip

_SPEED = ("hand_speed_peak_m_s", "impact")


def effort_of(clip: Submission) -> Estimate | None:
    """How hard a clip's swings were, in percent of the student's own full ones; None untold."""
    if clip.angle is None or clip.angle.effort in ("still", "slow"):
        return None
    found = films([clip]).get(clip.pk)
    here = _speeds(found) if found else []
    whole = list(
        Submission.objects.filter(
            student=clip.student_id,
            replaced_by__isnull=True,
            video__view=clip.video.view,
            angle__kind="swing",
            angle__effort=RequestedAngle.Effort.FULL,
        ).exclude(pk=clip.pk)
    )
    full = [speed for film in films(whole).values() for speed in _speeds(film)]
    return effort_pct(mean_of(here, share=0.0), full) if here else None


def _speeds(film: Film) -> list[Estimate]:
    rows = [figures[_SPEED] for figures in film.repetitions if _SPEED in figures]
    return [e for row in rows if (e := estimate_of(row.value, row.uncertainty)) is not None]


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
    """One measure under one condition, by one pipeline: others never share a line."""

    measure: str
    event: str
    view: str
    kind: str
    effort: str
    ball: str
    club: str
    version: str
    points: tuple[Point, ...]
    left_out: int = 0  # clips that only another version has measured
    in_background: bool = False  # they are being measured again

    @property
    def condition(self) -> tuple[str, str, str, str, str]:
        return self.view, self.kind, self.effort, self.ball, self.club


def series_of(student: Student, *, asked: Sequence[tuple[str, str]] | None = None) -> list[Series]:
    """The measures that were asked for or found, over time, each condition by itself.

    `asked` are the pairs that the opened drills ask for, where they were read already.
    """
    clips = list(
        student.submissions.filter(replaced_by__isnull=True)
        .select_related("video", "angle")
        .order_by("created_at")
    )
    wanted = _followed(student, asked)
    bands = {
        pk: {(a.measure, a.event): a.target.band for j in results for a in j.asked if a.target}
        for pk, results in judged_all(clips).items()
    }
    together: dict[tuple[str, ...], list[Submission]] = defaultdict(list)
    for clip in clips:
        together[_condition(clip)].append(clip)
    measured = films(clips, measures={measure for measure, _event in wanted})
    again = _measured_again(clips)
    found = []
    for condition, alike in together.items():
        version = newest_version(measured, alike)
        same = [c for c in alike if c.pk in measured and measured[c.pk].version == version]
        other = [c for c in alike if c.pk in measured and c not in same]
        for measure, event in wanted:
            points = [
                point
                for clip in same
                if (
                    point := _point(clip, measured[clip.pk], measure, event, bands.get(clip.pk, {}))
                )
            ]
            if points:
                background = bool(other) and all(c.video_id in again for c in other)
                view, kind, effort, ball, club = condition
                found.append(
                    Series(
                        measure=measure,
                        event=event,
                        view=view,
                        kind=kind,
                        effort=effort,
                        ball=ball,
                        club=club,
                        version=version,
                        points=tuple(points),
                        left_out=len(other),
                        in_background=background,
                    )
                )
    order = {key: place for place, key in enumerate(wanted)}
    return sorted(found, key=lambda s: (order[s.measure, s.event], s.points[0].at))


@dataclass(frozen=True)
class ThenNow:
    """One measure's first and newest film from the same side, read by one pipeline."""

    measure: str
    event: str
    first: Point
    last: Point
    first_series: Series
    last_series: Series


def then_and_now_of(student: Student, found: Sequence[Series] | None = None) -> ThenNow | None:
    """Of the first followed measure that was read in two films; None before the second film."""
    series = series_of(student) if found is None else found
    for measure, event in dict.fromkeys((s.measure, s.event) for s in series):
        of_it = [s for s in series if (s.measure, s.event) == (measure, event)]
        newest = max(of_it, key=lambda s: s.points[-1].at)
        alike = [s for s in of_it if (s.view, s.version) == (newest.view, newest.version)]
        oldest = min(alike, key=lambda s: s.points[0].at)
        first, last = oldest.points[0], newest.points[-1]
        if first.submission.pk != last.submission.pk:
            return ThenNow(measure, event, first, last, oldest, newest)
    return None


def has_changed(pair: ThenNow) -> bool:
    """Whether the two films differ by more than their figures can hide."""
    then = estimate_of(pair.first.value, pair.first.uncertainty)
    now = estimate_of(pair.last.value, pair.last.uncertainty)
    return difference(then, now).says == Change.CHANGED


def read_alike(found: Sequence[Series]) -> list[Series]:
    """Of one measure's series, those read by the pipeline that read the newest film."""
    newest = max(found, key=lambda s: s.points[-1].at)
    return [s for s in found if s.version == newest.version]


def _measured_again(clips: Sequence[Submission]) -> set[int]:
    """Videos that wait in the background for the newest pipeline version."""
    going = Run.objects.filter(
        video__in=[clip.video_id for clip in clips],
        background=True,
        status__in=[Run.Status.QUEUED, Run.Status.RUNNING],
    )
    return set(going.values_list("video_id", flat=True))


def _followed(student: Student, asked: Sequence[tuple[str, str]] | None) -> list[tuple[str, str]]:
    """Measures of the student's published criteria and findings, in order of coming up."""
    found = student.findings.filter(review__published_at__isnull=False).exclude(measure="")
    if asked is None:
        criteria = Criterion.objects.filter(
            step__assignment__student=student, step__assignment__opened_at__isnull=False
        ).exclude(measure="")
        asked = list(criteria.values_list("measure", "event"))
    return list(dict.fromkeys([*asked, *found.values_list("measure", "event")]))


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
    bands: Mapping[tuple[str, str], Band],
) -> Point | None:
    found = film.mean(measure, event)
    if found is None:
        return None
    mean, count = found
    band = bands.get((measure, event))
    low, high = band.edges if band else (None, None)
    return Point(clip.created_at, mean.value, mean.sd, count, clip, low, high)


@dataclass(frozen=True)
class Baseline:
    """The newest reading of a measure, as the coach sees it while choosing a target."""

    value: float
    uncertainty: float  # of the mean
    single: float  # of one repetition
    repetitions: int
    submission: Submission
    version: str  # of the pipeline that read it


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
        film = measured.get(clip.pk)
        mean = film.mean(measure, event) if film else None
        if film is None or mean is None or (view and clip.video.view != view):
            continue
        (value, u), count = (mean[0].value, mean[0].sd), mean[1]
        single = u / sd_of_mean(1.0, count=count, share=constant_share(measure))
        found.append(Baseline(value, u, single, count, clip, film.version))
    found.sort(key=lambda b: (b.submission.video.kind == kind, b.submission.created_at))
    return found[-1] if found else None


@dataclass(frozen=True)
class Kept:
    """The mean of a step's newest film, and the share of the first step's change that is left."""

    step: Step
    value: float
    uncertainty: float
    share: float | None

    @property
    def percent(self) -> int | None:
        return None if self.share is None else round(100 * self.share)


def kept_change(assignment: Assignment) -> tuple[Criterion | None, list[Kept]]:
    """How much of a change survives as effort rises, for the last step's first figure.

    Steps without a film in which it was read are left out.
    """
    steps = list(assignment.steps.all())
    criterion = next((c for c in (steps[-1].criteria.all() if steps else ()) if c.measure), None)
    if criterion is None or criterion.baseline is None:
        return criterion, []
    clips = {r.pk: _newest_clip(r) for r in steps}
    there = [clip for clip in clips.values() if clip]
    if not there:
        return criterion, []
    version = newest_version(films(there), there)
    measured = films(there, version=version)
    rebase([criterion], version=version)  # may leave it without a baseline
    if criterion.baseline is None:
        return criterion, []  # type: ignore[unreachable]
    rows: list[tuple[Step, Point]] = []
    for step in steps:
        clip = clips[step.pk]
        if clip is None or clip.pk not in measured:
            continue
        point = _point(clip, measured[clip.pk], criterion.measure, criterion.event, {})
        if point is not None:
            rows.append((step, point))
    return criterion, [
        Kept(r, p.value, p.uncertainty, survives(rows[0][1].value, criterion.baseline, p.value))
        for r, p in rows
    ]


def _newest_clip(step: Step) -> Submission | None:
    clips = [clip for a in step.attempts.all() if (clip := latest_clip(a)) is not None]
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
            video__runs__events__superseded_at__isnull=True,
            created_at__lt=clip.created_at,
        )
        .select_related("video", "angle")
        .order_by("created_at", "pk")
        .first()
    )
    return ((first, event) if first else None), (clip, event)
