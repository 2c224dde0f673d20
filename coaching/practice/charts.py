"""A measure over time as a picture: bands, whiskers, ticks. Pure geometry in SVG units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from coaching.lessons.scale import Scale, covering

WIDTH, HEIGHT = 640.0, 240.0
LEFT, RIGHT, TOP, BOTTOM = 56.0, 16.0, 16.0, 36.0


@dataclass(frozen=True)
class Dot:
    """One film: where its tick stands, its whisker of two standard deviations, its band."""

    x: float
    y: float
    top: float
    bottom: float
    at: datetime
    band_top: float | None
    band_height: float
    band_left: float
    band_width: float


@dataclass(frozen=True)
class Chart:
    width: float
    height: float
    dots: tuple[Dot, ...]
    line: str  # SVG path through the ticks; empty for one film
    ticks: tuple[tuple[float, float], ...]  # (value, y) of the scale
    days: tuple[tuple[datetime, float, str], ...]  # (day, x, anchor) of first and last


def draw(
    points: Sequence[tuple[datetime, float, float, float | None, float | None]],
) -> Chart:
    """Lay films out in order of time.

    Parameters
    ----------
    points : sequence of (at, value, u, low, high)
        `u` is one standard deviation; `low` and `high` the band asked for, None where open.

    Notes
    -----
    Films stand evenly apart: days without practice say nothing.
    """
    if not points:
        raise ValueError("a picture needs at least one film")
    marks = [value + way * u for _at, value, u, _low, _high in points for way in (-2, 2)]
    marks += [edge for row in points for edge in row[3:] if edge is not None]
    scale = covering(marks, air=0.1, start=HEIGHT - BOTTOM, end=TOP)
    y, step = scale.at, (WIDTH - LEFT - RIGHT) / len(points)
    dots = []
    for place, (at, value, u, low, high) in enumerate(points):
        x = round(LEFT + (place + 0.5) * step, 1)
        upper = y(scale.most if high is None else high)
        lower = y(scale.least if low is None else low)
        asked = low is not None or high is not None
        dots.append(
            Dot(
                x=x,
                y=y(value),
                top=y(value + 2 * u),
                bottom=y(value - 2 * u),
                at=at,
                band_top=upper if asked else None,
                band_height=round(lower - upper, 1),
                band_left=round(LEFT + place * step, 1),
                band_width=round(step, 1),
            )
        )
    path = " ".join(f"{'L' if i else 'M'}{d.x},{d.y}" for i, d in enumerate(dots))
    ends = [(dots[0].at, dots[0].x, "middle")]
    if len(dots) > 1:
        ends.append((dots[-1].at, dots[-1].x, "middle"))
    return Chart(
        width=WIDTH,
        height=HEIGHT,
        dots=tuple(dots),
        line=path if len(dots) > 1 else "",
        ticks=scale.ticks(),
        days=tuple(ends),
    )


ROW_WIDTH, ROW_HEIGHT = 340.0, 96.0
ROW_LEFT, ROW_RIGHT, ROW_TOP, ROW_BOTTOM = 10.0, 44.0, 14.0, 24.0


@dataclass(frozen=True)
class RowDot:
    """One film in a measure's row: `is_full` at full speed, else slower."""

    x: float
    y: float
    top: float
    bottom: float
    is_full: bool


@dataclass(frozen=True)
class Row:
    """All films of one measure on one scale, whatever kind of film they are."""

    width: float
    height: float
    dots: tuple[RowDot, ...]
    band_top: float | None  # the goal, shaded over the whole row
    band_height: float


def draw_row(
    points: Sequence[tuple[datetime, float, float, bool]],
    *,
    goal: tuple[float | None, float | None],
    since: datetime,
    until: datetime,
) -> Row:
    """Lay one measure's films out on a time axis that other rows share.

    Parameters
    ----------
    points : sequence of (at, value, u, is_full)
        `u` is one standard deviation.
    goal : (low, high)
        Edges of what is asked for, None where open; both None for no goal.
    since, until : datetime
        The ends of the shared axis.
    """
    if not points:
        raise ValueError("a picture needs at least one film")
    marks = [edge for _at, value, u, _full in points for edge in (value - 2 * u, value + 2 * u)]
    marks += [edge for edge in goal if edge is not None]
    scale = covering(marks, air=0.1, start=ROW_HEIGHT - ROW_BOTTOM, end=ROW_TOP)
    y = scale.at
    ends = (since.timestamp(), until.timestamp())
    if since == until:  # one film stands in the middle
        ends = (ends[0] - 1, ends[1] + 1)
    along = Scale(*ends, start=ROW_LEFT, end=ROW_WIDTH - ROW_RIGHT)

    low, high = goal
    asked = low is not None or high is not None
    upper, lower = y(scale.most if high is None else high), y(scale.least if low is None else low)
    return Row(
        ROW_WIDTH,
        ROW_HEIGHT,
        tuple(
            RowDot(along.at(at.timestamp()), y(value), y(value + 2 * u), y(value - 2 * u), full)
            for at, value, u, full in sorted(points)
        ),
        upper if asked else None,
        round(lower - upper, 1),
    )
