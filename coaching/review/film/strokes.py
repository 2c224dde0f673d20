"""What lies on a clip at a frame, as strokes: the overlays, and the marks of a review. Pure.

The same as `static/js/review/judged.js`, `curves.js` and `marks.js`. `data` is what
`queries.player.player_data` gives; points are 0..1 of the picture.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from analysis.core import measures
from coaching.review.film.geometry import Point, across_picture, angle_deg, barbs, clamp

Data = Mapping[str, Any]
VIEWS = {
    "shaft": ("down_the_line", "face_on"),
    "hands": ("down_the_line", "face_on"),
    "balance": ("down_the_line",),
    "seat": ("down_the_line",),
    "head": ("down_the_line", "face_on"),
    "feet": ("down_the_line", "face_on"),
    "shaft_address": ("down_the_line", "face_on"),
}
FROZEN = {"seat", "head", "feet", "shaft_address"}  # as it stood at address: drawn dashed
SEAT_BEHIND = 0.085  # as in judged.js, which says why
NEAR_S, HALF_S, FAINT = 0.12, 0.02, 0.3


@dataclass(frozen=True)
class Label:
    """Text at a point; from a figure's line to its number runs a thin leader."""

    at: Point
    text: str
    start: Point | None = None


@dataclass(frozen=True)
class Strokes:
    """Lines to draw, each a list of points. A ring is its centre and a point of its edge."""

    lines: Sequence[Sequence[Point]] = ()
    dashed: Sequence[Sequence[Point]] = ()
    fan: Sequence[Point] = ()
    dots: Sequence[Point] = ()
    rings: Sequence[tuple[Point, Point]] = ()
    label: Label | None = None
    style: str = ""  # "frozen", "wanted" or "free"
    faint: bool = False


# What the worker read, frame by frame, with what a person has moved laid over it.


def nearest_frame(times: Sequence[float], time_s: float) -> int:
    """`measures.nearest_frame` of a list as the page has it; 0 of an empty one."""
    return measures.nearest_frame(np.asarray(times, float), time_s) if len(times) else 0


def point_at(
    frames: Sequence[int], curve: Sequence[Any] | None, frame: int, gap: int = 8
) -> Point | None:
    """A curve's point at `frame`; between two samples at most `gap` apart it is interpolated."""
    if not curve or not frames or not frames[0] <= frame <= frames[-1]:
        return None
    low = int(np.searchsorted(frames, frame))
    if frames[low] == frame:
        return None if curve[low] is None else (curve[low][0], curve[low][1])
    before, after = curve[low - 1], curve[low]
    if not before or not after or frames[low] - frames[low - 1] > gap:
        return None
    t = (frame - frames[low - 1]) / (frames[low] - frames[low - 1])
    return before[0] + t * (after[0] - before[0]), before[1] + t * (after[1] - before[1])


def named_point(data: Data, name: str, frame: int) -> Point | None:
    """A joint, `mid_JOINT`, `com` or another named point; None where it is not seen."""
    if name.startswith("mid_"):
        sides = [named_point(data, f"{name[4:]}_{side}", frame) for side in ("lead", "trail")]
        return _middle(sides)
    moved = _newest(data, f"joint:{name}", frame)
    if moved is not None:
        return moved["x"], moved["y"]
    return point_at(data["curves"]["frames"], data["curves"]["joints"].get(name), frame)


def _middle(points: Sequence[Point | None]) -> Point | None:
    there = [p for p in points if p is not None]
    if len(there) < len(points):
        return None
    return sum(p[0] for p in there) / len(there), sum(p[1] for p in there) / len(there)


def shaft_at(data: Data, frame: int) -> tuple[Point, Point] | None:
    """Grip and club head; None where the shaft was not seen."""
    moved = _newest(data, "shaft", frame)
    if moved is not None:
        return tuple(moved["grip"]), tuple(moved["head"])
    shaft = data["curves"]["shaft"] or {}
    ends = [point_at(data["curves"]["frames"], shaft.get(end), frame, 3) for end in _ENDS]
    return None if ends[0] is None or ends[1] is None else (ends[0], ends[1])


_ENDS = ("grip", "head")


def _newest(data: Data, target: str, frame: int) -> Any:
    rows = [r for r in data["corrections"] if r["target"] == target and r["frame"] == frame]
    return rows[-1]["value"] if rows else None


def event_frame(data: Data, repetition: int, event: str) -> int | None:
    """The frame of an event of a repetition; None where it has no time."""
    reps = data["repetitions"]
    events = reps[repetition]["events"] if repetition < len(reps) else {}
    time_s = events.get(event, {}).get("time_s")
    return None if time_s is None else nearest_frame(data["frame_times_s"], time_s)


# Overlays


def overlay(name: str, data: Data, *, frame: int, repetition: int) -> Strokes:
    """An overlay by its name; empty where this clip cannot show it."""
    if data["view"] not in VIEWS.get(name, ()):
        return Strokes()
    start = event_frame(data, repetition, "address")
    if name in FROZEN and start is None:
        return Strokes()
    made = _DRAW[name](data, frame, start, repetition)
    return Strokes(**made, style="frozen" if name in FROZEN else "")


def _line(points: Sequence[Point | None] | None) -> dict[str, Any]:
    there = [p for p in points or () if p is not None]
    return {"lines": [there]} if points and len(there) == len(points) else {}


def _hands(data: Data, frame: int, start: int | None, repetition: int) -> dict[str, Any]:
    end = event_frame(data, repetition, "impact")
    end = event_frame(data, repetition, "top") if end is None else end
    if start is None or end is None:
        return {}
    way = [named_point(data, "grip", n) for n in range(start, min(frame, end) + 1)]
    seen = [p for p in way if p is not None]
    return {"lines": [seen] if len(seen) > 1 else [], "dots": seen[-1:]}


def _balance(data: Data, frame: int, _start: int | None, _rep: int) -> dict[str, Any]:
    mass, heel, toe = (named_point(data, name, frame) for name in ("com", "mid_heel", "mid_toe"))
    if mass is None or heel is None or toe is None:
        return {}
    along = clamp((mass[0] - heel[0]) / ((toe[0] - heel[0]) or 1e-6), -0.5, 1.5)
    ground = (mass[0], heel[1] + along * (toe[1] - heel[1]))
    return {"lines": [[heel, toe], [mass, ground]], "dots": [mass, ground]}


def _seat(data: Data, _frame: int, start: int | None, _rep: int) -> dict[str, Any]:
    hip, toe = (named_point(data, name, start or 0) for name in ("mid_hip", "mid_toe"))
    if hip is None or toe is None or not data["stature_share"]:
        return {}
    behind = math.copysign(1, hip[0] - toe[0]) if hip[0] != toe[0] else -1
    x = clamp(hip[0] + behind * SEAT_BEHIND * data["stature_share"]["x"], 0.0, 1.0)
    return {"lines": [[(x, hip[1] - 0.2), (x, min(1.0, hip[1] + 0.25))]]}


def _head(data: Data, _frame: int, start: int | None, _rep: int) -> dict[str, Any]:
    head = named_point(data, "head", start or 0)
    if head is None or not data["stature_share"]:
        return {}
    return {"rings": [(head, (head[0], head[1] + 0.07 * data["stature_share"]["y"]))]}


def _feet(data: Data, _frame: int, start: int | None, _rep: int) -> dict[str, Any]:
    face_on = data["view"] == "face_on"
    names = ("toe_trail", "toe_lead") if face_on else ("mid_heel", "mid_toe")
    return _line([named_point(data, name, start or 0) for name in names])


_DRAW: dict[str, Callable[[Data, int, int | None, int], dict[str, Any]]] = {
    "shaft": lambda data, frame, _start, _rep: _line(shaft_at(data, frame)),
    "hands": _hands,
    "balance": _balance,
    "seat": _seat,
    "head": _head,
    "feet": _feet,
    "shaft_address": lambda data, _frame, start, _rep: _line(shaft_at(data, start or 0)),
}


# Marks


def strength(mark: Mapping[str, Any], time_s: float) -> float:
    """How strongly a mark shows: 1 at its moment, faint nearby, 0 elsewhere."""
    start = mark["start_s"]
    end = start if mark["end_s"] is None else mark["end_s"]
    if start - HALF_S <= time_s <= end + HALF_S:
        return 1.0
    away = start - time_s if time_s < start else time_s - end
    return FAINT if away <= NEAR_S else 0.0


def mark_strokes(mark: Mapping[str, Any], aspect: float, *, by_eye: str, faint: bool) -> Strokes:
    """A mark's strokes; `by_eye` is the sentence for an angle read off the picture: {angle}."""
    points = [(float(x), float(y)) for x, y in mark["points"]]
    if not points:
        return Strokes()
    draw = _SHAPES.get(mark["shape"], _as_they_are)
    made = _Shape(**draw(points, aspect))
    angle = "" if made.angle is None else by_eye.replace("{angle}", str(made.angle))
    text = " · ".join(part for part in (angle, mark["text"]) if part)
    free = "free" if mark["shape"] == "free" else ""
    return Strokes(
        lines=made.lines,
        rings=made.rings,
        label=Label(made.at or points[0], text) if text else None,
        style="wanted" if mark["wanted"] else free,
        faint=faint,
    )


@dataclass(frozen=True)
class _Shape:
    lines: Sequence[Sequence[Point]] = ()
    rings: Sequence[tuple[Point, Point]] = field(default_factory=list)
    at: Point | None = None
    angle: int | None = None


def _arrow(p: list[Point], aspect: float) -> dict[str, Any]:
    if len(p) < 2:
        return {}
    left, right = barbs(p[0], p[1], aspect)
    return {"lines": [p[:2], [left, p[1], right]]}


def _bend(p: list[Point], aspect: float) -> dict[str, Any]:
    if len(p) < 3:
        return {"lines": [p]} if len(p) == 2 else {}
    angle = angle_deg(p[0], p[1], p[2], aspect)
    known = None if math.isnan(angle) else math.floor(angle + 0.5)
    return {"lines": [p[:3]], "at": p[1], "angle": known}


def _as_they_are(p: list[Point], _aspect: float) -> dict[str, Any]:
    return {"lines": [p]}


_SHAPES: dict[str, Callable[[list[Point], float], dict[str, Any]]] = {
    "upright": lambda p, _a: {
        "lines": [[(p[0][0], 0.0), (p[0][0], 1.0)]],
        "at": (p[0][0], 0.06),
    },
    "line": lambda p, _a: {"lines": [p[:2]]} if len(p) > 1 else {},
    "across": lambda p, _a: {"lines": [across_picture(p[0], p[1])]} if len(p) > 1 else {},
    "arrow": _arrow,
    "angle": _bend,
    "ring": lambda p, _a: {"rings": [(p[0], p[1])], "at": p[1]} if len(p) > 1 else {},
    "free": _as_they_are,
    "text": lambda _p, _a: {},
    "note": lambda _p, _a: {},
}
