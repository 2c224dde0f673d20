"""What a coach sees while choosing a target: baseline, chance to pass, smallest change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coaching.diagnosis.certainty import constant_share, smallest_change
from coaching.intake.models import Submission
from coaching.lessons import words
from coaching.people.models import Student
from coaching.practice import queries
from coaching.practice.criteria import Advice, Target, advise
from coaching.practice.forms import BAR_FOR
from coaching.practice.models import Criterion


@dataclass(frozen=True)
class Odds:
    """The judgement of one criterion before it is asked for.

    `trouble` says why there is none: nothing was measured yet, or the numbers are not
    complete.
    """

    measure: str
    event: str
    baseline: queries.Baseline | None = None
    advice: Advice | None = None
    change: float | None = None  # the smallest the angle can tell, in the mean
    trouble: str = ""
    bar_film: bool = False
    target: Target | None = None

    @property
    def percent(self) -> int:
        return round(100 * self.advice.chance) if self.advice else 0

    @property
    def rung_percent(self) -> int:
        return round(100 * self.advice.rung_chance) if self.advice else 0

    @property
    def needed_words(self) -> str:
        """The true value that counts four times in five, for a one-sided target."""
        if self.advice is None or self.advice.needed is None or self._band:
            return ""
        return words.value_words(self.advice.needed, measure=self.measure)

    @property
    def _band(self) -> bool:
        return self.target is not None and self.target.is_band

    @property
    def change_words(self) -> str:
        return words.value_words(self.change, measure=self.measure) if self.change else ""

    @property
    def wider_words(self) -> str:
        if self.advice is None or self.advice.wider is None:
            return ""
        low, high = self.advice.wider
        return words.band_words("between", low=low, high=high, measure=self.measure)

    @property
    def open_words(self) -> str:
        if self.advice is None or self.advice.open_ended is None:
            return ""
        edge = self.advice.open_ended
        side = "at_least" if self._upward else "at_most"
        return words.band_words(side, low=edge, high=edge, measure=self.measure)

    @property
    def _upward(self) -> bool:
        return (
            self.baseline is None
            or self.target is None
            or (self.target.on_target >= self.baseline.value)
        )


def odds_of(
    student: Student,
    rung: Mapping[str, Any],
    criterion: Mapping[str, Any],
    *,
    submissions: Sequence[Submission] = (),
) -> Odds | None:
    """The odds of a criterion in the shape of a drill file; None for a self-test."""
    if criterion.get("comparison") == Criterion.Comparison.SELF_TEST:
        return None
    measure, event = criterion.get("measure", ""), criterion.get("event", "")
    base = queries.baseline_of(
        student, measure, event, view=rung["view"], kind=rung["film_kind"], submissions=submissions
    )
    if base is None:
        return Odds(measure, event, trouble="unmeasured", bar_film=_bar(measure, rung))
    row = Criterion(
        **{k: v for k, v in criterion.items() if k != "question"},
        baseline=base.value,
        baseline_uncertainty=base.uncertainty,
    )
    try:
        target = queries.target_of(row)
    except ValueError:
        return Odds(measure, event, baseline=base, trouble="incomplete")
    assert target is not None
    need, asked = rung["need"], rung["repetitions"]
    return Odds(
        measure=measure,
        event=event,
        baseline=base,
        advice=advise(
            target,
            base.single,
            need=min(need, asked),
            asked=asked,
            upward=target.on_target >= base.value,
            step=1.0 if words.unit_of(measure) in {"deg", "cm", "%"} else 0.05,
        ),
        change=smallest_change(
            base.single, before=base.repetitions, after=asked, share=constant_share(measure)
        ),
        bar_film=_bar(measure, rung),
        target=target,
    )


def _bar(measure: str, rung: Mapping[str, Any]) -> bool:
    """Whether a film with a held club would judge the same thing more sharply."""
    return measure in BAR_FOR and rung["film_kind"] in ("hold", "rehearsal")
