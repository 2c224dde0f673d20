"""A body takes over the motion of another one: inverse kinematics, then linear blending.

Space here is right-handed: X toward the target, Y from the ball to the golfer's back, Z up,
metres; the golfer's frame of the table with Y negated. Everybody is a right-hander.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.geometry import centre_of_mass_m
from analysis.training import rotations
from analysis.training.render.bodies import Array, Body, Mesh
from analysis.training.table import COLUMN, COLUMNS, OURS

_SPINE = ("spine05", "spine04", "spine03", "spine02", "spine01")
_SPINE_SHARE = (0.1, 0.3, 0.5, 0.75, 1.0)
_NECK = ("neck01", "neck02", "neck03")
_SIDES = (("lead", "L"), ("trail", "R"))
# Sole, heel and toe from the ankle along the foot and down, shares of stature: those of the
# table, so that both tell the same joints.
_HEEL, _TOE = (-0.0264, -0.0277), (0.1184, -0.0300)
SOLE = 0.0093  # how far shoes lift the ankle


@dataclass(frozen=True)
class Changes:
    """How this golfer moves unlike the one the motion comes from, one draw a swing."""

    hip_turn_deg: tuple[float, float]  # at top, at impact
    chest_turn_deg: tuple[float, float]
    posture_deg: float
    stance: float
    shift_m: Array  # (3,) of the pelvis at top and impact
    shrug_m: Array  # (2, 2) shoulders forward and up, lead and trail


def random_changes(rng: np.random.Generator) -> Changes:
    turn = rng.normal(0, 1, 4) * (11, 11, 9, 6)
    return Changes(
        (turn[0], turn[1]),
        (turn[2], turn[3]),
        float(rng.normal(0, 3.5)),
        float(rng.uniform(0.85, 1.18)),
        rng.normal(0, 0.018, 3),
        rng.normal(0, 0.012, (2, 2)),
    )


@dataclass(frozen=True)
class Posed:
    """T moments of one body.

    Parameters
    ----------
    turn, place : ndarray, shapes (T, B, 3, 3) and (T, B, 3)
        Take a bone's rest points into the scene.
    joints : ndarray, shape (T, len(COLUMNS), 3)
        Golfer's frame (Y toward the ball).
    """

    turn: Array
    place: Array
    joints: Array


def pose(
    body: Body,
    mesh: Mesh,
    source: Array,
    phase: Array,
    changes: Changes,
    *,
    hands: Array | None = None,
    pelvis_up: Array | None = None,
) -> Posed:
    """Move a body as another one moved.

    Parameters
    ----------
    source : ndarray, shape (T, len(COLUMNS), 3)
        The other one's joints, metres, golfer's frame.
    phase : ndarray, shape (T,)
        0 address, 1 top, 2 impact.
    hands : ndarray, shape (T, 3), optional
        Where both hands point, here; else each to the handle.
    pelvis_up : ndarray, shape (T, 3), optional
        How the pelvis stands, golfer's frame; else it leans with the trunk.
    """
    points = source * (1.0, -1.0, 1.0)
    rig = _Rig(body, mesh, len(points))
    at = {name: points[:, i] for name, i in COLUMN.items()}
    pelvis, chest, shoulders = _trunk_frames(
        at, phase, changes, None if pelvis_up is None else pelvis_up * (1.0, -1.0, 1.0)
    )
    _turn_trunk(rig, pelvis, chest, _head_frame(at, body, mesh))
    ankles = {side: _planted(rig, at[f"ankle_{side}"], at, changes) for side, _ in _SIDES}
    _place_pelvis(rig, at, ankles, _ramp(phase)[:, None] * changes.shift_m)
    for side, letter in _SIDES:
        _place_leg(rig, at, side, letter, ankles[side])
    _place_arms(rig, at, shoulders, changes, hands)
    return Posed(rig.turn, rig.place(), _joints(rig, at, body))


class _Rig:
    def __init__(self, body: Body, mesh: Mesh, count: int) -> None:
        self.body, self.mesh = body, mesh
        bones = len(mesh.labels)
        self.turn = np.tile(np.eye(3), (count, bones, 1, 1))
        self.known = np.zeros(bones, bool)
        self.head = np.tile(body.heads, (count, 1, 1))
        self._chain()

    def rest(self, name: str) -> Array:
        return np.asarray(self.body.heads[self.mesh.bone(name)])

    def length(self, a: str, b: str) -> float:
        return float(np.linalg.norm(self.rest(a) - self.rest(b)))

    def turn_to(self, name: str, turn: Array) -> None:
        """Turn a bone and everything hanging on it that has no own turn yet."""
        own = self.mesh.bone(name)
        self.turn[:, own], self.known[own] = turn, True
        for k, parent in enumerate(self.mesh.parents):
            if parent >= 0 and not self.known[k]:
                self.turn[:, k] = self.turn[:, parent]
        self._chain()

    def _chain(self) -> None:
        rest = self.body.heads
        for k, parent in enumerate(self.mesh.parents):
            if parent >= 0:
                arm = rest[k] - rest[parent]
                self.head[:, k] = self.head[:, parent] + self.turn[:, parent] @ arm

    def put_pelvis(self, middle: Array) -> None:
        hips = (self.at("upperleg01.L") + self.at("upperleg01.R")) / 2
        self.head += (middle - hips)[:, None]

    def at(self, name: str) -> Array:
        return self.head[:, self.mesh.bone(name)]

    def shift(self, name: str, by: Array) -> None:
        """Move a joint and what hangs on it (a shoulder that shrugs)."""
        moved = {self.mesh.bone(name)}
        for k, parent in enumerate(self.mesh.parents):
            if parent in moved:
                moved.add(k)
        self.head[:, sorted(moved)] += by[:, None]

    def hang(self, name: str, turn: Array) -> None:
        """`turn_to` for limbs: only what hangs on the bone moves."""
        own = self.mesh.bone(name)
        self.turn[:, own], self.known[own] = turn, True
        moved = {own}
        for k, parent in enumerate(self.mesh.parents):
            if parent in moved:
                moved.add(k)
                self.turn[:, k] = self.turn[:, parent] if not self.known[k] else self.turn[:, k]
                arm = self.body.heads[k] - self.body.heads[parent]
                self.head[:, k] = self.head[:, parent] + self.turn[:, parent] @ arm

    def place(self) -> Array:
        return np.asarray(self.head - np.einsum("tbij,bj->tbi", self.turn, self.body.heads))


def stature_of(at: dict[str, Array]) -> float:
    """Stature of the source from its legs and trunk, which are .743 of it."""
    legs = sum(
        np.median(np.linalg.norm(at[a] - at[b], axis=1))
        for a, b in (("hip_lead", "knee_lead"), ("knee_lead", "ankle_lead"))
    )
    trunk = np.median(
        np.linalg.norm(
            (at["hip_lead"] + at["hip_trail"] - at["shoulder_lead"] - at["shoulder_trail"]) / 2,
            axis=1,
        )
    )
    return float((legs + trunk) / 0.743)


def _ramp(phase: Array) -> Array:
    return np.clip(phase, 0, 1)


def _extra(phase: Array, ends: tuple[float, float]) -> Array:
    top, impact = ends
    after = top + (impact - top) * np.clip(phase - 1, 0, 1)
    return np.radians(np.where(phase < 1, np.clip(phase, 0, 1) * top, after))


def _trunk_frames(
    at: dict[str, Array], phase: Array, changes: Changes, pelvis_up: Array | None
) -> tuple[Array, Array, Array]:
    """Turns of pelvis and chest from the standing pose, and the shoulder line's direction.

    The trail hand is lower on the handle: the shoulder line leans against the chest, by
    the collar bones.
    """
    mid_hip = (at["hip_lead"] + at["hip_trail"]) / 2
    mid_shoulder = (at["shoulder_lead"] + at["shoulder_trail"]) / 2
    spine, line = _unit(mid_shoulder - mid_hip), _unit(at["shoulder_lead"] - at["shoulder_trail"])
    up = _unit(0.8 * spine + 0.2 * rotations.Z) if pelvis_up is None else pelvis_up
    pelvis = _frame(at["hip_lead"] - at["hip_trail"], up)
    chest = _axes(spine, line)[:, :, [1, 2, 0]]
    bend = rotations.about(rotations.X, np.full(len(phase), np.radians(changes.posture_deg)))
    hips = rotations.about(rotations.Z, -_extra(phase, changes.hip_turn_deg)) @ bend
    shoulders = rotations.about(rotations.Z, -_extra(phase, changes.chest_turn_deg)) @ bend
    return hips @ pelvis, shoulders @ chest, np.einsum("tij,tj->ti", shoulders, line)


def _head_frame(at: dict[str, Array], body: Body, mesh: Mesh) -> Array:
    face = face_points(body, mesh)
    neck = _neck(body.heads[mesh.bone("neck01")], body.heads[mesh.bone("neck02")])
    ahead, up = face["nose"] - face["head"], face["head"] - neck
    now = _axes(at["nose"] - at["head"], at["head"] - at["neck"])
    return now @ _axes(ahead[None], up[None]).transpose(0, 2, 1)


def _neck(low: Array, high: Array) -> Array:
    """Where the table has the neck, between two bones of the rig."""
    return np.asarray(0.45 * low + 0.55 * high)


def _turn_trunk(rig: _Rig, pelvis: Array, chest: Array, head: Array) -> None:
    """The spine shares out what lies between pelvis and chest, the neck what is beyond."""
    rig.turn_to("root", pelvis)
    for name, share in zip(_SPINE, _SPINE_SHARE, strict=True):
        rig.turn_to(name, _between(pelvis, chest, share))
    for k, name in enumerate(_NECK):
        rig.turn_to(name, _between(chest, head, (k + 1) / 4))
    rig.turn_to("head", head)


def _planted(rig: _Rig, ankle: Array, at: dict[str, Array], changes: Changes) -> Array:
    """The source's ankle (T, 3) for a body of this size and stance, on its own soles."""
    stature = rig.body.stature_m
    target = ankle * (stature / stature_of(at)) * np.array([changes.stance, 1.0, 1.0])
    lift = np.maximum(target[:, 2] - target[:1, 2], 0)
    target[:, 2] = lift + (0.0447 + SOLE) * stature
    return np.asarray(target)


def _place_pelvis(
    rig: _Rig, at: dict[str, Array], ankles: dict[str, Array], shift_m: Array
) -> None:
    """Over the feet as in the source, measured in lengths of the legs."""
    legs = rig.rest("upperleg01.L")[2] - rig.rest("foot.L")[2]
    theirs = np.median(
        np.linalg.norm(at["hip_lead"] - at["knee_lead"], axis=1)
        + np.linalg.norm(at["knee_lead"] - at["ankle_lead"], axis=1)
    )
    mid_hip = (at["hip_lead"] + at["hip_trail"]) / 2
    mid_ankle = (at["ankle_lead"][:1] + at["ankle_trail"][:1]) / 2
    base = (ankles["lead"][:1] + ankles["trail"][:1]) / 2
    rig.put_pelvis(base + (mid_hip - mid_ankle) * (legs / theirs) + shift_m)


def _place_leg(rig: _Rig, at: dict[str, Array], side: str, letter: str, target: Array) -> None:
    foot = at[f"toe_{side}"] - at[f"heel_{side}"]
    up = at[f"ankle_{side}"] - at[f"heel_{side}"]
    knee_out = at[f"knee_{side}"] - (at[f"hip_{side}"] + at[f"ankle_{side}"]) / 2
    hint = _unit(knee_out) + 0.6 * _unit(foot)
    names = (f"upperleg01.{letter}", f"lowerleg01.{letter}", f"foot.{letter}")
    _two_bones(rig, names, target, hint, np.array([0.0, -1.0, 0.0]))
    standing = _axes(np.array([[0.0, -1.0, 0.0]]), np.array([[0.0, 0.0, 1.0]]))
    rig.hang(names[2], _axes(foot, up) @ standing.transpose(0, 2, 1))


def _place_arms(
    rig: _Rig, at: dict[str, Array], line: Array, changes: Changes, hands: Array | None
) -> None:
    ours = np.stack([rig.at("upperarm01.L"), rig.at("upperarm01.R")]).mean(axis=0)
    theirs = (at["shoulder_lead"] + at["shoulder_trail"]) / 2
    chest = rig.turn[:, rig.mesh.bone("spine01")]
    scale = _arm(rig) / np.median(
        np.linalg.norm(at["shoulder_lead"] - at["elbow_lead"], axis=1)
        + np.linalg.norm(at["elbow_lead"] - at["wrist_lead"], axis=1)
    )
    own = rig.at("upperarm01.L") - rig.at("upperarm01.R")
    lean = (np.linalg.norm(own, axis=1, keepdims=True) * line - own) / 2
    for k, (side, letter) in enumerate(_SIDES):
        forward, up = changes.shrug_m[k]
        shrug = up * chest[:, :, 2] - forward * chest[:, :, 1]
        rig.shift(f"shoulder01.{letter}", shrug + (lean if side == "lead" else -lean))
    swung = _swing_of_hands(rig, at)
    for side, letter in _SIDES:
        own = np.einsum("tij,tj->ti", swung, at[f"wrist_{side}"] - theirs)
        target = ours + scale * own
        bend = at[f"elbow_{side}"] - (at[f"shoulder_{side}"] + at[f"wrist_{side}"]) / 2
        hint = np.einsum("tij,tj->ti", swung, bend)
        hint += 0.02 * (-chest[:, :, 2])
        names = (f"upperarm01.{letter}", f"lowerarm01.{letter}", f"wrist.{letter}")
        rest_hint = rig.rest(names[1]) - (rig.rest(names[0]) + rig.rest(names[2])) / 2
        _two_bones(rig, names, target, hint, rest_hint)
        grip = np.einsum("tij,tj->ti", swung, at["grip"] - at[f"wrist_{side}"])
        _place_hand(rig, letter, grip if hands is None else hands)


def _arm(rig: _Rig) -> float:
    return rig.length("upperarm01.L", "lowerarm01.L") + rig.length("lowerarm01.L", "wrist.L")


def _swing_of_hands(rig: _Rig, at: dict[str, Array]) -> Array:
    """The arms follow the shoulder line that was turned away from the source's."""
    ours = rig.at("upperarm01.L") - rig.at("upperarm01.R")
    theirs = at["shoulder_lead"] - at["shoulder_trail"]
    angle = np.arctan2(ours[:, 1], ours[:, 0]) - np.arctan2(theirs[:, 1], theirs[:, 0])
    return rotations.about(rotations.Z, angle)


def _place_hand(rig: _Rig, letter: str, grip: Array) -> None:
    rest = rig.rest(f"finger3-1.{letter}") - rig.rest(f"wrist.{letter}")
    side = rig.rest(f"finger2-1.{letter}") - rig.rest(f"finger5-1.{letter}")
    fore = rig.turn[:, rig.mesh.bone(f"lowerarm01.{letter}")]
    hand = _axes(grip, np.einsum("tij,j->ti", fore, side)) @ _axes(
        rest[None], side[None]
    ).transpose(0, 2, 1)
    rig.hang(f"wrist.{letter}", hand)
    across = side / np.linalg.norm(side)
    thumb = rig.rest(f"finger1-3.{letter}") - rig.rest(f"finger2-1.{letter}")
    inward = np.sign(np.cross(across, rest) @ thumb)  # fingers close on the thumb's side
    for finger in range(2, 6):
        for joint, angle in ((1, 1.0), (2, 2.2), (3, 2.9)):
            curl = rotations.about(across, np.full(len(grip), inward * angle))
            rig.hang(f"finger{finger}-{joint}.{letter}", hand @ curl)


def _two_bones(
    rig: _Rig, names: tuple[str, str, str], target: Array, hint: Array, rest_hint: Array
) -> None:
    """Bend a limb so that its end comes to `target`, the middle joint toward `hint`."""
    upper, lower, end = names
    a, b, c = rig.rest(upper), rig.rest(lower), rig.rest(end)
    l1, l2 = float(np.linalg.norm(b - a)), float(np.linalg.norm(c - b))
    start = rig.at(upper)
    reach = target - start
    far = np.clip(np.linalg.norm(reach, axis=1), abs(l1 - l2) + 0.02, (l1 + l2) * 0.9995)
    along = _unit(reach)
    side = _unit(hint - np.sum(hint * along, axis=1, keepdims=True) * along)
    x = (l1**2 - l2**2 + far**2) / (2 * far)
    out = np.sqrt(np.maximum(l1**2 - x**2, 0))
    middle = start + x[:, None] * along + out[:, None] * side
    tip = start + far[:, None] * along
    for name, rest, now in ((upper, b - a, middle - start), (lower, c - b, tip - middle)):
        rig.hang(name, _axes(now, side) @ _axes(rest[None], rest_hint[None]).transpose(0, 2, 1))


def _joints(rig: _Rig, at: dict[str, Array], body: Body) -> Array:
    out = np.zeros((len(rig.head), len(COLUMNS), 3))
    bones = {
        "shoulder": "upperarm01",
        "elbow": "lowerarm01",
        "wrist": "wrist",
        "hip": "upperleg01",
        "knee": "lowerleg01",
        "ankle": "foot",
    }
    for side, letter in _SIDES:
        for joint, bone in bones.items():
            out[:, COLUMN[f"{joint}_{side}"]] = rig.at(f"{bone}.{letter}")
        foot = rig.turn[:, rig.mesh.bone(f"foot.{letter}")]
        for name, (ahead, up) in (("heel", _HEEL), ("toe", _TOE)):
            offset = np.array([0.0, -ahead, up]) * body.stature_m
            out[:, COLUMN[f"{name}_{side}"]] = rig.at(f"foot.{letter}") + foot @ offset
    out[:, COLUMN["neck"]] = _neck(rig.at("neck01"), rig.at("neck02"))
    turn = rig.turn[:, rig.mesh.bone("head")]
    for name, rest in face_points(body, rig.mesh).items():
        out[:, COLUMN[name]] = rig.at("head") + turn @ (rest - rig.rest("head"))
    wrists = out[:, [COLUMN["wrist_lead"], COLUMN["wrist_trail"]]].mean(axis=1)
    offset = at["grip"] - (at["wrist_lead"] + at["wrist_trail"]) / 2
    swung = _swing_of_hands(rig, at)
    out[:, COLUMN["grip"]] = wrists + np.einsum("tij,tj->ti", swung, offset)
    shaft = at["clubhead"] - at["grip"]
    out[:, COLUMN["clubhead"]] = out[:, COLUMN["grip"]] + np.einsum("tij,tj->ti", swung, shaft)
    out *= (1.0, -1.0, 1.0)
    out[:, COLUMN["com"]] = centre_of_mass_m(out[:, OURS])
    return out


def face_points(body: Body, mesh: Mesh) -> dict[str, Array]:
    """Nose and the middle between the ears, standing, as the table has them."""
    strong = np.take_along_axis(mesh.bones, mesh.weights.argmax(axis=1)[:, None], 1)[:, 0]
    height = body.vertices[:, 2]
    skull = (height > body.heads[mesh.bone("head"), 2]) & (
        np.array([not n.startswith("breast") for n in mesh.labels])[strong]
    )
    points = body.vertices[skull]
    ears = points[np.argsort(-np.abs(points[:, 0]))[:40]].mean(axis=0) * (0, 1, 1)
    higher = np.array([0.0, 0.0, body.stature_m])
    nose = points[points[:, 1].argmin()]
    return {"nose": nose + 0.013 * higher, "head": ears + 0.017 * higher}


def _unit(v: Array) -> Array:
    return np.asarray(v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9))


def _frame(left: Array, up: Array) -> Array:
    """Turn from the standing pose: X to the left, Z up; the left line is kept."""
    x = _unit(left)
    z = _unit(up - np.sum(up * x, axis=1, keepdims=True) * x)
    return np.stack([x, np.cross(z, x), z], axis=2)


def _axes(main: Array, hint: Array) -> Array:
    """Three axes, the first along `main`, the second toward `hint`."""
    x = _unit(main)
    y = _unit(hint - np.sum(hint * x, axis=1, keepdims=True) * x)
    return np.stack([x, y, np.cross(x, y)], axis=2)


def _between(a: Array, b: Array, share: float) -> Array:
    """A turn part of the way from `a` to `b`, by the polar factor of their mean."""
    u, _, vt = np.linalg.svd((1 - share) * a + share * b)
    flip = np.linalg.det(u @ vt)
    u[..., :, 2] *= flip[:, None]
    return np.asarray(u @ vt)
