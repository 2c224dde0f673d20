"""How sure a figure is: one normal error of known size, part of it the same in every swing.

A reading is a value and its uncertainty `u`, one standard deviation in the same unit.
Part of `u` is random from repetition to repetition and shrinks in a mean; the rest
(where the phone stands, how the network sees this body) is the same in every repetition
of a film and does not. `share` is that constant part's share of the variance, 0 to 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

Reading = tuple[float, float]

_NORMAL = NormalDist()
# The one-sided 95 % point of the normal distribution, 1.645.
ONE_SIDED_95 = _NORMAL.inv_cdf(0.95)
# Two-sided 95 %, for the smallest change a camera can tell.
TWO_SIDED_95 = _NORMAL.inv_cdf(0.975)

# What an error of a still camera is made of, by measure: our estimate, from trials in which
# the error of one swing to the next of the same person was 1.5-4 degrees and that between
# people 8-12 degrees (variance share about .9 for turns). Shaft figures are limited by the
# time of their event, which is new in every swing.
_SHARES = (("_turn_deg", 0.8), ("separation", 0.8), ("shaft_", 0.2), ("tempo", 0.0), ("_s", 0.0))


def constant_share(measure: str) -> float:
    """Share of the variance of `measure` that is the same in every repetition of a film."""
    for part, share in _SHARES:
        if measure.endswith(part) if part.endswith("_s") else part in measure:
            return share
    return 0.5


def normal_cdf(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def normal_point(chance: float) -> float:
    """The standard normal value below which `chance` (0 to 1, open) lies."""
    return _NORMAL.inv_cdf(chance)


def chance_between(value: float, u: float, *, low: float, high: float) -> float:
    """Chance that the true value lies in [low, high] when `value` ± `u` was read.

    An entered value has `u` = 0 and is taken as it stands; the ends count.
    """
    if u < 0 or not math.isfinite(value):
        raise ValueError(f"a reading needs a finite value and u >= 0, not {value} ± {u}")
    if u == 0:
        return float(low <= value <= high)
    above, below = normal_cdf((value - low) / u), normal_cdf((value - high) / u)
    return min(1.0, max(0.0, above - below))


def surely_at_least(value: float, u: float, limit: float) -> bool:
    """Whether the true value is at least `limit` at one-sided 95 %."""
    return value - ONE_SIDED_95 * u >= limit


def surely_at_most(value: float, u: float, limit: float) -> bool:
    return value + ONE_SIDED_95 * u <= limit


def mean_reading(readings: Sequence[Reading], *, share: float) -> Reading:
    """Mean of the repetitions of one film, weighed alike.

    The random part of the variance shrinks with the number of repetitions, the constant
    part stays: u² = share · ū² + (1 - share) · ū² / n, with ū² the mean of the squares.
    """
    if not readings:
        raise ValueError("a mean needs at least one reading")
    count = len(readings)
    value = math.fsum(v for v, _ in readings) / count
    variance = math.fsum(u * u for _, u in readings) / count
    return value, math.sqrt(variance * (share + (1.0 - share) / count))


def smallest_change(u: float, *, before: int = 1, after: int = 1, share: float = 0.0) -> float:
    """The minimal detectable change (MDC95) between the means of two films.

    Parameters
    ----------
    u : float
        Uncertainty of one repetition.
    before, after : int
        Repetitions averaged in the earlier and in the later film.
    share : float
        Constant part of the variance; it does not average, and it is taken to be new in
        each film, because the phone is put up anew.

    Notes
    -----
    1.96 · sqrt(2) · SEM for equal films without a constant part: Weir JP, J Strength Cond
    Res 2005;19(1):231-240.
    """
    if min(before, after) < 1:
        raise ValueError("a film has at least one repetition")
    variance = u * u * (2 * share + (1.0 - share) * (1 / before + 1 / after))
    return TWO_SIDED_95 * math.sqrt(variance)
