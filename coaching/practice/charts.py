"""A measure over time as a picture: bands, whiskers, ticks. Pure geometry in SVG units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

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
    least, most = _range(points)
    step = (WIDTH - LEFT - RIGHT) / len(points)

    def y(value: float) -> float:
        share = (min(max(value, least), most) - least) / (most - least)
        return round(HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM), 1)

    dots = []
    for place, (at, value, u, low, high) in enumerate(points):
        x = round(LEFT + (place + 0.5) * step, 1)
        upper = y(most if high is None else high)
        lower = y(least if low is None else low)
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
        ticks=tuple((value, y(value)) for value in _scale(least, most)),
        days=tuple(ends),
    )


def _range(
    points: Sequence[tuple[datetime, float, float, float | None, float | None]],
) -> tuple[float, float]:
    """What the scale covers: every whisker and every edge of a band, and some air."""
    marks: list[float] = []
    for _at, value, u, low, high in points:
        marks += [value - 2 * u, value + 2 * u]
        marks += [edge for edge in (low, high) if edge is not None]
    least, most = min(marks), max(marks)
    air = max(0.1 * (most - least), 0.02 * max(abs(least), abs(most)), 0.05)
    return least - air, most + air


def _scale(least: float, most: float) -> list[float]:
    """Three to six round values inside the range."""
    rough = (most - least) / 4
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= rough)
    first = math.ceil(least / step)
    return [round(i * step, 6) for i in range(first, math.floor(most / step) + 1)]
