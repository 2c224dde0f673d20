"""Points and windows. A point is (x, y), 0..1 of the picture, y down. Pure.

The same as `static/js/review/geometry.js`, which says more.
"""

from __future__ import annotations

import math
from typing import NamedTuple

Point = tuple[float, float]
Pair = tuple[float, float]
DEEPEST = 8.0


class View(NamedTuple):
    """How far a picture is zoomed, and where its left and upper edge lie, 0..1 of the window."""

    scale: float
    x: float
    y: float


WHOLE = View(1.0, 0.0, 0.0)


def fit_of(picture: float, window: float) -> Pair:
    """How much of the window the whole picture takes; shapes are width ÷ height."""
    return (1.0, window / picture) if picture > window else (picture / window, 1.0)


def clamp(value: float, low: float, high: float) -> float:
    return max(low, min(high, value))


def clamp_view(view: View, fit: Pair) -> View:
    """A view moved so that no more of the window stays empty than must."""
    scale = clamp(view.scale, 1.0, DEEPEST)
    x, y = (
        (1 - scale * size) / 2 if scale * size < 1 else clamp(at, 1 - scale * size, 0.0)
        for at, size in zip((view.x, view.y), fit, strict=True)
    )
    return View(scale, x, y)


def refitted(view: View, was: Pair, now: Pair) -> View:
    """The view through a window of another shape: the same middle, and nothing of it cut off."""
    middle = [
        (0.5 - at) / (view.scale * size) for at, size in zip((view.x, view.y), was, strict=True)
    ]
    scale = clamp(view.scale * min(was[0] / now[0], was[1] / now[1]), 1.0, DEEPEST)
    x, y = (0.5 - part * scale * size for part, size in zip(middle, now, strict=True))
    return clamp_view(View(scale, x, y), now)


def angle_deg(a: Point, corner: Point, b: Point, aspect: float) -> float:
    """Angle at `corner` as seen in the picture, degrees in 0..180; NaN without two lines."""
    u = ((a[0] - corner[0]) * aspect, a[1] - corner[1])
    v = ((b[0] - corner[0]) * aspect, b[1] - corner[1])
    length = math.hypot(*u) * math.hypot(*v)
    if length == 0:
        return math.nan
    return math.degrees(math.acos(clamp((u[0] * v[0] + u[1] * v[1]) / length, -1.0, 1.0)))


def across_picture(a: Point, b: Point) -> list[Point]:
    """The line through two points, drawn from edge to edge of the picture."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    cuts = []
    if dx:
        cuts += [-a[0] / dx, (1 - a[0]) / dx]
    if dy:
        cuts += [-a[1] / dy, (1 - a[1]) / dy]
    found = [(a[0] + t * dx, a[1] + t * dy) for t in cuts]
    within = [p for p in found if all(-1e-9 <= v <= 1 + 1e-9 for v in p)]
    if len(within) < 2:
        return [a, b]
    within.sort(key=lambda p: (p[0] - a[0]) * dx + (p[1] - a[1]) * dy)
    return [inside(within[0]), inside(within[-1])]


def inside(point: Point) -> Point:
    return clamp(point[0], 0.0, 1.0), clamp(point[1], 0.0, 1.0)


def barbs(start: Point, tip: Point, aspect: float, length: float = 0.03) -> list[Point]:
    """The two barbs of an arrow that ends at `tip`."""
    dx, dy = (tip[0] - start[0]) * aspect, tip[1] - start[1]
    whole = math.hypot(dx, dy)
    if whole == 0:
        return [tip, tip]
    ux, uy = -dx / whole * length, -dy / whole * length
    return [
        (tip[0] + (ux * c - uy * s) / aspect, tip[1] + ux * s + uy * c)
        for c, s in ((math.cos(turn), math.sin(turn)) for turn in (0.45, -0.45))
    ]


def turned(pivot: Point, tip: Point, degrees: float, aspect: float) -> Point:
    """`tip` turned about `pivot` by `degrees` as seen in the picture."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    x, y = (tip[0] - pivot[0]) * aspect, tip[1] - pivot[1]
    return pivot[0] + (x * c - y * s) / aspect, pivot[1] + x * s + y * c
