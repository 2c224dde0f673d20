"""A stick golfer whose hands go where a test says, as landmarks in pixels."""

from __future__ import annotations

import numpy as np

from analysis.core.pose import LANDMARK, PoseSequence

PER_M = 250.0
STATURE_M = 1.80
SIZE = (720, 1280)
GROUND_PX = 1000.0
_FIXED = {  # metres right and up of the middle of the feet; side is added below
    "hip": (0.0, 0.92),
    "knee": (0.03, 0.50),
    "ankle": (0.0, 0.08),
    "heel": (-0.05, 0.03),
    "toe": (0.12, 0.02),
    "shoulder": (0.2, 1.38),
    "elbow": (0.25, 1.1),
    "ear": (0.28, 1.55),
}
_HANDS = ("wrist", "pinky", "index", "thumb")


def px(right_m, up_m):
    """Pixels of a point given in metres right of the feet and above the ground."""
    return np.stack([300 + PER_M * np.asarray(right_m), GROUND_PX - PER_M * np.asarray(up_m)], -1)


def pose_of(hands_m, *, time_s=None, apart=0.05, lead_shoulder_m=None) -> PoseSequence:
    """Landmarks with both hands at `hands_m`, shape (T, 2), metres right and up.

    Parameters
    ----------
    apart : float
        Half the distance between the wrists.
    """
    n = len(hands_m)
    time_s = np.arange(n) / 60 if time_s is None else time_s
    xy = np.zeros((n, 33, 2))
    for name, j in LANDMARK.items():
        part, _, side = name.rpartition("_")
        sign = {"left": -1, "right": 1}.get(side, 0)
        if part in _HANDS:
            xy[:, j] = px(hands_m[:, 0] + sign * apart, hands_m[:, 1])
        else:
            right, up = _FIXED.get(part, (0.3, 1.52))
            xy[:, j] = px(right + 0.02 * sign, up)
    if lead_shoulder_m is not None:
        xy[:, LANDMARK["shoulder_left"]] = px(*lead_shoulder_m)
    return PoseSequence(time_s, np.arange(n), xy, np.ones((n, 33)), SIZE)


def swing_hands(
    *, still_s=1.0, back_s=0.8, down_s=0.27, follow_s=0.35, rest_s=0.6, rate=60.0, rise_m=0.8
):
    """Times, hands (T, 2) and the true address, top and impact of one smooth swing."""
    top, impact = still_s + back_s, still_s + back_s + down_s
    end = impact + follow_s
    time_s = np.arange(0, end + rest_s, 1 / rate)

    def ease(u):
        u = np.clip(u, 0, 1)
        return 0.5 - 0.5 * np.cos(np.pi * u)

    back = np.clip((time_s - still_s) / back_s, 0, 1)
    up = np.where(time_s < top, ease(back**1.2), 0.0)
    falling = (time_s >= top) & (time_s < impact)
    up = np.where(falling, 1 - np.clip((time_s - top) / down_s, 0, 1) ** 2, up)
    after = time_s >= impact
    up = np.where(after, ease(0.15 + 0.85 * (time_s - impact) / follow_s) - ease(0.15), up)
    side = np.where(
        time_s < impact, -0.55 * np.sin(np.pi * np.sqrt(np.clip(up, 0, 1)) / 1.4), 0.5 * up
    )
    hands = np.stack([0.3 + side, 0.78 + rise_m * up], axis=1)
    return time_s, hands, {"address": still_s, "top": top, "impact": impact, "finish": end}
