"""Moments that hands, lead arm and trunk tell."""

from __future__ import annotations

import math
from dataclasses import dataclass

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
from analysis.core.pose import LANDMARK, Array, Capture, Moment, PoseSequence, ShaftTrack
from analysis.core.repetitions import Swing
from analysis.core.stillness import longest_rest, onset, rests

Mask = NDArray[np.bool_]

# Elevation of the lead shoulder-wrist line from landmarks: degrees per stature of height
# difference, offset, standard deviation. Robust regression on the rendered training
# swings (4,500 frames a view within 20 degrees of level, split by body). Down-the-line
# the lead wrist is hidden behind the trail hand, so the middle of the hands stands for it.
_ARM = {"face_on": (201.0, 7.9, 4.0), "down_the_line": (137.0, 0.8, 6.0)}
# How well the height of the hands is known late in the backswing: by members blind to the
# body, on 648 rendered swings down the line (half are within 1.1 cm, RMS 2.6).
_HEIGHT_SD_M = {"down_the_line": 0.02}
_TRANSITION_DROP_M = 0.10
_STATURE_M = 1.75
# Filmed as asked, the camera is as high as the hands (statures above the ankles).
_CAMERA_HEIGHT = 0.53
# How far hands or club head stray at rest and have left it, in metres.
_AT_REST_M, _LEFT_M = 0.018, 0.03
# How much of the way to fit: little of a sharp shaft, more of noisy hands.
_FIT_SHAFT_M, _FIT_HANDS_M = 0.09, 0.22
_RESTING_M_S, _TOP_SD = 0.15, 0.3
_FINISH_SD_S = 0.06
_BEGUN_M = 0.15  # hands rise by a few centimetres from address to impact
_REST_M = 0.028  # how far a resting golfer sways, hands and shoulders together


@dataclass(frozen=True)
class Signals:
    """What the events are read from, on the frames of one window."""

    time_s: Array
    hands_m: Array  # (T, 2), x right, y up, in metres of the picture
    path_m: Array  # (T, 2 or 3), the hands' path, in space where it is known; height last
    arm_deg: Array
    arm_sd_deg: float
    height_sd_m: float  # of the hands between lead arm level and top, against both
    shoulders_m: Array  # (T, 4) lead and trail shoulder, same axes
    still_px: float
    horizon_px: float  # row at the height of the camera, were it as high as asked


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


def signals_of(
    pose: PoseSequence,
    inside: Mask,
    capture: Capture,
    arm_deg: tuple[Array, float] | None,
    in_space_m: Array | None,
) -> Signals | None:
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
    both = [LANDMARK["shoulder_left"], LANDMARK["shoulder_right"]]
    feet = midpoint(pose.xy_px, "ankle_left", "ankle_right")[rows, 1]
    return Signals(
        time_s=pose.time_s[rows],
        hands_m=hands[rows] * flip,
        path_m=(hands * flip if in_space_m is None else in_space_m)[rows],
        arm_deg=arm[rows],
        arm_sd_deg=arm_sd,
        height_sd_m=_HEIGHT_SD_M.get(capture.view, 0.01),
        shoulders_m=(pose.xy_px[rows][:, both] * flip).reshape(-1, 4),
        still_px=tall,
        horizon_px=float(np.median(feet)) - _CAMERA_HEIGHT * tall,
    )


def _low_rows(hands: Array, rows: Mask) -> Mask:
    """Frames with the hands low: near address, where the scale is read."""
    low = np.nanpercentile(hands[rows, 1], 60)
    return np.asarray(rows & (hands[:, 1] >= low))


def top_of(s: Signals, swing: Swing) -> Moment:
    """Where the hands change direction: their slowest moment near the highest point."""
    fall = swing.low_s - swing.high_s
    width = max(0.02, 0.06 * fall)
    fine = np.arange(swing.high_s - 0.6 * fall - 0.05, swing.high_s + 0.4 * fall, 0.002)
    fine = fine[(fine >= s.time_s[0]) & (fine <= s.time_s[-1])]
    up = local_fit(s.time_s, s.hands_m[:, 1], fine, width_s=width)[0]
    rate = local_fit(s.time_s, s.path_m, fine, width_s=width)[1]
    low = np.interp(swing.low_s, s.time_s, s.hands_m[:, 1])
    near = up > np.nanmax(up) - 0.12 * (np.nanmax(up) - low)
    speed = np.where(near, np.linalg.norm(rate, axis=1), np.inf)
    i = int(np.nanargmin(speed))
    # how long the hands stay as slow as landmark noise makes a rest look
    flat = near & (speed < speed[i] + _RESTING_M_S)
    spread = _TOP_SD * float(np.ptp(fine[flat])) if flat.any() else 0.0
    return Moment(float(fine[i]), math.hypot(0.006, min(spread, 0.2 * fall)))


def address_of(
    s: Signals, shaft: ShaftTrack | None, top_s: float, reference: Moment | None
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
    return Moment(*onset(s.time_s[rows], path[rows], float(s.time_s[left])))


def _hands_and_shaft(s: Signals, shaft: ShaftTrack | None, top_s: float) -> Array:
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
    found = rests(t, local_fit(t, path[before], t, width_s=0.03)[0], limit=_AT_REST_M)
    middle = np.interp([0.5 * (a + b) for a, b in found], t, up) if found else np.empty(0)
    low = up.min() + 0.3 * (up[-1] - up.min())
    lying = [rest for rest, height in zip(found, middle, strict=True) if height < low]
    return lying[-1] if lying else None


def start_of_backswing(s: Signals, address: Moment, top_s: float) -> float:
    """Address, or without one the lowest place of the hands before the top."""
    if address.time_s is not None and s.time_s[0] - 1e-6 <= address.time_s < top_s:
        return address.time_s
    before = s.time_s < top_s
    return float(s.time_s[before][np.argmin(s.hands_m[before, 1])])


def arm_level(s: Signals, start_s: float, end_s: float, *, rising: bool) -> Moment:
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


def late_back_of(s: Signals, lead_arm: Moment, top: Moment) -> Moment:
    """Hands three quarters of the way from lead arm level to the top."""
    if lead_arm.time_s is None or top.time_s is None:
        return Moment(None, reason=lead_arm.reason or top.reason)
    width = max(0.015, 0.04 * (top.time_s - lead_arm.time_s))
    fine = np.arange(lead_arm.time_s, top.time_s, 0.002)
    if len(fine) < 3:
        return Moment(None, reason="not_reached")
    place, rate = local_fit(s.time_s, s.path_m[:, -1], fine, width_s=width)
    level = place[0] + 0.75 * (place[-1] - place[0])
    when = crossing_s(fine, place - level, rising=True)
    if not np.isfinite(when):
        return Moment(None, reason="not_reached")
    slope = max(abs(float(np.interp(when, fine, rate))), 0.05)
    moved = 0.25 * abs(float(rate[0])) * (lead_arm.uncertainty_s or 0.0)
    spread = math.hypot(moved, s.height_sd_m) / slope
    return Moment(when, min(spread, 0.5 * (top.time_s - lead_arm.time_s)))


def transition_of(s: Signals, top_s: float, impact_s: float) -> Moment:
    """Hands 10 cm under their height at the top."""
    width = max(0.012, 0.03 * (impact_s - top_s))
    fine = np.arange(top_s, impact_s, 0.002)
    if len(fine) < 3:
        return Moment(None, reason="not_seen")
    place, rate = local_fit(s.time_s, s.path_m[:, -1], fine, width_s=width)
    when = crossing_s(fine, place - (place[0] - _TRANSITION_DROP_M), rising=False)
    if not np.isfinite(when):
        return Moment(None, reason="not_reached")
    slope = max(abs(float(np.interp(when, fine, rate))), 0.1)
    return Moment(when, min(0.012 / slope, 0.2 * (impact_s - top_s)))


def begun_before(s: Signals, start_s: float, swing: Swing) -> bool:
    """Whether the film begins in the swing: the hands were never as low before as at the strike.

    Where they start is then no address, however still they look there.
    """
    up = np.interp([start_s, swing.low_s], s.time_s, s.hands_m[:, 1])
    return bool(up[0] > up[1] + _BEGUN_M)


def impact_of_hands(
    s: Signals, start_s: float, top_s: float, swing: Swing, *, begun: bool = False
) -> Moment:
    """Hands nearest their place at address, coming down; lowest where nobody saw an address."""
    down = swing.low_s - top_s
    if begun:
        return Moment(swing.low_s, max(0.03, 0.12 * down))
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


def finish_of(s: Signals, impact_s: float) -> Moment:
    """Rotation stops: both shoulders, and the hands, are as near their last place as they stay.

    Hands behind the head are guessed, so they count half. Someone who sways behind the
    swing rests twice as widely, and less certainly.
    """
    rows = s.time_s > impact_s
    if rows.sum() < 5:
        return Moment(None, reason="not_reached")
    t = s.time_s[rows]
    path = np.hstack([0.5 * s.hands_m[rows], s.shoulders_m[rows]])
    path = local_fit(t, path, t, width_s=0.04)[0]
    for limit, sd in ((_REST_M, _FINISH_SD_S), (2 * _REST_M, 1.5 * _FINISH_SD_S)):
        found = rests(t, path, limit=limit)
        if found:
            resting = (t >= found[0][0]) & (t <= found[0][1])
            away = np.linalg.norm(path - np.median(path[resting], axis=0), axis=1)
            there = np.flatnonzero(resting & (away <= max(away[resting].min(), _REST_M / 2)))
            return Moment(float(t[there[0]]), sd)
    return Moment(None, reason="not_reached")


def settled_at(s: Signals) -> Moment:
    """First moment of the longest rest: a set-up has no end of stillness to look for."""
    span = longest_rest(s.time_s, s.hands_m, since_s=-math.inf)
    if span is None:
        return Moment(None, reason="no_still_address")
    return Moment(span[0], max(gap_at(s.time_s, span[0]) / 2, 0.01))
