"""Differences of several people as dots on one scale. Pure geometry in SVG units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coaching.lessons.scale import covering

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
class DotPlot:
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
) -> DotPlot:
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
    scale = covering(marks, air=0.0, start=MARGIN, end=WIDTH - MARGIN)
    x = scale.at
    return DotPlot(
        zero=x(0.0),
        band=(x(limits[0]), x(limits[1])) if limits else None,
        ticks=tuple((round(value), place) for value, place in scale.ticks()),
        strips=tuple(
            Strip(tuple(map(x, differences)), x(mean), (x(mean - 2 * u), x(mean + 2 * u)))
            for differences, mean, u in people
        ),
    )
