"""Points and lines of the joints that the closed forms are made of.

Joint positions have shape (T, len(JOINTS), 3) in the golfer's frame of `core.pose`;
curves are (T,) over the same frames. NaN in a joint makes that frame NaN.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.core.pose import JOINT, Array

# A rate of change is read over at least so much on either side.
RATE_S = 0.02

# Segment masses (share of the body) and centres of mass (from the first end point),
# mean of the male and female columns of de Leva, J Biomech 1996;29(9):1223-1230; the
# trunk runs mid-hip to mid-shoulder (his third definition, given from the shoulder).
_SEGMENTS = (
    ("head", "head", 0.0681, 0.0),
    ("mid_shoulder", "mid_hip", 0.43015, 0.4046),
    ("shoulder", "elbow", 0.0263, 0.5763),
    ("elbow", "wrist", 0.0150, 0.45665),
    ("wrist", "grip", 0.00585, 0.76870),
    ("hip", "knee", 0.1447, 0.38535),
    ("knee", "ankle", 0.0457, 0.43735),
    ("heel", "toe", 0.0133, 0.42145),
)


def mean_of(joints_m: Array, joint: str) -> Array:
    """Mean of the lead and the trail `joint`, shape (T, 3)."""
    return (joints_m[:, JOINT[f"{joint}_lead"]] + joints_m[:, JOINT[f"{joint}_trail"]]) / 2


def joint_angle_deg(proximal: Array, joint: Array, distal: Array) -> Array:
    """Angle at `joint` between the two segments that meet there.

    Parameters
    ----------
    proximal, joint, distal : ndarray, shape (T, D)
        Positions in any unit. A NaN in any of them makes that frame NaN.

    Returns
    -------
    ndarray, shape (T,)
        Degrees in [0, 180]; 180 is a straight limb.
    """
    a, b = proximal - joint, distal - joint
    cosine = np.sum(a * b, axis=1) / (np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1))
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def line_azimuth_deg(joints_m: Array, joint: str) -> Array:
    """Direction on the ground of the line from the lead to the trail `joint`, unwrapped.

    Grows in a backswing: away from the target is positive.
    """
    line = joints_m[:, JOINT[f"{joint}_trail"]] - joints_m[:, JOINT[f"{joint}_lead"]]
    angle = np.arctan2(line[:, 1], line[:, 0])
    seen = np.isfinite(angle)
    unwrapped = np.full_like(angle, np.nan)
    unwrapped[seen] = np.unwrap(angle[seen])
    return np.degrees(unwrapped)


def centre_of_mass_m(joints_m: Array) -> Array:
    """Whole-body centre of mass, shape (T, 3).

    Notes
    -----
    The club is left out. Sex is not asked, so the two columns of the source are averaged:
    the difference moves the centre by less than 1 % of foot length at address.

    References
    ----------
    de Leva P. J Biomech 1996;29(9):1223-1230.
    """
    total = np.zeros_like(joints_m[:, 0])
    mass = 0.0
    for first, second, share, along in _SEGMENTS:
        for side in ("",) if first in ("head", "mid_shoulder") else ("lead", "trail"):
            a, b = _end(joints_m, first, side), _end(joints_m, second, side)
            total = total + share * (a + along * (b - a))
            mass += share
    return total / mass


def _end(joints_m: Array, name: str, side: str) -> Array:
    if name.startswith("mid_"):
        return mean_of(joints_m, name[4:])
    return joints_m[:, JOINT[name if name in JOINT else f"{name}_{side}"]]


def at(time_s: Array, curve: Array, when_s: float) -> float:
    """Value of a curve at a moment between frames; NaN where it was not seen."""
    seen = np.isfinite(curve)
    if not seen.any() or not time_s[seen][0] - 0.05 <= when_s <= time_s[seen][-1] + 0.05:
        return math.nan
    return float(np.interp(when_s, time_s[seen], curve[seen]))
