"""Moments of a film in which a club is held across the body: rests, and turns between them."""

from __future__ import annotations

import math

import numpy as np

from analysis.core.hand_events import Mask
from analysis.core.motion import gap_at, local_fit, stature_px
from analysis.core.pose import LANDMARK, Array, Moment, PoseSequence
from analysis.core.stillness import onset, rests

_REST = 0.012  # statures, over the upper body
_SHOWS = 0.02  # statures by which lines of hips and shoulders must look turned between rests
_UPPER = [
    LANDMARK[f"{part}_{side}"]
    for part in ("shoulder", "elbow", "wrist", "hip")
    for side in ("left", "right")
]


def bar_spans(pose: PoseSequence, *, view: str) -> list[tuple[float, float]]:
    """Each repetition, from the rest before its turn to the end of the held one.

    Parameters
    ----------
    pose : PoseSequence
        A right-hander, or a mirrored left-hander.
    view : str
        Turning away from the target narrows the lines of hips and shoulders face on and
        widens them down the line.

    Returns
    -------
    list of (start_s, end_s)
        In order; the whole film where no two rests look turned against each other.
    """
    whole = [(float(pose.time_s[0]), float(pose.time_s[-1]))]
    rows = np.asarray(np.isfinite(pose.xy_px[:, _UPPER]).all(axis=(1, 2)))
    if rows.sum() < 8:
        return whole
    t, raw, path = _paths(pose, rows)
    found = rests(t, path, limit=_REST)
    pairs = raw.reshape(len(t), len(_UPPER) // 2, 2, 2)
    across = np.sum(pairs[:, [0, 3], 0, 0] - pairs[:, [0, 3], 1, 0], axis=1)
    shown = [(1 if view == "down_the_line" else -1) * _mean(t, across, rest) for rest in found]
    scale = math.sqrt(len(_UPPER))
    if len(found) < 2 or scale * (max(shown) - min(shown)) < _SHOWS:
        return whole
    middle = (max(shown) + min(shown)) / 2
    spans: list[tuple[float, float]] = []
    standing: tuple[float, float] | None = None
    for rest, turn in zip(found, shown, strict=True):
        if turn < middle:
            standing = rest
        elif standing is not None:
            spans.append((standing[0], rest[1]))
            standing = None
        elif spans:  # the hold goes on after a small move
            spans[-1] = (spans[-1][0], rest[1])
    return spans or whole


def bar_events(pose: PoseSequence, inside: Mask) -> dict[str, Moment]:
    """Last rest before the turn, and the middle of the longest rest after it."""
    rows = inside & np.isfinite(pose.xy_px[:, _UPPER]).all(axis=(1, 2))
    if rows.sum() < 8:
        return _none("not_seen")
    t, raw, path = _paths(pose, rows)
    found = rests(t, path, limit=_REST)
    if not found:
        return _none("not_seen")
    if len(found) < 2:
        return _none("not_reached") | {"address": Moment(found[0][1], 0.1)}
    held = max(found[1:], key=lambda r: r[1] - r[0])
    middle = [path[(t >= r[0]) & (t <= r[1])].mean(axis=0) for r in found]
    far = [float(np.linalg.norm(m - middle[found.index(held)])) for m in middle]
    earlier = [r for r, d in zip(found, far, strict=True) if r[1] <= held[0] and d > 0.5 * max(far)]
    if not earlier:
        return _none("not_reached") | {"address": Moment(found[0][1], 0.1)}
    before = earlier[-1]
    # the way from one rest to the other is the one signal in which the turn begins
    first, last = (raw[(t >= r[0]) & (t <= r[1])].mean(axis=0) for r in (before, held))
    way = (raw - first) @ (last - first) / max(float(np.sum((last - first) ** 2)), 1e-12)
    gone = np.flatnonzero((t > before[1]) & (way > 0.25))
    until = t[gone[0]] if len(gone) else held[0]
    rows = (t >= before[0]) & (t <= until)
    start_s, sd = onset(t[rows], way[rows, None], before[1])
    return {
        "address": Moment(start_s, max(gap_at(t, start_s) / 2, sd, 0.02)),
        "top": Moment(0.5 * (held[0] + held[1]), max((held[1] - held[0]) / 8, 0.02)),
    }


def _paths(pose: PoseSequence, rows: Mask) -> tuple[Array, Array, Array]:
    """Times, and the upper body's points as they are and smoothed, in statures."""
    t = pose.time_s[rows]
    points = pose.xy_px[rows][:, _UPPER].reshape(rows.sum(), -1)
    raw = points / stature_px(pose, view="face_on", rows=rows) / math.sqrt(len(_UPPER))
    return t, raw, local_fit(t, raw, t, width_s=0.06)[0]


def _mean(time_s: Array, signal: Array, rest: tuple[float, float]) -> float:
    return float(signal[(time_s >= rest[0]) & (time_s <= rest[1])].mean())


def _none(reason: str) -> dict[str, Moment]:
    return {name: Moment(None, reason=reason) for name in ("address", "top")}
