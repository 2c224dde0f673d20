"""How a practice is doing: answers a week, hours until the answer, promises kept, what drills move.

Pure figures in the first half, what is read of the database in the second. Numbers that are too
small to say anything are left out with a word.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from math import sqrt
from statistics import fmean, median, quantiles, stdev

from django.db.models import QuerySet
from django.utils import timezone

from coaching.intake.models import Submission
from coaching.people.models import Student
from coaching.practice.models import Assignment
from coaching.practice.queries.filmed import films
from coaching.practice.queries.ladders import latest_clip, with_ladder

WEEKS = 8
# Below so many, a median or a mean change says more about who happened to be there.
FEWEST_TIMES = 3
FEWEST_STUDENTS = 5


@dataclass(frozen=True)
class Week:
    """What was answered in the seven days from `monday`; hours are None where too few were."""

    monday: date
    answered: int
    late: int
    median_h: float | None = None
    quick_h: float | None = None  # one in ten was quicker
    slow_h: float | None = None  # nine in ten were quicker


@dataclass(frozen=True)
class Answered:
    """One clip that was answered; aware datetimes."""

    sent_at: datetime
    promised_at: datetime
    answered_at: datetime

    @property
    def hours(self) -> float:
        return (self.answered_at - self.sent_at).total_seconds() / 3600

    @property
    def is_late(self) -> bool:
        return self.answered_at > self.promised_at


def weeks_of(rows: Sequence[Answered], *, today: date, zone: tzinfo) -> list[Week]:
    """The last `WEEKS` weeks, each from Monday to Sunday in `zone`, the oldest first."""
    monday = today - timedelta(days=today.weekday())
    by_week: dict[date, list[Answered]] = defaultdict(list)
    for row in rows:
        day = row.answered_at.astimezone(zone).date()
        by_week[day - timedelta(days=day.weekday())].append(row)
    starts = [monday - timedelta(weeks=back) for back in range(WEEKS - 1, -1, -1)]
    return [_week(start, by_week[start]) for start in starts]


def _week(monday: date, rows: list[Answered]) -> Week:
    hours = sorted(row.hours for row in rows)
    counts = {"answered": len(rows), "late": sum(row.is_late for row in rows)}
    if len(hours) < FEWEST_TIMES:
        return Week(monday, **counts)
    tenths = quantiles(hours, n=10, method="inclusive")
    return Week(monday, median_h=median(hours), quick_h=tenths[0], slow_h=tenths[-1], **counts)


@dataclass(frozen=True)
class Moved:
    """Mean of a figure before and now over `count` students; `u` is 2 standard errors of the
    mean change, None where too few were measured."""

    measure: str
    event: str
    before: float
    now: float
    count: int
    u: float | None

    @property
    def may_be_chance(self) -> bool:
        return self.u is not None and abs(self.now - self.before) < self.u


@dataclass(frozen=True)
class DrillLine:
    """How often a drill was given, passed and stopped by pain, and what it moved."""

    pk: int
    title: str
    given: int
    passed: int
    stopped: int
    moved: Moved | None = None


def moved(measure: str, event: str, pairs: Sequence[tuple[float, float]]) -> Moved | None:
    """The mean change over (before, now) of several students. None without any."""
    if not pairs:
        return None
    before, now = fmean(a for a, _ in pairs), fmean(b for _, b in pairs)
    u = None
    if len(pairs) >= FEWEST_STUDENTS:
        u = 2 * stdev(b - a for a, b in pairs) / sqrt(len(pairs))
    return Moved(measure, event, before, now, len(pairs), u)


# What is read.


def answered_since(students: QuerySet[Student], since: datetime) -> list[Answered]:
    rows = Submission.objects.filter(
        student__in=students, replaced_by__isnull=True, answered_at__gte=since
    ).values_list("created_at", "promised_at", "answered_at")
    return [
        Answered(created_at, promised_at, answered_at)
        for created_at, promised_at, answered_at in rows
        if answered_at is not None
    ]


def weeks(students: QuerySet[Student], zone: tzinfo) -> list[Week]:
    now = timezone.now()
    rows = answered_since(students, now - timedelta(weeks=WEEKS + 1))
    return weeks_of(rows, today=now.astimezone(zone).date(), zone=zone)


def drill_lines(students: QuerySet[Student], *, most: int = 12) -> list[DrillLine]:
    """The drills given most often in a year, in a constant number of queries."""
    since = timezone.now() - timedelta(days=365)
    given = Assignment.objects.filter(student__in=students, opened_at__gte=since)
    by_drill: dict[int, list[Assignment]] = defaultdict(list)
    for row in with_ladder(given):
        by_drill[row.drill_version.drill_id].append(row)
    most_given = sorted(by_drill.items(), key=lambda pair: (-len(pair[1]), pair[0]))[:most]
    pairs = _pairs([row for _pk, rows in most_given for row in rows])
    return [_line(pk, rows, pairs) for pk, rows in most_given]


Key = tuple[str, str]


def _pairs(rows: list[Assignment]) -> dict[int, tuple[Key, tuple[float, float]]]:
    """By assignment: its first figure, as it was before and as the newest clip shows it.

    Figures of two pipeline versions are no change.
    """
    clips = {row.pk: clip for row in rows if (clip := _newest(row)) is not None}
    read = films(clips.values())
    found: dict[int, tuple[Key, tuple[float, float]]] = {}
    for row in rows:
        asked = (c for step in row.steps.all() for c in step.criteria.all() if c.measure)
        criterion = next(asked, None)
        film = read.get(clips[row.pk].pk) if row.pk in clips else None
        if criterion is None or criterion.baseline is None or film is None:
            continue
        if criterion.baseline_version and criterion.baseline_version != film.version:
            continue
        mean = film.mean(criterion.measure, criterion.event)
        if mean is not None:
            key = (criterion.measure, criterion.event)
            found[row.pk] = (key, (criterion.baseline, mean[0].value))
    return found


def _newest(row: Assignment) -> Submission | None:
    clips = [latest_clip(attempt) for step in row.steps.all() for attempt in step.attempts.all()]
    return max((clip for clip in clips if clip), key=lambda clip: clip.pk, default=None)


def _line(
    pk: int, rows: list[Assignment], pairs: dict[int, tuple[Key, tuple[float, float]]]
) -> DrillLine:
    by_key: dict[Key, list[tuple[float, float]]] = defaultdict(list)
    for row in rows:
        if row.pk in pairs:
            by_key[pairs[row.pk][0]].append(pairs[row.pk][1])
    key = max(by_key, key=lambda k: len(by_key[k]), default=("", ""))
    return DrillLine(
        pk=pk,
        title=max(rows, key=lambda row: row.pk).drill_version.title,
        given=len(rows),
        passed=sum(all(step.passed_at for step in row.steps.all()) for row in rows),
        stopped=sum(row.stopped_at is not None for row in rows),
        moved=moved(*key, by_key.get(key, [])),
    )
