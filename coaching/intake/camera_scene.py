"""Where the phone goes: one drawing, projected from metres, so it is right for every view and hand.

World, in metres: X toward the target, R to the right of somebody who looks at the target,
Z up; the ball lies at the origin. A right-hander stands at R < 0 and faces R > 0; a
left-hander is the mirror image (`side` = -1). The picture: x to the right, y down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

WIDTH, HEIGHT = 390, 364
FEET = 0.85  # from the ball to the middle of the feet
AWAY = 3.2  # the phone from the hands: four paces of 0.8 m
PHONE_UP = 0.82  # as high as the hands

Point = tuple[float, float, float]

# A golfer at address: forward (to the ball), toward the target, up. For the eye only.
_BODY: dict[str, Point] = {
    "ankle_l": (0, 0.19, 0.09), "ankle_t": (0, -0.19, 0.09),
    "toe_l": (0.2, 0.23, 0.04), "toe_t": (0.2, -0.21, 0.04),
    "heel_l": (-0.06, 0.18, 0.05), "heel_t": (-0.06, -0.18, 0.05),
    "knee_l": (0.1, 0.18, 0.5), "knee_t": (0.1, -0.18, 0.5),
    "hip_l": (-0.1, 0.1, 0.92), "hip_t": (-0.1, -0.1, 0.92),
    "waist": (-0.02, 0, 1.06), "chest": (0.17, -0.01, 1.28),
    "shoulder_l": (0.24, 0.18, 1.37), "shoulder_t": (0.24, -0.19, 1.34),
    "elbow_l": (0.33, 0.13, 1.07), "elbow_t": (0.3, -0.15, 1.06), "hand": (0.41, 0.02, 0.8),
    "neck": (0.27, -0.01, 1.44), "head": (0.38, -0.01, 1.57),
    "brow": (0.46, -0.01, 1.585), "peak": (0.6, -0.01, 1.525),
    "club": (0.83, -0.01, 0.03), "club_toe": (0.9, -0.01, 0.03),
}  # fmt: skip
# (from, to, half its breadth in metres, class)
_LEGS = (
    ("hip_l", "knee_l", 0.088, "leg"), ("knee_l", "ankle_l", 0.062, "leg"),
    ("hip_t", "knee_t", 0.088, "leg"), ("knee_t", "ankle_t", 0.062, "leg"),
    ("hip_l", "hip_t", 0.105, "leg"),
)  # fmt: skip
_SHOES = (("heel_l", "toe_l", 0.046, "shoe"), ("heel_t", "toe_t", 0.046, "shoe"))
_TRUNK = (("waist", "chest", 0.148, "shirt"), ("shoulder_l", "shoulder_t", 0.088, "shirt"))
_ARMS = (
    ("shoulder_l", "elbow_l", 0.06, "sleeve"), ("elbow_l", "hand", 0.043, "skin"),
    ("shoulder_t", "elbow_t", 0.06, "sleeve"), ("elbow_t", "hand", 0.043, "skin"),
)  # fmt: skip
_HEAD = (("neck", "head", 0.055, "skin"), ("head", "head", 0.118, "skin"))


@dataclass(frozen=True)
class Shape:
    """One path of the drawing; `stroke` is its breadth, 0 where the class says it."""

    kind: str
    d: str
    stroke: float = 0


@dataclass(frozen=True)
class Label:
    kind: str  # "target", "paces", "upright", "height"
    x: float
    y: float
    anchor: str


@dataclass
class Scene:
    view: str
    hand: str
    shapes: list[Shape] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    width: int = WIDTH
    height: int = HEIGHT


class _Eye:
    """A pinhole camera at `at` that looks at `look`, level with the horizon."""

    def __init__(self, at: Point, look: Point, *, scale: float = 1, x: float = 0, y: float = 0):
        self.at, self.look, self.scale, self.x, self.y = at, look, scale, x, y
        way = [a - b for a, b in zip(look, at, strict=True)]
        size = math.hypot(*way)
        dx, dr, dz = (v / size for v in way)
        flat = math.hypot(dx, dr)
        self.ahead = (dx, dr, dz)
        self.right = (-dr / flat, dx / flat, 0.0)
        self.up = (-dz * dx / flat, -dz * dr / flat, flat)

    def __call__(self, point: Point) -> Point:
        """(x, y) in the picture and the distance straight ahead, in metres."""
        v = [a - b for a, b in zip(point, self.at, strict=True)]
        ahead, right, up = (
            sum(a * b for a, b in zip(v, w, strict=True)) for w in (self.ahead, self.right, self.up)
        )
        return self.x + self.scale * right / ahead, self.y - self.scale * up / ahead, ahead

    def fitted(self, keys: list[Point], *, pad: tuple[float, float, float]) -> _Eye:
        """The same eye, scaled so that `keys` fill the picture; pad: sides, top, bottom."""
        seen = [self(k) for k in keys]
        left, right = min(p[0] for p in seen), max(p[0] for p in seen)
        top, bottom = min(p[1] for p in seen), max(p[1] for p in seen)
        wide, high = WIDTH - 2 * pad[0], HEIGHT - pad[1] - pad[2]
        f = min(wide / (right - left), high / (bottom - top))
        x = WIDTH / 2 - f * (left + right) / 2
        return _Eye(
            self.at,
            self.look,
            scale=f,
            x=x,
            y=pad[1] + (high - f * (bottom - top)) / 2 - f * top,
        )


@dataclass(frozen=True)
class _Plan:
    """What differs between the views, in metres."""

    phone: Point
    along: tuple[float, float]  # from the phone to the golfer, on the ground
    across: tuple[float, float]
    eye: _Eye
    line: tuple[float, float]  # the target line, from X to X


def _plan(view: str, side: int) -> _Plan:
    hands = side * (_BODY["hand"][0] - FEET)
    if view == "down_the_line":
        eye = _Eye((-8.4, side * 2.7, 3.5), (-0.3, side * -0.18, 0.62))
        keys = [(5, 0, 2.2), (0, side * -1.15, 1.7), (-AWAY - 0.1, hands - side * 0.33, 0),
                (-AWAY, hands + side * 0.33, 0), (0, 0, 0)]  # fmt: skip
        fitted = eye.fitted(keys, pad=(26, 22, 26))
        return _Plan((-AWAY, hands, 0), (1, 0), (0, 1), fitted, (-0.75, 5))
    # Opposite the golfer, or at his back: the same drawing with the eye on the other side.
    front = side if view == "face_on" else -side
    middle = hands if view == "face_on" else side * -FEET
    eye = _Eye((-2.9, middle + front * 8.3, 3.3), (0.1, middle + front * 1.2, 0.55))
    away = middle + front * AWAY
    keys = [(0, middle - front * 0.1, 1.75), (1.75, 0, 0), (-1.15, 0, 0),
            (0.35, away, 0), (-0.35, away + front * 0.1, 0)]  # fmt: skip
    phone = (0.02, away, 0)
    return _Plan(phone, (0, -front), (1, 0), eye.fitted(keys, pad=(30, 34, 26)), (-1.1, 1.75))


class _Pen:
    def __init__(self, plan: _Plan, side: int) -> None:
        self.plan, self.side, self.eye = plan, side, plan.eye
        self.shapes: list[Shape] = []

    def ground(self, along: float, across: float, up: float = 0) -> Point:
        """`along` metres from the phone toward the golfer, `across` beside that line."""
        p = self.plan
        x = p.phone[0] + p.along[0] * along + p.across[0] * across
        return x, p.phone[1] + p.along[1] * along + p.across[1] * across, up

    def joint(self, name: str) -> Point:
        forward, toward, up = _BODY[name]
        return self.eye((toward, self.side * (forward - FEET), up))

    def path(self, kind: str, points: list[Point], *, closed: bool = False) -> None:
        seen = [self.eye(p) for p in points]
        self.draw(kind, "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y, _far in seen) + "Z" * closed)

    def draw(self, kind: str, d: str, stroke: float = 0) -> None:
        self.shapes.append(Shape(kind, d, round(stroke, 1)))

    def limbs(self, rows: tuple[tuple[str, str, float, str], ...]) -> None:
        """Far limbs first; the ink around all of them lies under their fillings."""
        found = []
        for start, end, half, kind in rows:
            a, b = self.joint(start), self.joint(end)
            far = (a[2] + b[2]) / 2
            d = f"M{a[0]:.1f} {a[1]:.1f}L{b[0] + 0.01:.1f} {b[1]:.1f}"
            found.append((far, d, 2 * half * self.eye.scale / far, kind))
        found.sort(key=lambda row: -row[0])
        for _far, d, breadth, _kind in found:
            self.draw("edge", d, breadth + 2.6)
        for _far, d, breadth, kind in found:
            self.draw(kind, d, breadth)


def _golfer(pen: _Pen) -> None:
    toward = pen.eye.ahead[1] * pen.side
    facing, behind = toward < -0.45, toward > 0.45  # what is in the hands is nearest, or hidden
    chest = (pen.joint("waist")[2] + pen.joint("chest")[2]) / 2
    if behind:
        _club(pen)
    for shoe in _SHOES:
        pen.limbs((shoe,))
    pen.limbs(_LEGS)
    if not facing and not behind:
        _club(pen)
    hidden = tuple(a for a in _ARMS if (pen.joint(a[0])[2] + pen.joint(a[1])[2]) / 2 > chest)
    pen.limbs(hidden)
    pen.limbs(_TRUNK)
    pen.limbs(tuple(a for a in _ARMS if a not in hidden))
    pen.limbs(_HEAD)
    x, y, far = pen.joint("head")
    r = 0.118 * pen.eye.scale / far
    pen.draw(
        "cap",
        f"M{x - r:.1f} {y - r * 0.1:.1f}A{r:.1f} {r:.1f} 0 0 1 {x + r:.1f} {y - r * 0.1:.1f}Z",
    )
    (bx, by, _b), (px, py, _p) = pen.joint("brow"), pen.joint("peak")
    if not behind:
        pen.draw(
            "peak", f"M{bx:.1f} {by - r * 0.15:.1f}L{px:.1f} {py:.1f}", 0.05 * pen.eye.scale / far
        )
    if facing:
        _club(pen)


def _club(pen: _Pen) -> None:
    a, b, c = pen.joint("hand"), pen.joint("club"), pen.joint("club_toe")
    for kind in ("clubedge", "club"):
        pen.draw(kind, f"M{a[0]:.1f} {a[1]:.1f}L{b[0]:.1f} {b[1]:.1f}")
    pen.draw("clubhead", f"M{b[0]:.1f} {b[1]:.1f}L{c[0]:.1f} {c[1]:.1f}")


def _phone_on_a_bag(pen: _Pen) -> None:
    g, eye = pen.ground, pen.eye
    for way in (-1, 1):
        pen.path("leg1", [g(-0.06, way * 0.1, 0.72), g(0.2, way * 0.3, 0)])
    (tx, ty, far), (fx, fy, _f) = eye(g(-0.1, 0, 0.86)), eye(g(-0.02, 0, 0.06))
    w = 0.27 * eye.scale / far
    body = f"M{tx:.1f} {ty + w / 2:.1f}L{fx:.1f} {fy - w / 2:.1f}"
    pen.draw("edge", body, w + 2.6)
    pen.draw("bag", body, w)
    x, y, _far = eye(g(-0.06, 0, 0.34))
    pen.draw("pocket", f"M{x - w * 0.26:.1f} {y - 9:.1f}h{w * 0.52:.1f}v16h{-w * 0.52:.1f}Z")
    low, high = PHONE_UP - 0.168, PHONE_UP + 0.232
    corners = ((-0.105, low), (0.105, low), (0.105, high), (-0.105, high))
    pen.path("phone", [g(0, across, up) for across, up in corners], closed=True)
    x, y, _far = eye(g(0, 0, PHONE_UP + 0.03))
    pen.draw(
        "screen", f"M{x - 5:.1f} {y + 11:.1f}v-14a5 5 0 0 1 10 0v14M{x - 8:.1f} {y + 11:.1f}h16"
    )


def _paces(pen: _Pen) -> None:
    for step in range(1, 4):
        along, off = AWAY - 0.8 * step + 0.14, 0.1 if step % 2 else -0.1
        turn = [j * math.pi / 9 for j in range(18)]
        sole = [
            pen.ground(
                along + 0.17 * math.sin(t),
                off + 0.062 * math.cos(t) * (1.12 if math.sin(t) > 0 else 0.9),
            )
            for t in turn
        ]
        pen.path("pace", sole, closed=True)


def _target(pen: _Pen, view: str) -> Label:
    side, (start, end) = pen.side, pen.plan.line
    pen.path("line", [(start, 0, 0), (end, 0, 0)])
    if view == "down_the_line":
        pen.path("head", [(2.55, 0.14, 0), (2.9, 0, 0), (2.55, -0.14, 0)])
        (x, y, _far), (_x, top, _f) = pen.eye((end, 0, 0)), pen.eye((end, 0, 2.2))
        pen.draw("flag", f"M{x:.1f} {y:.1f}V{top:.1f}")
        pen.draw("flagc", f"M{x:.1f} {top:.1f}l{14 * side} 4.5l{-14 * side} 4.5Z")
        return Label("target", x - side * 8, top + 10, "end" if side > 0 else "start")
    pen.path("head", [(end - 0.22, 0.13, 0), (end, 0, 0), (end - 0.22, -0.13, 0)])
    x, y, _far = pen.eye((end - 0.1, 0, 0))
    rightward = x > WIDTH / 2
    return Label("target", x + (8 if rightward else -8), y - 13, "end" if rightward else "start")


def scene(*, view: str, hand: str) -> Scene:
    """The drawing for `down_the_line`, `face_on` or `rear`; `hand` is `right` or `left`."""
    side = -1 if hand == "left" else 1
    pen = _Pen(_plan(view, side), side)
    g, down = pen.ground, view == "down_the_line"
    pen.draw("ground", f"M0 12C78 4 125 16 195 10S335 5 {WIDTH} 11V{HEIGHT}H0Z")
    reach, spread = 4.6 if down else 4.0, math.tan(math.radians(19))
    cone = [g(0.15, 0), g(reach, -reach * spread), g(reach, reach * spread)]
    pen.path("sees", cone, closed=True)
    target = _target(pen, view)
    pen.path("aim", [g(0.1, 0), g(AWAY + (3.2 if down else 0.25), 0)])
    _paces(pen)
    _golfer(pen)
    x, y, _far = pen.eye((0, 0, 0.03))
    ball = f"M{x - 4.2:.1f} {y:.1f}a4.2 4.2 0 1 0 8.4 0a4.2 4.2 0 1 0 -8.4 0Z"
    # From behind the golfer stands between us and the ball.
    pen.shapes.insert(len(pen.shapes) if view != "rear" else 6, Shape("ball", ball))
    _phone_on_a_bag(pen)
    x, y, _far = pen.eye(g(AWAY - 1.45, 0))
    px, py, _far = pen.eye(g(0, 0))
    inward = 1 if px < WIDTH / 2 else -1
    anchor = "start" if inward > 0 else "end"
    labels = [
        target,
        Label("paces", x + inward * 20, y + 12, anchor),
        Label("upright", px + inward * 50, py - 18, anchor),
        Label("height", px + inward * 50, py, anchor),
    ]
    rounded = [Label(t.kind, round(t.x), round(t.y), t.anchor) for t in labels]
    return Scene(view, hand, pen.shapes, rounded)
