"""The lines a figure is read from, at one frame, in shares of the picture. Pure.

The student sees the still with its line: the figure and what it was read from belong
together, and nothing else is drawn.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from coaching.review.segments import SEGMENTS

Point = tuple[float, float]
Line = tuple[Point, Point]

# A line from another moment would be a wrong one.
FRAMES_AWAY = 2


def judged_lines(curves: Mapping[str, Any], measure: str, frame: int | None) -> list[Line]:
    """The lines of `measure` at `frame`; empty where they were not seen.

    Parameters
    ----------
    curves : mapping
        `frames`, `joints` and `shaft` as in `review.queries.player.player_data`.
    """
    frames = curves["frames"]
    if frame is None or not frames:
        return []
    place = min(range(len(frames)), key=lambda i: abs(frames[i] - frame))
    if abs(frames[place] - frame) > FRAMES_AWAY:
        return []
    ends = [
        (_point(curves, a, place), _point(curves, b, place))
        for a, b in SEGMENTS.get(measure, ())
        if a != b
    ]
    return [(a, b) for a, b in ends if a is not None and b is not None]


def _point(curves: Mapping[str, Any], name: str, place: int) -> Point | None:
    if name == "ball":
        found = curves["ball"]
    elif name.startswith("shaft_"):
        found = _at(curves["shaft"].get(name.removeprefix("shaft_")), place)
    elif name.startswith("mid_"):
        joint = name.removeprefix("mid_")
        both = [_at(curves["joints"].get(f"{joint}_{side}"), place) for side in ("lead", "trail")]
        if None in both:
            return None
        found = [(a + b) / 2 for a, b in zip(*both, strict=True)]
    else:
        found = _at(curves["joints"].get(name), place)
    return None if found is None else (round(found[0], 4), round(found[1], 4))


def _at(curve: list[Any] | None, place: int) -> Any:
    return curve[place] if curve else None
