"""Facts of the review room turned into words for its templates."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext_lazy as _l

from analysis.core.agreement import Bias
from analysis.core.measures import is_folded
from analysis.core.pose import EVENTS, JOINTS
from coaching.lessons.estimates import Change
from coaching.lessons.wording import amounts, codes, held_club, naming
from coaching.people.models import User
from coaching.review import turncheck
from coaching.review.models import WalkThrough
from coaching.review.segments import SEGMENTS

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
    "look": _l("look here"), "sketch": _l("drawing"), "text": "", "note": "",
}  # fmt: skip


def event_words() -> str:
    """Every event's name, as JSON for the strip of time."""
    return json.dumps({event: naming.event_name(event) for event in EVENTS})


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
    """A figure of the sidebar: its name, its words or why there are none, and its first reading.

    There are some fifty on a page that is made anew at each correction, and none has a band, so
    they are worded here and not by `interval_mark`.
    """
    imperial = getattr(user, "units", "") == User.Units.IMPERIAL

    def said(value: float | None, uncertainty: float | None = None) -> str:
        if value is None:
            return ""
        return amounts.value_words(
            value, uncertainty, unit=figure["unit"], measure=figure["id"], imperial=imperial
        )

    words = said(figure["value"], figure["uncertainty"])
    was = said(figure["original"]) if figure.get("original") is not None else ""
    return figure | {
        "label": naming.label_of(figure["id"]),
        "words": words,
        "why": "" if words else codes.reason_words(figure["reason"] or "not_ready"),
        "drawn_json": _drawn_json(figure, words),
        "was": was if was and was != said(figure["value"]) else "",
    }


def _drawn_json(figure: dict[str, Any], words: str) -> str:
    """What the room needs to draw a figure on the golfer; empty when it cannot be drawn."""
    if figure["value"] is None or not figure["segments"]:
        return ""
    return json.dumps(
        {
            "id": figure["id"],
            "sd": figure["uncertainty"],
            "text": words,
            "segments": figure["segments"],
        }
    )


def difference_row(row: dict[str, Any], user: User | None = None) -> dict[str, Any]:
    """A compared measure: its name, both figures, and the change in words."""
    imperial = getattr(user, "units", "") == User.Units.IMPERIAL
    then, now = row["first"], row["second"]
    kept = {"measure": row["measure"], "event": "", "unit": row["unit"]}
    named: dict[str, Any] = {"measure": row["measure"], "imperial": imperial}
    by = ""
    if row["says"] == Change.CHANGED:
        number, unit = amounts.shown(row["difference"], row["unit"], imperial=imperial)
        sign = "+" if number > 0 else ""
        by = sign + amounts.value_words(number, unit=unit).replace("open ", "")

    def drawn(estimate: Any) -> str:
        if not estimate:
            return ""
        figure = {"id": row["measure"], "segments": SEGMENTS.get(row["measure"])}
        held = {"value": estimate.value, "uncertainty": estimate.sd}
        said = amounts.value_words(estimate.value, estimate.sd, unit=row["unit"], **named)
        return _drawn_json(figure | held, said)

    least, least_unit = amounts.shown(row["least"], row["unit"], imperial=imperial)
    return row | {
        "changed": row["says"] == Change.CHANGED,
        "first_words": amounts.value_words(then.value, **named) if then else "",
        "now_words": amounts.value_words(now.value, **named) if now else "",
        "least_words": amounts.value_words(least, unit=least_unit) if row["least"] else "",
        "first_drawn": drawn(then),
        "second_drawn": drawn(now),
        "label": naming.label_of(row["measure"], row["event"]),
        "text": str(codes.CHANGES[row["says"]]),
        "by": by,
        "second_row": kept | {"value": now.value, "uncertainty": now.sd} if now and then else None,
        "second_words": amounts.value_words(now.value, now.sd, **named) if now else "",
        "first_value": then.value if then else None,
        "first_u": then.sd if then else None,
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
        said = []
        if line is not None and line == across and here is not None:
            said.append(held_club.beside_bar_words(here.mean, here.u))
        if line is not None and (bias := biases.get((view, figure["id"]))):
            said.append(held_club.turn_bias_words(line, bias.mean, bias.u, bias.pairs, name=name))
        figure["held"] = said


def fold(moment: dict[str, Any], *, kind: str) -> None:
    """Put aside, as `more`, the figures that say what another beside them says better."""
    rows = moment["figures"]
    moment["more"] = [f for f in rows if is_folded(f["id"], moment["event"], kind)]
    moment["figures"] = [f for f in rows if not is_folded(f["id"], moment["event"], kind)]
    moment["has_words"] = bool(rows or moment.get("reason"))


def moment_row(moment: dict[str, Any]) -> dict[str, Any]:
    names = [str(PURPOSES.get(mark["purpose"], "")) for mark in moment["marks"]]
    return moment | {
        "time_text": f"{moment['time_s']:.3f}",
        "marks_json": json.dumps([mark | {"text": ""} for mark in moment["marks"]]),
        "names": [name.capitalize() for name in dict.fromkeys(names) if name],
    }


def spoken_lines(walk: WalkThrough) -> str:
    """The captions of a walk-through as plain lines to read."""
    lines = [line.strip() for line in walk.captions.splitlines()]
    kept = [line for line in lines if line and "-->" not in line and not line.startswith("WEBVTT")]
    return "\n".join(
        line.replace("&lt;", "<").replace("&amp;", "&") for line in kept if not line.isdigit()
    )


# Why a lesson film could not be made, and what to do; any other reason is ours to mend.
_FILM_FAILURES = {
    "timed_out": _l("The film took too long to make. Try again when less is going on."),
    "too_heavy": _l("The film needs more memory than there is. Ask who runs this place."),
    "media_missing": _l("The clip could not be read just now. Try again later."),
    "storage_away": _l("Our store of clips does not answer just now. Try again later."),
    "disk_full": _l("There is no room for the film just now. Try again later."),
    "erased": _l("The clip was erased, so no film can be made of it."),
}


def film_failure(code: str) -> str:
    """Why there is no film, as a sentence; empty while nothing failed."""
    other = _l("The film could not be made this time. Nothing is lost: try again.")
    return str(_FILM_FAILURES.get(code, other)) if code else ""


def length_words(seconds: float | None) -> str:
    """`0:42`; empty while the length is not known."""
    if seconds is None:
        return ""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}"
