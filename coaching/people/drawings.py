"""Small drawings beside the choices of what the ball does: nine flights, six strikes.

A flight is seen from behind the player, so it is the same for both hands. The face of a club
is drawn for a right-hander; heel and toe carry their word.
"""

from __future__ import annotations

import math

from django.utils.safestring import SafeString

_SIDES = {"left": -1, "straight": 0, "right": 1}
_WIDTH, _HEIGHT = 92, 96


def flight(code: str) -> SafeString:
    """`right-left`: where the ball starts, and which way it curves."""
    start, curve = (_SIDES[side] for side in code.split("-"))
    back = start * curve < 0
    x, y = _WIDTH / 2, _HEIGHT - 13
    aim = start * (24 if back else 17)
    first, last = _along(aim), _along(aim + curve * (52 if back else 40))
    bend = (x + 44 * first[0], y - 5 + 44 * first[1])
    far = 30 if curve else 26
    end = (bend[0] + far * last[0], bend[1] + far * last[1])
    wings = [
        (end[0] - 7.5 * last[0] + side * 5 * last[1], end[1] - 7.5 * last[1] - side * 5 * last[0])
        for side in (-1, 1)
    ]
    path = f"M{x + 5 * first[0]:.1f} {y - 5:.1f}Q{_at(bend)} {_at(end)}"
    head = f"M{_at(wings[0])}L{_at(end)}L{_at(wings[1])}"
    return _svg(
        "flight",
        _WIDTH,
        _HEIGHT,
        f'<path class="aim" d="M{x} {y - 8}V12"/><path class="pole" d="M{x} 13V3"/>'
        f'<path class="flag" d="M{x} 3l7 2.5l-7 2.5z"/>'
        f'<path class="curve" d="{path}"/><path class="curve" d="{head}"/>'
        f'<circle class="ball" cx="{x}" cy="{y}" r="4.5"/>',
    )


def _along(degrees: float) -> tuple[float, float]:
    return math.sin(math.radians(degrees)), -math.cos(math.radians(degrees))


def _at(point: tuple[float, float]) -> str:
    return f"{point[0]:.1f} {point[1]:.1f}"


_FACE = (
    '<path class="face-of" d="M12 40C9 34 10 25 18 22L58 10C64 9 63 36 58 40Z"/>'
    '<path class="grooves" d="M26 34H50M26 29H50M30 24H50"/>'
)
_GROUND = '<path class="soil" d="M4 40H68"/><circle class="ball" cx="36" cy="32" r="8"/>'
_BLADE = "M0,0L-17,-1.5C-20,-2 -20,-8 -17,-10L-2,-19Z"
_STRIKES = {
    "thin": f'{_GROUND}<path class="blade" transform="translate(28 33)" d="{_BLADE}"/>',
    "fat": f'{_GROUND}<path class="dug" d="M10 40q6 7 16 0z"/>'
    f'<path class="blade" transform="translate(22 43) rotate(6)" d="{_BLADE}"/>',
    "top": f'{_GROUND}<path class="blade" transform="translate(31 27)" d="{_BLADE}"/>',
    "toe": f'{_FACE}<circle class="hit" cx="55" cy="22" r="5.5"/>',
    "heel": f'{_FACE}<circle class="hit" cx="19" cy="32" r="5.5"/>',
    "shank": f'{_FACE}<path class="neck" d="M12 22V4"/>'
    '<circle class="hit" cx="11" cy="27" r="5.5"/>',
}


def strike(code: str) -> SafeString:
    return _svg("strike", 72, 52, _STRIKES[code])


def _svg(name: str, width: int, height: int, inside: str) -> SafeString:
    """The drawing; `inside` is made of the numbers and tables above and of nothing else."""
    size = f'viewBox="0 0 {width} {height}" width="{width}" height="{height}"'
    return SafeString(
        f'<svg class="{name}" {size} aria-hidden="true" focusable="false">{inside}</svg>'
    )
