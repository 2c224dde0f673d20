"""Measures of the club: angles of the shaft and where it points, from one line per frame.

A line in the picture fixes a plane through the camera in which the shaft lies; which
way it lies in that plane hardly matters where the shaft is nearly across the view, and
is taken from how long it is seen where it is not. So for the shaft's unit direction d
with components (x, y, z), the plane's normal n and the component c along the view,

    n . d = 0,   d . d = 1,   d_view = c

gives two directions, of which the picture shows one. Grip and ball are points on their
rays at the distance of the golfer's hands and of the target line. The camera is the
body fit's where there is one, else a level one that stands as asked.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.core.camera import Camera, at_depth, camera_of, shaft_directions, turned
from analysis.core.measures import Readings, ball_position_pct, measures_of
from analysis.core.motion import gap_at, local_fit
from analysis.core.pose import JOINT, Array, Capture, Moment, ShaftTrack
from analysis.core.sighting import (
    Sighting,
    at_rest,
    event_sd,
    head_at_address,
    seen_at,
    through_the_ball,
)

SHAFT_MEASURES = ("handle_lean_deg", "shaft_pitch_deg", "shaft_aim_deg", "shaft_aim_cm")
HAND_MEASURES = ("hand_speed_peak_m_s", "hand_speed_peak_s")


@dataclass(frozen=True)
class _Usual:
    """Where hands and shaft usually are at an event, in statures and shaft lengths.

    Medians and standard deviations over the rendered training swings: how far the grip
    lies from the feet along the target line and toward the ball, and which share of the
    shaft points along the target line and toward the ball.
    """

    grip_x: tuple[float, float]
    grip_y: tuple[float, float]
    along_x: tuple[float, float]
    along_y: tuple[float, float]


_USUAL = {
    "address": _Usual((0.00, 0.02), (0.18, 0.03), (0.04, 0.05), (0.51, 0.10)),
    "lead_arm_back": _Usual((-0.29, 0.03), (0.08, 0.06), (0.00, 0.25), (-0.51, 0.15)),
    "late_back": _Usual((-0.23, 0.05), (0.06, 0.07), (0.80, 0.30), (-0.33, 0.26)),
    "top": _Usual((-0.20, 0.05), (0.06, 0.07), (0.90, 0.20), (-0.18, 0.29)),
    "transition": _Usual((-0.25, 0.04), (0.10, 0.07), (0.20, 0.40), (-0.45, 0.20)),
    "lead_arm_down": _Usual((-0.28, 0.03), (0.11, 0.06), (0.00, 0.20), (-0.60, 0.19)),
    "impact": _Usual((0.05, 0.04), (0.18, 0.04), (0.00, 0.20), (0.47, 0.14)),
}
# The head stands on the target line, which runs this far from the feet (statures).
_BALL_X, _BALL_Y, _BALL_Z_M = (0.02, 0.03), (0.43, 0.06), 0.021
_BALL_MEETS_Y = 0.50  # as far out as its line of sight meets the ground on average
# Heels lie behind the ankles, and the network finds them to about this.
_HEEL_Y, _HEEL_SD_M = -0.025, 0.015
# Speed in space over speed across the picture, and its spread as a share.
_ACROSS = {"down_the_line": (1.10, 0.07), "face_on": (1.07, 0.07)}
_SPEED_SD_M_S = 0.3  # a fastest of noisy points: landmarks stray by half a centimetre a frame
_LEVEL_DEG = 25.0  # an aim along a shaft nearer level than this points at the horizon
_LONG = 0.35
_LINE_SD_DEG = 0.5  # the handle is gripped a little off the line of the shaft
# How well the seen length is known: a share of it, and how far its end is found (statures).
_LENGTH_SD, _END_SD = 0.06, 0.02
_SHARES = np.linspace(-0.98, 0.98, 99)


def measure_club(
    shaft: ShaftTrack | None,
    events: Mapping[str, Moment],
    body: Any,
    *,
    capture: Capture,
) -> Readings:
    """Every measure of the shaft that this view and kind list.

    Parameters
    ----------
    shaft : ShaftTrack, optional
    events : mapping of str to Moment
    body : object
        With `time_s`, `joints_px`, `scale_m_per_px` and, where the fit has them, `camera`
        (`f_px`, `R`, `t`, `centre_px`), `camera_yaw_deg` and `camera_yaw_sd_deg`.
    capture : Capture

    Returns
    -------
    dict
        (measure, event) to (value, one standard deviation) or a reason code.
    """
    listed = measures_of(capture.view, capture.kind)
    rows = [m for m in listed if m.id in SHAFT_MEASURES]
    if shaft is None:
        return {(m.id, m.event): "not_seen" for m in rows}
    readings: Readings = {}
    if any(m.id in HAND_MEASURES for m in listed):
        readings |= _hand_speed(shaft, events, body.scale_m_per_px, capture.view)
    if any(m.id == "ball_position_pct" for m in listed):
        readings["ball_position_pct", "address"] = _ball_position(shaft, body, events, capture)
    if not np.isfinite(shaft.angle_deg).any():
        return readings | {(m.id, m.event): "not_seen" for m in rows}
    setting = _setting(shaft, body, events, capture)
    for m in rows:
        moment = events.get(m.event, Moment(None, reason="not_reached"))
        if moment.time_s is None:
            readings[m.id, m.event] = moment.reason or "not_reached"
            continue
        seen = (
            at_rest(shaft, moment)
            if m.event == "address"
            else seen_at(shaft, moment, setting.stature_px)
        )
        if m.event == "top" and not isinstance(seen, str):
            # down-the-line the shaft points along the view there: what is short is an edge
            seen = seen if seen.length_px > _LONG * setting.stature_px else "shaft_end_on"
        if m.event == "impact" and not isinstance(seen, str):
            seen = through_the_ball(seen, head_at_address(shaft, events))
        if isinstance(seen, str):
            readings[m.id, m.event] = seen
            continue
        readings[m.id, m.event] = _reading(m.id, m.event, seen, setting, moment)
    return readings


def _hand_speed(
    shaft: ShaftTrack, events: Mapping[str, Moment], m_per_px: float, view: str
) -> Readings:
    """Fastest the grip moves across the picture between top and impact.

    The hands are fastest half-way down, where they cross either view; the share of the
    speed along the view is made up for by `_ACROSS`.
    """
    ids = [(id, "impact") for id in HAND_MEASURES]
    top, impact = (events.get(e, Moment(None, reason="not_reached")) for e in ("top", "impact"))
    if top.time_s is None or impact.time_s is None:
        return dict.fromkeys(ids, top.reason or impact.reason or "not_reached")
    fine = np.arange(top.time_s, impact.time_s, 0.002)
    frame_s = gap_at(shaft.time_s, 0.5 * (top.time_s + impact.time_s))
    inside = np.isfinite(shaft.grip_px).all(axis=1)
    near = inside & (shaft.time_s > top.time_s - 0.1) & (shaft.time_s < impact.time_s + 0.1)
    if len(fine) < 5 or near.sum() < 6:
        return dict.fromkeys(ids, "not_seen")
    width = max(0.75 * frame_s, 0.04 * (impact.time_s - top.time_s))
    rate = local_fit(shaft.time_s[near], shaft.grip_px[near], fine, width_s=width)[1]
    speed = np.hypot(rate[:, 0], rate[:, 1]) * m_per_px * _ACROSS[view][0]
    i = int(np.nanargmax(speed))
    flat = fine[speed > 0.97 * speed[i]]
    value, spread = float(speed[i]), _ACROSS[view][1]
    return {
        ids[0]: (value, math.hypot(spread * value, _SPEED_SD_M_S)),
        ids[1]: (
            float(impact.time_s - fine[i]),
            math.hypot(0.5 * frame_s + 0.02, 0.3 * float(np.ptp(flat))),
        ),
    }


def _ball_position(
    shaft: ShaftTrack, body: Any, events: Mapping[str, Moment], capture: Capture
) -> tuple[float, float] | str:
    """Ball between the heels along the target line, each at its own distance."""
    address = events.get("address", Moment(None, reason="not_seen"))
    if address.time_s is None:
        return address.reason or "not_seen"
    ball = shaft.ball_px
    ball = ball if np.isfinite(ball).all() else head_at_address(shaft, events)
    near = np.abs(body.time_s - address.time_s) < 0.3
    joints = [JOINT["heel_lead"], JOINT["heel_trail"]]
    if not np.isfinite(ball).all() or not near.any():
        return "no_ball"
    heels = np.nanmedian(body.joints_px[near][:, joints], axis=0)
    if not np.isfinite(heels).all() or abs(heels[0, 0] - heels[1, 0]) < 2:
        return "not_seen"
    stature_m = capture.stature_cm / 100
    camera = camera_of(body, events, capture, stature_m / body.scale_m_per_px)

    def share(seen_by: Camera, ball_y: float, heel_shift_px: float = 0.0) -> float:
        x = [
            at_depth(seen_by, heel + np.array([shift, 0.0]), _HEEL_Y * stature_m, 1)[0]
            for heel, shift in zip(heels, (heel_shift_px, 0.0), strict=True)
        ]
        at = at_depth(seen_by, ball, ball_y * stature_m, 1)[0]
        return ball_position_pct(float(x[0]), float(x[1]), float(at))

    far = _ball_depth(camera, ball, stature_m)
    value = share(camera, far)
    others = [
        share(turned(camera, yaw=camera.yaw_sd_deg), far),
        share(camera, far + _BALL_Y[1]),
        share(camera, far, _HEEL_SD_M / body.scale_m_per_px),
    ]
    return value, math.hypot(*(o - value for o in others), 1.0)


def _ball_depth(camera: Camera, ball_px: Array, stature_m: float) -> float:
    """Statures from the feet to the ball, face-on, by where its line of sight meets the ground.

    Drawn half-way to what is usual: regression over 339 rendered swings.
    """
    ray = camera.ray(ball_px)
    if ray[2] >= 0:
        return _BALL_Y[0]
    meets = camera.position_m + ray * (_BALL_Z_M - camera.position_m[2]) / ray[2]
    return _BALL_Y[0] + 0.5 * (min(max(float(meets[1]) / stature_m, 0.2), 0.8) - _BALL_MEETS_Y)


@dataclass(frozen=True)
class _Setting:
    """What is the same for all events of one repetition."""

    camera: Camera
    view: str
    stature_m: float
    stature_px: float
    shaft_m: float
    ball_px: Array


def _setting(
    shaft: ShaftTrack, body: Any, events: Mapping[str, Moment], capture: Capture
) -> _Setting:
    stature_m = capture.stature_cm / 100
    stature_px = stature_m / body.scale_m_per_px
    camera = camera_of(body, events, capture, stature_px)
    ball, head = shaft.ball_px, head_at_address(shaft, events)
    if not np.isfinite(ball).all():
        ball = head
    reach = float(np.nanpercentile(shaft.length_px, 95)) * body.scale_m_per_px
    shaft_m = (
        capture.club_cm / 100 - 0.14
        if capture.club_cm
        else _length_m(shaft, events, camera, view=capture.view, stature_m=stature_m)
    )
    if not np.isfinite(shaft_m) or not 0.4 < shaft_m < 1.3:
        shaft_m = min(max(reach, 0.7), 1.1)
    return _Setting(camera, capture.view, stature_m, stature_px, shaft_m, ball)


def _length_m(
    shaft: ShaftTrack,
    events: Mapping[str, Moment],
    camera: Camera,
    *,
    view: str,
    stature_m: float,
) -> float:
    """Middle of the hands to the end of the shaft, from address.

    The length that a shaft leaning as is usual must have to look as long as this one.
    """
    address = events.get("address", Moment(None)).time_s
    head = head_at_address(shaft, events)
    if address is None or not np.isfinite(head).all():
        return math.nan
    rows = (shaft.time_s <= address + 1e-3) & (shaft.time_s > address - 0.4)
    grip_px = np.nanmedian(shaft.grip_px[rows], axis=0)
    step = head - grip_px
    seen = float(np.hypot(*step))
    usual, axis = _USUAL["address"], 0 if view == "down_the_line" else 1
    along, depth = (
        (usual.along_x[0], usual.grip_x[0]) if axis == 0 else (usual.along_y[0], usual.grip_y[0])
    )
    angle = math.degrees(math.atan2(-step[1], step[0]))
    direction = shaft_directions(camera, grip_px, angle, np.array([along]), axis)[0]
    grip = camera.rotation @ (
        at_depth(camera, grip_px, depth * stature_m, axis) - camera.position_m
    )
    turned_to = camera.rotation @ direction
    # where f (p + L d)_xy / (p + L d)_z has moved from f p_xy / p_z by what is seen
    shift = camera.f_px * float((turned_to[:2] - grip[:2] / grip[2] * turned_to[2]) @ step) / seen
    return seen * float(grip[2]) / (shift - seen * float(turned_to[2]))


# --- from picture to ground ---------------------------------------------------------------


@dataclass(frozen=True)
class _Inputs:
    """Everything a value depends on, so that each can be moved by its spread."""

    angle_deg: float
    grip_px: Array
    along: float
    grip_depth: float
    ball_depth: float
    camera: Camera


def _reading(
    id: str, event: str, seen: Sighting, setting: _Setting, moment: Moment
) -> tuple[float, float] | str:
    usual = _USUAL[event]
    down_the_line = setting.view == "down_the_line"
    depth, depth_sd = usual.grip_x if down_the_line else usual.grip_y
    ball, ball_sd = _BALL_X if down_the_line else _BALL_Y
    along, along_sd = _along(seen, setting, event)
    given = _Inputs(seen.angle_deg, seen.grip_px, along, depth, ball, setting.camera)
    value = _value(id, event, given, setting)
    if isinstance(value, str):
        return value
    sigma = event_sd(moment, seen.frame_s)
    moved = [
        replace(given, angle_deg=given.angle_deg + math.hypot(seen.sd_deg, _LINE_SD_DEG)),
        replace(
            given,
            angle_deg=given.angle_deg + seen.rate_deg_s * sigma,
            grip_px=given.grip_px + seen.grip_rate_px_s * sigma,
        ),
        replace(given, along=float(np.clip(along + along_sd, -0.999, 0.999))),
        replace(given, grip_depth=depth + depth_sd),
        replace(given, ball_depth=ball + ball_sd),
        replace(given, camera=turned(setting.camera, yaw=setting.camera.yaw_sd_deg)),
        replace(given, camera=turned(setting.camera, pitch=setting.camera.pitch_sd_deg)),
        replace(given, camera=turned(setting.camera, roll=setting.camera.roll_sd_deg)),
    ]
    variance = 0.0
    for other in moved:
        changed = _value(id, event, other, setting)
        step = 15.0 if isinstance(changed, str) else changed - value
        variance += min(abs(step), 60.0) ** 2
    return value, math.sqrt(variance)


def _along(seen: Sighting, setting: _Setting, event: str) -> tuple[float, float]:
    """Share of the shaft along the view: what is usual, sharpened by the seen length.

    Every share is tried: the direction it gives the shaft, how long a shaft of this
    length would look then from this camera, and how well both fit.
    """
    usual, axis = _USUAL[event], 0 if setting.view == "down_the_line" else 1
    mean, sd = usual.along_x if axis == 0 else usual.along_y
    depth = usual.grip_x[0] if axis == 0 else usual.grip_y[0]
    direction = shaft_directions(setting.camera, seen.grip_px, seen.angle_deg, _SHARES, axis)
    grip = at_depth(setting.camera, seen.grip_px, depth * setting.stature_m, axis)
    head_px = setting.camera.picture_px(grip + setting.shaft_m * direction)
    length = np.hypot(*(head_px - seen.grip_px).T)
    spread = np.hypot(_LENGTH_SD * length, _END_SD * setting.stature_px)
    misfit = ((_SHARES - mean) / sd) ** 2 + ((seen.length_px - length) / spread) ** 2
    possible = np.isfinite(misfit)
    if not possible.any():
        return mean, sd
    weight = np.where(possible, np.exp(-0.5 * (misfit - np.nanmin(misfit))), 0.0)
    weight /= weight.sum()
    best = float(weight @ _SHARES)
    return best, math.sqrt(float(weight @ (_SHARES - best) ** 2))


def _value(id: str, event: str, given: _Inputs, setting: _Setting) -> float | str:
    axis = 0 if setting.view == "down_the_line" else 1
    share = np.array([given.along])
    direction = shaft_directions(given.camera, given.grip_px, given.angle_deg, share, axis)[0]
    if not np.isfinite(direction).all():
        return "shaft_end_on"
    if id == "handle_lean_deg":
        return math.degrees(math.atan2(-direction[0], -direction[2]))
    pitch = math.degrees(math.atan2(direction[2], -direction[1])) % 180
    if id == "shaft_pitch_deg":
        return pitch
    if min(pitch, 180 - pitch) < _LEVEL_DEG:
        return "shaft_level"
    if not np.isfinite(setting.ball_px).all():
        return "no_ball"
    grip = at_depth(given.camera, given.grip_px, given.grip_depth * setting.stature_m, axis)
    ball = at_depth(given.camera, setting.ball_px, given.ball_depth * setting.stature_m, axis)
    down = direction if direction[2] < 0 else -direction
    drop = grip[2] - ball[2]
    to_ball = math.atan2(ball[1] - grip[1], drop)
    along_shaft = math.atan2(down[1], -down[2])
    if id == "shaft_aim_deg":
        return math.degrees(along_shaft - to_ball)
    return float(100 * (grip[1] + math.tan(along_shaft) * (drop + _BALL_Z_M) - ball[1]))
