"""Drills as files: the documented JSON, checked on the way in, written on the way out.

The shape is `drills.schema.json`; what a schema cannot say (a measure must be read in the
angle and kind of film that the step asks for) is checked here, with a sentence that names
the drill and the step.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _
from jsonschema import Draft202012Validator
from jsonschema.exceptions import best_match

from analysis.core.measures import measures_of
from coaching.intake.models import RequestedAngle
from coaching.lessons.wording import amounts, naming
from coaching.people.errors import LessonError
from coaching.plain_input import parse_json
from coaching.practice.models import Criterion, Drill, DrillVersion

SCHEMA_PATH = Path(__file__).with_name("drills.schema.json")
STARTER_PATH = Path(__file__).with_name("starter.json")
MAX_BYTES = 2 * 1024 * 1024

# What a version says; `slug` and `cause` belong to the drill.
VERSION_FIELDS = (
    "title",
    "purpose",
    "feel",
    "set_up",
    "instructions",
    "cautions",
    "not_for",
    "loads",
    "source",
    "ladder",
)


@cache
def _validator(part: str = "") -> Draft202012Validator:
    schema = json.loads(SCHEMA_PATH.read_text(encoding="utf-8"))
    if part:
        schema = {"$ref": f"#/$defs/{part}", "$defs": schema["$defs"]}
    return Draft202012Validator(schema)


def read(text: str | bytes) -> list[dict[str, Any]]:
    """Drills from the JSON of a file.

    Raises
    ------
    LessonError
        One sentence naming the drill, the place in it and what is wrong.
    """
    try:
        data = parse_json(text)
    except (ValueError, UnicodeDecodeError):
        raise LessonError(
            _("This is not a drill file. Choose a JSON file as described in the help."),
            code="not_json",
        ) from None
    _refuse(_validator(), data)
    slugs = [drill["slug"] for drill in data["drills"]]
    for drill in data["drills"]:
        if slugs.count(drill["slug"]) > 1:
            raise LessonError(
                _("The drill “%(slug)s” is in the file twice.") % {"slug": drill["slug"]},
                code="twice",
            )
        check_ladder(drill["ladder"], name=drill["slug"])
    return list(data["drills"])


def check(drill: Mapping[str, Any]) -> None:
    """The same checks for one drill, as typed into the form."""
    _refuse(_validator("drill"), drill, name=str(drill.get("slug", "")))
    check_ladder(drill["ladder"], name=drill["slug"])


def check_steps(steps: Sequence[Mapping[str, Any]]) -> None:
    """The same checks for a ladder alone, before it is assigned."""
    if not 1 <= len(steps) <= 8:
        raise LessonError(_("A ladder has one to eight steps."), code="ladder")
    for step in steps:
        _refuse(_validator("step"), step)
    check_ladder(steps, name=_("this ladder"))


def _refuse(validator: Draft202012Validator, data: Any, *, name: str = "") -> None:
    error = best_match(validator.iter_errors(data))
    if error is None:
        return
    place = list(error.absolute_path)
    if isinstance(data, dict) and place[:1] == ["drills"] and len(place) > 1:
        drill = data["drills"][place[1]]
        name = str(drill.get("slug", place[1])) if isinstance(drill, dict) else str(place[1])
        place = place[2:]
    where = ".".join(str(p + 1) if isinstance(p, int) else str(p) for p in place)
    raise LessonError(
        _("Drill %(name)s, %(where)s: %(what)s.")
        % {"name": name or "?", "where": where or _("as a whole"), "what": error.message[:200]},
        code="schema",
        path=[str(p) for p in error.absolute_path],
    )


def check_ladder(ladder: Sequence[Mapping[str, Any]], *, name: str) -> None:
    for number, step in enumerate(ladder, start=1):
        wrong = _wrong(step)
        if wrong:
            raise LessonError(
                _("%(name)s, step %(number)d: %(wrong)s")
                % {"name": name, "number": number, "wrong": wrong},
                code="ladder",
            )
    for found in contradictions(ladder):
        raise LessonError(
            _("%(name)s: %(wrong)s") % {"name": name, "wrong": found.text},
            code="contradiction",
            step=found.number,
        )


@dataclass(frozen=True)
class Contradiction:
    """Why a step does not fit those before it, and what would mend it.

    `criterion` is the place of the criterion in the step, None where the step as a whole is
    meant; `mend` is the field and its value, None where there is no simple one.
    """

    number: int  # of the step, from 1
    text: str
    criterion: int | None = None
    mend: tuple[str, float | str] | None = None


_EFFORTS = tuple(RequestedAngle.Effort.values)
# From slow to full there are five speeds; more than two at once loses what was learned.
_LONGEST_JUMP = 2


def contradictions(ladder: Sequence[Mapping[str, Any]]) -> list[Contradiction]:
    """Steps that ask for more than a slower one before them, or jump in speed."""
    found: list[Contradiction] = []
    asked: dict[tuple[str, str], tuple[int, Mapping[str, Any]]] = {}
    swung: tuple[int, int] | None = None
    for number, step in enumerate(ladder, start=1):
        effort = _EFFORTS.index(step["effort"])
        if step["film_kind"] == "swing":
            if swung is not None and effort - swung[1] > _LONGEST_JUMP:
                found.append(_jump(number, swung[0]))
            swung = (number, effort)
        for place, criterion in enumerate(step["criteria"]):
            key = (criterion.get("measure", ""), criterion.get("event", ""))
            if not key[0]:
                continue
            before = asked.get(key)
            worse = before and _asks_for_more(before[1], criterion)
            if before and worse:
                found.append(_more(number, place, before[0], key, *worse))
            else:
                asked[key] = (number, criterion)
    return found


def _asks_for_more(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[str, float] | None:
    """The limit that went beyond an earlier step's, and that step's; None when none did."""
    for name, sign in (("low", 1), ("high", -1)):
        old, new = before.get(name), after.get(name)
        if old is not None and new is not None and sign * (new - old) > 1e-9:
            return name, float(old)
    return None


def _more(
    number: int, place: int, first: int, key: tuple[str, str], name: str, limit: float
) -> Contradiction:
    side: dict[str, Any] = {"low": limit} if name == "low" else {"high": limit}
    comparison = "at_least" if name == "low" else "at_most"
    asked = amounts.band_words(comparison, measure=key[0], **side)
    text = _(
        "Step %(number)d asks for more than step %(first)d (%(asked)s: %(figure)s), though it"
        " comes later. A new move shrinks with speed: ask for the same or less."
    )
    says = {"number": number, "first": first, "figure": naming.label_of(*key), "asked": asked}
    return Contradiction(number, text % says, place, (name, limit))


def _jump(number: int, first: int) -> Contradiction:
    return Contradiction(
        number,
        _(
            "Step %(number)d is much faster than step %(first)d. Put a speed between them: a"
            " tenth, a third, half, three quarters, full."
        )
        % {"number": number, "first": first},
    )


def _wrong(step: Mapping[str, Any]) -> str:
    """What no camera can judge about a step; empty when all is well."""
    if step["need"] > step["repetitions"]:
        return _("ask for at most as many good repetitions as are filmed.")
    read_here = {(m.id, m.event) for m in measures_of(step["view"], step["film_kind"])}
    for criterion in step["criteria"]:
        if criterion["comparison"] in Criterion.BY_EYE:
            continue
        if (criterion["measure"], criterion["event"]) not in read_here:
            return _(
                "%(measure)s at %(event)s is not measured in this angle and kind of film."
                " Choose another angle, or a self-test."
            ) % {"measure": criterion["measure"], "event": criterion["event"]}
        if criterion["comparison"] == "between" and criterion["low"] >= criterion["high"]:
            return _("the lower end of a band must be below the upper one.")
    return ""


def as_json(drills: Sequence[Drill]) -> str:
    """The newest version of each drill as a file that `read` takes."""
    rows = [row_of(drill.slug, drill.cause, newest(drill)) for drill in drills]
    return json.dumps({"schema": 1, "drills": rows}, indent=1, ensure_ascii=False) + "\n"


def row_of(slug: str, cause: str, version: DrillVersion) -> dict[str, Any]:
    row: dict[str, Any] = {"slug": slug, "cause": cause}
    return row | {name: getattr(version, name) for name in VERSION_FIELDS}


def newest(drill: Drill) -> DrillVersion:
    """From memory when versions were prefetched."""
    return max(drill.versions.all(), key=lambda version: version.number)


def starter() -> list[dict[str, Any]]:
    """The drills every studio begins with, in our own words."""
    return read(STARTER_PATH.read_text(encoding="utf-8"))
