"""The ladder's editor: steps as rows, read from what was typed and changed by one button.

Every button of the editor sends the whole form with `do`; the answer is the same form,
changed. So it works without script, and nothing typed is lost on the way. Numbers that are
not complete yet are left out here; `forms.ladder_from` refuses them when it is saved.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from analysis.core.measures import measures_of
from analysis.core.pose import KINDS, MEASURED_VIEWS
from coaching import numbers
from coaching.intake.models import RequestedAngle
from coaching.lessons.wording import amounts, naming
from coaching.practice import drills
from coaching.practice.models import Criterion, Step

MOST_STEPS, MOST_CRITERIA = 8, 4
COMPARISONS = Criterion.Comparison
_PARTS = ("kind", "view", "film_kind", "effort", "ball", "bar_across", "club", "text")
_NUMBERS = ("need", "repetitions", "days")
LIMITS: dict[str, tuple[str, ...]] = {
    COMPARISONS.AT_LEAST: ("low", "aim"),
    COMPARISONS.AT_MOST: ("high", "aim"),
    COMPARISONS.BETWEEN: ("low", "high", "aim"),
    COMPARISONS.CHANGED_BY: ("change", "aim"),
}
FIRST_STEP: dict[str, Any] = {
    "kind": Step.Kind.SLOW.value,
    "text": "",
    "view": "face_on",
    "film_kind": "rehearsal",
    "effort": "slow",
    "ball": "none",
    "need": 2,
    "repetitions": 3,
    "days": 1,
    "criteria": [{"comparison": COMPARISONS.SELF_TEST.value, "question": ""}],
}


def places(post: Mapping[str, str]) -> list[int]:
    """Numbers of the steps that were typed, in the order of the page."""
    found = [re.fullmatch(r"step-(\d{1,2})-kind", key) for key in post]
    return [int(m[1]) for m in found if m is not None]


def typed(post: Mapping[str, str]) -> list[dict[str, Any]]:
    """The ladder as far as it was typed."""
    return [_typed_step(post, f"step-{place}") for place in places(post)]


def _typed_step(post: Mapping[str, str], key: str) -> dict[str, Any]:
    step: dict[str, Any] = {part: post.get(f"{key}-{part}", "") for part in _PARTS}
    for name in _NUMBERS:
        step[name] = int(_number(post.get(f"{key}-{name}", "")) or FIRST_STEP[name])
    for part in ("bar_across", "club"):
        if not step[part]:
            del step[part]
    within = _number(post.get(f"{key}-within_days", ""))
    if within:
        step["within_days"] = int(within)
    step["criteria"] = [
        _typed_criterion(post, f"{key}-{n}")
        for n in range(MOST_CRITERIA)
        if post.get(f"{key}-{n}-comparison")
    ]
    return step


def _typed_criterion(post: Mapping[str, str], key: str) -> dict[str, Any]:
    comparison = post[f"{key}-comparison"]
    if comparison in Criterion.BY_EYE:
        return {"comparison": comparison, "question": post.get(f"{key}-question", "").strip()}
    measure, _at, event = post.get(f"{key}-figure", "").partition("@")
    row: dict[str, Any] = {"comparison": comparison, "measure": measure, "event": event}
    for name in LIMITS.get(comparison, ()):
        value = _number(post.get(f"{key}-{name}", ""))
        if value is not None:
            row[name] = value
    return row


def _number(text: str) -> float | None:
    try:
        return numbers.real(text)
    except ValueError:
        return None


# --- one button ---------------------------------------------------------------------


def done(ladder: list[dict[str, Any]], do: str) -> list[dict[str, Any]]:
    """The ladder after a button: `add`, `remove:1`, `up:2`, `criterion:0`, `mend:3:0:low:40`.

    What is not understood, or does not fit, changes nothing.
    """
    name, *told = do.split(":")
    action = _ACTIONS.get(name)
    if action is None:
        return ladder
    try:
        return action([{**s, "criteria": list(s["criteria"])} for s in ladder], *told)
    except (ValueError, IndexError, TypeError, KeyError):
        return ladder


def _add(ladder: list[dict[str, Any]], kind: str = "") -> list[dict[str, Any]]:
    if len(ladder) >= MOST_STEPS:
        return ladder
    if not ladder or kind == "self":
        view = ladder[-1]["view"] if ladder else FIRST_STEP["view"]
        return [*ladder, {**FIRST_STEP, "view": view, "criteria": list(FIRST_STEP["criteria"])}]
    last = ladder[-1]
    return [*ladder, {**last, "text": "", "criteria": [dict(c) for c in last["criteria"]]}]


def _remove(ladder: list[dict[str, Any]], place: str) -> list[dict[str, Any]]:
    del ladder[int(place)]
    return ladder


def _up(ladder: list[dict[str, Any]], place: str) -> list[dict[str, Any]]:
    k = int(place)
    if k > 0:
        ladder[k - 1], ladder[k] = ladder[k], ladder[k - 1]
    return ladder


def _criterion(ladder: list[dict[str, Any]], place: str) -> list[dict[str, Any]]:
    step = ladder[int(place)]
    if len(step["criteria"]) < MOST_CRITERIA:
        step["criteria"].append({"comparison": COMPARISONS.AT_LEAST.value})
    return ladder


def _drop(ladder: list[dict[str, Any]], place: str, number: str) -> list[dict[str, Any]]:
    del ladder[int(place)]["criteria"][int(number)]
    return ladder


def _mend(
    ladder: list[dict[str, Any]], place: str, number: str, name: str, value: str
) -> list[dict[str, Any]]:
    criteria = ladder[int(place)]["criteria"]
    if name in ("low", "high"):
        criteria[int(number)] = {**criteria[int(number)], name: numbers.real(value)}
    return ladder


def _bar(ladder: list[dict[str, Any]], place: str) -> list[dict[str, Any]]:
    ladder[int(place)] = with_a_bar(ladder[int(place)])
    return ladder


# Turns that a club held across hips or chest shows directly.
BAR_FOR = ("pelvis_turn_deg", "shoulder_turn_deg")


def with_a_bar(step: dict[str, Any]) -> dict[str, Any]:
    """The same step filmed with a club held across the body, where turn itself decides.

    The held club shows the turn of whatever it is held against, so the limits stay.
    """
    chest = any(c.get("measure") == "shoulder_turn_deg" for c in step["criteria"])
    turned = [
        {**c, "measure": "bar_turn_deg"} if c.get("measure") in BAR_FOR else c
        for c in step["criteria"]
    ]
    film = {"film_kind": "bar", "bar_across": "chest" if chest else "hips"}
    return step | film | {"effort": "still", "ball": "none", "criteria": turned}


_ACTIONS: dict[str, Callable[..., list[dict[str, Any]]]] = {
    "add": _add,
    "remove": _remove,
    "up": _up,
    "criterion": _criterion,
    "drop": _drop,
    "mend": _mend,
    "bar": _bar,
}


# --- rows ---------------------------------------------------------------------------


@dataclass(frozen=True)
class CriterionRow:
    """A criterion as the editor shows it; `key` is the prefix of its fields."""

    key: str
    place: str  # of its step and its own, for the buttons
    row: Mapping[str, Any]
    trouble: str = ""
    mend: tuple[str, Any] | None = None
    odds: Any = None

    @property
    def figure(self) -> str:
        return f"{self.row.get('measure', '')}@{self.row.get('event', '')}"

    @property
    def by_eye(self) -> bool:
        return self.row.get("comparison") in Criterion.BY_EYE

    @property
    def mend_words(self) -> str:
        if self.mend is None:
            return ""
        name, value = self.mend
        measure, limit = str(self.row.get("measure", "")), float(value)
        if name == "low":
            return amounts.band_words("at_least", measure=measure, low=limit)
        return amounts.band_words("at_most", measure=measure, high=limit)


@dataclass(frozen=True)
class Row:
    """A step as the editor shows it."""

    place: int
    row: Mapping[str, Any]
    criteria: list[CriterionRow]
    trouble: str = ""
    figures: list[tuple[str, str]] = field(default_factory=list)
    behind: int = 0  # steps of the ladder that stand before the editor's first

    @property
    def key(self) -> str:
        return f"step-{self.place}"

    @property
    def number(self) -> int:
        return self.behind + self.place + 1

    @property
    def kind_words(self) -> str:
        return str(dict(Step.Kind.choices).get(self.row["kind"], self.row["kind"]))

    @property
    def bar(self) -> bool:
        """Whether a film with a held club would judge this step more sharply."""
        asked = {c.get("measure") for c in self.row["criteria"]}
        slow = self.row["film_kind"] in ("hold", "rehearsal")
        return slow and len(asked) == 1 and asked <= set(BAR_FOR)

    @property
    def may_take_more(self) -> bool:
        return len(self.criteria) < MOST_CRITERIA


Odds = Callable[[Mapping[str, Any], Mapping[str, Any]], Any]


def rows(
    ladder: list[dict[str, Any]],
    *,
    odds: Odds | None = None,
    behind: Sequence[Mapping[str, Any]] = (),
) -> list[Row]:
    """The editor's rows, each with what does not fit in it or to the steps `behind` it."""
    try:
        wrong = drills.contradictions([*behind, *ladder])
    except (KeyError, ValueError):  # not complete yet
        wrong = []
    made = []
    for place, step in enumerate(ladder):
        here = [w for w in wrong if w.number == len(behind) + place + 1]
        made.append(
            Row(
                place=place,
                row=step,
                criteria=[
                    _criterion_row(place, n, step, criterion, here, odds)
                    for n, criterion in enumerate(step["criteria"])
                ],
                trouble=next((w.text for w in here if w.criterion is None), ""),
                figures=figures(step["view"], step["film_kind"]),
                behind=len(behind),
            )
        )
    return made


def _criterion_row(
    place: int,
    number: int,
    step: Mapping[str, Any],
    criterion: Mapping[str, Any],
    wrong: list[drills.Contradiction],
    odds: Odds | None,
) -> CriterionRow:
    found = next((w for w in wrong if w.criterion == number), None)
    return CriterionRow(
        key=f"step-{place}-{number}",
        place=f"{place}:{number}",
        row=criterion,
        trouble=found.text if found else "",
        mend=found.mend if found else None,
        odds=odds(step, criterion) if odds and criterion.get("measure") else None,
    )


def figures(view: str, kind: str) -> list[tuple[str, str]]:
    """What such a film gives, as (value, label)."""
    return [(f"{m.id}@{m.event}", naming.label_of(m.id, m.event)) for m in measures_of(view, kind)]


def choices() -> dict[str, Any]:
    """The lists of the editor's fields."""
    return {
        "kinds": Step.Kind.choices,
        "views": [(v, naming.view_name(v)) for v in MEASURED_VIEWS],
        "films": [(k, naming.kind_name(k)) for k in KINDS],
        "efforts": RequestedAngle.Effort.choices,
        "balls": RequestedAngle.Ball.choices,
        "acrosses": RequestedAngle.Across.choices,
        "comparisons": COMPARISONS.choices,
        "most_steps": MOST_STEPS,
    }
