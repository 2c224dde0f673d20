"""Where in a clip the swings are, from the path of the hands alone.

A swing is hands up, hands low while moving, hands up again. Every threshold is relative
to the person's size or to the clip's own speeds, so that slow motion changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.motion import hands_px, local_fit, midpoint
from analysis.core.pose import LANDMARK, Array, PoseSequence

# In statures. The lowest top of the hands in a thousand rendered swings, one in five of
# them partial, is 0.20 above address.
_RISE = 0.11
_TOGETHER = 0.17
_FEET_MOVE = 0.16
_IN_PLACE = 0.012
# Pass speed at the bottom against the clip's fastest pass; a hand-lowered club stops there.
_PASS_SHARE = 0.06
_TEMPO = 1.15
_GRID_S = 1 / 60


@dataclass(frozen=True)
class _Pass:
    """A low between two highs: indices on the grid."""

    before: int
    low: int
    after: int


@dataclass(frozen=True)
class Swing:
    """One swing on the hands' even grid: times of the high, the low and the next high."""

    window_s: tuple[float, float]
    high_s: float
    low_s: float
    after_s: float


def find_repetitions(pose: PoseSequence, *, stature_px: float) -> list[tuple[float, float]]:
    """Windows that hold one swing each, address to finish with a margin.

    Parameters
    ----------
    pose : PoseSequence
        A coarse pose of 10 to 20 frames a second is enough.
    stature_px : float
        Standing height of the person in pixels.

    Returns
    -------
    list of (start_s, end_s)
        In order, not overlapping; empty when nobody swings.
    """
    return [swing.window_s for swing in find_swings(pose, stature_px=stature_px)]


def find_swings(pose: PoseSequence, *, stature_px: float) -> list[Swing]:
    """The swings of a clip with the turning points of the hands.

    Notes
    -----
    Kept are lows between two highs of the hands that (1) are passed in motion, (2) come
    after a rise slower than the fall, (3) with the hands together and (4) the feet in
    place: a waggle fails the highs, a broken-off backswing (1) and (2), someone walking
    or waving (3) and (4).
    """
    if len(pose) < 8 or not np.isfinite(stature_px) or stature_px <= 0:
        return []
    time_s, path = _grid(pose, stature_px)
    if not len(time_s):
        return []
    up = -path[:, 1]
    speed = np.hypot(*local_fit(time_s, path, time_s, width_s=0.03)[1].T)
    passes = [p for p in _passes(up) if _is_swing(pose, time_s, up, p, stature_px)]
    passes = _moving(time_s, up, speed, passes)
    return [
        Swing(window, float(time_s[p.before]), float(time_s[p.low]), float(time_s[p.after]))
        for p, window in zip(passes, _windows(time_s, path, passes), strict=True)
    ]


def _grid(pose: PoseSequence, stature_px: float) -> tuple[Array, Array]:
    """Hands on an even grid, in statures; gaps up to 0.4 s are bridged."""
    hands = hands_px(pose) / stature_px
    good = np.isfinite(hands).all(axis=1)
    if good.sum() < 8:
        return np.empty(0), np.empty((0, 2))
    t = pose.time_s[good]
    step = max(_GRID_S, float(np.median(np.diff(t))) / 2)
    time_s = np.arange(t[0], t[-1] + step / 2, step)
    path = np.stack([np.interp(time_s, t, hands[good, k]) for k in (0, 1)], axis=1)
    return time_s, local_fit(time_s, path, time_s, width_s=1.2 * step)[0]


def _passes(up: Array) -> list[_Pass]:
    """Lows with a rise of at least `_RISE` on both sides, by alternating extremes."""
    turns: list[tuple[int, int]] = []  # (index, +1 high or -1 low)
    high = low = 0
    state = 0
    for i, value in enumerate(up):
        if value > up[high]:
            high = i
        if value < up[low]:
            low = i
        if state >= 0 and up[high] - value > _RISE:
            turns.append((high, 1))
            state, low = -1, i
        elif state <= 0 and value - up[low] > _RISE:
            turns.append((low, -1))
            state, high = 1, i
    if state == 1:
        turns.append((high, 1))
    return [
        _Pass(turns[k - 1][0], turns[k][0], turns[k + 1][0])
        for k in range(1, len(turns) - 1)
        if turns[k][1] == -1
    ]


def _is_swing(pose: PoseSequence, time_s: Array, up: Array, p: _Pass, stature_px: float) -> bool:
    rise_s = _climb_s(time_s, up, p.before)
    fall_s = _span_s(time_s, up, p.low, p.before)
    if rise_s < _TEMPO * fall_s:
        return False
    inside = (pose.time_s >= time_s[p.before]) & (pose.time_s <= time_s[p.after])
    around = inside & (np.abs(pose.time_s - time_s[p.low]) < 2 * fall_s + 0.2)
    if around.sum() < 2:
        return False
    xy = pose.xy_px[around] / stature_px
    apart = np.linalg.norm(xy[:, LANDMARK["wrist_left"]] - xy[:, LANDMARK["wrist_right"]], axis=1)
    if np.nanpercentile(apart, 35) > _TOGETHER:
        return False
    feet = midpoint(xy, "ankle_left", "ankle_right")
    hips = midpoint(xy, "hip_left", "hip_right")
    moved = np.nanpercentile(feet, 90, axis=0) - np.nanpercentile(feet, 10, axis=0)
    hands_low = (
        -up[p.low] > np.nanmedian(midpoint(xy, "shoulder_left", "shoulder_right")[:, 1]) + 0.1
    )
    upright = np.nanmedian(feet[:, 1] - hips[:, 1]) > 0.2
    return bool(hands_low and upright and np.hypot(*moved) < _FEET_MOVE)


def _span_s(time_s: Array, up: Array, low: int, high: int) -> float:
    """Time between 15 % and 85 % of the way from a low to a high that follows or precedes."""
    a, b = min(low, high), max(low, high)
    share = (up[a : b + 1] - up[low]) / max(up[high] - up[low], 1e-9)
    inside = np.flatnonzero((share > 0.15) & (share < 0.85))
    if not len(inside):
        return float(time_s[1] - time_s[0])
    if low < high:  # rising: the last continuous climb
        last_low = np.flatnonzero(share <= 0.15)
        first = last_low[-1] if len(last_low) else 0
        return float(time_s[a + inside[-1]] - time_s[a + first])
    after = np.flatnonzero(share <= 0.15)
    end = after[0] if len(after) else len(share) - 1
    start = np.flatnonzero(share[: end + 1] >= 0.85)
    return float(time_s[a + end] - time_s[a + (start[-1] if len(start) else 0)])


def _climb_s(time_s: Array, up: Array, high: int) -> float:
    """How long the last climb to a high took, 15 % to 85 % of its height."""
    i = high
    lowest = high
    while i > 0:
        i -= 1
        if up[i] < up[lowest]:
            lowest = i
        elif up[i] > up[lowest] + _RISE:
            break
    if up[high] - up[lowest] < 0.6 * _RISE:  # the clip starts at the top
        return float("inf")
    return _span_s(time_s, up, lowest, high)


def _moving(time_s: Array, up: Array, speed: Array, passes: list[_Pass]) -> list[_Pass]:
    """Keep lows that are passed in motion."""
    fastest = float(np.nanmax(speed)) if len(speed) else 0.0
    kept = []
    for p in passes:
        down = _span_s(time_s, up, p.low, p.before)
        near = np.abs(time_s - time_s[p.low]) < max(0.35 * down, 0.05)
        # down-the-line the picture speed touches zero for an instant: a stop lasts
        stopped = np.mean(speed[near] < 0.02 * fastest)
        if np.nanmean(speed[near]) > _PASS_SHARE * fastest and stopped < 0.35:
            kept.append(p)
    return kept


def _windows(time_s: Array, path: Array, passes: list[_Pass]) -> list[tuple[float, float]]:
    up = -path[:, 1]
    out: list[tuple[float, float]] = []
    for k, p in enumerate(passes):
        floor = passes[k - 1].after if k else 0
        fall = _span_s(time_s, up, p.low, p.before)
        still = _still_before(time_s, path, p, floor)
        start = time_s[still] - max(0.7, 2 * fall, 1.2 * _span_s(time_s, up, still, p.before))
        last = passes[k + 1].before if k + 1 < len(passes) else len(time_s) - 1
        settled = time_s[p.after] + max(0.6, 2.5 * fall)
        out.append((float(max(time_s[floor], start)), float(min(settled, time_s[last]))))
    return out


def _still_before(time_s: Array, path: Array, p: _Pass, floor: int) -> int:
    """Last index before the backswing at which the hands were low and stayed in place.

    In place, not slow: down-the-line the hands leave along the line of sight.
    """
    up = -path[:, 1]
    height = up[p.before] - up[p.low]
    i = p.before
    while i > floor and up[i] > up[p.low] + 0.35 * height:
        i -= 1
    rise = _span_s(time_s, up, i, p.before)
    back = max(2, round(max(0.15, 0.3 * rise) / (time_s[1] - time_s[0])))
    while i - back > floor and np.hypot(*(path[i] - path[i - back])) > _IN_PLACE:
        i -= 1
    return i
