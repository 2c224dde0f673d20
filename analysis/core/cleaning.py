"""Repair landmarks by time: collapsed poses, exchanged legs, gaps.

Single frames of a picture-by-picture pose network collapse (the person upside down, a
leg on a shadow) or exchange left and right now and then. Until impact both feet stay
where they are, which no single frame knows and the whole swing does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.core.pose import LANDMARK, Array, PoseSequence

_FEET = [
    LANDMARK[f"{part}_{side}"] for part in ("ankle", "heel", "toe") for side in ("left", "right")
]
_LEAD_FOOT = [0, 2, 4]
_LEGS = [
    (LANDMARK[f"{part}_left"], LANDMARK[f"{part}_right"])
    for part in ("knee", "ankle", "heel", "toe")
]
# Shares of stature by which a landmark may stray before its frame is given up: rendered
# swings stay below 0.06 in 99 % of frames, collapsed ones lie beyond 0.2.
FOOT_LIMIT = 0.12
LEAD_FOOT_LIMIT = 0.15
HIP_LIMIT = 0.20
MAX_GAP_S = 0.25
# Stature over thigh, shank and trunk as the network draws them, see `corrector`.
CHAIN_SHARE = 0.75


@dataclass(frozen=True)
class Cleaned:
    """Landmarks after repair.

    Parameters
    ----------
    pose : PoseSequence
        Same rows; repaired frames carry interpolated landmarks, NaN where the gap is
        too wide.
    repaired : ndarray of bool, shape (T,)
        Frames whose landmarks are not the network's own.
    """

    pose: PoseSequence
    repaired: NDArray[np.bool_]


def clean(pose: PoseSequence, *, until_s: float) -> Cleaned:
    """Give up collapsed frames, undo exchanged legs, bridge short gaps.

    Parameters
    ----------
    pose : PoseSequence
    until_s : float
        Time until which both feet stand still (impact, or the last frame).
    """
    planted = pose.time_s <= until_s
    xy = unswapped_legs(pose.xy_px, planted)
    bad = collapsed(xy, planted) | ~np.isfinite(xy).all(axis=(1, 2))

    def bridged(values: Array) -> Array:
        return bridge(pose.time_s, values, bad, max_gap_s=MAX_GAP_S)

    return Cleaned(
        pose=replace(
            pose,
            xy_px=bridged(xy),
            confidence=bridged(pose.confidence),
            depth=None if pose.depth is None else bridged(pose.depth),
            world_m=None if pose.world_m is None else bridged(pose.world_m),
        ),
        repaired=bad,
    )


def chain_px(xy_px: Array) -> Array:
    """Mean thigh and shank of both legs plus trunk in the picture, shape (T,)."""

    def length(a: str, b: str) -> Array:
        return np.asarray(np.linalg.norm(xy_px[:, LANDMARK[a]] - xy_px[:, LANDMARK[b]], axis=-1))

    legs = sum(
        length(f"hip_{s}", f"knee_{s}") + length(f"knee_{s}", f"ankle_{s}")
        for s in ("left", "right")
    )
    hips = xy_px[:, [LANDMARK["hip_left"], LANDMARK["hip_right"]]].mean(axis=1)
    shoulders = xy_px[:, [LANDMARK["shoulder_left"], LANDMARK["shoulder_right"]]].mean(axis=1)
    return np.asarray(legs / 2 + np.linalg.norm(hips - shoulders, axis=-1))


def collapsed(xy_px: Array, planted: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Frames whose feet or pelvis are nowhere near where the whole swing has them.

    Parameters
    ----------
    xy_px : ndarray, shape (T, 33, 2)
    planted : ndarray of bool, shape (T,)
        Frames in which both feet stand; fewer than three are taken as they are.

    Returns
    -------
    ndarray of bool, shape (T,)
        False for frames without landmarks: those are missing, not collapsed.
    """
    seen = np.isfinite(xy_px).all(axis=(1, 2))
    if (planted & seen).sum() < 3:
        return np.zeros(len(xy_px), bool)
    stature = float(np.median(chain_px(xy_px[seen]))) / CHAIN_SHARE
    home = np.median(xy_px[planted & seen][:, _FEET], axis=0)
    stray = np.linalg.norm(xy_px[:, _FEET] - home, axis=-1) / stature
    feet = np.where(
        planted,
        np.median(stray, axis=1) > FOOT_LIMIT,
        np.median(stray[:, _LEAD_FOOT], axis=1) > LEAD_FOOT_LIMIT,
    )
    hips = xy_px[:, [LANDMARK["hip_left"], LANDMARK["hip_right"]]].mean(axis=1)
    gone = np.linalg.norm(hips - np.median(hips[planted & seen], axis=0), axis=-1) / stature
    return np.asarray((feet | (gone > HIP_LIMIT)) & seen)


def unswapped_legs(xy_px: Array, planted: NDArray[np.bool_]) -> Array:
    """Exchange the legs back where the planted feet say that left is right.

    Returns
    -------
    ndarray, shape (T, 33, 2)
        A copy; only knees, ankles, heels and toes change sides. Hips stay: their lines
        do cross in a swing, and the corrector knows when.
    """
    out = xy_px.copy()
    seen = planted & np.isfinite(xy_px).all(axis=(1, 2))
    if seen.sum() < 3:
        return out
    home = np.median(xy_px[seen][:, _FEET], axis=0)
    crossed = home[[1, 0, 3, 2, 5, 4]]
    apart = np.linalg.norm(home - crossed, axis=-1).mean()
    as_is = np.linalg.norm(xy_px[:, _FEET] - home, axis=-1).mean(axis=1)
    exchanged = np.linalg.norm(xy_px[:, _FEET] - crossed, axis=-1).mean(axis=1)
    wrong = seen & (as_is > exchanged + 0.5 * apart)
    for left, right in _LEGS:
        out[wrong, left], out[wrong, right] = xy_px[wrong, right], xy_px[wrong, left]
    return out


def bridge(time_s: Array, values: Array, bad: NDArray[np.bool_], *, max_gap_s: float) -> Array:
    """Replace bad rows by the line between their good neighbours in time.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    values : ndarray, shape (T, ...)
    bad : ndarray of bool, shape (T,)
    max_gap_s : float
        Rows in a wider gap, and rows beyond the first or last good one by more than
        half of it, become NaN.

    Returns
    -------
    ndarray, shape (T, ...)
    """
    out = np.array(values, dtype=float)
    good, gaps = np.flatnonzero(~bad), np.flatnonzero(bad)
    if not len(gaps):
        return out
    out[gaps] = np.nan
    if not len(good):
        return out
    right = np.clip(np.searchsorted(good, gaps), 0, len(good) - 1)
    left = np.clip(np.searchsorted(good, gaps) - 1, 0, len(good) - 1)
    before, after = good[left], good[right]
    span = time_s[after] - time_s[before]
    inner = (before < gaps) & (gaps < after)
    lone = np.abs(time_s[gaps] - np.where(before < gaps, time_s[before], time_s[after]))
    near = np.where(inner, span <= max_gap_s, lone <= max_gap_s / 2)
    share = np.where(inner, (time_s[gaps] - time_s[before]) / np.where(span > 0, span, 1.0), 0.0)
    source = np.where(inner | (before < gaps), before, after)
    weight = share.reshape((-1,) + (1,) * (out.ndim - 1))
    filled = np.asarray(values[source] * (1 - weight) + values[after] * weight, dtype=float)
    out[gaps[near]] = filled[near]
    return out
