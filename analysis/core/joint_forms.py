"""Closed forms that are told from joints alone, and what each of them depends on.

`joints_m` of shape (T, len(JOINTS), 3) in the golfer's frame and `base_m`, the joints at
address, of shape (1, len(JOINTS), 3), to curves of shape (T,).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.core.geometry import centre_of_mass_m, line_azimuth_deg, mean_of
from analysis.core.pose import JOINT, JOINTS, Array

_X, _Y, _Z = range(3)


@dataclass(frozen=True)
class Form:
    """A closed form, the joints it looks at, and the axes along which they matter."""

    curve: Callable[[Array, Array], Array]
    joints: tuple[str, ...]
    axes: tuple[int, ...]


def _balance_side_pct(joints_m: Array, base_m: Array) -> Array:
    """Centre of mass between the ankles as they stood: 0 over the lead one, 100 the trail one."""
    lead, trail = (base_m[:, JOINT[f"ankle_{side}"], _X] for side in ("lead", "trail"))
    apart = np.where(lead == trail, np.nan, lead - trail)
    return np.asarray(100 * (lead - centre_of_mass_m(joints_m)[:, _X]) / apart)


def _hands_thigh_cm(joints_m: Array, base_m: Array) -> Array:
    """Grip in front of the line through the middles of hips and knees, level with the grip."""
    hip, knee = mean_of(joints_m, "hip"), mean_of(joints_m, "knee")
    grip = joints_m[:, JOINT["grip"]]
    drop = np.where(hip[:, _Z] == knee[:, _Z], np.nan, hip[:, _Z] - knee[:, _Z])
    line = hip[:, _Y] + (hip[:, _Z] - grip[:, _Z]) / drop * (knee[:, _Y] - hip[:, _Y])
    return np.asarray(100 * (grip[:, _Y] - line))


def _shoulder_to_feet_deg(joints_m: Array, base_m: Array) -> Array:
    """Shoulder line against the line of the toes on the ground; + away from the target."""
    apart = line_azimuth_deg(joints_m, "shoulder") - line_azimuth_deg(joints_m, "toe")
    return np.asarray((apart + 180) % 360 - 180)


def _rise_deg(first: str, second: str) -> Callable[[Array, Array], Array]:
    """Angle above level, in X-Z, of a line that points away from the target.

    90 is straight up and more than that past it, toward the target; from -90 on.
    """

    def curve(joints_m: Array, base_m: Array) -> Array:
        line = joints_m[:, JOINT[second]] - joints_m[:, JOINT[first]]
        angle = np.arctan2(line[:, _Z], -line[:, _X])
        return np.asarray(np.degrees((angle + math.pi / 2) % (2 * math.pi) - math.pi / 2))

    return curve


def _pairs(*limbs: str) -> tuple[str, ...]:
    return tuple(f"{limb}_{side}" for limb in limbs for side in ("lead", "trail"))


OF_THE_JOINTS: dict[str, Form] = {
    "balance_side_pct": Form(_balance_side_pct, tuple(j for j in JOINTS if j != "neck"), (_X,)),
    "hands_thigh_cm": Form(_hands_thigh_cm, ("grip", *_pairs("hip", "knee")), (_Y, _Z)),
    "shoulder_to_feet_deg": Form(_shoulder_to_feet_deg, _pairs("shoulder", "toe"), (_X, _Y)),
    "lead_arm_up_deg": Form(
        _rise_deg("shoulder_lead", "wrist_lead"), ("shoulder_lead", "wrist_lead"), (_X, _Z)
    ),
    # the lead forearm's part of `wrist_set_deg`
    "lead_forearm_deg": Form(
        _rise_deg("elbow_lead", "wrist_lead"), ("elbow_lead", "wrist_lead"), (_X, _Z)
    ),
    # what `hands_path_cm` is read from
    "grip_out_cm": Form(lambda joints, base: 100 * joints[:, JOINT["grip"], _Y], ("grip",), (_Y,)),
    "grip_up_cm": Form(lambda joints, base: 100 * joints[:, JOINT["grip"], _Z], ("grip",), (_Z,)),
}
