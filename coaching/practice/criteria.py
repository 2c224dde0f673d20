"""Whether repetitions meet their criteria, and how sure that is. Pure.

Two questions are kept apart. *Counting*: does the reading lie in the band? That is what
the student is told within a minute. *Judging*: how likely is it that the true value does,
in at least k of n repetitions? That is what a suggestion to the coach rests on. Only the
coach's verdict counts.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from coaching.diagnosis.certainty import (
    Reading,
    chance_between,
    constant_share,
    normal_point,
)

# A suggestion needs to be this sure; between the two the camera cannot tell.
SURE = 0.9
# A student exactly on target should pass a repetition this often ...
FAIR = 0.8
# ... and below this a band is called hardly passable.
HARDLY = 0.6


@dataclass(frozen=True)
class Target:
    """What a measure should be: a band, open on one side or on neither.

    `extra_u` widens the uncertainty of a reading before it is judged: the baseline's own,
    when the target is a change from it.
    """

    measure: str
    event: str
    low: float = -math.inf
    high: float = math.inf
    extra_u: float = 0.0

    def __post_init__(self) -> None:
        if not self.low < self.high:
            raise ValueError(f"no value lies between {self.low} and {self.high}")
        if math.isinf(self.low) and math.isinf(self.high):
            raise ValueError("a target needs a limit on at least one side")

    @property
    def is_band(self) -> bool:
        return math.isfinite(self.low) and math.isfinite(self.high)

    @property
    def on_target(self) -> float:
        """The value asked for: the middle of a band, else the limit itself."""
        if self.is_band:
            return (self.low + self.high) / 2
        return self.low if math.isfinite(self.low) else self.high

    def counts(self, value: float) -> bool:
        """Whether a reading lies in the band."""
        return self.low <= value <= self.high

    def chance(self, value: float, u: float) -> float:
        """Chance that the true value meets the target when `value` ± `u` was read."""
        return chance_between(value, math.hypot(u, self.extra_u), low=self.low, high=self.high)


def at_least(measure: str, event: str, value: float) -> Target:
    return Target(measure, event, low=value)


def at_most(measure: str, event: str, value: float) -> Target:
    return Target(measure, event, high=value)


def between(measure: str, event: str, low: float, high: float) -> Target:
    return Target(measure, event, low=low, high=high)


def changed_by(measure: str, event: str, baseline: Reading, change: float) -> Target:
    """At least `change` away from the baseline, in the direction of its sign."""
    value, u = baseline
    if change == 0:
        raise ValueError("a change of nothing is no target")
    if change > 0:
        return Target(measure, event, low=value + change, extra_u=u)
    return Target(measure, event, high=value + change, extra_u=u)


# --- k of n -------------------------------------------------------------------------


def chance_of_at_least(k: int, chances: Sequence[float]) -> float:
    """Chance that at least `k` of independent events happen, by exact convolution.

    The distribution of the number that happen (Poisson-binomial) is the convolution of
    the two-point distributions.
    """
    if not all(0.0 <= chance <= 1.0 for chance in chances):
        raise ValueError("a chance lies between 0 and 1")
    counts = np.ones(1)
    for chance in chances:
        counts = np.convolve(counts, (1.0 - chance, chance))
    return float(min(1.0, counts[max(k, 0) :].sum()))


# One repetition: a reading for each target, None where the camera could not see it.
Repetition = Mapping[tuple[str, str], Reading | None]

# Points that stand for the constant part of the error, by number of targets.
_POINTS = {1: 101, 2: 21, 3: 11}


def chance_of_rung(
    targets: Sequence[Target],
    repetitions: Sequence[Repetition],
    *,
    need: int,
    unseen: float = 0.0,
    shares: Mapping[str, float] | None = None,
) -> float:
    """Chance that at least `need` of the repetitions truly met every target.

    Parameters
    ----------
    targets : sequence of Target
        Joined by *and*.
    repetitions : sequence of mapping
        (measure, event) -> (value, u), or None where it was not seen.
    unseen : float
        Chance given to a repetition in which a figure was not seen: 0 and 1 bound the truth.
    shares : mapping, optional
        Constant part of the variance by measure; `constant_share` otherwise.

    Notes
    -----
    Given the constant part of each error (the same in every repetition of a film), the
    repetitions are independent and the convolution is exact; the constant part is then
    averaged over points of equal probability.
    """
    if not targets:
        return 1.0
    share = [(shares or {}).get(t.measure, constant_share(t.measure)) for t in targets]
    count = _POINTS.get(len(targets), 5)
    points = [normal_point((i + 0.5) / count) for i in range(count)]
    shared = [points if s > 0 else [0.0] for s in share]
    total, weight = 0.0, 0
    for draw in itertools.product(*shared):
        chances = [_chance(targets, rep, share, draw, unseen) for rep in repetitions]
        total += chance_of_at_least(need, chances)
        weight += 1
    return total / weight


def _chance(
    targets: Sequence[Target],
    repetition: Repetition,
    share: Sequence[float],
    draw: Sequence[float],
    unseen: float,
) -> float:
    chance = 1.0
    for target, s, z in zip(targets, share, draw, strict=True):
        reading = repetition.get((target.measure, target.event))
        if reading is None:
            return unseen
        u = math.hypot(reading[1], target.extra_u)
        true = reading[0] - z * u * math.sqrt(s)
        chance *= chance_between(true, u * math.sqrt(1.0 - s), low=target.low, high=target.high)
    return chance


# --- the suggestion -----------------------------------------------------------------


class Suggested(StrEnum):
    PASSES = "passes"
    DOES_NOT = "does_not"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True)
class Suggestion:
    """What the figures say, how sure that is, and how many readings lay in the band.

    `why` of a `cannot_tell`: `unseen` (a figure is missing), `too_few` (not all
    repetitions were filmed), `unanswered` (a self-test is open) or `too_close`.
    """

    says: Suggested
    sure: float
    counted: int
    need: int
    asked: int
    why: str = ""


def suggest(
    targets: Sequence[Target],
    repetitions: Sequence[Repetition],
    *,
    need: int,
    asked: int,
    answers: Sequence[bool | None] = (),
    shares: Mapping[str, float] | None = None,
) -> Suggestion:
    """Suggest a verdict on an attempt from its first `asked` repetitions.

    `answers` are the student's to the self-tests, None where still open. What was not seen
    or not filmed can only make the answer *cannot tell*, never a pass or a fail by itself.
    """
    if not 1 <= need <= asked:
        raise ValueError(f"{need} of {asked} repetitions cannot be asked for")
    reps: list[Repetition] = list(repetitions[:asked])
    counted = sum(counts(targets, rep) for rep in reps)
    missing = asked - len(reps)
    padded = reps + [{}] * missing if targets else reps
    lowest = highest = 1.0
    if targets:
        lowest = chance_of_rung(targets, padded, need=need, unseen=0.0, shares=shares)
        highest = chance_of_rung(targets, padded, need=need, unseen=1.0, shares=shares)
    if not targets and not answers:
        return Suggestion(Suggested.CANNOT_TELL, 0.0, 0, need, asked, "unseen")
    if any(answer is False for answer in answers):
        return Suggestion(Suggested.DOES_NOT, 1.0, counted, need, asked)
    if highest <= 1.0 - SURE:
        return Suggestion(Suggested.DOES_NOT, 1.0 - highest, counted, need, asked)
    if lowest >= SURE and None not in answers:
        return Suggestion(Suggested.PASSES, lowest, counted, need, asked)
    why = _why(lowest, highest, missing, answers)
    sure = max(lowest, 1.0 - highest)
    return Suggestion(Suggested.CANNOT_TELL, sure, counted, need, asked, why)


def _why(lowest: float, highest: float, missing: int, answers: Sequence[bool | None]) -> str:
    if lowest >= SURE and None in answers:
        return "unanswered"
    if highest - lowest > 0.05:
        return "too_few" if missing else "unseen"
    return "too_close"


def counts(targets: Sequence[Target], repetition: Repetition) -> bool:
    """Whether every reading of a repetition lies in its band."""
    readings = [repetition.get((t.measure, t.event)) for t in targets]
    return bool(targets) and all(
        reading is not None and target.counts(reading[0])
        for target, reading in zip(targets, readings, strict=True)
    )


# --- a target the camera can judge --------------------------------------------------


def chance_on_target(target: Target, u: float, *, true: float | None = None) -> float:
    """Chance that a reading counts when the student is at `true` (exactly on target).

    40-45 at u = 5: 2 Φ(0.5) - 1 = 38 %, for a student exactly at 42.5.
    """
    at = target.on_target if true is None else true
    return chance_between(at, u, low=target.low, high=target.high)


def needed_to_pass(target: Target, u: float, *, chance: float = FAIR) -> float | None:
    """The true value nearest to the target whose readings count `chance` of the time.

    None when no value does: the band is too narrow for this camera.
    """
    if target.is_band:
        return target.on_target if chance_on_target(target, u) >= chance else None
    away = normal_point(chance) * u
    return target.low + away if math.isfinite(target.low) else target.high - away


def fair_half_width(u: float, *, chance: float = FAIR) -> float:
    """Half the width of a band that a student exactly in its middle passes `chance` often."""
    return normal_point((1.0 + chance) / 2.0) * u


@dataclass(frozen=True)
class Advice:
    """What a coach sees while choosing a target."""

    chance: float  # of a repetition by a student exactly on target
    rung_chance: float  # of k of n such repetitions
    needed: float | None  # true value that counts four times in five
    hardly: bool
    wider: tuple[float, float] | None  # a band that is fair
    open_ended: float | None  # an at-least (or at-most) that the same student passes


def advise(
    target: Target,
    u: float,
    *,
    need: int = 1,
    asked: int = 1,
    upward: bool = True,
    step: float = 1.0,
) -> Advice:
    """Whether the camera can judge a target, and what to choose instead when it cannot.

    `upward` says to which side more is better, for the one-sided alternative to a band;
    alternatives are whole multiples of `step`, rounded to the easier side.
    """
    reading = math.hypot(u, target.extra_u)
    chance = chance_on_target(target, reading)
    hardly = target.is_band and chance < HARDLY
    wider = open_ended = None
    if hardly:
        half = fair_half_width(reading)
        middle = target.on_target
        wider = (_down(middle - half, step), _up(middle + half, step))
        away = normal_point(FAIR) * reading
        open_ended = _down(middle - away, step) if upward else _up(middle + away, step)
    return Advice(
        chance=chance,
        rung_chance=_rung_on_target(target, reading, need=need, asked=asked),
        needed=needed_to_pass(target, reading),
        hardly=hardly,
        wider=wider,
        open_ended=open_ended,
    )


def _down(value: float, step: float) -> float:
    return round(math.floor(value / step + 1e-9) * step, 6)


def _up(value: float, step: float) -> float:
    return round(math.ceil(value / step - 1e-9) * step, 6)


def _rung_on_target(target: Target, u: float, *, need: int, asked: int) -> float:
    """Chance that k of n readings count for a student who is exactly on target each time.

    The constant part of the error is the same in each reading, so they pass or miss together.
    """
    share = constant_share(target.measure)
    points = [normal_point((i + 0.5) / _POINTS[1]) for i in range(_POINTS[1])]
    shared, loose = u * math.sqrt(share), u * math.sqrt(1.0 - share)
    total = 0.0
    for z in points if share > 0 else [0.0]:
        at = target.on_target + z * shared
        once = chance_between(at, loose, low=target.low, high=target.high)
        total += chance_of_at_least(need, [once] * asked)
    return total / (len(points) if share > 0 else 1)


def survives(first: float, baseline: float, later: float) -> float | None:
    """Share of a change that is left at a later rung; None where there was no change to keep."""
    if first == baseline:
        return None
    return (later - baseline) / (first - baseline)
