"""What a coach sees while choosing a target: baseline, chance to pass, smallest change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis import weights
from coaching.intake.models import Submission
from coaching.lessons.estimates import (
    HARDLY,
    band_of,
    constant_share,
    sd_of_mean,
    smallest_change,
)
from coaching.lessons.wording import amounts
from coaching.people.models import Student
from coaching.practice.criteria import Advice, Target, advise, chance_on_target, needed_to_count
from coaching.practice.ladder_form import BAR_FOR
from coaching.practice.models import Criterion
from coaching.practice.queries import judged, progress


@dataclass(frozen=True)
class Odds:
    """The judgement of one criterion before it is asked for.

    `trouble` says why there is none: nothing was measured yet, or the numbers are not
    complete.
    """

    measure: str
    event: str
    baseline: progress.Baseline | None = None
    advice: Advice | None = None
    change: float | None = None  # the smallest the angle can tell, in the mean
    trouble: str = ""
    bar_film: bool = False
    target: Target | None = None

    @property
    def percent(self) -> int:
        return round(100 * self.advice.chance) if self.advice else 0

    @property
    def step_percent(self) -> int:
        return round(100 * self.advice.step_chance) if self.advice else 0

    @property
    def needed_words(self) -> str:
        """The true value that counts four times in five, for a one-sided target."""
        if self.advice is None or self.advice.needed is None or self._band:
            return ""
        return amounts.value_words(self.advice.needed, measure=self.measure)

    @property
    def _band(self) -> bool:
        return self.target is not None and self.target.band.is_closed

    @property
    def change_words(self) -> str:
        return amounts.value_words(self.change, measure=self.measure) if self.change else ""

    @property
    def wider_words(self) -> str:
        if self.advice is None or self.advice.wider is None:
            return ""
        low, high = self.advice.wider
        return amounts.band_words("between", low=low, high=high, measure=self.measure)

    @property
    def open_words(self) -> str:
        if self.advice is None or self.advice.open_ended is None:
            return ""
        edge = self.advice.open_ended
        side = "at_least" if self._upward else "at_most"
        return amounts.band_words(side, low=edge, high=edge, measure=self.measure)

    @property
    def _upward(self) -> bool:
        return (
            self.baseline is None
            or self.target is None
            or (self.target.on_target >= self.baseline.value)
        )


def odds_of(
    student: Student,
    step: Mapping[str, Any],
    criterion: Mapping[str, Any],
    *,
    submissions: Sequence[Submission] = (),
) -> Odds | None:
    """The odds of a criterion in the shape of a drill file; None for a self-test."""
    if criterion.get("comparison") in Criterion.BY_EYE:
        return None
    measure, event = criterion.get("measure", ""), criterion.get("event", "")
    base = progress.baseline_of(
        student, measure, event, view=step["view"], kind=step["film_kind"], submissions=submissions
    )
    if base is None:
        return Odds(measure, event, trouble="unmeasured", bar_film=_bar(measure, step))
    row = Criterion(
        **{k: v for k, v in criterion.items() if k != "question"},
        baseline=base.value,
        baseline_uncertainty=base.uncertainty,
    )
    target = judged.target_of(row)
    if target is None:
        return Odds(measure, event, baseline=base, trouble="incomplete")
    need, asked = step["need"], step["repetitions"]
    share = constant_share(measure)
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
            step=1.0 if amounts.unit_of(measure) in {"deg", "cm", "%"} else 0.05,
        ),
        change=smallest_change(
            sd_of_mean(base.single, count=base.repetitions, share=share),
            sd_of_mean(base.single, count=asked, share=share),
        ),
        bar_film=_bar(measure, step),
        target=target,
    )


def _bar(measure: str, step: Mapping[str, Any]) -> bool:
    """Whether a film with a held club would judge the same thing more sharply."""
    return measure in BAR_FOR and step["film_kind"] in ("hold", "rehearsal")


@dataclass(frozen=True)
class UsualOdds:
    """What a target can tell with the errors that are usual, before anybody is filmed."""

    measure: str
    sd: float
    on_aim: float  # share of repetitions that count for a student who is at the aim
    on_limit: float
    hardly: bool
    needed: float | None

    @property
    def sd_words(self) -> str:
        return amounts.value_words(2 * self.sd, measure=self.measure)

    @property
    def aim_tenths(self) -> int:
        return round(10 * self.on_aim)

    @property
    def limit_tenths(self) -> int:
        return round(10 * self.on_limit)

    @property
    def needed_words(self) -> str:
        return "" if self.needed is None else amounts.value_words(self.needed, measure=self.measure)


def usual_odds(step: Mapping[str, Any], criterion: Mapping[str, Any]) -> UsualOdds | None:
    """The odds of a criterion in the library; None for what no usual error is known of."""
    key = (criterion.get("measure", ""), criterion.get("event", ""), step.get("view", ""))
    sd = weights.usual_sd().get(key)
    band = band_of(
        str(criterion.get("comparison")), low=criterion.get("low"), high=criterion.get("high")
    )
    if sd is None or band is None:
        return None
    target = Target(key[0], key[1], band)
    aim = criterion.get("aim")
    on_aim = chance_on_target(target, sd, true=aim)
    return UsualOdds(
        measure=key[0],
        sd=sd,
        on_aim=on_aim,
        on_limit=chance_on_target(target, sd) if not band.is_closed else on_aim,
        hardly=on_aim < HARDLY,
        needed=needed_to_count(target, sd),
    )
