"""What has changed: ladders, and each measure over time under its own condition."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from coaching.people import ties
from coaching.practice import charts
from coaching.practice.queries import ladders
from coaching.practice.queries import progress as progress_queries


@dataclass(frozen=True)
class Pictured:
    """A series with its picture and the first and last clip of it."""

    series: progress_queries.Series
    chart: charts.Chart

    @property
    def comparison(self) -> str:
        """What the last film was asked for, as a span draws it."""
        low, high = self.last.low, self.last.high
        if low is None and high is None:
            return ""
        return "at_most" if low is None else "at_least" if high is None else "between"

    @property
    def first(self) -> progress_queries.Point:
        return self.series.points[0]

    @property
    def last(self) -> progress_queries.Point:
        return self.series.points[-1]


@require_safe
@login_required
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """Ladders, each measure over time under its own condition, then and now."""
    student = ties.student_read(request.user, pk)
    opened = student.assignments.filter(opened_at__isnull=False).order_by("-pk")
    assignments = list(ladders.with_steps(opened).prefetch_related("steps__criteria"))
    asked = ladders.measures_asked(assignments)
    series = progress_queries.series_of(student, asked=asked)
    pair = progress_queries.then_and_now_of(student, series)
    return render(
        request,
        "practice/progress.html",
        {
            "student": student,
            "is_staff": ties.of(request.user).is_staff(student),
            "ladders": [(a, ladders.current_step(a), ladders.ladder_view(a)) for a in assignments],
            "measures": _by_measure(series),
            "then_now": pair,
            "changed": pair and progress_queries.has_changed(pair),
            "rows": (rows := _rows(asked, series)),
            "axis": _axis(rows),
            "passed": ladders.passed_steps(assignments),
            "drawn": [row.measure for row in series],
            "kept": [(a, *progress_queries.kept_change(a)) for a in assignments],
        },
    )


@dataclass(frozen=True)
class MeasureRow:
    """A measure of the plan over all kinds of film, on the time axis that all rows share."""

    first: progress_queries.Series
    last: progress_queries.Point
    last_series: progress_queries.Series
    since: progress_queries.Point
    drawing: charts.Row
    has_changed: bool
    seen_fast: bool  # the newest film is one at full speed


def _axis(rows: list[MeasureRow]) -> tuple[datetime, datetime] | None:
    """The first and the last film of all rows."""
    ends = [point.at for row in rows for point in (row.since, row.last)]
    return (min(ends), max(ends)) if ends else None


def _rows(asked: list[tuple[str, str]], found: list[progress_queries.Series]) -> list[MeasureRow]:
    """A row for each measure that a drill asks for; of the newest pipeline's reading only."""
    mine = [series for series in found if (series.measure, series.event) in asked]
    moments = [point.at for series in mine for point in series.points]
    rows = []
    for key, group in groupby(mine, key=lambda series: (series.measure, series.event)):
        alike = progress_queries.read_alike(list(group))
        points = sorted(
            (p.at, p.value, p.uncertainty, s.effort in ("", "full"))
            for s in alike
            for p in s.points
        )
        newest = max(alike, key=lambda s: s.points[-1].at)
        oldest = min(alike, key=lambda s: s.points[0].at)
        last = newest.points[-1]
        drawing = charts.draw_row(
            points, goal=(last.low, last.high), since=min(moments), until=max(moments)
        )
        first = oldest.points[0]
        pair = progress_queries.ThenNow(*key, first, last, oldest, newest)
        changed, fast = progress_queries.has_changed(pair), newest.effort in ("", "full")
        rows.append(MeasureRow(oldest, last, newest, first, drawing, changed, fast))
    return rows


def _by_measure(found: list[progress_queries.Series]) -> list[list[Pictured]]:
    """Each measure once, with its conditions beneath it."""
    rows = groupby(found, key=lambda series: (series.measure, series.event))
    return [[_pictured(series) for series in group] for _key, group in rows]


def _pictured(series: progress_queries.Series) -> Pictured:
    points = [(p.at, p.value, p.uncertainty, p.low, p.high) for p in series.points]
    return Pictured(series, charts.draw(points))
