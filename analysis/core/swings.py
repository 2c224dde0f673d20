"""When the hands swing, told from coarse landmarks; which frames deserve a closer look."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.core.pose import LANDMARK, Array, PoseSequence

_WRISTS = [LANDMARK["wrist_left"], LANDMARK["wrist_right"]]
_HIPS = [LANDMARK["hip_left"], LANDMARK["hip_right"]]
_ANKLES = [LANDMARK["ankle_left"], LANDMARK["ankle_right"]]

_PAIRS = ("ear", "shoulder", "elbow", "hip", "knee", "ankle")
_BODY = [LANDMARK[f"{joint}_{side}"] for joint in _PAIRS for side in ("left", "right")]

TOGETHER = 0.22  # of stature between the wrists: both hands on one handle, as the network sees it
RISE = 0.14  # of stature: less than a lead arm parallel is no backswing
_FINISH_S, _AT_ONCE_S = 0.6, 0.25
_CUT_JUMP = 0.2  # of stature: so far jump the hands
_CUT_BODY, _CUT_SHARE = 0.03, 0.4  # so far jumps a pair of joints, and so many pairs do
_RETURN_S = 0.25
LEAD_IN_S, LEAD_OUT_S, LONGEST_BACK_S = 1.5, 1.3, 4.0


def swing_windows(
    time_s: Array, xy_px: Array, *, stature_px: float, kind: str
) -> list[tuple[float, float]]:
    """Stretches of time that hold a swing, from (S, 33, 2) coarse landmarks.

    Both hands stay together, rise from low to high, and the feet stay where they are:
    waving and walking do neither. Overlapping stretches are joined.

    Parameters
    ----------
    stature_px : float
        The golfer's stature in the pixels of `xy_px`.
    kind : str
        For `bar` the whole clip is one stretch, for `setup` the stillest second.
    """
    if not np.isfinite(stature_px) or len(time_s) < 2:
        return []
    if kind == "bar":
        return [(float(time_s[0]), float(time_s[-1]))]
    if kind == "setup":
        still = still_moment(time_s, xy_px, stature_px=stature_px)
        return [] if still is None else [(still - 0.6, still + 0.6)]
    height = hand_height(xy_px) / stature_px
    ready = _together(xy_px, stature_px) & _planted(time_s, xy_px, stature_px)
    windows: list[tuple[float, float]] = []
    settled = -np.inf
    for i in _rises(time_s, height, ready):
        low = float(time_s[_last_low(time_s, height, i)])
        end = _settled(time_s, xy_px, stature_px, i, kind)
        if low <= settled + _AT_ONCE_S:  # up again at once: the finish, however long it is held
            end = min(end, float(time_s[i]) + _FINISH_S)
        settled = end
        windows.append((low - LEAD_IN_S, end + LEAD_OUT_S))
    return _joined(windows, float(time_s[0]), float(time_s[-1]))


def hold_spans(pose: PoseSequence, *, stature_px: float) -> list[tuple[float, float]]:
    """Each backswing that is held: from standing still to when the hands are down again.

    A held backswing has no downswing by which repetitions are told apart elsewhere.
    """
    time_s, xy_px = pose.time_s, pose.xy_px
    height = hand_height(xy_px) / stature_px
    ready = _together(xy_px, stature_px) & _planted(time_s, xy_px, stature_px)
    spans: list[tuple[float, float]] = []
    for i in _rises(time_s, height, ready):
        low = float(time_s[_last_low(time_s, height, i)])
        floor = spans[-1][1] if spans else float(time_s[0])
        if spans and low <= floor + _AT_ONCE_S:
            continue  # swung through instead of held: the finish is no backswing
        spans.append((max(low - LEAD_IN_S, floor), _settled(time_s, xy_px, stature_px, i, "hold")))
    return spans


def still_moment(time_s: Array, xy_px: Array, *, stature_px: float) -> float | None:
    """The middle of the stillest second in which the hands are together and low."""
    speed = hand_speed(time_s, xy_px) / stature_px
    height = hand_height(xy_px) / stature_px
    fit = _together(xy_px, stature_px) & (height < 0.12) & (height > -0.2) & np.isfinite(speed)
    best, found = np.inf, None
    for t in time_s:
        inside = np.abs(time_s - t) <= 0.5
        if inside.sum() < 3 or np.mean(fit[inside]) < 0.7:
            continue
        worst = float(np.percentile(speed[inside & np.isfinite(speed)], 80))
        if worst < best:
            best, found = worst, float(t)
    return found if best < 0.12 else None


def hand_height(xy_px: Array) -> Array:
    """Height of the middle of the wrists above the middle of the hips, shape (S,)."""
    return np.asarray(xy_px[:, _HIPS, 1].mean(axis=1) - xy_px[:, _WRISTS, 1].mean(axis=1))


def hand_speed(time_s: Array, xy_px: Array) -> Array:
    """Speed of the middle of the wrists in pixels per second, shape (S,)."""
    hands = xy_px[:, _WRISTS].mean(axis=1)
    if len(time_s) < 2:
        return np.full(len(time_s), np.nan)
    return np.asarray(np.linalg.norm(np.gradient(hands, time_s, axis=0), axis=1))


def film_cuts(time_s: Array, xy_px: Array, *, stature_px: float) -> list[int]:
    """Rows at which an edited film jumps: the hands rest, and rest elsewhere one row on.

    No swing does that, however fast: before and after its quickest frame the hands move.
    Nor is a lost wrist an edit: a cut moves most of the body, and it does not jump back.
    """
    marks = xy_px[:, _BODY].reshape(len(xy_px), -1, 2, 2).mean(axis=2) / stature_px
    hands = xy_px[:, _WRISTS].mean(axis=1) / stature_px
    rows = []
    for i in range(2, len(time_s) - 1):
        before, after = slice(max(0, i - 3), i), slice(i, i + 3)
        if not (np.isfinite(marks[before]).all() and np.isfinite(marks[after]).all()):
            continue
        jump, wander = _jump(hands, before, after)
        if not (jump > _CUT_JUMP and wander < 0.2 * jump):
            continue
        body, shake = np.array([_jump(marks[:, k], before, after) for k in range(len(_PAIRS))]).T
        moved = np.mean(body > np.maximum(_CUT_BODY, 2 * shake))
        if moved >= _CUT_SHARE and not _returns(time_s, hands, i, jump):
            rows.append(i)
    return rows


def _jump(path: Array, before: slice, after: slice) -> tuple[float, float]:
    """How far apart two groups of rows lie, and how far either strays by itself."""
    apart = np.linalg.norm(np.median(path[after], axis=0) - np.median(path[before], axis=0))
    stray = max(float(np.ptp(path[rows], axis=0).max()) for rows in (before, after))
    return float(apart), stray


def _returns(time_s: Array, path: Array, i: int, jump: float) -> bool:
    """Whether a path is back within a few rows, at either side of row `i`, at one stroke."""
    home, there = np.median(path[max(0, i - 3) : i], axis=0), np.median(path[i : i + 3], axis=0)
    later = (time_s > time_s[i]) & (time_s <= time_s[i] + _RETURN_S)
    earlier = (time_s < time_s[i - 1]) & (time_s >= time_s[i - 1] - _RETURN_S)
    back = np.linalg.norm(path[later] - home, axis=1) < 0.3 * jump
    been = np.linalg.norm(path[earlier] - there, axis=1) < 0.3 * jump
    return bool(back.any() or been.any())


def frames_to_measure(
    frame_times_s: Array,
    window: tuple[float, float],
    *,
    coarse_time_s: Array,
    coarse_speed: Array,
    slow_hz: float = 20.0,
    fast_hz: float = 120.0,
) -> NDArray[np.int64]:
    """Frames inside a window, denser where the hands move fast.

    Parameters
    ----------
    coarse_speed : ndarray, shape (S,)
        Hand speed in statures per second; the rate follows it at 60 pictures per stature.
    """
    inside = np.flatnonzero((frame_times_s >= window[0]) & (frame_times_s <= window[1]))
    if len(inside) == 0:
        return inside
    known = np.isfinite(coarse_speed)
    if known.any():
        # an early look at a fast stretch must not miss it: the greatest speed nearby counts
        near = np.abs(frame_times_s[inside][:, None] - coarse_time_s[known][None]) <= 0.25
        speed = np.max(np.where(near, coarse_speed[known][None], 0.0), axis=1)
    else:
        speed = np.full(len(inside), np.inf)
    rate = np.clip(60 * speed, slow_hz, fast_hz)
    kept, credit = [], 1.0
    gaps = np.diff(frame_times_s[inside], prepend=frame_times_s[inside][0])
    for index, gap, hz in zip(inside, gaps, rate, strict=True):
        credit += gap * hz
        if credit >= 0.999:
            kept.append(index)
            credit = min(credit - 1.0, 0.999)
    return np.array(kept, np.int64)


def _together(xy_px: Array, stature_px: float) -> NDArray[np.bool_]:
    apart = np.linalg.norm(xy_px[:, _WRISTS[0]] - xy_px[:, _WRISTS[1]], axis=1)
    return np.asarray(np.nan_to_num(apart, nan=np.inf) < TOGETHER * stature_px)


def _planted(time_s: Array, xy_px: Array, stature_px: float) -> NDArray[np.bool_]:
    """Feet within a tenth of stature of where they are half a second either way."""
    feet = xy_px[:, _ANKLES].mean(axis=1)
    out = np.zeros(len(time_s), bool)
    for i, t in enumerate(time_s):
        near = feet[(np.abs(time_s - t) <= 0.5) & np.isfinite(feet[:, 0])]
        out[i] = len(near) > 1 and np.ptp(near, axis=0).max() < 0.10 * stature_px
    return out


def _rises(time_s: Array, height: Array, ready: NDArray[np.bool_]) -> list[int]:
    """Samples at which the hands have just risen clear of the lowest recent place."""
    found, armed_from = [], -np.inf
    for i, t in enumerate(time_s):
        back = (time_s <= t) & (time_s >= max(t - LONGEST_BACK_S, armed_from)) & ready
        if back.sum() < 2 or not np.isfinite(height[i]):
            continue
        low = np.nanmin(height[back])
        if low < 0.15 and height[i] - low > RISE and np.mean(ready[back]) > 0.5:
            found.append(i)
            armed_from = t + 0.4
    return found


def _last_low(time_s: Array, height: Array, i: int) -> int:
    back = np.flatnonzero((time_s <= time_s[i]) & (time_s >= time_s[i] - LONGEST_BACK_S))
    values = height[back]
    near = back[values < np.nanmin(values) + 0.04]
    return int(near[-1]) if len(near) else int(back[0])


def _settled(time_s: Array, xy_px: Array, stature_px: float, i: int, kind: str) -> float:
    """When the hands have come down again and the body has finished, or the hold is over."""
    limit = 8.0 if kind in ("hold", "rehearsal") else 3.5
    height = hand_height(xy_px) / stature_px
    later = np.flatnonzero((time_s > time_s[i]) & (time_s <= time_s[i] + limit))
    low = np.nanmin(height[max(0, i - 10) : i + 1])
    down = later[np.nan_to_num(height[later], nan=1.0) < low + 0.10]
    return float(time_s[down[0]]) if len(down) else float(time_s[later[-1] if len(later) else i])


def _joined(
    windows: list[tuple[float, float]], first: float, last: float
) -> list[tuple[float, float]]:
    out: list[tuple[float, float]] = []
    for start, end in windows:
        start, end = max(start, first), min(end, last)
        if out and start <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((start, end))
    return out
