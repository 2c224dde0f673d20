"""Facts of the review room turned into words for its templates."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from analysis.core.agreement import Bias
from analysis.core.pose import EVENTS, JOINTS
from coaching.lessons import words
from coaching.people.models import User
from coaching.review import change, turncheck
from coaching.review.models import WalkThrough

SPEEDS = (
    ("0.05", "1/20"), ("0.1", "1/10"), ("0.25", "1/4"), ("0.5", "1/2"), ("1", "1 ×"), ("2", "2 ×"),
)  # fmt: skip

_PARTS = {
    "head": _l("head"), "neck": _l("neck"), "shoulder": _l("shoulder"), "elbow": _l("elbow"),
    "wrist": _l("wrist"), "hip": _l("hip joint"), "knee": _l("knee"), "ankle": _l("ankle"),
    "heel": _l("heel"), "toe": _l("toe tip"), "grip": _l("hands on the handle"),
}  # fmt: skip
_SIDES = {"lead": _l("lead"), "trail": _l("trail")}

# The name of a mark by what it is for; the same as on the buttons of the room.
PURPOSES = {
    "seat_line": _l("seat line"), "foot_line": _l("foot line"), "body_line": _l("body line"),
    "shaft_wanted": _l("shaft wanted"), "way": _l("way to go"), "bend": _l("bend"),
    "look": _l("look here"), "sketch": _l("drawing"), "words": "", "note": "",
}  # fmt: skip


def event_words() -> str:
    """Every event's name, as JSON for the strip of time."""
    return json.dumps({event: words.event_name(event) for event in EVENTS})


def joint_choices() -> list[tuple[str, str]]:
    """Joints that can be put right, those most often wrong first."""
    order = ["hip", "shoulder", "knee", "ankle", "heel", "toe", "elbow", "wrist", "grip", "head"]
    ranked = sorted(JOINTS, key=lambda joint: _rank(order, joint))
    return [(joint, _joint_name(joint)) for joint in ranked]


def _rank(order: list[str], joint: str) -> int:
    part = joint.partition("_")[0]
    return order.index(part) if part in order else len(order)


def _joint_name(joint: str) -> str:
    part, _sep, side = joint.partition("_")
    return f"{_SIDES[side]} {_PARTS[part]}" if side else str(_PARTS[part])


def figure_row(figure: dict[str, Any], user: User | None = None) -> dict[str, Any]:
    """A figure of the margin with its name, and the first reading of a corrected one."""
    imperial = getattr(user, "units", "") == User.Units.IMPERIAL

    def told(value: float | None) -> str:
        if value is None:
            return ""
        return words.value_words(
            value, unit=figure["unit"], measure=figure["id"], imperial=imperial
        )

    was = told(figure.get("original"))
    return figure | {
        "label": words.label_of(figure["id"]),
        "segments_json": json.dumps(figure["segments"]),
        "was": was if was != told(figure["value"]) else "",
    }


def difference_row(row: dict[str, Any], user: User | None = None) -> dict[str, Any]:
    """A compared measure: its name, both figures, and the change in words."""
    imperial = getattr(user, "units", "") == User.Units.IMPERIAL
    told = {
        change.Reading.CHANGED: _("changed"),
        change.Reading.NOT_SEEN: _("no change that can be seen"),
    }
    then, now = row["first"], row["second"]
    kept = {"measure": row["measure"], "event": "", "unit": row["unit"]}
    named: dict[str, Any] = {"measure": row["measure"], "imperial": imperial}
    by = ""
    if row["reading"] == change.Reading.CHANGED:
        number, unit = words.shown(row["difference"], row["unit"], imperial=imperial)
        sign = "+" if number > 0 else ""
        by = sign + words.value_words(number, unit=unit).replace("open ", "")
    return row | {
        "label": words.label_of(row["measure"], row["event"]),
        "words": told.get(row["reading"], _("can’t tell")),
        "by": by,
        "second_row": kept | {"value": now[0], "uncertainty": now[1]} if now and then else None,
        "second_words": words.value_words(*now, **named) if now else "",
        "first_value": then[0] if then else None,
        "first_u": then[1] if then else None,
    }  # fmt: skip


def turn_notes(
    moment: dict[str, Any],
    *,
    view: str,
    across: str,
    biases: Mapping[tuple[str, str], Bias],
    name: str,
) -> None:
    """Put beside each turn at the top what a held club has shown of it.

    `across` is where the club of a bar film is held, empty for other films. The figures
    themselves stay as they were read.
    """
    if moment["event"] != turncheck.EVENT:
        return
    here = turncheck.repetition_difference(moment["figures"], across) if across else None
    for figure in moment["figures"]:
        line = turncheck.LINE_OF.get(figure["id"])
        told = []
        if line is not None and line == across and here is not None:
            told.append(words.beside_bar_words(here.mean, here.u))
        if line is not None and (bias := biases.get((view, figure["id"]))):
            told.append(words.turn_bias_words(line, bias.mean, bias.u, bias.pairs, name=name))
        figure["held"] = told


def moment_row(moment: dict[str, Any]) -> dict[str, Any]:
    names = [str(PURPOSES.get(mark["purpose"], "")) for mark in moment["marks"]]
    return moment | {
        "time_text": f"{moment['time_s']:.3f}",
        "marks_json": json.dumps([mark | {"words": ""} for mark in moment["marks"]]),
        "names": [name.capitalize() for name in dict.fromkeys(names) if name],
    }


def spoken_lines(walk: WalkThrough) -> str:
    """The captions of a walk-through as plain lines to read."""
    lines = [line.strip() for line in walk.captions.splitlines()]
    kept = [line for line in lines if line and "-->" not in line and not line.startswith("WEBVTT")]
    return "\n".join(
        line.replace("&lt;", "<").replace("&amp;", "&") for line in kept if not line.isdigit()
    )
