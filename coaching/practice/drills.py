"""Drills as files: the documented JSON, checked on the way in, written on the way out.

The shape is `drills.schema.json`; what a schema cannot say (a measure must be read in the
angle and kind of film that the rung asks for) is checked here, with a sentence that names
the drill and the rung.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _
from jsonschema import Draft202012Validator
from jsonschema.exceptions import best_match

from analysis.core.measures import measures_of
from coaching.people.errors import LessonError
from coaching.practice.models import Drill, DrillVersion

SCHEMA_PATH = Path(__file__).with_name("drills.schema.json")
STARTER_PATH = Path(__file__).with_name("starter.json")
MAX_BYTES = 2 * 1024 * 1024

# What a version says; `slug` and `cause` belong to the drill.
VERSION_FIELDS = (
    "title",
    "purpose",
    "set_up",
    "steps",
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
        data = json.loads(text)
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


def check_rungs(rungs: Sequence[Mapping[str, Any]]) -> None:
    """The same checks for a ladder alone, before it is assigned."""
    if not 1 <= len(rungs) <= 8:
        raise LessonError(_("A ladder has one to eight steps."), code="ladder")
    for rung in rungs:
        _refuse(_validator("rung"), rung)
    check_ladder(rungs, name=_("this ladder"))


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
    for number, rung in enumerate(ladder, start=1):
        wrong = _wrong(rung)
        if wrong:
            raise LessonError(
                _("%(name)s, step %(number)d: %(wrong)s")
                % {"name": name, "number": number, "wrong": wrong},
                code="ladder",
            )


def _wrong(rung: Mapping[str, Any]) -> str:
    """What no camera can judge about a rung; empty when all is well."""
    if rung["need"] > rung["repetitions"]:
        return _("ask for at most as many good repetitions as are filmed.")
    read_here = {(m.id, m.event) for m in measures_of(rung["view"], rung["film_kind"])}
    for criterion in rung["criteria"]:
        if criterion["comparison"] == "self_test":
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
