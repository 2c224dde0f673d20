"""How long a finish is held: from the end of the turn until hands or pelvis move off."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.core.measures import Readings
from analysis.core.motion import crossing_s, hands_px, local_fit, midpoint
from analysis.core.pose import Array, Moment, PoseSequence

MOVED_M = 0.03
# Held so long is held: more is not counted, so that nobody has to film an end.
ENOUGH_S = 3.0
_REFERENCE_S, _SMOOTH_S, _GAP_S = 0.10, 0.05, 0.35


@dataclass(frozen=True)
class Afterwards:
    """Hands and pelvis after the strike, as far as the film goes.

    Parameters
    ----------
    time_s : ndarray, shape (N,)
    points_px : ndarray, shape (N, 2, 2)
        Middle of the hands, middle of the hips; NaN where not seen.
    """

    time_s: Array
    points_px: Array


def afterwards(pose: PoseSequence, events: Mapping[str, Moment]) -> Afterwards | None:
    """What `finish_held` needs of a whole stretch of film; None without an impact."""
    impact = events.get("impact", Moment(None)).time_s
    if impact is None:
        return None
    later = pose.time_s >= impact
    points = np.stack([hands_px(pose), midpoint(pose.xy_px, "hip_left", "hip_right")], axis=1)
    return Afterwards(pose.time_s[later], points[later])


def finish_held(
    after: Afterwards | None, events: Mapping[str, Moment], *, scale_m_per_px: float
) -> Readings:
    """Seconds from `finish` until hands or pelvis have moved 3 cm in the picture.

    Returns
    -------
    dict
        One row: (seconds, one standard deviation), at most `ENOUGH_S`, or why there is
        none; `clip_ends` where the film stops before anything moved and before that.
    """
    key = ("finish_held_s", "finish")
    finish = events.get("finish", Moment(None, reason="not_reached"))
    if finish.time_s is None:
        return {key: finish.reason or "not_reached"}
    if after is None:
        return {key: "not_seen"}
    seen = np.isfinite(after.points_px).all(axis=(1, 2)) & (after.time_s >= finish.time_s - 1e-6)
    time_s = after.time_s[seen]
    if len(time_s) < 3 or time_s[0] - finish.time_s > _GAP_S:
        return {key: "not_seen"}
    away = _moved_m(time_s, after.points_px[seen], scale_m_per_px)
    left = crossing_s(time_s, away - MOVED_M, rising=True)
    until = left if math.isfinite(left) else float(time_s[-1])
    inside = np.append(time_s[time_s < until], until)
    if np.diff(inside, prepend=finish.time_s).max() > _GAP_S:
        return {key: "not_seen"}
    held = until - finish.time_s
    if not math.isfinite(left) and held < ENOUGH_S:
        return {key: "clip_ends"}
    return {
        key: (min(held, ENOUGH_S), math.hypot(finish.uncertainty_s or 0.0, _doubt(time_s, away)))
    }


def _moved_m(time_s: Array, points_px: Array, scale_m_per_px: float) -> Array:
    """How far the one that moved more has come since the finish, shape (N,)."""
    flat = points_px.reshape(len(time_s), 4)
    smooth = local_fit(time_s, flat, time_s, width_s=_SMOOTH_S, degree=1)[0]
    smooth = smooth.reshape(points_px.shape)
    first = smooth[time_s <= time_s[0] + _REFERENCE_S].mean(axis=0)
    return np.asarray(np.linalg.norm(smooth - first, axis=2).max(axis=1) * scale_m_per_px)


def _doubt(time_s: Array, away: Array) -> float:
    """Half of how long it takes from 2 to 4 cm: a slow drift has no sharp end."""
    early, late = (
        crossing_s(time_s, away - limit, rising=True) for limit in (MOVED_M - 0.01, MOVED_M + 0.01)
    )
    return 0.5 * (late - early) if math.isfinite(late - early) else 0.05
