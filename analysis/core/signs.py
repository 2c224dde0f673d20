"""Which side a golfer is filmed from and which way they play: one score each, over several signs.

Figures are shares of 4,325 swings face on and 4,311 down the line, habitual and free, rendered
with the camera up to 12 degrees off.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.core.motion import hands_px, midpoint
from analysis.core.pose import LANDMARK, Array, PoseSequence

# A score beyond this speaks for one view: 99.6 % down the line lie below -1 and 0.01 % above
# it, 99.2 % face on lie above 1 and 0.16 % below -1.
VIEW_SURE = 1.0
# Toes over heels in shank lengths: no golfer down the line below -0.24, half of them at 0.53.
TOES_SURE = 0.25
# Shoulders in the wrong order over the trunk's length: face on 0.3 % lie below in one picture.
BACK_SURE = 0.5
# Hands at the top against hands at the finish, in statures: none above 0.07, of those who play
# the other way round 99.3 % above 0.08. Without a finish, 0.14 % lie above the other.
HANDS_SURE, HANDS_AT_TOP = 0.08, 0.06
_WRISTS = [LANDMARK["wrist_left"], LANDMARK["wrist_right"]]


def breadth_ratio(xy_px: Array) -> Array:
    """Breadth of shoulders and hips over the trunk's length in the picture, shape (S,)."""
    mark = {
        j: xy_px[:, [LANDMARK[f"{j}_left"], LANDMARK[f"{j}_right"]]] for j in ("shoulder", "hip")
    }
    breadth = sum(np.abs(m[:, 0, 0] - m[:, 1, 0]) for m in mark.values())
    return np.asarray(breadth / _trunk(xy_px))


def toe_direction(xy_px: Array) -> Array:
    """Toes to the picture's right of the heels, as a share of the shank, shape (S,)."""
    reach = np.zeros(len(xy_px))
    for s in ("left", "right"):
        heel, toe, knee, ankle = (
            xy_px[:, LANDMARK[f"{j}_{s}"]] for j in ("heel", "toe", "knee", "ankle")
        )
        reach += (toe[:, 0] - heel[:, 0]) / np.linalg.norm(knee - ankle, axis=1) / 2
    return reach


def view_score(xy_px: Array) -> float:
    """Above 0 for face on, below for down the line, of (S, 33, 2) landmarks at address.

    How broad shoulders and hips look, and how far the toes point across the picture.
    """
    broad = np.clip((np.median(breadth_ratio(xy_px)) - 0.70) / 0.20, -2.0, 2.0)
    along = np.clip((0.32 - abs(np.median(toe_direction(xy_px)))) / 0.12, -1.5, 1.5)
    return float(broad + along)


def back_turned(xy_px: Array) -> bool:
    """Filmed from behind: the lead shoulder lies at the picture's left."""
    apart = xy_px[:, LANDMARK["shoulder_left"], 0] - xy_px[:, LANDMARK["shoulder_right"], 0]
    return bool(np.median(apart / _trunk(xy_px)) < -BACK_SURE)


def lean_deg(xy_px: Array) -> Array:
    """How far the line from the ankles to the shoulders leans from the vertical, shape (S,)."""
    up = midpoint(xy_px, "shoulder_left", "shoulder_right") - midpoint(
        xy_px, "ankle_left", "ankle_right"
    )
    return np.asarray(np.degrees(np.arctan2(np.abs(up[:, 0]), -up[:, 1])))


def other_hand(
    pose: PoseSequence, *, stature_px: float, top_s: float, finish_s: float
) -> tuple[float, bool]:
    """How sure it is that a golfer seen face on plays the other way round.

    Behind the door hands go to the picture's left in the backswing and to its right after it.

    Returns
    -------
    score : float
        In statures; above `HANDS_SURE` with both, `HANDS_AT_TOP` without a finish.
    both : bool
        Whether hands at the finish were seen.
    """
    shoulders = midpoint(pose.xy_px, "shoulder_left", "shoulder_right")[:, 0]
    aside = (hands_px(pose)[:, 0] - shoulders) / stature_px

    def near(when: float) -> float:
        rows = (np.abs(pose.time_s - when) <= 0.08) & np.isfinite(aside)
        return float(np.median(aside[rows])) if rows.any() else float("nan")

    top, finish = near(top_s), near(finish_s)
    both = bool(np.isfinite(finish))
    return (top - (finish - top) if both else top), both


def address_rows(xy_px: Array, *, stature_px: float, together: float) -> NDArray[np.int64]:
    """Pictures in which the hands hang low and together, as at address."""
    wrists = xy_px[:, _WRISTS]
    hips = xy_px[:, [LANDMARK["hip_left"], LANDMARK["hip_right"]], 1].mean(axis=1)
    near = np.linalg.norm(wrists[:, 0] - wrists[:, 1], axis=1) < together * stature_px
    low = hips - wrists[..., 1].mean(axis=1) < 0.12 * stature_px
    return np.flatnonzero(near & low)


def _trunk(xy_px: Array) -> Array:
    return np.asarray(
        np.linalg.norm(
            midpoint(xy_px, "shoulder_left", "shoulder_right")
            - midpoint(xy_px, "hip_left", "hip_right"),
            axis=1,
        )
    )
