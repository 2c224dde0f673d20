"""Whether repetitions meet their criteria, and how sure that is. Pure.

Whether a repetition counts, and what k of n of them are together, is decided in
`coaching.lessons.estimates`: the suggestion counts the same marks that are shown. Beside
it stands the chance that at least k of n truly met the criteria. Only the coach's verdict
counts.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from coaching.lessons.estimates import (
    FAIR,
    HARDLY,
    Band,
    Estimate,
    Standing,
    all_of,
    chance_between,
    chance_of_at_least,
    constant_share,
    k_of_n,
    normal_point,
)


@dataclass(frozen=True)
class Target:
    """What a measure should be: a band, open on one side or on neither."""

    measure: str
    event: str
    band: Band

    def __post_init__(self) -> None:
        if self.band.edges == (None, None):
            raise ValueError("a target needs a limit on at least one side")

    @property
    def on_target(self) -> float:
        """The value asked for: the middle of a band, else the limit itself."""
        low, high = self.band.edges
        if low is None or high is None:
            return next(edge for edge in (low, high) if edge is not None)
        return (low + high) / 2


def at_least(measure: str, event: str, value: float) -> Target:
    return Target(measure, event, Band(low=value))


def at_most(measure: str, event: str, value: float) -> Target:
    return Target(measure, event, Band(high=value))


def between(measure: str, event: str, low: float, high: float) -> Target:
    return Target(measure, event, Band(low, high))


# --- k of n -------------------------------------------------------------------------


# One repetition: an estimate for each target, None where the camera could not see it.
Repetition = Mapping[tuple[str, str], Estimate | None]

# Points that stand for the constant part of the error, by number of targets.
_POINTS = {1: 101, 2: 21, 3: 11}


def chance_of_step(
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
        (measure, event) -> its estimate, or None where it was not seen.
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
        estimate = repetition.get((target.measure, target.event))
        if estimate is None:
            chance *= unseen
            continue
        band, sd = target.band, target.band.sd_of(estimate)
        true = estimate.value - z * sd * math.sqrt(s)
        loose = sd * math.sqrt(1.0 - s)
        chance *= chance_between(true, loose, low=band.low, high=band.high)
    return chance


# --- the suggestion -----------------------------------------------------------------


class Suggested(StrEnum):
    PASSES = "passes"
    DOES_NOT = "does_not"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True)
class Suggestion:
    """What the marks say together, and how many of each there are.

    `sure` is the chance that the suggestion is true of at least `need` repetitions.
    `why` of a `cannot_tell`: `unseen` (a figure is missing), `too_few` (not all
    repetitions were filmed), `unanswered` (a self-test is open) or `too_close`.
    """

    says: Suggested
    sure: float
    standings: tuple[Standing, ...]  # of the repetitions asked for, in order
    need: int
    asked: int
    why: str = ""

    @property
    def counted(self) -> int:
        return self.standings.count(Standing.COUNTS)

    @property
    def close(self) -> int:
        return self.standings.count(Standing.CLOSE)


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
    if not targets and not answers:
        return Suggestion(Suggested.CANNOT_TELL, 0.0, (), need, asked, "unseen")
    reps: list[Repetition] = list(repetitions[:asked])
    missing = asked - len(reps)
    if targets:
        reps += [{}] * missing
    marks = tuple(standing_of(targets, rep) for rep in reps) if targets else ()
    whole = k_of_n(marks, need=need) if targets else Standing.COUNTS
    if any(answer is False for answer in answers):
        return Suggestion(Suggested.DOES_NOT, 1.0, marks, need, asked)
    lowest = chance_of_step(targets, reps, need=need, unseen=0.0, shares=shares)
    highest = chance_of_step(targets, reps, need=need, unseen=1.0, shares=shares)
    if whole == Standing.DOES_NOT:
        return Suggestion(Suggested.DOES_NOT, 1.0 - highest, marks, need, asked)
    if whole == Standing.COUNTS and None not in answers:
        return Suggestion(Suggested.PASSES, lowest, marks, need, asked)
    why = _why(whole, missing if targets else 0, answers)
    return Suggestion(Suggested.CANNOT_TELL, max(lowest, 1.0 - highest), marks, need, asked, why)


def _why(whole: Standing, missing: int, answers: Sequence[bool | None]) -> str:
    if whole == Standing.COUNTS and None in answers:
        return "unanswered"
    if whole == Standing.NOT_SEEN:
        return "too_few" if missing else "unseen"
    return "too_close"


def standing_of(targets: Sequence[Target], repetition: Repetition) -> Standing:
    """What a repetition is against all of its targets together."""
    return all_of(t.band.standing(repetition.get((t.measure, t.event))) for t in targets)


# --- a target the camera can judge --------------------------------------------------


def chance_on_target(target: Target, sd: float, *, true: float | None = None) -> float:
    """Chance that a repetition counts when the student is at `true` (exactly on target).

    No reading of a band that is narrower than 2.56 sd counts; of one 4.25 sd wide, four
    in five do.
    """
    counting = target.band.counting(sd)
    if counting is None:
        return 0.0
    at = target.on_target if true is None else true
    spread = math.hypot(sd, target.band.extra_sd)
    return chance_between(at, spread, low=counting.low, high=counting.high)


def needed_to_count(target: Target, sd: float, *, chance: float = FAIR) -> float | None:
    """The true value nearest to the target that counts `chance` of the time.

    None when no value does: the band is too narrow for this camera.
    """
    if target.band.is_closed:
        return target.on_target if chance_on_target(target, sd) >= chance else None
    counting = target.band.counting(sd)
    assert counting is not None, "an open band always holds values that count"
    away = normal_point(chance) * math.hypot(sd, target.band.extra_sd)
    low, high = counting.edges
    return low + away if low is not None else (high or 0.0) - away


@functools.cache
def _fair_half_width(chance: float) -> float:
    narrow, wide = 0.0, 20.0
    for _ in range(60):
        half = (narrow + wide) / 2
        fair = chance_on_target(Target("", "", Band(-half, half)), 1.0) >= chance
        narrow, wide = (narrow, half) if fair else (half, wide)
    return wide


def fair_half_width(sd: float, *, chance: float = FAIR) -> float:
    """Half the width of a band in whose middle a student is counted `chance` often."""
    return _fair_half_width(chance) * sd


@dataclass(frozen=True)
class Advice:
    """What a coach sees while choosing a target."""

    chance: float  # of a repetition by a student exactly on target
    step_chance: float  # of k of n such repetitions
    needed: float | None  # true value that counts four times in five
    hardly: bool
    wider: tuple[float, float] | None  # a band that is fair
    open_ended: float | None  # an at-least (or at-most) that the same student passes


def advise(
    target: Target,
    sd: float,
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
    chance = chance_on_target(target, sd)
    hardly = target.band.is_closed and chance < HARDLY
    wider = open_ended = None
    if hardly:
        spread = math.hypot(sd, target.band.extra_sd)
        half, middle = fair_half_width(spread), target.on_target
        wider = (_down(middle - half, step), _up(middle + half, step))
        away = (needed_to_count(Target("", "", Band(low=0.0)), spread)) or 0.0
        open_ended = _down(middle - away, step) if upward else _up(middle + away, step)
    return Advice(
        chance=chance,
        step_chance=_step_on_target(target, sd, need=need, asked=asked),
        needed=needed_to_count(target, sd),
        hardly=hardly,
        wider=wider,
        open_ended=open_ended,
    )


def _down(value: float, step: float) -> float:
    return round(math.floor(value / step + 1e-9) * step, 6)


def _up(value: float, step: float) -> float:
    return round(math.ceil(value / step - 1e-9) * step, 6)


def _step_on_target(target: Target, sd: float, *, need: int, asked: int) -> float:
    """Chance that k of n repetitions count for a student who is exactly on target each time.

    The constant part of the error is the same in each of them, so they pass or miss together.
    """
    counting = target.band.counting(sd)
    if counting is None:
        return 0.0
    share, spread = constant_share(target.measure), math.hypot(sd, target.band.extra_sd)
    points = [normal_point((i + 0.5) / _POINTS[1]) for i in range(_POINTS[1])]
    shared, loose = spread * math.sqrt(share), spread * math.sqrt(1.0 - share)
    total = 0.0
    for z in points if share > 0 else [0.0]:
        at = target.on_target + z * shared
        once = chance_between(at, loose, low=counting.low, high=counting.high)
        total += chance_of_at_least(need, [once] * asked)
    return total / (len(points) if share > 0 else 1)


def survives(first: float, baseline: float, later: float) -> float | None:
    """Share of a change that is left at a later step; None where there was no change to keep."""
    if first == baseline:
        return None
    return (later - baseline) / (first - baseline)
