"""One figure on the golfer: its line, what it is read against, its number and its ±. Pure.

The same as `static/js/review/figure-drawing.js`, which says why each is drawn as it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from coaching.review.film.geometry import Point, turned
from coaching.review.film.strokes import (
    Data,
    Label,
    Strokes,
    event_frame,
    named_point,
    shaft_at,
)

IN_PLANE = {
    "trunk_tilt_deg", "trunk_tilt_change_deg", "side_tilt_deg", "arm_hang_deg", "shaft_pitch_deg",
    "shaft_aim_deg", "handle_lean_deg", "lead_elbow_deg", "knee_flex_deg", "wrist_set_deg",
    "shaft_past_level_deg", "lead_arm_up_deg", "steepening_deg", "hip_line_tilt_deg",
}  # fmt: skip
# Which point moves, along which side of the picture, against which moment and which point.
LENGTHS: dict[str, tuple[str, int, str | None, str]] = {
    "pelvis_to_ball_cm": ("mid_hip", 0, "address", "mid_hip"),
    "pelvis_to_ball_down_cm": ("mid_hip", 0, "top", "mid_hip"),
    "pelvis_sway_cm": ("mid_hip", 0, "address", "mid_hip"),
    "pelvis_rise_cm": ("mid_hip", 1, "address", "mid_hip"),
    "head_sway_cm": ("head", 0, "address", "head"),
    "head_rise_cm": ("head", 1, "address", "head"),
    "trail_hip_depth_cm": ("hip_trail", 0, "address", "hip_trail"),
    "pelvis_behind_heel_cm": ("mid_hip", 0, None, "mid_heel"),
    "hand_depth_cm": ("grip", 0, "address", "heel_trail"),
}
AGAINST_ADDRESS = {"trunk_tilt_change_deg", "hip_line_tilt_deg"}
REACH = 0.09


def figure_strokes(
    data: Data, figure: Mapping[str, Any], *, frame: int, repetition: int, aspect: float
) -> Strokes:
    """Strokes of a figure `{id, sd, text, segments}`; empty when its points are not seen."""
    given = figure.get("sd")
    sd = float(given) if isinstance(given, int | float) else 0.0
    text = str(figure.get("text") or "")[:80]
    if figure["id"] in LENGTHS:
        return _length(data, figure["id"], frame, repetition, aspect, sd=sd, text=text)
    return _angle(data, figure, frame, repetition, aspect, sd=sd, text=text)


def _angle(
    data: Data, figure: Mapping[str, Any], frame: int, repetition: int, aspect: float,
    *, sd: float, text: str,
) -> Strokes:  # fmt: skip
    pairs = _pairs(figure.get("segments"))
    lines = [found for pair in pairs if (found := _both(data, pair, frame)) is not None]
    if not lines:
        return Strokes()
    last = lines[-1]
    fan: Sequence[Point] = ()
    if figure["id"] in IN_PLANE and sd:
        a, b = last
        fan = (a, turned(a, b, 2 * sd, aspect), turned(a, b, -2 * sd, aspect))
    dashed = []
    if figure["id"] in AGAINST_ADDRESS:
        start = event_frame(data, repetition, "address")
        then = None if start is None else _both(data, pairs[0], start)
        if then is not None:  # moved to where the line starts now: only the change is seen
            (x, y), (a, b) = last[0], then
            dashed = [[(x, y), (x + b[0] - a[0], y + b[1] - a[1])]]
    return Strokes(lines=lines, fan=fan, dashed=dashed, label=_number_beside(last, text, aspect))


def _length(
    data: Data, name: str, frame: int, repetition: int, aspect: float, *, sd: float, text: str
) -> Strokes:
    moving, axis, event, reference = LENGTHS[name]
    start = event_frame(data, repetition, event) if event else frame
    now = _place(data, moving, frame)
    then = _place(data, reference, frame if start is None else start)
    if now is None or then is None:
        return Strokes()

    def across(value: float) -> list[Point]:
        if axis == 0:
            return [(value, now[1] - REACH), (value, now[1] + REACH)]
        return [(now[0] - REACH / aspect, value), (now[0] + REACH / aspect, value)]

    line = across(now[axis])
    fan: Sequence[Point] = ()
    stature = (data["stature_share"] or {}).get("x" if axis == 0 else "y")
    if sd and stature and data["stature_cm"]:
        half = 2 * sd * stature / data["stature_cm"]
        low, high = across(now[axis] - half), across(now[axis] + half)
        fan = (low[0], low[1], high[1], high[0])
    return Strokes(
        lines=[line], dashed=[across(then[axis])], fan=fan, dots=[now],
        label=_number_beside(line, text, aspect),
    )  # fmt: skip


def _pairs(segments: Any) -> list[tuple[str, str]]:
    rows = segments if isinstance(segments, Sequence) and not isinstance(segments, str) else ()
    return [(str(r[0]), str(r[1])) for r in rows if isinstance(r, list | tuple) and len(r) == 2]


def _both(data: Data, pair: tuple[str, str], frame: int) -> list[Point] | None:
    a, b = (_place(data, name, frame) for name in pair)
    return None if a is None or b is None else [a, b]


def _place(data: Data, name: str, frame: int) -> Point | None:
    if name in ("shaft_grip", "shaft_head"):
        shaft = shaft_at(data, frame)
        return None if shaft is None else shaft[name == "shaft_head"]
    if name == "ball":
        ball = data["curves"]["ball"]
        return None if ball is None else (ball[0], ball[1])
    return named_point(data, name, frame)


def _number_beside(line: Sequence[Point], text: str, aspect: float) -> Label | None:
    """On the side with more room, at the end of a thin leader."""
    if not text:
        return None
    a, b = line[0], line[-1]
    start = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    way = -1 if start[0] > 0.5 else 1
    return Label((start[0] + way * 0.065 / aspect, start[1] - 0.02), text, start)
