"""One swing of a drawn golfer: joints, club and ball in space, all pictures come from it.

Positions in metres in the golfer's frame of `core.pose`. A pose is told by few numbers
(turns, tilts, where the hands are); limbs of fixed length reach between its ends. Not a
swing to copy: hips come toward the ball and trunk rises at impact, so that each measure
has something to show.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
from scipy.interpolate import CubicSpline

from analysis.core import measures
from analysis.core.pose import JOINT, JOINTS, Array, Moment

BALL = np.array([0.03, 0.80, 0.021])
BAR_M = 0.94
_SHAFT_M = 0.92  # middle of the hands to the club head
_HALF_HIPS, _HALF_SHOULDERS = 0.09, 0.17
_TRUNK, _THIGH, _SHANK, UPPER_ARM, FOREARM, _HAND = 0.50, 0.455, 0.44, 0.29, 0.255, 0.07
THIGH_HALF_M = 0.065  # from the line through hip and knee to its front
# X of the lead foot, then Y, Z; the trail foot is its mirror image.
_FEET = {"ankle": (0.22, 0.0, 0.08), "heel": (0.205, -0.055, 0.02), "toe": (0.25, 0.20, 0.02)}


@dataclass(frozen=True)
class Pose:
    """What tells one moment of the swing; angles in degrees, positions in metres.

    `arm` is the direction from the lead shoulder to the hands and `reach` how far they
    are; `shaft` is the direction from the hands to the club head; `heel_up` is how far the
    trail heel has left the ground, `trail_step` where heel and ankle of that foot have gone
    besides; `half_stance` is half the distance between the ankles and `toe_out` how far the
    trail foot is turned out.
    """

    hips: tuple[float, float, float]
    pelvis_turn: float
    hip_slope: float
    tilt: float
    side: float
    shoulder_turn: float
    head: tuple[float, float, float]
    arm: tuple[float, float, float]
    reach: float
    shaft: tuple[float, float, float]
    heel_up: float = 0.0
    trail_step: tuple[float, float, float] = (0.0, 0.0, 0.0)
    half_stance: float = 0.22
    toe_out: float = 0.0


_ENDS = ("clamped", "natural")  # at rest at address, free at impact
TIMES_S = {
    "address": 0.00,
    "lead_arm_back": 0.50,
    "late_back": 0.68,
    "top": 0.84,
    "lead_arm_down": 0.99,
    "delivery": 1.06,
    "impact": 1.12,
}
POSES = {
    "address": Pose((0.0, -0.12, 0.92), 0, 0, 36, 5, 0, (-0.03, 0.31, 1.49),
                    (-0.20, 0.13, -0.62), 0.60, (0.06, 0.50, -0.74)),
    "lead_arm_back": Pose((-0.02, -0.115, 0.92), 26, 4, 36, 2, 52, (-0.045, 0.31, 1.485),
                          (-0.60, -0.16, 0.0), 0.605, (-0.05, -0.45, 0.80)),
    "late_back": Pose((-0.03, -0.11, 0.92), 38, 7, 36, 0, 76, (-0.06, 0.31, 1.48),
                      (-0.50, -0.40, 0.30), 0.605, (0.60, -0.45, 0.62)),
    "top": Pose((-0.04, -0.11, 0.92), 45, 9, 35, -1, 88, (-0.08, 0.31, 1.475),
                (-0.34, -0.50, 0.34), 0.595, (0.93, -0.22, -0.05)),
    "lead_arm_down": Pose((0.02, -0.08, 0.92), 5, 3, 34, 8, 48, (-0.055, 0.30, 1.48),
                          (-0.62, -0.12, 0.0), 0.605, (-0.10, -0.57, 0.82)),
    "delivery": Pose((0.05, -0.06, 0.93), -17, -2, 32, 11, 4, (-0.045, 0.30, 1.50),
                     (-0.40, 0.08, -0.44), 0.605, (-0.85, -0.10, 0.05), heel_up=0.02),
    "impact": Pose((0.07, -0.04, 0.95), -35, -6, 28, 12, -18, (-0.04, 0.32, 1.54),
                   (-0.04, 0.24, -0.66), 0.605, (-0.11, 0.43, -0.83), heel_up=0.08),
}  # fmt: skip


# Measures that this swing has nothing of to show: the same moment posed otherwise.
SHOWN_ON = {
    "shoulder_to_feet_deg": replace(POSES["address"], shoulder_turn=-14),
    "steepening_deg": replace(POSES["lead_arm_down"], shaft=(-0.10, -0.32, 0.94)),
    "shaft_past_level_deg": replace(POSES["top"], shaft=(0.88, -0.24, -0.38)),
}


@dataclass(frozen=True)
class Film:
    """Everything at every frame.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    joints_m : ndarray, shape (T, len(JOINTS), 3)
    head_m : ndarray, shape (T, 3)
        Club head.
    """

    time_s: Array
    joints_m: Array
    head_m: Array

    def at(self, event: str) -> Body:
        i = int(np.argmin(np.abs(self.time_s - TIMES_S[event])))
        return Body(dict(zip(JOINTS, self.joints_m[i], strict=True)), self.head_m[i])


@dataclass(frozen=True)
class Body:
    """One moment: joints by name, and the club head."""

    joints: Mapping[str, Array]
    club_head: Array

    def __getitem__(self, name: str) -> Array:
        """A joint, or `mid_hip` and the like for the mean of lead and trail."""
        if name.startswith("mid_"):
            return (self.joints[f"{name[4:]}_lead"] + self.joints[f"{name[4:]}_trail"]) / 2
        return self.joints[name]


EVENTS = {name: Moment(when, 0.0) for name, when in TIMES_S.items()}


def body_of(measure: str, event: str) -> Body:
    """The golfer on whom a measure is drawn at an event."""
    return posed(SHOWN_ON[measure]) if measure in SHOWN_ON else swing().at(event)


def swing() -> Film:
    """The swing at 200 pictures a second; every event falls on a frame."""
    time_s = np.round(np.arange(0, round(TIMES_S["impact"] * 200) + 1) / 200, 3)
    keys = list(TIMES_S.values())
    curves = {
        f.name: CubicSpline(
            keys, np.array([getattr(p, f.name) for p in POSES.values()]), bc_type=_ENDS
        )
        for f in fields(Pose)
    }
    bodies = [posed(Pose(**{name: curve(t) for name, curve in curves.items()})) for t in time_s]
    joints_m = np.array([[body.joints[j] for j in JOINTS] for body in bodies])
    return Film(time_s, joints_m, np.array([body.club_head for body in bodies]))


def curves_of(film: Film) -> dict[str, Array]:
    """The closed forms of `core.measures`, applied to this golfer."""
    return measures.body_curves(film.joints_m, film.time_s, address_s=TIMES_S["address"])


def grip_speed_m_s(film: Film) -> Array:
    """Speed of the middle of the hands, shape (T,)."""
    grip = film.joints_m[:, JOINT["grip"]]
    return np.asarray(np.linalg.norm(np.gradient(grip, film.time_s, axis=0), axis=1))


def bar_ends(body: Body) -> tuple[Array, Array]:
    """Lead and trail end of a club held level across the hips."""
    along = (body["hip_lead"] - body["hip_trail"]) * np.array([1, 1, 0])
    along /= np.linalg.norm(along)
    ahead = np.array([-along[1], along[0], 0.0])
    centre = body["mid_hip"] + 0.15 * ahead
    return centre + BAR_M / 2 * along, centre - BAR_M / 2 * along


def posed(pose: Pose) -> Body:
    """Joints and club of one moment, told by the few numbers of `Pose`."""
    hips = np.array(pose.hips, float)
    joints: dict[str, Array] = {}
    wider = pose.half_stance - _FEET["ankle"][0]
    for side, sign in (("lead", 1), ("trail", -1)):
        for name, (x, y, z) in _FEET.items():
            joints[f"{name}_{side}"] = np.array([sign * (x + wider), y, z])
    out = math.radians(float(pose.toe_out))
    joints["toe_trail"] = joints["toe_trail"] - 0.25 * np.array(
        [math.sin(out), 1 - math.cos(out), 0.0]
    )
    for name, share in (("heel", 1.0), ("ankle", 0.6)):
        joints[f"{name}_trail"] += pose.heel_up * share * np.array([0.3, 0.4, 1.0])
        joints[f"{name}_trail"] += np.array(pose.trail_step)
    across = _across(pose.pelvis_turn, pose.hip_slope)
    joints["hip_lead"], joints["hip_trail"] = hips - _HALF_HIPS * across, hips + _HALF_HIPS * across
    up = np.array([-math.tan(math.radians(pose.side)), math.tan(math.radians(pose.tilt)), 1.0])
    up /= np.linalg.norm(up)
    chest = hips + _TRUNK * up
    level = _across(pose.shoulder_turn, 0.0)
    slope = math.degrees(math.atan(-float(up[:2] @ level[:2]) / up[2]))
    across = _across(pose.shoulder_turn, slope)
    joints["shoulder_lead"] = chest - _HALF_SHOULDERS * across
    joints["shoulder_trail"] = chest + _HALF_SHOULDERS * across
    joints["head"] = np.array(pose.head, float)
    joints["neck"] = chest + 0.06 * up
    for side in ("lead", "trail"):
        ahead = _ahead(pose.pelvis_turn) + np.array([0.5 if side == "lead" else -0.5, 0.8, 0.0])
        joints[f"knee_{side}"] = between(
            joints[f"hip_{side}"], joints[f"ankle_{side}"], _THIGH, _SHANK, ahead
        )
    _reach(joints, pose)
    shaft = np.array(pose.shaft, float)
    return Body(joints, joints["grip"] + _SHAFT_M * shaft / np.linalg.norm(shaft))


def _reach(joints: dict[str, Array], pose: Pose) -> None:
    """Hands, wrists and elbows."""
    arm = np.array(pose.arm, float)
    arm /= np.linalg.norm(arm)
    joints["grip"] = joints["shoulder_lead"] + pose.reach * arm
    out = {"lead": np.array([0.3, 0.3, -1.0]), "trail": np.array([-0.2, -0.3, -1.0])}
    for side in ("lead", "trail"):
        shoulder = joints[f"shoulder_{side}"]
        toward = shoulder - joints["grip"]
        joints[f"wrist_{side}"] = joints["grip"] + _HAND * toward / np.linalg.norm(toward)
        joints[f"elbow_{side}"] = between(
            shoulder, joints[f"wrist_{side}"], UPPER_ARM, FOREARM, out[side]
        )


def _across(turn_deg: float, slope_deg: float) -> Array:
    """Unit direction from the lead to the trail side, so turned and so risen."""
    turn, slope = math.radians(180 + float(turn_deg)), math.radians(float(slope_deg))
    return np.array(
        [math.cos(turn) * math.cos(slope), math.sin(turn) * math.cos(slope), math.sin(slope)]
    )


def _ahead(turn_deg: float) -> Array:
    """Where hips so turned face."""
    turn = math.radians(float(turn_deg))
    return np.array([-math.sin(turn), math.cos(turn), 0.0])


def between(start: Array, end: Array, first: float, second: float, toward: Array) -> Array:
    """The joint between two segments of known length, bent toward a direction."""
    along = end - start
    span = float(np.linalg.norm(along))
    if span > first + second:
        raise ValueError(f"{span:.3f} m is further than {first} + {second} m reach")
    along = along / span
    share = (first**2 - second**2 + span**2) / (2 * span)
    aside = toward - (toward @ along) * along
    return start + share * along + math.sqrt(first**2 - share**2) * aside / np.linalg.norm(aside)
