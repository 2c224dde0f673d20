"""What a value with its uncertainty means: against a band, against an earlier value, k of n. Pure.

An estimate is a value and its standard deviation `sd`, in the same unit: the truth is
normally distributed about the value. Every page, mark, sentence, suggestion and the API
ask here, so that they cannot disagree.

Part of `sd` is random from repetition to repetition and shrinks in a mean; the rest
(where the phone stands, how the network sees this body) is the same in every repetition
of a clip and does not. `share` is that constant part's share of the variance, 0 to 1.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import NormalDist

# --- the table of thresholds --------------------------------------------------------

# A figure counts when the chance that it truly lies in the band is at least this ...
SURE_TO_COUNT = 0.8
# ... and does not when it is this sure that it lies beyond an edge; between them it is close.
SURE_NOT_TO_COUNT = 0.9
# A student who is exactly on target should be counted this often ...
FAIR = 0.8
# ... and below this a band is called hardly passable.
HARDLY = 0.6
# A rule suggests a finding when each of its conditions is this sure (one-sided).
SURE_OF_A_FINDING = 0.95
# A change shows when this share of unchanged pairs would differ less (two-sided).
SURE_OF_A_CHANGE = 0.95

_NORMAL = NormalDist()


def normal_cdf(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def normal_point(chance: float) -> float:
    """The standard normal value below which `chance` (0 to 1, open) lies."""
    return _NORMAL.inv_cdf(chance)


# The pair as plain numbers, where rules and tables hand many of them on.
Reading = tuple[float, float]


# --- against a band -----------------------------------------------------------------


@dataclass(frozen=True)
class Estimate:
    """A value and its standard deviation; an entered value has `sd` 0."""

    value: float
    sd: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.sd) and self.sd >= 0):
            raise ValueError(f"a value and sd >= 0 must be finite, not {self.value} ± {self.sd}")


class Standing(StrEnum):
    """What an estimate means against a band."""

    COUNTS = "counts"
    CLOSE = "close"
    DOES_NOT = "does_not_count"
    NOT_SEEN = "not_seen"


@dataclass(frozen=True)
class Band:
    """Where a value should lie; infinite on an open side.

    `extra_sd` is uncertainty of the band itself: the baseline's, when a change is asked.
    """

    low: float = -math.inf
    high: float = math.inf
    extra_sd: float = 0.0

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise ValueError(f"no value lies between {self.low} and {self.high}")

    @property
    def edges(self) -> tuple[float | None, float | None]:
        """Low and high; None on an open side."""
        return (
            self.low if math.isfinite(self.low) else None,
            self.high if math.isfinite(self.high) else None,
        )

    @property
    def is_closed(self) -> bool:
        return None not in self.edges

    def sd_of(self, estimate: Estimate) -> float:
        return math.hypot(estimate.sd, self.extra_sd)

    def chance(self, estimate: Estimate) -> float:
        """Chance that the true value lies in the band."""
        return chance_between(estimate.value, self.sd_of(estimate), low=self.low, high=self.high)

    def standing(self, estimate: Estimate | None) -> Standing:
        """Counts when the truth surely lies inside, does not when it surely lies beyond an edge.

        A band that is narrow for its uncertainty therefore leaves a value close, however
        well it lies.
        """
        if estimate is None:
            return Standing.NOT_SEEN
        if self.chance(estimate) >= SURE_TO_COUNT:
            return Standing.COUNTS
        sd = self.sd_of(estimate)
        if sd == 0:
            return Standing.DOES_NOT
        below = normal_cdf((self.low - estimate.value) / sd)
        above = normal_cdf((estimate.value - self.high) / sd)
        return Standing.DOES_NOT if max(below, above) >= SURE_NOT_TO_COUNT else Standing.CLOSE

    def counting(self, sd: float) -> Band | None:
        """The values that count when each is read with `sd`; None when none can."""
        sd = math.hypot(sd, self.extra_sd)
        reach = normal_point(SURE_TO_COUNT) * sd
        if not self.is_closed:
            return Band(self.low + reach, self.high - reach)
        middle, half = (self.low + self.high) / 2, (self.high - self.low) / 2
        if sd == 0:
            return Band(self.low, self.high)
        if chance_between(middle, sd, low=self.low, high=self.high) < SURE_TO_COUNT:
            return None
        inside, outside = 0.0, half
        for _ in range(60):  # the chance falls with the distance from the middle
            at = (inside + outside) / 2
            if chance_between(middle + at, sd, low=self.low, high=self.high) >= SURE_TO_COUNT:
                inside = at
            else:
                outside = at
        return Band(middle - inside, middle + inside) if inside > 0 else None


def band_of(
    comparison: str,
    *,
    low: float | None = None,
    high: float | None = None,
    change: float | None = None,
    baseline: float | None = None,
    baseline_sd: float | None = None,
) -> Band | None:
    """The band that a comparison asks for; None when it asks for nothing, or not completely.

    `changed_by` asks for at least `change`, in its own direction, from `baseline`.
    """
    if comparison == "changed_by":
        if change is None or baseline is None or change == 0:
            return None
        edge, extra = baseline + change, baseline_sd or 0.0
        return Band(low=edge, extra_sd=extra) if change > 0 else Band(high=edge, extra_sd=extra)
    low = -math.inf if low is None or comparison == "at_most" else low
    high = math.inf if high is None or comparison == "at_least" else high
    if not low < high or (math.isinf(low) and math.isinf(high)):
        return None
    return Band(low, high)


def estimate_of(value: float | None, sd: float | None) -> Estimate | None:
    """The pair, or None where the figure is absent."""
    return None if value is None or sd is None else Estimate(value, sd)


def chance_between(value: float, sd: float, *, low: float, high: float) -> float:
    """Chance that the true value lies in [low, high] when `value` ± `sd` was read.

    An entered value has `sd` 0 and is taken as it stands; the ends count.
    """
    Estimate(value, sd)
    if sd == 0:
        return float(low <= value <= high)
    above, below = normal_cdf((value - low) / sd), normal_cdf((value - high) / sd)
    return min(1.0, max(0.0, above - below))


def surely_at_least(value: float, sd: float, limit: float) -> bool:
    """Whether a rule may rest on the true value being at least `limit`."""
    return value - normal_point(SURE_OF_A_FINDING) * sd >= limit


def surely_at_most(value: float, sd: float, limit: float) -> bool:
    return value + normal_point(SURE_OF_A_FINDING) * sd <= limit


# --- several figures, several repetitions -------------------------------------------


def all_of(standings: Iterable[Standing]) -> Standing:
    """What a repetition is whose figures must all count."""
    found = set(standings)
    for standing in (Standing.DOES_NOT, Standing.NOT_SEEN, Standing.CLOSE):
        if standing in found:
            return standing
    return Standing.COUNTS if found else Standing.NOT_SEEN


def k_of_n(standings: Sequence[Standing], *, need: int) -> Standing:
    """What `need` of these repetitions are together: the marks are counted, nothing else.

    Counts when enough of them count; does not when too few still could; else close, or
    not seen when only what was not seen stands between.
    """
    counted = standings.count(Standing.COUNTS)
    close = standings.count(Standing.CLOSE)
    unseen = standings.count(Standing.NOT_SEEN)
    if counted >= need:
        return Standing.COUNTS
    if counted + close + unseen < need:
        return Standing.DOES_NOT
    return Standing.NOT_SEEN if unseen and counted + unseen >= need else Standing.CLOSE


def chance_of_at_least(k: int, chances: Sequence[float]) -> float:
    """Chance that at least `k` of independent events happen, by exact convolution.

    The distribution of the number that happen (Poisson-binomial) is the convolution of
    the two-point distributions.
    """
    if not all(0.0 <= chance <= 1.0 for chance in chances):
        raise ValueError("a chance lies between 0 and 1")
    counts = [1.0]
    for chance in chances:
        missed = [c * (1.0 - chance) for c in counts] + [0.0]
        happened = [0.0] + [c * chance for c in counts]
        counts = [a + b for a, b in zip(missed, happened, strict=True)]
    return min(1.0, math.fsum(counts[max(k, 0) :]))


# What an error of a still camera is made of, by measure: our estimate, from trials in which
# the error of one swing to the next of the same person was 1.5-4 degrees and that between
# people 8-12 degrees (variance share about .9 for turns). Shaft figures are limited by the
# time of their event, which is new in every swing.
_SHARES = (
    ("_turn_deg", 0.8),
    ("shoulder_to_feet", 0.8),
    ("separation", 0.8),
    ("shaft_", 0.2),
    ("steepening", 0.2),
    ("wrist_set", 0.3),
    ("tempo", 0.0),
    ("_s", 0.0),
)


def constant_share(measure: str) -> float:
    """Share of the variance of `measure` that is the same in every repetition of a clip."""
    for part, share in _SHARES:
        if measure.endswith(part) if part.endswith("_s") else part in measure:
            return share
    return 0.5


def sd_of_mean(sd: float, *, count: int, share: float) -> float:
    """Standard deviation of the mean of `count` repetitions: only the random part shrinks."""
    if count < 1:
        raise ValueError("a clip has at least one repetition")
    return sd * math.sqrt(share + (1.0 - share) / count)


def mean_of(estimates: Sequence[Estimate], *, share: float) -> Estimate:
    """Mean of the repetitions of one clip, weighed alike.

    sd² = share · m + (1 - share) · m / n, with m the mean of the squared sds.
    """
    if not estimates:
        raise ValueError("a mean needs at least one value")
    count = len(estimates)
    root = math.sqrt(math.fsum(e.sd**2 for e in estimates) / count)
    value = math.fsum(e.value for e in estimates) / count
    return Estimate(value, sd_of_mean(root, count=count, share=share))


# --- against an earlier value -------------------------------------------------------


class Change(StrEnum):
    """What two estimates of the same figure tell of it."""

    CHANGED = "changed"
    NO_CHANGE = "no_change_seen"
    NOT_SEEN = "not_seen"


@dataclass(frozen=True)
class Difference:
    """Second minus first, and the smallest difference that would have shown."""

    says: Change
    size: float | None = None
    least: float | None = None


def smallest_change(first_sd: float, second_sd: float) -> float:
    """The minimal detectable change: 95 of 100 unchanged pairs differ by less.

    Notes
    -----
    For equal sds this is 1.96 · sqrt(2) · SEM: Weir JP, J Strength Cond Res
    2005;19(1):231-240.
    """
    return normal_point((1.0 + SURE_OF_A_CHANGE) / 2.0) * math.hypot(first_sd, second_sd)


def difference(first: Estimate | None, second: Estimate | None) -> Difference:
    """Whether a figure has changed, as far as the two estimates can tell."""
    if first is None or second is None:
        return Difference(Change.NOT_SEEN)
    size, least = second.value - first.value, smallest_change(first.sd, second.sd)
    says = Change.CHANGED if abs(size) > least else Change.NO_CHANGE
    return Difference(says, size, least)
