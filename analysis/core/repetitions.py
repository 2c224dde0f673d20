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
# A film that ends at the strike: how far above the lowest place the hands may end, how quick
# the way down is against the way up, and how long the film may go on, in ways down.
_HOME, _CUT_TEMPO, _CUT_AFTER = 0.10, 0.6, 1.3
_SHORTEST_FALL_S = 0.05  # 15 to 85 % of the way down
_UNSEEN_RISE, _MOST_DOUBT = 0.6, 2.0
_GRID_S = 1 / 60


@dataclass(frozen=True)
class _Pass:
    """A low between two highs: indices on the grid."""

    before: int
    low: int
    after: int


@dataclass(frozen=True)
class Swing:
    """One swing on the hands' even grid: times of the high, the low and the next high.

    `after_s` is infinite where the film ends before the hands have risen again.
    """

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
    Kept are lows between two highs of the hands that are passed in motion and whose signs,
    taken together, speak for a swing: a rise slower than the fall, hands together, feet in
    place, hands low, a fall that takes its time. A waggle fails the highs, a broken-off
    backswing the motion and the tempo, someone walking or waving feet and hands, a lost
    wrist the fall.
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
    last = _cut_short(time_s, up, passes)
    if last is not None and _is_swing(pose, time_s, up, last, stature_px):
        passes.append(last)
    return [
        Swing(
            window,
            float(time_s[p.before]),
            float(time_s[p.low]),
            float("inf") if p is last else float(time_s[p.after]),
        )
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


def _cut_short(time_s: Array, up: Array, passes: list[_Pass]) -> _Pass | None:
    """A swing whose film ends at the strike, before the hands have risen again.

    A club that is lowered takes as long as it took to rise, or is still for a while.
    """
    first = passes[-1].after if passes else 0
    if len(up) - first < 8:
        return None
    high = first + int(np.argmax(up[first:]))
    low = high + int(np.argmin(up[high:]))
    ended = _Pass(high, low, len(up) - 1)
    if up[high] - up[low] < _RISE or up[low] > up[first : high + 1].min() + _HOME:
        return None
    fall_s, rise_s = _span_s(time_s, up, low, high), _climb_s(time_s, up, high)
    left_s = float(time_s[-1] - time_s[low])
    return ended if fall_s < _CUT_TEMPO * rise_s and left_s < _CUT_AFTER * fall_s else None


def _is_swing(pose: PoseSequence, time_s: Array, up: Array, p: _Pass, stature_px: float) -> bool:
    """Whether a pass is a swing: the doubts of several signs, none decisive by itself alone.

    Each doubt is 0 where swings usually lie and 1 where that sign alone used to say no.
    """
    rise_s = _climb_s(time_s, up, p.before)
    fall_s = _span_s(time_s, up, p.low, p.before)
    inside = (pose.time_s >= time_s[p.before]) & (pose.time_s <= time_s[p.after])
    around = inside & (np.abs(pose.time_s - time_s[p.low]) < 2 * fall_s + 0.2)
    if around.sum() < 2:
        return False
    xy = pose.xy_px[around] / stature_px
    apart = np.linalg.norm(xy[:, LANDMARK["wrist_left"]] - xy[:, LANDMARK["wrist_right"]], axis=1)
    feet = midpoint(xy, "ankle_left", "ankle_right")
    hips = midpoint(xy, "hip_left", "hip_right")
    shoulders = midpoint(xy, "shoulder_left", "shoulder_right")
    moved = np.nanpercentile(feet, 90, axis=0) - np.nanpercentile(feet, 10, axis=0)
    doubts = (
        # the clip may start at the top: then nothing speaks for a backswing
        _UNSEEN_RISE if np.isinf(rise_s) else _doubt(fall_s / rise_s, 0.45, 1 / _TEMPO),
        _doubt(np.nanpercentile(apart, 35), 0.10, _TOGETHER),
        _doubt(np.hypot(*moved), 0.05, _FEET_MOVE),
        _doubt(-(-up[p.low] - np.nanmedian(shoulders[:, 1])), -0.30, -0.10),
        _doubt(-np.nanmedian(feet[:, 1] - hips[:, 1]), -0.40, -0.20),
        _doubt(-fall_s, -0.10, -_SHORTEST_FALL_S),
    )
    return bool(np.sum(np.square(doubts)) < _MOST_DOUBT)


def _doubt(value: float, usual: float, limit: float) -> float:
    doubt = (value - usual) / (limit - usual)
    return _UNSEEN_RISE if np.isnan(doubt) else float(np.clip(doubt, 0.0, 3.0))


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
