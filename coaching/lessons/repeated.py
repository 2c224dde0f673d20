"""Figures that need more than one repetition or clip: effort, and spread over repetitions. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median, stdev

from coaching.lessons.estimates import Estimate

# Fewer full swings of a student do not say how fast that student swings.
FEWEST_FULL = 3
FEWEST_REPETITIONS = 3
# The median of n normal values is this much looser than their mean, for large n.
_MEDIAN_OVER_MEAN = math.sqrt(math.pi / 2)


def effort_pct(speed: Estimate, full: Sequence[Estimate]) -> Estimate | None:
    """Speed of the hands in percent of the median of the student's own full swings.

    Parameters
    ----------
    speed : Estimate
        `hand_speed_peak_m_s` of the swing in question.
    full : sequence of Estimate
        The same of full swings filmed from the same side.

    Returns
    -------
    Estimate or None
        None with fewer than `FEWEST_FULL` of them.

    Notes
    -----
    To first order the relative spreads of a quotient add as squares. What one camera
    misreads of both alike would cancel; it is left in, so the ± is rather too wide.
    """
    if len(full) < FEWEST_FULL:
        return None
    usual = median(e.value for e in full)
    if usual <= 0:
        return None
    root = math.sqrt(math.fsum(e.sd**2 for e in full) / len(full))
    usual_sd = min(root, _MEDIAN_OVER_MEAN * root / math.sqrt(len(full)))
    value = 100 * speed.value / usual
    return Estimate(value, 100 * math.hypot(speed.sd, speed.value / usual * usual_sd) / usual)


@dataclass(frozen=True)
class Repeated:
    """How much a figure differs over the repetitions of a clip.

    `sd` is the standard deviation of the readings; `reading_sd` is how much of that the
    readings' own random error would make alone.
    """

    low: float
    high: float
    sd: float
    reading_sd: float
    count: int

    @property
    def of_the_player(self) -> float:
        """What is left for the player: 0 where the readings explain all of it."""
        return math.sqrt(max(self.sd**2 - self.reading_sd**2, 0.0))


def over_repetitions(estimates: Sequence[Estimate], *, share: float) -> Repeated | None:
    """Spread of one figure over a clip; None with fewer than `FEWEST_REPETITIONS`.

    `share` is the part of the variance that is the same in every repetition, which makes
    no difference between them.
    """
    if len(estimates) < FEWEST_REPETITIONS:
        return None
    values = [e.value for e in estimates]
    mean_square = math.fsum(e.sd**2 for e in estimates) / len(estimates)
    return Repeated(
        min(values),
        max(values),
        stdev(values),
        math.sqrt((1 - share) * mean_square),
        len(values),
    )
