"""The one scale that every drawn figure stands on: values laid along a line of a picture."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Scale:
    """Values from `least` to `most`, laid from `start` to `end` in the picture's own units.

    `start` is below or right of `end` where the picture runs that way: up is more.
    """

    least: float
    most: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Where a value stands; one outside the scale stands at its end."""
        held = min(max(value, self.least), self.most)
        share = (held - self.least) / (self.most - self.least)
        return float(round(self.start + share * (self.end - self.start), 1))

    def ticks(self, most: int = 4) -> tuple[tuple[float, float], ...]:
        """Round values inside the scale, about `most` of them, each with its place."""
        rough = (self.most - self.least) / most
        power = 10.0 ** math.floor(math.log10(rough))
        # Rounding may leave even ten powers a hair short of `rough`.
        step = next((m * power for m in (1, 2, 2.5, 5) if m * power >= rough), 10 * power)
        first, last = math.ceil(self.least / step), math.floor(self.most / step)
        values = (round(i * step, 6) for i in range(first, last + 1))
        return tuple((value, self.at(value)) for value in values)


def covering(
    marks: Iterable[float], *, air: float, start: float, end: float, least_range: float = 0.0
) -> Scale:
    """The scale that shows all `marks`, with a share `air` of their range free on either side.

    Raises
    ------
    ValueError
        No marks.

    Notes
    -----
    It never covers less than `least_range` beside the air, so that a small difference looks
    small.
    """
    least, most = _ends(list(marks))
    lacking = max(0.0, least_range - (most - least)) / 2
    free = air * max(most - least, least_range)
    if least == most and not lacking:
        free = max(0.02 * abs(least), 0.05)
    return Scale(least - lacking - free, most + lacking + free, start, end)


def _ends(marks: list[float]) -> tuple[float, float]:
    if not marks:
        raise ValueError("a picture needs at least one mark")
    return min(marks), max(marks)
