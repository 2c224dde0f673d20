"""Geometry of the two charts of the studio's page. Pure: numbers in, places out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coaching.dashboard.doing import Week

WIDTH, HEIGHT, FLOOR, TOP = 560.0, 176.0, 148.0, 22.0


@dataclass(frozen=True)
class Column:
    """One week: its place along the axis, its bar, and its hours as a dot with a whisker."""

    week: Week
    x: float
    top: float
    late_top: float
    is_now: bool
    dot: float | None = None
    low: float | None = None
    high: float | None = None

    @property
    def left(self) -> float:
        return round(self.x - 19, 1)

    @property
    def height(self) -> float:
        return round(FLOOR - self.top, 1)

    @property
    def late_height(self) -> float:
        return round(FLOOR - self.late_top, 1)


@dataclass(frozen=True)
class WeekChart:
    columns: tuple[Column, ...]
    promise: float  # y of the promised hours
    width: float = WIDTH
    height: float = HEIGHT
    floor: float = FLOOR


def draw(weeks: Sequence[Week], *, promised_h: float) -> WeekChart:
    """Bars by the largest week, hours by the largest of promise and slowest tenth."""
    most = max((week.answered for week in weeks), default=0) or 1
    longest = max([promised_h, *(week.slow_h or 0 for week in weeks)]) or 1
    room = FLOOR - TOP

    def hours(value: float | None) -> float | None:
        return None if value is None else round(FLOOR - room * value / longest, 1)

    step = WIDTH / max(len(weeks), 1)
    columns = tuple(
        Column(
            week=week,
            x=round(step * (place + 0.5), 1),
            top=round(FLOOR - room * week.answered / most, 1),
            late_top=round(FLOOR - room * week.late / most, 1),
            is_now=place == len(weeks) - 1,
            dot=hours(week.median_h),
            low=hours(week.quick_h),
            high=hours(week.slow_h),
        )
        for place, week in enumerate(weeks)
    )
    return WeekChart(columns, promise=hours(promised_h) or FLOOR)
