"""Suggested findings: rules as data in `rules.toml`, applied to figures. Pure.

A rule fires only when every one of its conditions holds at one-sided 95 % given the
uncertainty of the figure it reads, so a wider uncertainty never makes a rule fire. A
figure that is absent makes no rule fire. A suggestion is never a finding until a coach
has taken it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from analysis.core.measures import MEASURES
from coaching.diagnosis.causes import CAUSE, COMPENSATION, HARMLESS, QUESTION, STRENGTH
from coaching.diagnosis.certainty import Reading, chance_between, surely_at_least, surely_at_most

PATH = Path(__file__).with_name("rules.toml")
KINDS = (CAUSE, COMPENSATION, HARMLESS, STRENGTH, QUESTION)
COMMON = "common practice, no published source"

Figures = Mapping[tuple[str, str], Reading]


@dataclass(frozen=True)
class Condition:
    """One measure at one event against limits, moved outward by `margin`."""

    measure: str
    event: str
    at_least: float | None = None
    at_most: float | None = None
    margin: float = 0.0

    @property
    def low(self) -> float:
        return float("-inf") if self.at_least is None else self.at_least + self.margin

    @property
    def high(self) -> float:
        return float("inf") if self.at_most is None else self.at_most - self.margin

    def holds(self, figures: Figures) -> bool:
        reading = figures.get((self.measure, self.event))
        return (
            reading is not None
            and surely_at_least(*reading, self.low)
            and surely_at_most(*reading, self.high)
        )

    def chance(self, figures: Figures) -> float:
        return chance_between(*figures[self.measure, self.event], low=self.low, high=self.high)


@dataclass(frozen=True)
class Rule:
    """A finding that figures can suggest; `because` names rules that may cause it."""

    id: str
    title: str
    kind: str
    sentence: str
    when: tuple[Condition, ...]
    because: tuple[str, ...] = ()
    question: str = ""
    drill: str = ""
    unless_body: tuple[str, ...] = ()
    source: str = COMMON


@dataclass(frozen=True)
class Suggestion:
    """A rule that fired; `because` are those of its causes that fired as well."""

    rule: Rule
    sure: float
    because: tuple[str, ...]

    @property
    def measure(self) -> tuple[str, str]:
        """The figure the finding hangs on: the first one its rule reads."""
        return self.rule.when[0].measure, self.rule.when[0].event


def parse(text: str) -> tuple[Rule, ...]:
    """Rules from TOML, checked.

    Raises
    ------
    ValueError
        Naming the rule and what is wrong with it.
    """
    rules = tuple(_rule(row) for row in tomllib.loads(text)["rule"])
    ids = [rule.id for rule in rules]
    for rule in rules:
        if ids.count(rule.id) > 1:
            raise ValueError(f"{rule.id}: the id is used twice")
        for other in rule.because:
            if other not in ids:
                raise ValueError(f"{rule.id}: because of an unknown rule {other}")
    return rules


def _rule(row: dict[str, object]) -> Rule:
    id = str(row.get("id", "?"))
    try:
        when = tuple(Condition(**condition) for condition in row.pop("when"))  # type: ignore[attr-defined]
        lists = {key: tuple(row.pop(key, ())) for key in ("because", "unless_body")}  # type: ignore[arg-type]
        rule = Rule(when=when, **lists, **row)  # type: ignore[arg-type]
    except (TypeError, KeyError) as error:
        raise ValueError(f"{id}: {error}") from None
    if rule.kind not in KINDS:
        raise ValueError(f"{id}: there is no kind {rule.kind}")
    if not rule.when:
        raise ValueError(f"{id}: a rule needs at least one condition")
    if rule.kind == QUESTION and not rule.question:
        raise ValueError(f"{id}: a question needs its words")
    for condition in rule.when:
        _check(id, condition)
    return rule


_KNOWN = {(m.id, m.event) for m in MEASURES}


def _check(id: str, condition: Condition) -> None:
    if (condition.measure, condition.event) not in _KNOWN:
        raise ValueError(f"{id}: {condition.measure}@{condition.event} is not measured")
    if condition.at_least is None and condition.at_most is None:
        raise ValueError(f"{id}: a condition needs at_least or at_most")
    if condition.margin < 0 or condition.low > condition.high:
        raise ValueError(f"{id}: no figure can meet {condition}")


@cache
def all_rules() -> tuple[Rule, ...]:
    return parse(PATH.read_text(encoding="utf-8"))


def rule_named(id: str) -> Rule | None:
    return next((rule for rule in all_rules() if rule.id == id), None)


def suggest(
    figures: Figures,
    *,
    rules: tuple[Rule, ...] | None = None,
    dismissed: Collection[str] = (),
    painful: Collection[str] = (),
) -> list[Suggestion]:
    """The rules that fire, in the order of the file: causes stand before their effects.

    Parameters
    ----------
    figures : mapping
        (measure, event) -> (value, uncertainty). Absent figures are left out.
    dismissed : collection of str
        Ids of rules the coach does not want to see again for this student.
    painful : collection of str
        Regions of the body that hurt or are limited: a rule that would ask more of one
        of them (`unless_body`) stays silent.
    """
    fired = [
        rule
        for rule in (all_rules() if rules is None else rules)
        if rule.id not in dismissed
        and not set(rule.unless_body) & set(painful)
        and all(condition.holds(figures) for condition in rule.when)
    ]
    ids = {rule.id for rule in fired}
    return [
        Suggestion(
            rule=rule,
            sure=min(condition.chance(figures) for condition in rule.when),
            because=tuple(other for other in rule.because if other in ids),
        )
        for rule in fired
    ]
