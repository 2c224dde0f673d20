"""Figures that the network has no output of its own for: closed forms of its joints.

The network says how far each joint may be off. One joint after the other is moved by
that, along each axis the figure depends on, and the changes are added as squares. Errors
of neighbouring joints hang together, so the sum has the right order and not the right
size: `scale/ID/EVENT` of the weights makes it true on bodies never seen
(`analysis.training.crossval`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.core.geometry import RATE_S, at
from analysis.core.joint_forms import OF_THE_JOINTS
from analysis.core.measures import hands_path_cm
from analysis.core.pose import JOINT, Array, Moment

FROM_JOINTS = (
    "balance_side_pct",
    "hands_thigh_cm",
    "shoulder_to_feet_deg",
    "lead_arm_up_deg",
    "lead_forearm_deg",
    "hands_path_cm",
)
_PATH = ("grip_out_cm", "grip_up_cm")


@dataclass(frozen=True)
class Read:
    """A figure at an event: value, spread before any scaling, and rate per second."""

    value: float
    raw: float
    rate: float


def read(
    id: str,
    event: str,
    *,
    time_s: Array,
    joints: Array,
    joints_sd: Array,
    events: Mapping[str, Moment],
) -> Read:
    """One figure of `FROM_JOINTS` at one event.

    Parameters
    ----------
    id : str
    event : str
        With a time in `events`, which also holds the address.
    time_s : ndarray, shape (T,)
    joints, joints_sd : ndarray, shape (T, len(JOINTS), 3)
        In the golfer's frame, in hundredths of what the lengths come out in: in percent
        of stature they do in percent of stature, in centimetres in centimetres.
    events : mapping of str to Moment

    Returns
    -------
    Read
        NaN where the joints or an event are missing.
    """
    address, when = (events[e].time_s if e in events else None for e in ("address", event))
    if address is None or when is None:
        return Read(math.nan, math.nan, 0.0)
    gap = float(np.median(np.diff(time_s))) if len(time_s) > 1 else RATE_S
    half = max(RATE_S, gap)
    forms = _PATH if id == "hands_path_cm" else (id,)
    rows = _rows_around(time_s, when, half)

    def value_of(moved: Array, later: float) -> float:
        if id == "hands_path_cm":
            return _path(time_s, moved, events, later)
        curve = OF_THE_JOINTS[id].curve(moved[rows], _joints_at(time_s, moved, address))
        return at(time_s[rows], curve, when + later)

    metres, spread = joints / 100, joints_sd / 100
    if id == "hands_path_cm":  # a difference of two moments: what is wrong at both cancels
        spread = spread * (time_s > _time(events, "top"))[:, None, None]
    value = value_of(metres, 0.0)
    moves = {(j, a) for form in forms for j in OF_THE_JOINTS[form].joints
             for a in OF_THE_JOINTS[form].axes}  # fmt: skip
    changes = [
        value_of(_moved(metres, spread, JOINT[joint], axis), 0.0) - value
        for joint, axis in sorted(moves)
        if np.any(spread[:, JOINT[joint], axis])
    ]
    rate = 0.0
    if event != "address":
        rate = (value_of(metres, half) - value_of(metres, -half)) / (2 * half)
    return Read(value, math.hypot(*changes), rate if math.isfinite(rate) else 0.0)


def _time(events: Mapping[str, Moment], event: str) -> float:
    when = events.get(event, Moment(None)).time_s
    return math.nan if when is None else when


def _moved(joints: Array, spread: Array, joint: int, axis: int) -> Array:
    out = joints.copy()
    out[:, joint, axis] += spread[:, joint, axis]
    return out


def _rows_around(time_s: Array, when: float, half: float) -> slice:
    """The frames from just before to just after a moment, one more on either side."""
    first = int(np.searchsorted(time_s, when - half)) - 2
    last = int(np.searchsorted(time_s, when + half)) + 2
    return slice(max(first, 0), last)


def _joints_at(time_s: Array, joints: Array, when: float) -> Array:
    """All joints at a moment between frames, shape (1, len(JOINTS), 3)."""
    after = min(int(np.searchsorted(time_s, when)), len(time_s) - 1)
    before = max(after - 1, 0)
    gap = time_s[after] - time_s[before]
    share = min(max((when - time_s[before]) / gap, 0.0), 1.0) if gap > 0 else 0.0
    return np.asarray(((1 - share) * joints[before] + share * joints[after])[None])


def _path(time_s: Array, joints_m: Array, events: Mapping[str, Moment], later: float) -> float:
    curves = {name: OF_THE_JOINTS[name].curve(joints_m, joints_m) for name in _PATH}
    down = events.get("lead_arm_down", Moment(None)).time_s
    moved = {**events, "lead_arm_down": Moment(None if down is None else down + later)}
    return hands_path_cm(curves, time_s, moved)
