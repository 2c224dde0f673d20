"""Moments in time: the eleven events of a swing, from the hands and the shaft.

Eight of them are the events of McNally et al., "GolfDB", CVPR Workshops 2019
(arXiv 1903.06528): address, toe-up (here takeaway), mid-backswing (lead arm back), top,
mid-downswing (lead arm down), impact, mid-follow-through (follow through), finish.
Times lie between frames where a signal crosses its level there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.motion import (
    crossing_s,
    gap_at,
    hands_px,
    local_fit,
    median3,
    midpoint,
    stature_px,
)
from analysis.core.pose import (
    EVENTS,
    JOINT,
    LANDMARK,
    Array,
    Capture,
    Moment,
    PoseSequence,
    ShaftTrack,
)
from analysis.core.repetitions import Swing, find_repetitions, find_swings

Mask = NDArray[np.bool_]

__all__ = ["find_events", "find_repetitions", "joint_signals", "lead_arm_deg"]

# Elevation of the lead shoulder-wrist line from landmarks: degrees per stature of height
# difference, offset, standard deviation. Robust regression on the rendered training
# swings (4,500 frames a view within 20 degrees of level, split by body). Down-the-line
# the lead wrist is hidden behind the trail hand, so the middle of the hands stands for it.
_ARM = {"face_on": (201.0, 7.9, 4.0), "down_the_line": (137.0, 0.8, 6.0)}
# Share of backswing or downswing at which the shaft is level, where it was not seen:
# median and standard deviation over the rendered training swings, widened by half.
_TAKEAWAY_SHARE = (0.40, 0.06)
_DELIVERY_SHARE = (0.24, 0.05)
_FOLLOW_SHARE = (0.24, 0.10)
_TRANSITION_DROP_M = 0.10
_STATURE_M = 1.75
_JOINT_ARM_SD_DEG = 4.0
_SETTLED_M = 0.037  # how far the hands of someone at rest stray
_BAR_REST = 0.012  # statures, over the upper body
# Filmed as asked, the camera is as high as the hands (statures above the ankles), and a
# level shaft's end is nearer than the hands by this share of their distance, or farther.
_CAMERA_HEIGHT, _NEARER, _FARTHER = 0.53, 0.33, -0.2
# How far hands or club head stray at rest and have left it, in metres.
_AT_REST_M, _LEFT_M = 0.018, 0.03
# How much of the way to fit: little of a sharp shaft, more of noisy hands.
_FIT_SHAFT_M, _FIT_HANDS_M = 0.09, 0.22
_REST_M = 0.028  # how far a resting golfer sways, hands and shoulders together


@dataclass(frozen=True)
class _Signals:
    """What the events are read from, on the frames of one window."""

    time_s: Array
    hands_m: Array  # (T, 2), x right, y up, in metres of the picture
    up_m: Array  # height of the hands
    arm_deg: Array
    arm_sd_deg: float
    trunk_m: Array  # (T, 2) middle of the shoulders, same axes
    still_px: float
    horizon_px: float  # row at the height of the camera, were it as high as asked


def find_events(
    pose: PoseSequence,
    shaft: ShaftTrack | None,
    *,
    capture: Capture,
    window: tuple[float, float],
    reference_address: Moment | None = None,
    arm_deg: tuple[Array, float] | None = None,
    grip_up_m: Array | None = None,
) -> dict[str, Moment]:
    """When each event of one repetition happened.

    Parameters
    ----------
    pose : PoseSequence
        A right-hander, or a mirrored left-hander.
    shaft : ShaftTrack, optional
        Without it the events of the shaft come from the hands, far less certain.
    capture : Capture
        Kind decides which events are looked for.
    window : tuple of float
        Start and end of the repetition in seconds.
    reference_address : Moment, optional
        Address of the first repetition, taken over when this one starts without
        standing still.
    arm_deg : (ndarray of shape (T,), float), optional
        Elevation of the lead shoulder-wrist line on the frames of `pose` with its
        standard deviation, from better joints than the landmarks.
    grip_up_m : ndarray, shape (T,), optional
        Height of the hands in space on the frames of `pose`; without it their height in
        the picture serves, in which nearer hands look higher.

    Returns
    -------
    dict of str to Moment
        The events of the kind, each once; what is never reached has a reason.
    """
    inside = (pose.time_s >= window[0] - 1e-6) & (pose.time_s <= window[1] + 1e-6)
    signals = _signals(pose, inside, capture, arm_deg, grip_up_m)
    if signals is None:
        return _none(capture.kind, "not_seen")
    if capture.kind == "setup":
        return {"address": _settled(signals)}
    if capture.kind == "bar":
        return _bar_events(pose, inside)
    if capture.kind == "hold":
        return _hold_events(signals, shaft, capture.view, reference_address)
    swing = _main_swing(pose, inside, capture)
    if swing is None:
        return _none(capture.kind, "no_swing") | {"address": _settled(signals)}
    return _swing_events(signals, shaft, swing, capture, reference_address)


def lead_arm_deg(pose: PoseSequence, *, view: str, stature: float) -> Array:
    """Elevation of the lead arm above level, from landmarks, shape (T,).

    Parameters
    ----------
    stature : float
        Standing height in pixels.
    """
    slope, offset, _ = _ARM[view]
    shoulder = pose.xy_px[:, LANDMARK["shoulder_left"], 1]
    wrist = pose.xy_px[:, LANDMARK["wrist_left"], 1] if view == "face_on" else hands_px(pose)[:, 1]
    return slope * (shoulder - wrist) / stature + offset


def joint_signals(joints_m: Array, *, view: str) -> dict[str, Any]:
    """What `find_events` reads better from joints in space than from the picture.

    Parameters
    ----------
    joints_m : ndarray, shape (T, J, 3)
        In the golfer's frame, on the frames of the pose.

    Returns
    -------
    dict
        `grip_up_m`, and down-the-line, where the lead arm points along the view,
        `arm_deg`; empty without joints.
    """
    arm = joints_m[:, JOINT["wrist_lead"]] - joints_m[:, JOINT["shoulder_lead"]]
    up = joints_m[:, JOINT["grip"], 2]
    if not (np.isfinite(up).all() and np.isfinite(arm).all()):
        return {}
    signals: dict[str, Any] = {"grip_up_m": up}
    if view == "down_the_line":
        level = np.degrees(np.arcsin(arm[:, 2] / np.linalg.norm(arm, axis=1)))
        signals["arm_deg"] = (level, _JOINT_ARM_SD_DEG)
    return signals


def _none(kind: str, reason: str) -> dict[str, Moment]:
    if kind == "setup":
        return {"address": Moment(None, reason=reason)}
    names: tuple[str, ...] = ("address", "top") if kind == "bar" else EVENTS
    if kind == "hold":
        names = EVENTS[: EVENTS.index("top") + 1]
    return {name: Moment(None, reason=reason) for name in names}


def _signals(
    pose: PoseSequence,
    inside: Mask,
    capture: Capture,
    arm_deg: tuple[Array, float] | None,
    grip_up_m: Array | None,
) -> _Signals | None:
    hands = hands_px(pose)
    rows = inside & np.isfinite(hands).all(axis=1)
    if rows.sum() < 5:
        return None
    tall = stature_px(pose, view=capture.view, rows=_low_rows(hands, rows))
    if not np.isfinite(tall) or tall <= 0:
        return None
    per_px = capture.stature_cm / 100 / tall
    flip = np.array([per_px, -per_px])
    if arm_deg is not None:
        arm, arm_sd = arm_deg
    elif capture.view in _ARM:
        arm, arm_sd = lead_arm_deg(pose, view=capture.view, stature=tall), _ARM[capture.view][2]
    else:
        arm, arm_sd = np.full(len(pose), np.nan), math.nan
    shoulders = midpoint(pose.xy_px, "shoulder_left", "shoulder_right")
    feet = midpoint(pose.xy_px, "ankle_left", "ankle_right")[rows, 1]
    return _Signals(
        time_s=pose.time_s[rows],
        hands_m=hands[rows] * flip,
        up_m=(hands[:, 1] * flip[1] if grip_up_m is None else grip_up_m)[rows],
        arm_deg=arm[rows],
        arm_sd_deg=arm_sd,
        trunk_m=shoulders[rows] * flip,
        still_px=tall,
        horizon_px=float(np.median(feet)) - _CAMERA_HEIGHT * tall,
    )


def _low_rows(hands: Array, rows: Mask) -> Mask:
    """Frames with the hands low: near address, where the scale is read."""
    low = np.nanpercentile(hands[rows, 1], 60)
    return np.asarray(rows & (hands[:, 1] >= low))


def _main_swing(pose: PoseSequence, inside: Mask, capture: Capture) -> Swing | None:
    part = PoseSequence(
        pose.time_s[inside],
        pose.frame[inside],
        pose.xy_px[inside],
        pose.confidence[inside],
        pose.size_px,
    )
    swings = find_swings(part, stature_px=stature_px(part, view=capture.view))
    return swings[-1] if swings else None


# --- one swing -----------------------------------------------------------------------


def _swing_events(
    s: _Signals,
    shaft: ShaftTrack | None,
    swing: Swing,
    capture: Capture,
    reference: Moment | None,
) -> dict[str, Moment]:
    events: dict[str, Moment] = {}
    top = _top(s, swing)
    events["top"] = top
    assert top.time_s is not None
    events["address"] = _address(s, shaft, top.time_s, reference)
    start = _start_of_backswing(s, events["address"], top.time_s)
    events["impact"] = _impact(s, shaft, capture, start, top.time_s, swing)
    impact = events["impact"].time_s or swing.low_s
    events["lead_arm_back"] = _arm_level(s, start, top.time_s, rising=True)
    events["late_back"] = _late_back(s, events["lead_arm_back"], top)
    events["transition"] = _transition(s, top.time_s, impact)
    events["lead_arm_down"] = _arm_level(s, top.time_s, impact, rising=False)
    back, down = top.time_s - start, impact - top.time_s
    near, far = (
        None if shaft is None else _shaft_up(shaft, s, capture.view, toward)
        for toward in (True, False)
    )
    events["takeaway"] = _level(s, near, (start, top.time_s), True) or Moment(
        start + _TAKEAWAY_SHARE[0] * back, _TAKEAWAY_SHARE[1] * back
    )
    events["delivery"] = _level(s, near, (top.time_s + 0.3 * down, impact), False) or Moment(
        impact - _DELIVERY_SHARE[0] * down, max(_DELIVERY_SHARE[1] * down, 0.01)
    )
    events["follow_through"] = _level(s, far, (impact, impact + 0.8 * down), True) or Moment(
        impact + _FOLLOW_SHARE[0] * down, _FOLLOW_SHARE[1] * down
    )
    events["finish"] = _finish(s, impact)
    return {name: _at_least_half_a_gap(s.time_s, events[name]) for name in EVENTS}


def _at_least_half_a_gap(time_s: Array, moment: Moment) -> Moment:
    if moment.time_s is None:
        return moment
    floor = gap_at(time_s, moment.time_s) / 2
    return replace(moment, uncertainty_s=max(moment.uncertainty_s or 0.0, floor))


def _top(s: _Signals, swing: Swing) -> Moment:
    """Slowest moment of the hands near their highest point."""
    fall = swing.low_s - swing.high_s
    width = max(0.02, 0.06 * fall)
    fine = np.arange(swing.high_s - 0.6 * fall - 0.05, swing.high_s + 0.4 * fall, 0.002)
    fine = fine[(fine >= s.time_s[0]) & (fine <= s.time_s[-1])]
    place, rate = local_fit(s.time_s, s.hands_m, fine, width_s=width)
    high = np.nanmax(place[:, 1])
    low = np.interp(swing.low_s, s.time_s, s.hands_m[:, 1])
    near = place[:, 1] > high - 0.12 * (high - low)
    speed = np.where(near, np.hypot(rate[:, 0], rate[:, 1]), np.inf)
    i = int(np.nanargmin(speed))
    # how long the hands stay as slow as landmark noise makes a rest look
    flat = near & (speed < speed[i] + 0.15)
    spread = float(np.ptp(fine[flat])) / 4 if flat.any() else 0.0
    return Moment(float(fine[i]), math.hypot(0.006, min(spread, 0.2 * fall)))


def _address(
    s: _Signals, shaft: ShaftTrack | None, top_s: float, reference: Moment | None
) -> Moment:
    """Last stillness of hands and shaft before the backswing: where the motion begins."""
    path = _hands_and_shaft(s, shaft, top_s)
    rest = _last_rest(s.time_s, path, top_s)
    if rest is None:
        return reference or Moment(None, reason="no_still_address")
    inside = (s.time_s >= rest[0]) & (s.time_s <= rest[1])
    away = np.linalg.norm(path - np.median(path[inside], axis=0), axis=1)
    later = np.flatnonzero((s.time_s > rest[0]) & (s.time_s < top_s))
    left = later[-1] - int(np.argmax(away[later][::-1] < _LEFT_M))
    gone = later[later > left]
    far = gone[away[gone] > (_FIT_HANDS_M if path.shape[1] == 2 else _FIT_SHAFT_M)]
    last = far[0] if len(far) else left
    until = s.time_s[min(max(last, left + 4), len(away) - 1)]
    rows = (s.time_s >= max(rest[0], s.time_s[left] - 0.8)) & (s.time_s <= until)
    return Moment(*_onset(s.time_s[rows], path[rows], float(s.time_s[left])))


def _hands_and_shaft(s: _Signals, shaft: ShaftTrack | None, top_s: float) -> Array:
    """Hands and, where the shaft is followed, how far a head 0.9 m away has moved.

    Across the shaft, and along it at half weight: down-the-line the club leaves toward
    the camera, and what shrinks first is its length.
    """
    if shaft is None:
        return s.hands_m
    seen = np.isfinite(shaft.angle_deg) & (shaft.time_s < top_s)
    if seen.sum() < 6:
        return s.hands_m
    turned = 0.9 * np.radians(shaft.angle_deg[seen])
    shrunk = 0.5 * _STATURE_M / s.still_px * shaft.length_px[seen]
    across, along = (np.interp(s.time_s, shaft.time_s[seen], v) for v in (turned, shrunk))
    return np.column_stack([s.hands_m, across, median3(along)])


def _last_rest(time_s: Array, path: Array, top_s: float) -> tuple[float, float] | None:
    """Start and end of the last rest with the hands low, before the top."""
    before = time_s < top_s
    t, up = time_s[before], path[before, 1]
    if len(t) < 5:
        return None
    rests = _rests(t, local_fit(t, path[before], t, width_s=0.03)[0], limit=_AT_REST_M)
    middle = np.interp([0.5 * (a + b) for a, b in rests], t, up) if rests else np.empty(0)
    low = up.min() + 0.3 * (up[-1] - up.min())
    lying = [rest for rest, height in zip(rests, middle, strict=True) if height < low]
    return lying[-1] if lying else None


def _onset(time_s: Array, signals: Array, guess_s: float) -> tuple[float, float]:
    """Where a constant turns into a parabola: least squares over the breaking point.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    signals : ndarray, shape (T, K)
        NaN rows of a signal carry no weight.
    guess_s : float
        Returned with a wide spread when there is too little to fit.

    Returns
    -------
    onset_s, sd_s : float
        Spread where the residual grows by its own variance.
    """
    if len(time_s) < 6:
        return guess_s, 0.1
    tries = np.arange(time_s[0] + 0.04, time_s[-1] - 0.02, 0.004)
    if not len(tries):
        return guess_s, 0.1
    costs = np.zeros(len(tries))
    for column in signals.T:
        good = np.isfinite(column)
        if good.sum() < 6:
            continue
        rest = good & (time_s <= np.quantile(time_s, 0.4))
        noise = np.nanstd(np.diff(column[rest])) / math.sqrt(2) if rest.sum() > 3 else np.nan
        residual = np.array([_bend(time_s[good], column[good], t0) for t0 in tries])
        floor = residual.min() / max(good.sum() - 4, 1)
        noise2 = max(floor, 0.0 if not np.isfinite(noise) else noise**2, 1e-10)
        costs += residual / noise2
    best = int(np.argmin(costs))
    near = tries[costs < costs[best] + 1.0]
    return float(tries[best]), float(max(np.ptp(near) / 2, 0.004))


def _bend(time_s: Array, values: Array, onset_s: float) -> float:
    late = np.maximum(time_s - onset_s, 0.0)
    design = np.stack([np.ones_like(late), late, late**2], axis=1)
    solved = np.linalg.lstsq(design, values, rcond=None)[0]
    return float(np.sum((values - design @ solved) ** 2))


def _start_of_backswing(s: _Signals, address: Moment, top_s: float) -> float:
    """Address, or without one the lowest place of the hands before the top."""
    if address.time_s is not None and s.time_s[0] - 1e-6 <= address.time_s < top_s:
        return address.time_s
    before = s.time_s < top_s
    return float(s.time_s[before][np.argmin(s.hands_m[before, 1])])


def _arm_level(s: _Signals, start_s: float, end_s: float, *, rising: bool) -> Moment:
    """The lead arm passes level: first time going up, first time coming down."""
    width = max(0.015, 0.04 * (end_s - start_s))
    fine = np.arange(start_s, end_s, 0.002)
    if len(fine) < 3 or not np.isfinite(s.arm_deg).any():
        return Moment(None, reason="not_seen")
    value, rate = local_fit(s.time_s, s.arm_deg, fine, width_s=width)
    when = crossing_s(fine, value, rising=rising)
    if not np.isfinite(when):
        return Moment(None, reason="not_reached")
    slope = abs(float(np.interp(when, fine, rate)))
    return Moment(when, min(s.arm_sd_deg / max(slope, 1.0), 0.25 * (end_s - start_s)))


def _late_back(s: _Signals, lead_arm: Moment, top: Moment) -> Moment:
    """Hands three quarters of the way from lead arm level to the top."""
    if lead_arm.time_s is None or top.time_s is None:
        return Moment(None, reason=lead_arm.reason or top.reason)
    width = max(0.015, 0.04 * (top.time_s - lead_arm.time_s))
    fine = np.arange(lead_arm.time_s, top.time_s, 0.002)
    if len(fine) < 3:
        return Moment(None, reason="not_reached")
    place, rate = local_fit(s.time_s, s.up_m, fine, width_s=width)
    level = place[0] + 0.75 * (place[-1] - place[0])
    when = crossing_s(fine, place - level, rising=True)
    if not np.isfinite(when):
        return Moment(None, reason="not_reached")
    slope = max(abs(float(np.interp(when, fine, rate))), 0.05)
    moved = 0.25 * abs(float(rate[0])) * (lead_arm.uncertainty_s or 0.0)
    spread = math.hypot(moved, 0.01) / slope
    return Moment(when, min(spread, 0.5 * (top.time_s - lead_arm.time_s)))


def _transition(s: _Signals, top_s: float, impact_s: float) -> Moment:
    """Hands 10 cm under their height at the top."""
    width = max(0.012, 0.03 * (impact_s - top_s))
    fine = np.arange(top_s, impact_s, 0.002)
    if len(fine) < 3:
        return Moment(None, reason="not_seen")
    place, rate = local_fit(s.time_s, s.up_m, fine, width_s=width)
    when = crossing_s(fine, place - (place[0] - _TRANSITION_DROP_M), rising=False)
    if not np.isfinite(when):
        return Moment(None, reason="not_reached")
    slope = max(abs(float(np.interp(when, fine, rate))), 0.1)
    return Moment(when, min(0.012 / slope, 0.2 * (impact_s - top_s)))


# --- the shaft -----------------------------------------------------------------------


def _shaft_up(
    shaft: ShaftTrack, s: _Signals, view: str, toward_camera: bool
) -> tuple[Array, Array]:
    """Times and how far the far end of the shaft stands above level, in statures.

    Down-the-line a level shaft points along the view, and its end stands where
    perspective puts it: away from the horizon when it is nearer than the hands.
    """
    seen = np.isfinite(shaft.angle_deg)
    rise = np.sin(np.radians(shaft.angle_deg[seen])) * shaft.length_px[seen]
    if view == "down_the_line":
        part = _NEARER if toward_camera else _FARTHER
        rise = rise + part * (shaft.grip_px[seen, 1] - s.horizon_px)
    return shaft.time_s[seen], rise / s.still_px


def _level(
    s: _Signals, up: tuple[Array, Array] | None, span: tuple[float, float], rising: bool
) -> Moment | None:
    """The shaft passes level inside a span.

    Interpolated between two frames, or led on into the gap in which it is seen from its
    end.
    """
    if up is None:
        return None
    time_s, part = up
    rows = (time_s >= span[0] - 1e-6) & (time_s <= span[1] + 1e-6)
    t, y = time_s[rows], part[rows] if rising else -part[rows]
    if len(t) < 2 or y[0] >= 0:
        return None
    frames = gap_at(s.time_s, t[0])
    wide = np.flatnonzero(np.diff(t) > max(2.6 * frames, 0.03))
    last = int(wide[0]) if len(wide) else len(t) - 1
    above = np.flatnonzero(y[: last + 1] >= 0)
    if len(above):
        i = int(above[0]) - 1
        slope = (y[i + 1] - y[i]) / (t[i + 1] - t[i])
        noise = min(0.02 / max(abs(slope), 1e-3), frames)
        return Moment(float(t[i] - y[i] / slope), math.hypot(noise, 0.1 * (t[i + 1] - t[i])))
    return _led_on(t, y, last)


def _led_on(t: Array, y: Array, last: int) -> Moment | None:
    """Where both sides of a gap, in which the shaft is seen from its end, meet zero."""
    end = t[last + 1] if last + 1 < len(t) else t[last] + 0.1
    found = []
    for side in (slice(max(last - 3, 0), last + 1), slice(last + 1, last + 5)):
        if len(t[side]) < 3:
            continue
        rate, level = np.polyfit(t[side] - t[last], y[side], 1)
        when = t[last] - level / rate if rate > 0 else math.nan
        if t[last] <= when <= end:
            found.append((when, min(when - t[last], end - when)))
    if not found:
        return None
    weight = [1 / (0.005 + far) ** 2 for _, far in found]
    when = float(np.average([w for w, _ in found], weights=weight))
    spread = float(np.average([abs(w - when) for w, _ in found], weights=weight))
    return Moment(when, 0.3 * min(far for _, far in found) + 0.5 * spread + 0.003)


def _impact(
    s: _Signals,
    shaft: ShaftTrack | None,
    capture: Capture,
    start_s: float,
    top_s: float,
    swing: Swing,
) -> Moment:
    hands = _impact_of_hands(s, start_s, top_s, swing)
    if shaft is None or hands.time_s is None:
        return hands
    found = _impact_of_shaft(shaft, capture, start_s, top_s, hands)
    moment = found or hands
    if moment.time_s is not None and np.isfinite(shaft.ball_gone_s):
        gap = gap_at(shaft.time_s, shaft.ball_gone_s)
        late, early = shaft.ball_gone_s, shaft.ball_gone_s - gap
        if abs(moment.time_s - late) < 0.25 * (moment.time_s - top_s):
            inside = float(np.clip(moment.time_s, early, late))
            return Moment(inside, max(gap / 3.5, min(moment.uncertainty_s or gap, gap / 2)))
    return moment


def _impact_of_hands(s: _Signals, start_s: float, top_s: float, swing: Swing) -> Moment:
    """Hands nearest their place at address, coming down."""
    down = swing.low_s - top_s
    fine = np.arange(top_s + 0.5 * down, swing.low_s + 0.35 * down, 0.002)
    fine = fine[fine <= s.time_s[-1]]
    rest = np.abs(s.time_s - start_s) < 0.1
    before = rest & (s.time_s <= start_s + 0.02)
    home = np.median(s.hands_m[before if before.any() else rest], axis=0)
    if len(fine) < 3 or not np.isfinite(home).all():
        return Moment(swing.low_s, max(0.03, 0.1 * down))
    place = local_fit(s.time_s, s.hands_m, fine, width_s=max(0.01, 0.02 * down))[0]
    i = int(np.argmin(np.hypot(*(place - home).T)))
    return Moment(float(fine[i]), max(0.02, 0.08 * down))


def _impact_of_shaft(
    shaft: ShaftTrack, capture: Capture, start_s: float, top_s: float, hands: Moment
) -> Moment | None:
    """The shaft passes the head's place at address (face-on), or the head is nearest to it."""
    assert hands.time_s is not None
    reach = max(3 * (hands.uncertainty_s or 0.0), 0.06)
    if capture.view == "face_on":
        return _past_address_foot(shaft, start_s, hands.time_s, reach)
    return _head_at_ball(shaft, start_s, hands.time_s, reach)


def _past_address_foot(
    shaft: ShaftTrack, start_s: float, around_s: float, reach_s: float
) -> Moment | None:
    """The shaft's line passes the place on the ground where the head stood at address.

    The place, not the angle: the hands are ahead at impact, so the angle passes later.
    """
    seen = np.isfinite(shaft.angle_deg)
    rest = seen & (shaft.time_s <= start_s + 1e-6) & (shaft.time_s > start_s - 0.3)
    near = np.flatnonzero(seen & (np.abs(shaft.time_s - around_s) <= reach_s))
    if not rest.any() or len(near) < 2:
        return None
    home = np.median(_visible_end(shaft)[rest], axis=0)
    away = (shaft.angle_deg[near] + 90 + 180) % 360 - 180
    near = near[np.abs(away) < 75]
    if len(near) < 2 or not np.isfinite(home).all():
        return None
    t = shaft.time_s[near]
    fine = np.arange(t[0], t[-1], 0.0005)
    angle = np.radians(np.interp(fine, t, shaft.angle_deg[near]))
    grip = np.stack([np.interp(fine, t, shaft.grip_px[near, k]) for k in (0, 1)], axis=1)
    drop = home[1] - grip[:, 1]
    foot = grip[:, 0] - drop / np.tan(angle)
    when = crossing_s(fine, foot - home[0], rising=True)
    if not np.isfinite(when):
        return None
    i = int(np.clip(np.searchsorted(t, when), 1, len(t) - 1))
    return Moment(when, math.hypot(0.0015, 0.12 * (t[i] - t[i - 1])))


def _head_at_ball(
    shaft: ShaftTrack, start_s: float, around_s: float, reach_s: float
) -> Moment | None:
    """Lowest point of the visible end of the shaft, by a parabola through it."""
    rest = (shaft.time_s <= start_s + 1e-6) & (shaft.time_s > start_s - 0.3)
    head = _visible_end(shaft)
    home = np.nanmedian(head[rest], axis=0) if np.isfinite(head[rest]).any() else None
    near = np.isfinite(head).all(axis=1) & (np.abs(shaft.time_s - around_s) <= reach_s)
    if home is None or near.sum() < 3 or not np.isfinite(home).all():
        return None
    t = shaft.time_s[near]
    distance = np.hypot(*(head[near] - home).T)
    i = int(np.argmin(distance))
    if i == 0 or i == len(t) - 1:
        return None
    # near its closest point a passing head makes the squared distance a parabola
    rows = slice(i - 1, i + 2)
    a, b, _ = np.polyfit(t[rows] - t[i], distance[rows] ** 2, 2)
    when = float(np.clip(t[i] - b / (2 * a), t[i - 1], t[i + 1])) if a > 0 else float(t[i])
    return Moment(when, (t[i + 1] - t[i - 1]) / 6)


def _visible_end(shaft: ShaftTrack) -> Array:
    angle = np.radians(shaft.angle_deg)
    reach = np.stack([np.cos(angle), -np.sin(angle)], axis=1) * shaft.length_px[:, None]
    end = shaft.grip_px + reach
    return np.where(np.isfinite(shaft.head_px), shaft.head_px, end)


# --- rests ---------------------------------------------------------------------------


def _finish(s: _Signals, impact_s: float) -> Moment:
    """Hands and shoulders come to rest: when they reach their last place."""
    rows = s.time_s > impact_s
    if rows.sum() < 5:
        return Moment(None, reason="not_reached")
    t = s.time_s[rows]
    path = np.hstack([s.hands_m[rows], s.trunk_m[rows]])
    rests = _rests(t, local_fit(t, path, t, width_s=0.04)[0], limit=_REST_M)
    if not rests:
        return Moment(None, reason="not_reached")
    return Moment(rests[0][0], 0.08)


def _settled(s: _Signals) -> Moment:
    """First moment of the longest rest: a set-up has no end of stillness to look for."""
    span = _longest_rest(s.time_s, s.hands_m, since_s=-math.inf)
    if span is None:
        return Moment(None, reason="no_still_address")
    return Moment(span[0], max(gap_at(s.time_s, span[0]) / 2, 0.01))


def _longest_rest(
    time_s: Array, path: Array, *, since_s: float, limit: float = _SETTLED_M
) -> tuple[float, float] | None:
    smooth = local_fit(time_s, path, time_s, width_s=0.03)[0]
    best: tuple[float, float] | None = None
    start = int(np.searchsorted(time_s, since_s))
    for end in range(start, len(time_s)):
        while np.linalg.norm(smooth[start] - smooth[end]) > limit:
            start += 1
        if best is None or time_s[end] - time_s[start] > best[1] - best[0]:
            best = (float(time_s[start]), float(time_s[end]))
    return best if best is not None and best[1] - best[0] >= 0.12 else None


def _hold_events(
    s: _Signals, shaft: ShaftTrack | None, view: str, reference: Moment | None
) -> dict[str, Moment]:
    """Backswing held at the top: its middle is the top."""
    names = EVENTS[: EVENTS.index("top") + 1]
    up = s.hands_m[:, 1]
    low, high = np.percentile(up, [2, 98])
    if high - low < 0.15:
        return _none("hold", "not_reached") | {"address": _settled(s)}
    above = np.flatnonzero(up > low + 0.5 * (high - low))
    span = _longest_rest(s.time_s[above[0] :], s.hands_m[above[0] :], since_s=-math.inf)
    if span is None:
        return _none("hold", "not_seen")
    held = 0.5 * (span[0] + span[1])
    address = _address(s, shaft, span[0], reference)
    start = _start_of_backswing(s, address, span[0])
    top = Moment(held, max((span[1] - span[0]) / 8, 0.02))
    lead = _arm_level(s, start, span[0], rising=True)
    sign = None if shaft is None else _shaft_up(shaft, s, view, True)
    back = span[0] - start
    events = {
        "address": address,
        "takeaway": _level(s, sign, (start, span[0]), True)
        or Moment(start + _TAKEAWAY_SHARE[0] * back, _TAKEAWAY_SHARE[1] * back),
        "lead_arm_back": lead,
        "late_back": _late_back(s, lead, Moment(span[0], 0.02)),
        "top": top,
    }
    return {name: _at_least_half_a_gap(s.time_s, events[name]) for name in names}


def _bar_events(pose: PoseSequence, inside: Mask) -> dict[str, Moment]:
    """Last rest before the turn, and the middle of the longest rest after it."""
    upper = [
        LANDMARK[f"{part}_{side}"]
        for part in ("shoulder", "elbow", "wrist", "hip")
        for side in ("left", "right")
    ]
    rows = inside & np.isfinite(pose.xy_px[:, upper]).all(axis=(1, 2))
    if rows.sum() < 8:
        return _none("bar", "not_seen")
    t = pose.time_s[rows]
    points = pose.xy_px[rows][:, upper].reshape(rows.sum(), -1)
    size = stature_px(pose, view="face_on", rows=rows)
    raw = points / size / math.sqrt(len(upper))
    path = local_fit(t, raw, t, width_s=0.06)[0]
    rests = _rests(t, path, limit=_BAR_REST)
    if not rests:
        return _none("bar", "not_seen")
    if len(rests) < 2:
        return _none("bar", "not_reached") | {"address": Moment(rests[0][1], 0.1)}
    held = max(rests[1:], key=lambda r: r[1] - r[0])
    middle = [path[(t >= r[0]) & (t <= r[1])].mean(axis=0) for r in rests]
    far = [float(np.linalg.norm(m - middle[rests.index(held)])) for m in middle]
    earlier = [r for r, d in zip(rests, far, strict=True) if r[1] <= held[0] and d > 0.5 * max(far)]
    if not earlier:
        return _none("bar", "not_reached") | {"address": Moment(rests[0][1], 0.1)}
    before = earlier[-1]
    # the way from one rest to the other is the one signal in which the turn begins
    first, last = (raw[(t >= r[0]) & (t <= r[1])].mean(axis=0) for r in (before, held))
    way = (raw - first) @ (last - first) / max(float(np.sum((last - first) ** 2)), 1e-12)
    gone = np.flatnonzero((t > before[1]) & (way > 0.25))
    until = t[gone[0]] if len(gone) else held[0]
    rows = (t >= before[0]) & (t <= until)
    onset, sd = _onset(t[rows], way[rows, None], before[1])
    return {
        "address": Moment(onset, max(gap_at(t, onset) / 2, sd, 0.02)),
        "top": Moment(0.5 * (held[0] + held[1]), max((held[1] - held[0]) / 8, 0.02)),
    }


def _rests(time_s: Array, path: Array, *, limit: float) -> list[tuple[float, float]]:
    """All rests of at least 0.25 s, greedy from the start."""
    out: list[tuple[float, float]] = []
    start = 0
    while start < len(time_s) - 1:
        end = start
        while end + 1 < len(time_s) and np.linalg.norm(path[end + 1] - path[start]) <= limit:
            end += 1
        if time_s[end] - time_s[start] >= 0.25:
            out.append((float(time_s[start]), float(time_s[end])))
            start = end + 1
        else:
            start += 1
    return out
