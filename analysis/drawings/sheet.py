"""A square of paper on which a golfer and the lines of a measure are drawn, as SVG.

Views as in `core.pose`: down the line shows Y to the right and Z up, face on X and Z; from
above the target is at the right as well and the ball lies below. No perspective, so that
an angle across the view is drawn as large as it is.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np

from analysis.core.pose import Array
from analysis.drawings.golfer import BALL, Body

SIZE = 320
_FOOT = 40  # at the bottom, for the moment that is drawn
AXES = {
    "down_the_line": ((0, 1, 0), (0, 0, 1), (-1, 0, 0)),
    "face_on": ((1, 0, 0), (0, 0, 1), (0, 1, 0)),
    "above": ((1, 0, 0), (0, -1, 0), (0, 0, 1)),
}
# Breadth of a limb in metres, to look like one.
_LIMBS = (
    ("hip", "knee", 0.13),
    ("knee", "ankle", 0.095),
    ("heel", "toe", 0.07),
    ("shoulder", "elbow", 0.085),
    ("elbow", "wrist", 0.07),
    ("wrist", "grip", 0.075),
)
_TOKENS = Path(__file__).resolve().parents[2] / "static" / "css" / "tokens.css"
_COLOURS = ("ink", "ink-2", "leaf", "line", "edge", "water")
_STYLE = """
.paper,.halo{fill:var(--leaf)}
.limb,.halo,.club,.ground,.was,.now,.told{fill:none;stroke-linecap:round;stroke-linejoin:round}
.limb,.trunk{stroke:var(--line)}
.trunk{fill:var(--line);stroke-linejoin:round}
.halo{stroke:var(--leaf)}
.skin{fill:var(--line);stroke:var(--leaf);stroke-width:2}
.ghost{opacity:.4}
.club{stroke:var(--edge);stroke-width:3}
.ground{stroke:var(--edge);stroke-width:1.5}
.flag{fill:var(--edge)}
.ball{fill:var(--leaf);stroke:var(--ink);stroke-width:2}
.was{stroke:var(--ink-2);stroke-width:2;stroke-dasharray:5 6}
.now{stroke:var(--water);stroke-width:4}
.told{stroke:var(--ink);stroke-width:2.5;stroke-linecap:butt}
.tip{fill:var(--ink)}
.dot{fill:var(--water);stroke:var(--leaf);stroke-width:2}
.old{fill:var(--leaf);stroke:var(--ink-2)}
text{stroke:var(--leaf);paint-order:stroke;stroke-linejoin:round}
.value{font-size:26px;font-weight:600;fill:var(--ink);stroke-width:6px}
.go.limb,.go.club,.go.trunk{stroke:var(--water)}
.go.trunk,.go.skin{fill:var(--water)}
.prop{fill:none;stroke:var(--ink-2);stroke-width:5;stroke-linecap:round}
.small{font-size:16px;fill:var(--ink-2);stroke-width:5px}
"""


class Sheet:
    """One drawing; everything is put down in metres and turned into points here.

    Parameters
    ----------
    view : str
        `down_the_line`, `face_on`, `above`, or `time` for a plot in points.
    box : tuple of float
        What must be seen: left, right, bottom, top, in metres of the view.
    """

    def __init__(self, view: str, box: tuple[float, float, float, float] = (0, 1, 0, 1)) -> None:
        left, right, bottom, top = box
        self.view = view
        room = SIZE - _FOOT
        self.per_m = min((SIZE - 16) / (right - left), (room - 12) / (top - bottom))
        self._origin = (
            SIZE / 2 - self.per_m * (left + right) / 2,
            6 + room / 2 + self.per_m * (bottom + top) / 2,
        )
        self.parts: list[str] = []

    def at(self, point: Array) -> Array:
        """Points on the paper of a place in space."""
        right, up, _ = (np.array(axis) for axis in AXES[self.view])
        x, y = self._origin
        return np.array([x + self.per_m * (point @ right), y - self.per_m * (point @ up)])

    # --- the golfer -------------------------------------------------------------------------

    def ground(self, ball_m: Array | None = BALL, *, foam: bool = False) -> None:
        """The ground seen from the side with the target's flag face on, the ball, the line."""
        ball = self.at(BALL if ball_m is None else ball_m)
        if self.view == "above":
            self._add("path", "ground", d=f"M8,{_n(ball[1])}H{SIZE - 8}")
            self._flag(ball[1])
        else:
            y = self.at(np.zeros(3))[1]
            self._add("path", "ground", d=f"M8,{_n(y)}H{SIZE - 8}")
            if self.view == "face_on":
                self._flag(y)
        if ball_m is not None:
            kind, radius = ("ball foam", 9) if foam else ("ball", 5)
            self._add("circle", kind, cx=_n(ball[0]), cy=_n(ball[1]), r=radius)

    def from_above(self, body: Body, *, looks_deg: float = 0.0, feet: bool = False) -> None:
        """What tells a person seen from above: both feet, and where the nose points.

        `looks_deg` is how far the head looks toward the target; `feet` when they move.
        """
        for side in ("lead", "trail"):
            heel, toe = (self.at(body[f"{part}_{side}"]) for part in ("heel", "toe"))
            along = (toe - heel) / float(np.hypot(*(toe - heel)))
            aside = np.array([-along[1], along[0]]) * 0.045 * self.per_m
            back, front = heel - 0.03 * self.per_m * along, toe + 0.02 * self.per_m * along
            corners = (back - aside * 0.7, back + aside * 0.7, front + aside, front - aside)
            self._add(
                "path", "foot go" if feet else "foot", d="M" + "L".join(map(_xy, corners)) + "Z"
            )
        turn = math.radians(looks_deg)
        at, radius = self.at(body["head"]), 0.105 * self.per_m
        toward = np.array([math.sin(turn), math.cos(turn)])
        self._tip(at + toward * (radius + 0.05 * self.per_m), toward, 0.075 * self.per_m)

    def golfer(
        self,
        body: Body,
        *,
        ghost: bool = False,
        club: bool = True,
        hands: bool = True,
        moves: tuple[str, ...] = (),
    ) -> None:
        """Limbs from the far ones to the near ones; those of `moves` in the lines' own colour.

        `hands` are drawn from the wrists to one handle.
        """
        self.parts.append('<g class="ghost">' if ghost else "<g>")
        toward = np.array(AXES[self.view][2])
        go = {part: " go" if part in moves else "" for part in ("trunk", "head", "club")}
        parts = [
            (
                self._trunk(body, go["trunk"]),
                float((body["mid_hip"] + body["mid_shoulder"]) @ toward) / 2,
            )
        ]
        for first, second, breadth in _LIMBS if hands else _LIMBS[:-1]:
            for side in ("lead", "trail"):
                a = body[f"{first}_{side}"]
                b = body["grip"] if second == "grip" else body[f"{second}_{side}"]
                depth = float((a + b) @ toward) / 2
                owner = "legs" if first in ("hip", "knee", "heel") else "arms"
                mark = " go" if owner in moves else ""
                parts.append((self._limb([a, b], breadth, mark), depth))
        parts.append((self._limb([body["neck"], body["head"]], 0.09), float(body["neck"] @ toward)))
        parts.append((self._head(body, go["head"]), float(body["head"] @ toward) + 0.05))
        if club:
            depth = float((body["grip"] + body.club_head) @ toward) / 2
            parts.append((self._club(body, go["club"]), depth))
        self.parts += [text for text, _ in sorted(parts, key=lambda part: part[1])]
        self.parts.append("</g>")

    def _trunk(self, body: Body, go: str = "") -> str:
        ring = [body[j] for j in ("shoulder_lead", "shoulder_trail", "hip_trail", "hip_lead")]
        d = "M" + "L".join(_xy(self.at(p)) for p in _ordered(ring, self.at)) + "Z"
        wide = 0.13 * self.per_m
        return (
            f'<path class="halo" d="{d}" stroke-width="{_n(wide + 4)}"/>'
            f'<path class="trunk{go}" d="{d}" stroke-width="{_n(wide)}"/>'
        )

    def _limb(self, points: Iterable[Array], breadth: float, go: str = "") -> str:
        d = "M" + "L".join(_xy(self.at(p)) for p in points)
        wide = breadth * self.per_m
        return (
            f'<path class="halo" d="{d}" stroke-width="{_n(wide + 4)}"/>'
            f'<path class="limb{go}" d="{d}" stroke-width="{_n(wide)}"/>'
        )

    def _head(self, body: Body, go: str = "") -> str:
        x, y = self.at(body["head"])
        return f'<circle class="skin{go}" cx="{_n(x)}" cy="{_n(y)}" r="{_n(0.105 * self.per_m)}"/>'

    def _club(self, body: Body, go: str = "") -> str:
        return (
            f'<path class="club{go}" d="M{_xy(self.at(body["grip"]))}'
            f'L{_xy(self.at(body.club_head))}"/>'
        )

    def _flag(self, y: float) -> None:
        x = SIZE - 22
        self._add("path", "ground", d=f"M{x},{_n(y)}v-26")
        self._add("path", "flag", d=f"M{x},{_n(y - 27)}l15,6l-15,6z")

    # --- lines of a measure -----------------------------------------------------------------

    def line(self, kind: str, *points: Array, role: str = "") -> None:
        """A line through places: `now` measured, `was` compared with."""
        d = "M" + "L".join(_xy(self.at(p)) for p in points)
        self._add("path", f"{kind} {role}".strip(), d=d)

    def dot(self, point: Array, *, old: bool = False) -> None:
        self.spot(self.at(point), old=old)

    def spot(self, at: Array, *, old: bool = False) -> None:
        """A dot at a point of the paper."""
        self._add("circle", "dot old" if old else "dot", cx=_n(at[0]), cy=_n(at[1]), r=6)

    def angle(self, vertex: Array, start: Array, end: Array, *, radius: float) -> Array:
        """An arc with a tip from one direction to another, the short way; its middle in points.

        `start` and `end` are places seen from `vertex`; `radius` in points.
        """
        middle = self.at(vertex)
        a, b = (math.atan2(*(self.at(p) - middle)[::-1]) for p in (start, end))
        sweep = (b - a + math.pi) % (2 * math.pi) - math.pi
        sign = math.copysign(1, sweep)
        tip = min(11.0, 0.45 * radius * abs(sweep))
        last = a + sweep - sign * tip / radius
        p, q = (middle + radius * np.array([math.cos(t), math.sin(t)]) for t in (a, last))
        large = int(abs(sweep) > math.pi)
        r = _n(radius)
        self._add("path", "told", d=f"M{_xy(p)}A{r},{r} 0 {large} {int(sign > 0)} {_xy(q)}")
        end_at = middle + radius * np.array([math.cos(b), math.sin(b)])
        self._tip(end_at, end_at - q, tip)
        half = a + sweep / 2
        return np.asarray(middle + radius * np.array([math.cos(half), math.sin(half)]))

    def distance(self, start: Array, end: Array, *, tips: str = "end") -> Array:
        """An arrow between two points of the paper; its middle. `tips` is `end` or `both`."""
        step = end - start
        length = float(np.hypot(*step))
        unit, tip = step / length, min(11.0, 0.45 * length)
        inner = unit * tip * 0.8
        first = start + inner if tips == "both" else start
        self.parts.append('<g class="span">')
        self._add("path", "told", d=f"M{_xy(first)}L{_xy(end - inner)}")
        self._tip(end, unit, tip)
        if tips == "both":
            self._tip(start, -unit, tip)
        self.parts.append("</g>")
        return np.asarray((start + end) / 2)

    def points(self, kind: str, *points: Array | tuple[float, float]) -> None:
        """A line through points of the paper."""
        self._add("path", kind, d="M" + "L".join(_xy(np.asarray(p, float)) for p in points))

    def text(self, kind: str, words: str, x: float, y: float, *, anchor: str = "middle") -> None:
        extra = {} if anchor == "start" else {"text-anchor": anchor}
        self.parts.append(
            f'<text class="{kind}" x="{_n(x)}" y="{_n(y)}"'
            + "".join(f' {k}="{v}"' for k, v in extra.items())
            + f">{words}</text>"
        )

    def put(self, part: str) -> None:
        self.parts.append(part)

    def _tip(self, at: Array, along: Array, length: float) -> None:
        unit = along / np.hypot(*along)
        aside = np.array([-unit[1], unit[0]]) * length * 0.5
        back = at - unit * length
        self._add("path", "tip", d=f"M{_xy(at)}L{_xy(back + aside)}L{_xy(back - aside)}Z")

    def _add(self, tag: str, kind: str, **attributes: object) -> None:
        told = "".join(f' {k}="{v}"' for k, v in attributes.items())
        self.parts.append(f'<{tag} class="{kind}"{told}/>')

    def svg(self, *, measure: str, event: str, value: str) -> str:
        """The whole file."""
        body = "\n".join(self.parts)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIZE} {SIZE}" width="{SIZE}" '
            f'height="{SIZE}" font-family="system-ui,sans-serif" data-measure="{measure}" '
            f'data-event="{event}" data-value="{value}" data-per-m="{_n(self.per_m)}">\n'
            f"<style>{style()}</style>\n"
            f'<clipPath id="c"><rect width="{SIZE}" height="{SIZE}" rx="6"/></clipPath>\n'
            f'<g clip-path="url(#c)">\n<rect class="paper" width="{SIZE}" height="{SIZE}"/>\n'
            f"{body}\n</g>\n</svg>\n"
        )


def style() -> str:
    """Rules, with the colours of the pages by day and by night from the file that names them."""
    text = _TOKENS.read_text()
    day, night = text[: text.index("@media")], text[text.index("scheme: dark") :]
    by_day, by_night = (
        "".join(f"--{c}:{re.search(f'--{c}: (#[0-9a-f]+);', part)[1]};" for c in _COLOURS)  # type: ignore[index]
        for part in (day, night)
    )
    dark = f"@media (prefers-color-scheme:dark){{svg{{{by_night}}}}}"
    return f"svg{{{by_day}}}{dark}{_STYLE}".replace("\n", "")


def _ordered(ring: list[Array], at: Callable[[Array], Array]) -> list[Array]:
    """Corners of the trunk so that its outline does not cross itself in this view."""
    points = np.array([at(p) for p in ring])
    centre = points.mean(axis=0)
    angles = np.arctan2(*(points - centre).T[::-1])
    return [ring[i] for i in np.argsort(angles)]


def _n(value: float) -> str:
    """A number of the file: tenths of a point are finer than anybody sees."""
    text = f"{float(value):.1f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _xy(point: Array) -> str:
    return f"{_n(point[0])},{_n(point[1])}"
