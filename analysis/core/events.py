"""Repetitions and events in time, from the hands alone (first version)."""

from __future__ import annotations

import numpy as np

from analysis.core.pose import EVENTS, LANDMARK, Array, Capture, Moment, PoseSequence, ShaftTrack

_WRISTS = (LANDMARK["wrist_left"], LANDMARK["wrist_right"])


def find_repetitions(pose: PoseSequence, *, stature_px: float) -> list[tuple[float, float]]:
    """Start and end of every swing: hands low, up, low, up again."""
    up = _hand_height(pose) / stature_px
    low = np.nanmin(up) if np.isfinite(up).any() else 0.0
    spans, t = [], pose.time_s
    i = 0
    while i < len(up):
        if up[i] > low + 0.18:
            j = i
            while j < len(up) and up[j] > low + 0.12:
                j += 1
            spans.append((float(t[i]), float(t[min(j, len(t) - 1)])))
            i = j
        i += 1
    return [(a - 1.5, b + 1.5) for a, b in spans[::2]]


def find_events(
    pose: PoseSequence,
    shaft: ShaftTrack | None,
    *,
    capture: Capture,
    window: tuple[float, float],
) -> dict[str, Moment]:
    """Address, top and impact from the height of the hands."""
    inside = (pose.time_s >= window[0]) & (pose.time_s <= window[1])
    t, up = pose.time_s[inside], _hand_height(pose)[inside]
    events = {e: Moment(None, reason="not_seen") for e in EVENTS}
    if len(t) < 5 or not np.isfinite(up).any():
        return events
    gap = float(np.median(np.diff(t)))
    if capture.kind == "setup":
        return {"address": Moment(float(t[len(t) // 2]), max(gap / 2, 0.02))}
    speed = np.abs(np.gradient(up, t))
    rises = np.flatnonzero(up > np.nanmin(up) + 0.5 * np.ptp(up[np.isfinite(up)]))
    end = rises[0]
    while end + 1 < len(up) and up[end + 1] > up[rises[0]]:
        end += 1
    top = rises[0] + int(np.nanargmax(up[rises[0] : end + 1]))
    still = np.flatnonzero(speed[:top] < 0.04 * np.nanmax(speed))
    if len(still):
        events["address"] = Moment(float(t[still[-1]]), max(2 * gap, 0.03))
    events["top"] = Moment(float(t[top]), max(gap, 0.02))
    after = up[top:]
    if len(after) > 3 and capture.kind != "hold":
        low = top + int(np.nanargmin(after))
        events["impact"] = Moment(float(t[low]), max(gap, 0.02))
    return events


def _hand_height(pose: PoseSequence) -> Array:
    return -np.mean(pose.xy_px[:, _WRISTS, 1], axis=1)
