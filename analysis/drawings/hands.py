"""A lead hand drawn large: how the handle lies in it, and what the wrist does.

Plain lines in the points of the square; what matters is in the lines' own colour.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.drawings.sheet import SIZE

Point = tuple[float, float]
_MIDDLE = SIZE / 2


def drawn(name: str) -> str:
    """One of `open`, `closed`, `three` (the grip) and `cupped`, `bowed`, `flat` (the wrist)."""
    return "\n".join(_GRIPS[name]() if name in _GRIPS else _wrist(_BENDS[name]))


def _line(points: Sequence[Point], wide: float, kind: str = "hand") -> list[str]:
    """A thick line with a rim, so that one finger stands before another."""
    d = "M" + "L".join(f"{x:g},{y:g}" for x, y in points)
    return [
        f'<path class="hand rim" d="{d}" stroke-width="{wide + 5:g}"/>',
        f'<path class="{kind}" d="{d}" stroke-width="{wide:g}"/>',
    ]


def _handle(start: Point, end: Point) -> list[str]:
    return [
        f'<path class="hand rim" d="M{start[0]:g},{start[1]:g}L{end[0]:g},{end[1]:g}" '
        'stroke-width="19"/>',
        f'<path class="hand go" d="M{start[0]:g},{start[1]:g}L{end[0]:g},{end[1]:g}" '
        'stroke-width="14"/>',
    ]


# --- the grip -----------------------------------------------------------------------


def _open() -> list[str]:
    """The palm with its fingers stretched, the handle across them."""
    palm = _line([(160, 250), (160, 310)], 46) + _line([(140, 205), (180, 205)], 66)
    fingers: list[str] = []
    for x, top in ((122, 92), (148, 72), (174, 76), (200, 100)):
        fingers += _line([(x, 185), (x + (x - 161) * 0.12, top)], 23)
    thumb = _line([(124, 228), (78, 190), (66, 160)], 25)
    return palm + thumb + fingers + _handle((40, 118), (292, 190))


def _closed() -> list[str]:
    """The fingers round the handle, the thumb a little to its far side."""
    parts = _line([(112, 300), (136, 214)], 50) + _line([(140, 190), (190, 170)], 70)
    parts += _handle((252, 76), (96, 262))
    for k in range(4):
        x, y = 214 - 22 * k, 140 + 26 * k
        parts += _line([(x - 34, y - 10), (x + 10, y + 6)], 23)
    return parts + _line([(150, 150), (196, 116), (222, 96)], 25)


def _three() -> list[str]:
    """The club held up by the last three fingers alone; forefinger and thumb are off."""
    parts = _line([(70, 300), (110, 226)], 50) + _line([(118, 202), (158, 186)], 66)
    parts += _handle((128, 270), (228, 16))
    for k in range(3):
        x, y = 180 - 10 * k, 168 + 24 * k
        parts += _line([(x - 40, y - 12), (x + 6, y)], 23, "hand go" if k < 0 else "hand")
    parts += _line([(148, 168), (214, 150), (236, 164)], 21)
    return parts + _line([(112, 186), (112, 132)], 24)


_GRIPS = {"open": _open, "closed": _closed, "three": _three}


# --- the wrist ----------------------------------------------------------------------

# How far the hand turns away from the line of the forearm, in points at its end.
_BENDS = {"cupped": -46.0, "bowed": 40.0, "flat": 0.0}


def _wrist(bend: float) -> list[str]:
    """Forearm and hand from the side, a card on the back of the wrist, the line it should be."""
    wrist, elbow, knuckles = (168.0, 168.0), (40.0, 250.0), (250.0, 115.0 + bend)
    across = (knuckles[0] + 10, knuckles[1] + 52)
    back = _line([elbow, wrist], 52) + _line([wrist, knuckles], 46)
    fingers = _line([(knuckles[0] - 6, knuckles[1] + 14), across], 30)
    lift = (-15.0, -27.0)
    card = [(x + lift[0], y + lift[1]) for x, y in ((110.0, 205.0), wrist, knuckles)]
    d = "M" + "L".join(f"{x:g},{y:g}" for x, y in card)
    shown = [f'<path class="hand go" d="{d}" stroke-width="7"/>']
    straight = "M28,230L290,62"
    dashed = [] if bend == 0 else [f'<path class="was" d="{straight}"/>']
    return back + fingers + dashed + shown
