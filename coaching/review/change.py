"""Has a figure changed between two clips? Pure arithmetic, told in three readings."""

from __future__ import annotations

import math
from enum import StrEnum

# 1.96 for 95 % times the square root of two, because a difference carries the error twice.
# Weir JP. J Strength Cond Res 2005;19(1):231-240.
MDC_FACTOR = 2.77


class Reading(StrEnum):
    CHANGED = "changed"
    NOT_SEEN = "no change that can be seen"
    CANNOT_TELL = "can't tell"


def minimal_detectable_change(first_u: float, second_u: float) -> float:
    """The smallest difference that 95 of 100 unchanged pairs would not show.

    Parameters
    ----------
    first_u, second_u : float
        One standard deviation of each figure, in its unit.

    Notes
    -----
    2.77 times the standard error of measurement, here the root mean square of the two.
    A constant bias of the camera is in both figures and falls out.

    References
    ----------
    Weir JP. J Strength Cond Res 2005;19(1):231-240 (MDC95 = 1.96 * sqrt(2) * SEM).
    """
    return MDC_FACTOR * math.sqrt((first_u**2 + second_u**2) / 2)


def reading(
    first: tuple[float, float] | None, second: tuple[float, float] | None
) -> tuple[Reading, float | None, float | None]:
    """The reading, the difference (second minus first) and the smallest one that shows.

    Each figure is (value, one standard deviation) or None where it is absent.
    """
    if first is None or second is None:
        return Reading.CANNOT_TELL, None, None
    difference = second[0] - first[0]
    least = minimal_detectable_change(first[1], second[1])
    seen = abs(difference) > least
    return (Reading.CHANGED if seen else Reading.NOT_SEEN), difference, least
