"""A step of a ladder as its student will read it, made of what was typed; nothing is saved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from analysis import weights
from analysis.drawings.acting import Act, figures
from analysis.drawings.moves import MOVES
from coaching.lessons.estimates import band_of
from coaching.lessons.wording import amounts, naming
from coaching.practice.criteria import Target, chance_on_target
from coaching.practice.models import Criterion, Step
from coaching.practice.queries.targets import ShownTarget, targets_shown

_OF_STEP = ("kind", "text", "view", "film_kind", "effort", "ball", "need", "repetitions", "days")


@dataclass(frozen=True)
class Sound:
    """What a sound swing reads at a target, and how often one repetition of it is counted."""

    measure: str
    value: float  # of the golfer who is drawn, in the measure's unit; no student's
    chance: float  # 0..1, read with the spread that is usual

    @property
    def words(self) -> str:
        return amounts.value_words(self.value, measure=self.measure)

    @property
    def tenths(self) -> int:
        return round(10 * self.chance)

    @property
    def passes(self) -> bool:
        return self.chance >= 0.5


@dataclass(frozen=True)
class Asked:
    """One criterion in the preview: its picture, or what is still to be written."""

    criterion: Criterion
    target: ShownTarget | None
    sound: Sound | None


@dataclass(frozen=True)
class Preview:
    """A step in the preview."""

    number: int
    count: int
    step: Step
    asked: list[Asked]

    @property
    def is_last(self) -> bool:
        return self.number == self.count

    @property
    def drawn(self) -> list[str]:
        return [asked.criterion.measure for asked in self.asked if asked.target]


def preview_of(ladder: Sequence[Mapping[str, Any]], place: int, *, slug: str) -> Preview | None:
    """The step at `place` of a ladder as typed, complete or not; None of an empty ladder.

    `slug` is of the drill whose pictures are shown; one of one's own has none.
    """
    if not ladder:
        return None
    place = min(max(place, 0), len(ladder) - 1)
    row = ladder[place]
    step = Step(position=place, **{name: row[name] for name in _OF_STEP if name in row})
    criteria = [Criterion(**criterion) for criterion in row["criteria"]]
    targets = iter(targets_shown(step, slug, "right", criteria=[c for c in criteria if _whole(c)]))
    asked = [
        Asked(
            c,
            next(targets) if _whole(c) else None,
            sound_at(c, step, slug=slug, across=row.get("bar_across", "")),
        )
        for c in criteria
    ]
    return Preview(place + 1, len(ladder), step, asked)


def _whole(criterion: Criterion) -> bool:
    """Whether its numbers are all there, so that it asks for something."""
    c = criterion
    if c.measure not in naming.MEASURES:
        return False
    if c.comparison == Criterion.Comparison.CHANGED_BY:
        return bool(c.change)
    return band_of(c.comparison, low=c.low, high=c.high) is not None


def sound_at(criterion: Criterion, step: Step, *, slug: str, across: str = "") -> Sound | None:
    """A sound swing against a criterion.

    None where nothing can be said: a change from an own baseline, a position held wherever the
    coach says, a figure that the posed golfer or the usual spread does not tell.
    """
    band = band_of(criterion.comparison, low=criterion.low, high=criterion.high)
    sd = weights.usual_sd().get((criterion.measure, criterion.event, step.view))
    value = _value(criterion, step, slug=slug, across=across)
    if band is None or sd is None or value is None:
        return None
    target = Target(criterion.measure, criterion.event, band)
    return Sound(criterion.measure, value, chance_on_target(target, sd, true=value))


def _value(criterion: Criterion, step: Step, *, slug: str, across: str) -> float | None:
    measure, event = criterion.measure, criterion.event
    if measure == "bar_turn_deg":
        measure = "shoulder_turn_deg" if across == "chest" else "pelvis_turn_deg"
    elif step.film_kind == "hold" and event == "top":
        if slug not in MOVES:
            return None
        event = MOVES[slug].held
    return _sound_figures().get((measure, event))


@lru_cache(maxsize=1)
def _sound_figures() -> dict[tuple[str, str], float]:
    return figures(Act({}))
