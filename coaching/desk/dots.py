"""Differences of several people as dots on one scale. Pure geometry in SVG units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

WIDTH, HEIGHT = 240.0, 28.0
MARGIN = 12.0
LEAST_DEG = 10.0  # the scale always reaches this far, so that a small difference looks small


@dataclass(frozen=True)
class Strip:
    """One person's row: a dot for each repetition, a tick with its whisker for the mean."""

    dots: tuple[float, ...]
    mean: float
    whisker: tuple[float, float]


@dataclass(frozen=True)
class Scale:
    """Where everything common to all rows stands; `band` is None for a single person."""

    zero: float
    band: tuple[float, float] | None
    ticks: tuple[tuple[int, float], ...]
    strips: tuple[Strip, ...]
    width: float = WIDTH
    height: float = HEIGHT

    @property
    def middle(self) -> float:
        return self.height / 2

    @property
    def band_width(self) -> float:
        return round(self.band[1] - self.band[0], 1) if self.band else 0.0


def draw(
    people: Sequence[tuple[Sequence[float], float, float]],
    limits: tuple[float, float] | None = None,
) -> Scale:
    """Lay out differences in degrees.

    Parameters
    ----------
    people : sequence of (differences, mean, u)
        `u` is one standard error of the mean; the whisker shows two.
    limits : tuple of float, optional
        Limits of agreement.
    """
    marks = [-LEAST_DEG, LEAST_DEG, *(limits or ())]
    for differences, mean, u in people:
        marks += [*differences, mean - 2 * u, mean + 2 * u]
    least, most = min(marks), max(marks)

    def x(value: float) -> float:
        share = (value - least) / (most - least)
        return round(MARGIN + share * (WIDTH - 2 * MARGIN), 1)

    step = next(s for s in (5, 10, 20, 50, 100) if (most - least) / s <= 4.5 or s == 100)
    first, last = math.ceil(least / step), math.floor(most / step)
    return Scale(
        zero=x(0.0),
        band=(x(limits[0]), x(limits[1])) if limits else None,
        ticks=tuple((step * i, x(step * i)) for i in range(first, last + 1)),
        strips=tuple(
            Strip(tuple(map(x, differences)), x(mean), (x(mean - 2 * u), x(mean + 2 * u)))
            for differences, mean, u in people
        ),
    )
