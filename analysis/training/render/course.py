"""One golfer's way through a swing: a smooth course of every part, and the joints it leads to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.training import rotations
from analysis.training.render import posing
from analysis.training.render.bodies import Array
from analysis.training.render.habits import CLUB, PARTS, WANDER, WIDE, Family, Range
from analysis.training.table import COLUMN, COLUMNS

KNOTS = np.array([0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0])


@dataclass(frozen=True)
class Course:
    """One drawn motion: each quantity (T,) over the moments, and what stays."""

    at: dict[str, Array]
    stance_m: float
    closed_m: float
    flare_deg: tuple[float, float]
    shaft: Array
    elbow_out: Array  # (2, 3) lead and trail, in the chest's axes
    trail_arm: dict[str, Array] | None
    phase: Array


def random_course(rng: np.random.Generator, family: Family, phase: Array) -> Course:
    """Everything drawn on its own, joined smoothly, each part with its own timing."""
    ranges = {**WIDE, **family.ranges}
    if rng.random() < family.lead_heel:
        lift = (float(rng.uniform(0.02, 0.14)),) * 2
        ranges["lead_heel"] = ((0, 0), lift, (0, 0.02), (0, 0.02))
    knots = {name: _knots(rng, four) for name, four in ranges.items()}
    if rng.random() < 0.45:  # nobody lifts the trail heel always
        knots["trail_heel"][:5] = 0
    for name in ("lead_heel", "trail_heel"):
        knots[name] = np.maximum(knots[name], 0)
    knots["knees"] = np.maximum(knots["knees"], 0)
    knots["apart"][2] = np.clip(knots["apart"][2], knots["chest"][2] - 78, None)
    plateau = rng.uniform(0.04, 0.2) if rng.random() < 0.35 else 0.0
    at: dict[str, Array] = {}
    for names in PARTS.values():
        when = _warped(rng, phase, plateau)
        at |= {name: _joined(knots[name], when) for name in names}
    trail = None
    if not family.joined:
        own = {name: _knots(rng, ranges[name]) for name in PARTS["arms"]}
        when = _warped(rng, phase, plateau)
        trail = {name: _joined(v, when) for name, v in own.items()}
    club = CLUB + rng.normal(0, 0.35, CLUB.shape) * np.array([0.3, 1, 1.3, 1, 0.3, 1, 1])[:, None]
    shaft = np.stack([_joined(club[:, k], phase) for k in range(3)], axis=1)
    return Course(
        at,
        float(rng.uniform(0.12, 0.72)),
        float(rng.normal(0, 0.05)),
        (float(rng.uniform(-8, 42)), float(rng.uniform(-12, 35))),
        posing._unit(shaft),
        np.array([[0.4, -0.2, -0.6], [-0.4, -0.2, -0.8]]) + rng.normal(0, 0.5, (2, 3)),
        trail,
        phase,
    )


def _knots(rng: np.random.Generator, four: tuple[Range, Range, Range, Range]) -> Array:
    low, high = np.array(four, float).T
    key = rng.uniform(low, high)
    between = (key[1:] + key[:-1]) / 2
    room = np.maximum(high - low, 0)
    between += rng.normal(0, WANDER, 3) * np.maximum(room[1:], room[:-1])
    out = np.empty(7)
    out[0::2], out[1::2] = key, between
    return out


def _joined(knots: Array, phase: Array) -> Array:
    """Cubic through the knots, at rest at address and turning back at the top."""
    slope = np.gradient(knots, KNOTS)
    slope[[0, 2, 6]] = 0.0
    k = np.clip(np.searchsorted(KNOTS, phase, "right") - 1, 0, len(KNOTS) - 2)
    step = 0.5
    x = np.clip((phase - KNOTS[k]) / step, 0, 1)
    a, b = knots[k], knots[k + 1]
    return np.asarray(
        a * (1 + 2 * x) * (1 - x) ** 2
        + b * x**2 * (3 - 2 * x)
        + step * (slope[k] * x * (1 - x) ** 2 - slope[k + 1] * x**2 * (1 - x))
    )


def _warped(rng: np.random.Generator, phase: Array, plateau: float) -> Array:
    """The part's own time: early or late, with a rest at the top."""
    late = rng.normal(0, 0.07, 2)
    own = phase + late[0] * np.sin(np.pi * np.clip(phase, 0, 1))
    own = own + late[1] * np.sin(np.pi * np.clip(phase - 1, 0, 1))
    away = own - 1
    near = np.abs(away) < 1
    rest = np.sign(away) * np.maximum(np.abs(away) - plateau, 0) / (1 - plateau)
    return np.asarray(np.clip(np.where(near, 1 + rest, own), 0, 3))


_TRUNK, _HIPS, _SHOULDERS = 0.504, 0.17, 0.33

_LEG, _ARM = 0.43, 0.275  # each of two bones

_FOOT_Z = 0.052


def joints_of(course: Course) -> tuple[Array, Array]:
    """Joints (T, len(COLUMNS), 3) of a person of 1.75 m, golfer's frame, and the pelvis' up."""
    q = {k: np.radians(v) for k, v in course.at.items()}
    n = len(q["chest"])
    out = np.zeros((n, len(COLUMNS), 3))
    pelvis = q["chest"] - q["apart"]
    spine = posing._unit(_stack(-np.tan(q["side"]), np.tan(q["lean"]), np.ones(n)))
    up = posing._unit(
        _stack(
            -np.tan(q["side"] * 0.7),
            np.tan(np.clip(q["lean"] * 0.75 + q["tuck"], -1.2, 1.3)),
            np.ones(n),
        )
    )
    chest = _chest(spine, q["chest"])
    for side, sign in (("lead", 1), ("trail", -1)):
        _foot(out, side, sign, course)
    hip = _mid_hip(out, course)
    line = posing._unit(_stack(np.cos(pelvis), np.sin(pelvis), np.tan(q["list"])))
    shoulder = hip + _TRUNK * spine
    slope = np.tan(q["slope"])[:, None]
    across = posing._unit(chest[:, 0] + slope * spine)
    for side, sign in (("lead", 1), ("trail", -1)):
        out[:, COLUMN[f"hip_{side}"]] = hip + sign * _HIPS / 2 * line
        out[:, COLUMN[f"shoulder_{side}"]] = shoulder + sign * _SHOULDERS / 2 * across
        _knee(out, side)
    _arms(out, course, chest, spine, np.radians(course.at["lean"]))
    _face(out, q, spine, shoulder)
    return out, up


def _stack(x: Array, y: Array, z: Array) -> Array:
    return np.stack([x, y, z], axis=1)


def _chest(spine: Array, turn: Array) -> Array:
    """Axes (T, 3, 3) of the chest by rows: toward the lead shoulder, ahead, up the spine."""
    flat = _stack(np.cos(turn), np.sin(turn), 0 * turn)
    drop = -np.sum(flat * spine, axis=1) / spine[:, 2]
    line = posing._unit(flat + _stack(0 * turn, 0 * turn, drop))
    ahead = _stack(-np.sin(turn), np.cos(turn), 0 * turn)
    for axis in (line, spine):
        ahead = ahead - np.sum(ahead * axis, axis=1, keepdims=True) * axis
    return np.stack([line, posing._unit(ahead), spine], axis=1)


def _foot(out: Array, side: str, sign: int, course: Course) -> None:
    flare = np.radians(course.flare_deg[0 if sign > 0 else 1])
    ahead = np.array([sign * np.sin(flare), np.cos(flare), 0.0])
    toe = np.array([sign * course.stance_m / 2, 0.0, 0.0]) + 0.207 * ahead
    toe[1] += -sign * course.closed_m / 2
    pitch = np.arcsin(np.clip(course.at[f"{side}_heel"] / 0.253, 0, 0.75))
    back, rise = np.cos(pitch)[:, None], np.sin(pitch)
    up = np.array([0.0, 0.0, 1.0])

    def point(behind: float, high: float) -> Array:
        level = toe - behind * back * ahead + high * rise[:, None] * ahead
        return np.asarray(level + (behind * rise + high * np.cos(pitch))[:, None] * up)

    out[:, COLUMN[f"toe_{side}"]] = toe
    out[:, COLUMN[f"heel_{side}"]] = point(0.253, 0.0)
    out[:, COLUMN[f"ankle_{side}"]] = point(0.207, _FOOT_Z)


def _mid_hip(out: Array, course: Course) -> Array:
    """Over the feet as drawn, as high as the knees say and the longer leg allows."""
    at = course.at
    heel = out[0, [COLUMN["heel_lead"], COLUMN["heel_trail"]]].mean(axis=0)
    ankles = out[:, [COLUMN["ankle_lead"], COLUMN["ankle_trail"]]]
    flat = np.stack([heel[0] - at["sway"], heel[1] - at["behind"]], axis=1)
    reach = 2 * _LEG * np.cos(np.radians(at["knees"]) / 2)
    aside = np.sum((flat[:, None] - ankles[..., :2]) ** 2, axis=2)
    high = np.sqrt(np.maximum(reach[:, None] ** 2 - aside, 0.16)) + ankles[..., 2]
    most = np.sqrt(np.maximum((1.985 * _LEG) ** 2 - aside, 0.16)) + ankles[..., 2]
    z = np.minimum(high.mean(axis=1), most.min(axis=1))
    return np.concatenate([flat, z[:, None]], axis=1)


def _knee(out: Array, side: str) -> None:
    hip, ankle, heel, toe = (
        out[:, COLUMN[f"{part}_{side}"]] for part in ("hip", "ankle", "heel", "toe")
    )
    out[:, COLUMN[f"knee_{side}"]] = _bent(hip, ankle, toe - heel, _LEG)


def _bent(start: Array, end: Array, toward: Array, bone: float) -> Array:
    """The joint between two bones of one length, bent toward a direction."""
    along = end - start
    far = np.linalg.norm(along, axis=1, keepdims=True)
    axis = along / np.maximum(far, 1e-6)
    side = posing._unit(toward - np.sum(toward * axis, axis=1, keepdims=True) * axis)
    out = np.sqrt(np.maximum(bone**2 - far**2 / 4, 1e-6))
    return np.asarray((start + end) / 2 + out * side)


def _arms(out: Array, course: Course, chest: Array, spine: Array, lean: Array) -> None:
    hanging = np.interp(course.phase, KNOTS, [1, 0.5, 0, 0.5, 1, 0.5, 0]) * (np.pi / 2 - lean)
    lead = _wrist(out, "lead", course.at, chest, hanging)
    shaft = course.shaft
    fore = posing._unit(lead - out[:, COLUMN["shoulder_lead"]])
    grip = lead + 0.075 * posing._unit(fore + 0.8 * shaft)
    if course.trail_arm is None:
        toward = posing._unit(grip - out[:, COLUMN["shoulder_trail"]])
        trail = _within(out[:, COLUMN["shoulder_trail"]], grip + 0.06 * shaft - 0.075 * toward)
    else:
        trail = _wrist(out, "trail", course.trail_arm, chest, hanging)
        grip = (lead + trail) / 2 + 0.06 * posing._unit(fore + 0.8 * shaft)
    for k, (side, wrist) in enumerate((("lead", lead), ("trail", trail))):
        out[:, COLUMN[f"wrist_{side}"]] = wrist
        toward = np.einsum("k,tkj->tj", course.elbow_out[k], chest)
        shoulder = out[:, COLUMN[f"shoulder_{side}"]]
        out[:, COLUMN[f"elbow_{side}"]] = _bent(shoulder, wrist, toward, _ARM)
    out[:, COLUMN["grip"]] = grip
    out[:, COLUMN["clubhead"]] = grip + 0.92 * shaft


def _wrist(out: Array, side: str, at: dict[str, Array], chest: Array, hanging: Array) -> Array:
    """Where an arm so far across the chest and up brings the wrist, not into the trunk.

    `hanging` (T,) is the angle below straight ahead from which `up` counts: around address
    and impact arms are told from hanging, elsewhere from straight ahead.
    """
    across, up, elbow = (np.radians(at[name]) for name in ("across", "up", "elbow"))
    up = np.clip(up - hanging, -1.45, 1.45)
    low = np.clip(-up / 1.2, 0, 1)  # a low arm cannot lie far across
    across = np.clip(across, -1.4, np.radians(85) - low * np.radians(40))
    reach = 2 * _ARM * np.cos(elbow / 2)
    ahead, flat = np.sin(up) * reach, np.cos(up) * reach
    toward_lead = (-1 if side == "lead" else 1) * np.sin(across) * flat
    before = np.cos(across) * flat
    before = np.where(up < 0.3, np.maximum(before, 0.08), before)
    step = _stack(toward_lead, before, ahead)
    return np.asarray(out[:, COLUMN[f"shoulder_{side}"]] + np.einsum("tk,tkj->tj", step, chest))


def _within(shoulder: Array, wrist: Array) -> Array:
    step = wrist - shoulder
    far = np.linalg.norm(step, axis=1, keepdims=True)
    return np.asarray(shoulder + step * np.minimum(1, 1.985 * _ARM / np.maximum(far, 1e-6)))


def _face(out: Array, q: dict[str, Array], spine: Array, shoulder: Array) -> None:
    neck = shoulder + 0.05 * spine
    side = _stack(np.sin(q["cock"]), 0 * q["cock"], 0 * q["cock"])
    tall = posing._unit(0.6 * spine + 0.4 * rotations.Z + side)
    head = neck + 0.17 * tall
    turn, nod = q["head"], q["nod"]
    ahead = _stack(-np.sin(turn) * np.cos(nod), np.cos(turn) * np.cos(nod), -np.sin(nod))
    for name, place in (("neck", neck), ("head", head), ("nose", head + 0.1 * ahead)):
        out[:, COLUMN[name]] = place


def moved_arms(joints: Array, phase: Array, turn: Array, lift: Array) -> Array:
    """Elbows, hands and club turned about the middle of the shoulders, as far as told at
    top and impact (2,), degrees: away from the target about the plumb line, and up."""
    out = joints.copy()
    pair = [COLUMN["shoulder_lead"], COLUMN["shoulder_trail"]]
    middle, line = joints[:, pair].mean(axis=1), joints[:, pair[0]] - joints[:, pair[1]]
    # the golfer's triple is left-handed: there turns about the plumb line go the other way
    away = rotations.about(rotations.Z, posing._extra(phase, (turn[0], turn[1])))
    rise = rotations.about(posing._unit(line * (1, 1, 0)), posing._extra(phase, tuple(lift)))
    both = away @ rise
    for name in ("elbow_lead", "elbow_trail", "wrist_lead", "wrist_trail", "grip", "clubhead"):
        arm = joints[:, COLUMN[name]] - middle
        out[:, COLUMN[name]] = middle + np.einsum("tij,tj->ti", both, arm)
    return out
