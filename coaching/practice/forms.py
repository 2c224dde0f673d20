"""Ladders and drills as typed into forms, turned into the shape of a drill file.

Checks of meaning stay in `drills` and the services; here only numbers are read.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _

from analysis.core.measures import measures_of
from coaching.lessons import words
from coaching.people.errors import LessonError
from coaching.people.models import Region
from coaching.practice.models import Criterion, Rung

COMPARISONS = Criterion.Comparison
MOST_CRITERIA = 4


def number(text: str, *, what: str) -> float:
    """A number as people type it, with a comma or a real minus sign too."""
    try:
        return float(text.strip().replace(",", ".").replace("−", "-"))
    except ValueError:
        raise LessonError(
            _("Write a number for %(what)s.") % {"what": what}, code="not_a_number"
        ) from None


def whole(text: str, *, what: str) -> int:
    value = number(text, what=what)
    if value != int(value):
        raise LessonError(
            _("Write a whole number for %(what)s.") % {"what": what}, code="not_whole"
        )
    return int(value)


def day(text: str) -> date | None:
    if not text.strip():
        return None
    try:
        found = parse_date(text.strip())
    except ValueError:
        found = None
    if found is None:
        raise LessonError(_("Write dates as year-month-day."), code="not_a_date")
    return found


def ladder_from(post: Mapping[str, str], *, base: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The drill's ladder with the coach's own numbers; a rung that was left out is gone."""
    rungs = []
    for place, row in enumerate(base):
        key = f"rung-{place}"
        if post.get(f"{key}-skip"):
            continue
        rung = dict(row)
        for name, what in (
            ("need", _("how many must count")),
            ("repetitions", _("how many are filmed")),
            ("days", _("on how many days")),
        ):
            if post.get(f"{key}-{name}"):
                rung[name] = whole(post[f"{key}-{name}"], what=what)
        rung["criteria"] = [
            criterion
            for number_ in range(MOST_CRITERIA)
            if (criterion := criterion_from(post, f"{key}-{number_}")) is not None
        ] or row["criteria"]
        rungs.append(with_a_bar(rung) if post.get(f"{key}-bar") else rung)
    return rungs


def with_a_bar(rung: dict[str, Any]) -> dict[str, Any]:
    """The same rung filmed with a club held across the body, where turn itself decides.

    The held club shows the turn of whatever it is held against, so the limits stay.
    """
    chest = any(c.get("measure") == "shoulder_turn_deg" for c in rung["criteria"])
    turned = [
        {**c, "measure": "bar_turn_deg"} if c.get("measure") in BAR_FOR else c
        for c in rung["criteria"]
    ]
    film = {"film_kind": "bar", "bar_across": "chest" if chest else "hips"}
    return rung | film | {"effort": "still", "ball": "none", "criteria": turned}


# Turns that a club held across hips or chest shows directly.
BAR_FOR = ("pelvis_turn_deg", "shoulder_turn_deg")


def criterion_from(post: Mapping[str, str], key: str) -> dict[str, Any] | None:
    """One criterion, None where the row was left empty."""
    comparison = post.get(f"{key}-comparison", "")
    if not comparison:
        return None
    if comparison == COMPARISONS.SELF_TEST:
        return {"comparison": comparison, "question": post.get(f"{key}-question", "").strip()}
    measure, _at, event = post.get(f"{key}-figure", "").partition("@")
    row: dict[str, Any] = {"comparison": comparison, "measure": measure, "event": event}
    for name in _LIMITS.get(comparison, ()):
        row[name] = number(post.get(f"{key}-{name}", ""), what=words.label_of(measure, event))
    return row


_LIMITS = {
    COMPARISONS.AT_LEAST: ("low",),
    COMPARISONS.AT_MOST: ("high",),
    COMPARISONS.BETWEEN: ("low", "high"),
    COMPARISONS.CHANGED_BY: ("change",),
}


@dataclass(frozen=True)
class Choice:
    """A figure that a rung's film can give."""

    value: str
    label: str


def figures_for(view: str, kind: str) -> list[Choice]:
    return [
        Choice(f"{m.id}@{m.event}", words.label_of(m.id, m.event)) for m in measures_of(view, kind)
    ]


@dataclass(frozen=True)
class CriterionRow:
    """A criterion as the form shows it; `key` is the prefix of its fields."""

    key: str
    row: Mapping[str, Any]
    odds: Any = None

    @property
    def figure(self) -> str:
        return f"{self.row.get('measure', '')}@{self.row.get('event', '')}"


@dataclass(frozen=True)
class RungRow:
    """A rung as the form shows it, with one empty criterion to add."""

    place: int
    row: Mapping[str, Any]
    figures: list[Choice]
    criteria: list[CriterionRow]

    @property
    def key(self) -> str:
        return f"rung-{self.place}"

    @property
    def number(self) -> int:
        return self.place + 1

    @property
    def bar(self) -> bool:
        """Whether a film with a held club would judge this rung more sharply."""
        slow = self.row["film_kind"] in ("hold", "rehearsal")
        asked = {c.get("measure") for c in self.row["criteria"]}
        return slow and len(asked) == 1 and asked <= set(BAR_FOR)

    @property
    def kind_words(self) -> str:
        return str(Rung.Kind(self.row["kind"]).label)


Odds = Callable[[Mapping[str, Any], Mapping[str, Any]], Any]


def rung_rows(ladder: list[dict[str, Any]], *, odds: Odds | None = None) -> list[RungRow]:
    """The ladder for the form; `odds(rung, criterion)` is shown beside each criterion."""
    return [
        RungRow(
            place=place,
            row=row,
            figures=figures_for(row["view"], row["film_kind"]),
            criteria=[
                CriterionRow(f"rung-{place}-{i}", criterion, odds(row, criterion) if odds else None)
                for i, criterion in enumerate(_with_empty(row["criteria"]))
            ],
        )
        for place, row in enumerate(ladder)
    ]


def _with_empty(criteria: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [*criteria, {}] if len(criteria) < MOST_CRITERIA else criteria


def drill_from(
    post: Mapping[str, str], *, slug: str, ladder: Any, loads: list[str]
) -> dict[str, Any]:
    """A drill as typed into its page; steps are one a line."""
    steps = [line.strip() for line in post.get("steps", "").splitlines() if line.strip()]
    return {
        "slug": slug,
        "cause": post.get("cause", "").strip(),
        "title": post.get("title", "").strip(),
        "purpose": post.get("purpose", "").strip(),
        "set_up": post.get("set_up", "").strip(),
        "steps": [{"words": step} for step in steps],
        "cautions": post.get("cautions", "").strip(),
        "not_for": post.get("not_for", "").strip(),
        "loads": [region for region in loads if region in Region.values],
        "source": post.get("source", "").strip(),
        "ladder": ladder,
    }


def ladder_text(text: str) -> Any:
    """A ladder written as JSON, for a drill of one's own."""
    try:
        return json.loads(text)
    except ValueError:
        raise LessonError(
            _("The ladder is not written as in the help. Copy one from another drill."),
            code="not_json",
        ) from None


# The regions a drill can load; "somewhere else" is only said of pain.
LOADS = [choice for choice in Region.choices if choice[0] != Region.OTHER]
