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

from analysis.core.measures import Readings, ball_position_pct, measures_of
from analysis.core.motion import gap_at, local_fit
from analysis.core.pose import JOINT, Array, Capture, Moment, ShaftTrack

SHAFT_MEASURES = ("handle_lean_deg", "shaft_pitch_deg", "shaft_aim_deg", "shaft_aim_cm")
HAND_MEASURES = ("hand_speed_peak_m_s", "hand_speed_peak_s")


@dataclass(frozen=True)
class Camera:
    """Pinhole: picture = K (R p + t), p in the golfer's frame, metres, the feet at 0."""

    f_px: float
    centre_px: Array
    rotation: Array
    position_m: Array
    yaw_sd_deg: float
    pitch_sd_deg: float = 2.0
    roll_sd_deg: float = 0.8

    def ray(self, xy_px: Array) -> Array:
        """Direction in the golfer's frame of what is seen at a pixel."""
        d = np.array([*(xy_px - self.centre_px) / self.f_px, 1.0])
        return np.asarray(self.rotation.T @ d)


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
# Heels lie behind the ankles, and the network finds them to about this.
_HEEL_Y, _HEEL_SD_M = -0.025, 0.015
# A phone's main camera sees about this many picture heights away; the person who films
# holds it at the height of the hands at address.
_USUAL_F, _USUAL_HEIGHT = 0.78, 0.57
# and stands between feet and ball: on the line through the hands (statures toward it).
_ASIDE = 0.11
_USUAL_YAW_SD_DEG, _LEVEL_HELD_DEG = 3.5, 1.0
# Speed in space over speed across the picture, and its spread as a share.
_ACROSS = {"down_the_line": (1.10, 0.07), "face_on": (1.07, 0.07)}
_LEVEL_DEG = 25.0  # an aim along a shaft nearer level than this points at the horizon
_LONG = 0.35
_SHORT = 0.10  # of stature in the picture: less is a shaft seen from its end
_LINE_SD_DEG = 0.5  # the handle is gripped a little off the line of the shaft


def usual_camera(
    *,
    view: str,
    size_px: tuple[int, int],
    feet_px: Array,
    stature_px: float,
    stature_m: float,
    yaw_deg: float = 0.0,
    yaw_sd_deg: float = _USUAL_YAW_SD_DEG,
    roll_deg: float = 0.0,
) -> Camera:
    """A camera as high as the hands, at the distance the person's size tells.

    It is turned so that the feet appear where they do.

    Parameters
    ----------
    feet_px : ndarray, shape (2,)
        Middle between the ankles at address.
    stature_px : float
        Standing height in pixels.
    yaw_deg : float
        How far off the line the camera stands, seen from above: positive toward the
        target (face-on), toward the heels (down-the-line).
    roll_deg : float
        How far the picture's right is raised above level.
    """
    f = _USUAL_F * max(size_px)
    distance = f * stature_m / stature_px
    centre = np.array(size_px, float) / 2
    height = _USUAL_HEIGHT * stature_m
    pitch = math.atan2(height - 0.05 * stature_m, distance) - math.atan2(feet_px[1] - centre[1], f)
    a = math.radians(yaw_deg)
    aside = _ASIDE * stature_m
    if view == "face_on":
        place = np.array([distance * math.sin(a), distance * math.cos(a) + aside, height])
    else:
        place = np.array([-distance * math.cos(a), aside - distance * math.sin(a), height])
    to_feet = np.array([-place[0], -place[1], 0.0]) / math.hypot(place[0], place[1])
    # the picture's right is the golfer's Y down-the-line and his X face-on
    beside = np.array([-to_feet[1], to_feet[0], 0.0])
    if beside[0 if view == "face_on" else 1] < 0:
        beside = -beside
    side = math.atan2(feet_px[0] - centre[0], f)  # where in the picture the feet stand
    ahead = to_feet * math.cos(side) - beside * math.sin(side)
    right = beside * math.cos(side) + to_feet * math.sin(side)
    up = np.array([0.0, 0.0, 1.0])
    axis = ahead * math.cos(pitch) - up * math.sin(pitch)
    below = -(up * math.cos(pitch) + ahead * math.sin(pitch))
    level = Camera(f, centre, np.stack([right, below, axis]), place, yaw_sd_deg)
    return _turned(level, roll=roll_deg)


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
            _at_rest(shaft, moment)
            if m.event == "address"
            else _seen_at(shaft, moment, setting.stature_px)
        )
        if m.event == "top" and not isinstance(seen, str):
            # down-the-line the shaft points along the view there: what is short is an edge
            seen = seen if seen.length_px > _LONG * setting.stature_px else "shaft_end_on"
        if m.event == "impact" and not isinstance(seen, str):
            seen = _through_the_ball(seen, _head_at_address(shaft, events))
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
        ids[0]: (value, math.hypot(spread * value, 0.1)),
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
    ball = ball if np.isfinite(ball).all() else _head_at_address(shaft, events)
    near = np.abs(body.time_s - address.time_s) < 0.3
    joints = [JOINT["heel_lead"], JOINT["heel_trail"]]
    if not np.isfinite(ball).all() or not near.any():
        return "no_ball"
    heels = np.nanmedian(body.joints_px[near][:, joints], axis=0)
    if not np.isfinite(heels).all() or abs(heels[0, 0] - heels[1, 0]) < 2:
        return "not_seen"
    stature_m = capture.stature_cm / 100
    camera = _camera(body, events, capture, stature_m / body.scale_m_per_px)

    def share(seen_by: Camera, ball_y: float, heel_shift_px: float = 0.0) -> float:
        x = [
            _at_depth(seen_by, heel + np.array([shift, 0.0]), _HEEL_Y * stature_m, 1)[0]
            for heel, shift in zip(heels, (heel_shift_px, 0.0), strict=True)
        ]
        at = _at_depth(seen_by, ball, ball_y * stature_m, 1)[0]
        return ball_position_pct(float(x[0]), float(x[1]), float(at))

    value = share(camera, _BALL_Y[0])
    others = [
        share(_turned(camera, yaw=camera.yaw_sd_deg), _BALL_Y[0]),
        share(camera, _BALL_Y[0] + _BALL_Y[1]),
        share(camera, _BALL_Y[0], _HEEL_SD_M / body.scale_m_per_px),
    ]
    return value, math.hypot(*(o - value for o in others), 1.0)


# --- what is seen ----------------------------------------------------------------------


@dataclass(frozen=True)
class _Seen:
    """The shaft at one moment: angle, its rate and spread, a point on it, seen length."""

    angle_deg: float
    rate_deg_s: float
    sd_deg: float
    grip_px: Array
    grip_rate_px_s: Array
    length_px: float
    frame_s: float


@dataclass(frozen=True)
class _Setting:
    """What is the same for all events of one repetition."""

    camera: Camera
    view: str
    stature_m: float
    stature_px: float
    shaft_m: float
    ball_px: Array


def _seen_at(shaft: ShaftTrack, moment: Moment, stature_px: float) -> _Seen | str:
    """Interpolated between neighbouring sightings, never across a gap."""
    when = moment.time_s
    assert when is not None
    rows = np.flatnonzero(np.isfinite(shaft.angle_deg))
    t = shaft.time_s[rows]
    frame_s = gap_at(shaft.time_s, when)
    k = int(np.searchsorted(t, when))
    before, after = max(k - 1, 0), min(k, len(t) - 1)
    reach = max(1.6 * frame_s, 0.025)
    if when - t[before] > reach or t[after] - when > reach:
        return "shaft_end_on"
    near = rows[np.abs(t - when) < max(2.6 * frame_s, 0.04)]
    angle = float(np.interp(when, shaft.time_s[near], shaft.angle_deg[near]))
    length = float(np.interp(when, shaft.time_s[near], shaft.length_px[near]))
    grip, rate = np.zeros(2), np.zeros(2)
    turn = 0.0
    span = shaft.time_s[near[-1]] - shaft.time_s[near[0]]
    if span > 0:
        turn = float(np.polyfit(shaft.time_s[near] - when, shaft.angle_deg[near], 1)[0])
    for axis in (0, 1):
        grip[axis] = np.interp(when, shaft.time_s[near], shaft.grip_px[near, axis])
        if span > 0:
            rate[axis] = np.polyfit(shaft.time_s[near] - when, shaft.grip_px[near, axis], 1)[0]
    if length < _SHORT * stature_px:
        return "shaft_end_on"
    sd = float(np.interp(when, shaft.time_s[near], shaft.sd_deg[near]))
    return _Seen(angle, turn, sd, grip, rate, length, frame_s)


def _at_rest(shaft: ShaftTrack, moment: Moment) -> _Seen | str:
    """The middle of what was seen in the last part of the stillness."""
    when = moment.time_s or 0.0
    frame_s = gap_at(shaft.time_s, when)
    inside = (shaft.time_s <= when + 0.6 * frame_s) & (shaft.time_s > when - 0.3)
    rows = np.flatnonzero(inside & np.isfinite(shaft.angle_deg))
    if not len(rows):  # a set-up's address is the start of its stillness
        after = (shaft.time_s >= when) & (shaft.time_s < when + 0.6)
        rows = np.flatnonzero(after & np.isfinite(shaft.angle_deg))
    if not len(rows):
        return "not_seen"
    return _Seen(
        angle_deg=float(np.median(shaft.angle_deg[rows])),
        rate_deg_s=0.0,
        sd_deg=float(np.median(shaft.sd_deg[rows])),
        grip_px=np.asarray(np.median(shaft.grip_px[rows], axis=0)),
        grip_rate_px_s=np.zeros(2),
        length_px=float(np.median(shaft.length_px[rows])),
        frame_s=frame_s,
    )


def _through_the_ball(seen: _Seen, head_px: Array) -> _Seen:
    """At impact the head is where it stood: only the grip moves with the event's time.

    The shaft turns by 2000 degrees a second then, the line from the ball to the grip by
    a quarter of that.
    """
    step = head_px - seen.grip_px
    if not np.isfinite(step).all():
        return seen
    angle = math.degrees(math.atan2(-step[1], step[0]))
    if abs((angle - seen.angle_deg + 180) % 360 - 180) > 30:
        return seen
    later = step - 0.001 * seen.grip_rate_px_s
    rate = (math.degrees(math.atan2(-later[1], later[0])) - angle) / 0.001
    return replace(seen, angle_deg=angle, rate_deg_s=rate, sd_deg=max(seen.sd_deg, 1.5))


def _setting(
    shaft: ShaftTrack, body: Any, events: Mapping[str, Moment], capture: Capture
) -> _Setting:
    stature_m = capture.stature_cm / 100
    stature_px = stature_m / body.scale_m_per_px
    camera = _camera(body, events, capture, stature_px)
    ball, head = shaft.ball_px, _head_at_address(shaft, events)
    if not np.isfinite(ball).all():
        ball = head
    reach = float(np.nanpercentile(shaft.length_px, 95)) * body.scale_m_per_px
    shaft_m = capture.club_cm / 100 - 0.14 if capture.club_cm else _length_m(shaft, events, camera)
    if not np.isfinite(shaft_m) or not 0.4 < shaft_m < 1.3:
        shaft_m = min(max(reach, 0.7), 1.1)
    return _Setting(camera, capture.view, stature_m, stature_px, shaft_m, ball)


def _head_at_address(shaft: ShaftTrack, events: Mapping[str, Moment]) -> Array:
    address = events.get("address", Moment(None)).time_s
    if address is None:
        return np.full(2, np.nan)
    rows = (shaft.time_s <= address + 1e-3) & (shaft.time_s > address - 0.4)
    heads = shaft.head_px[rows & np.isfinite(shaft.head_px[:, 0])]
    return np.median(heads, axis=0) if len(heads) else np.full(2, np.nan)


def _length_m(shaft: ShaftTrack, events: Mapping[str, Moment], camera: Camera) -> float:
    """Middle of the hands to the end of the shaft, from address."""
    address = events.get("address", Moment(None)).time_s
    head = _head_at_address(shaft, events)
    if address is None or not np.isfinite(head).all():
        return math.nan
    rows = (shaft.time_s <= address + 1e-3) & (shaft.time_s > address - 0.4)
    grip = np.nanmedian(shaft.grip_px[rows], axis=0)
    ray_g, ray_h = camera.ray(grip), camera.ray(head)
    axis = int(np.argmax(np.abs(camera.rotation[2])))
    # both near the target line's plane through the golfer at address
    depth = -camera.position_m[axis] if axis == 0 else 0.3 - camera.position_m[axis]
    a, b = ray_g / ray_g[axis] * depth, ray_h / ray_h[axis] * depth
    flat = float(np.linalg.norm(a - b))
    return flat if axis == 0 else flat / math.sqrt(1 - _USUAL["address"].along_y[0] ** 2)


def _camera(body: Any, events: Mapping[str, Moment], capture: Capture, stature_px: float) -> Camera:
    given = dict(getattr(body, "camera", None) or {})
    yaw = _finite(getattr(body, "camera_yaw_deg", math.nan), 0.0)
    yaw_sd = _finite(getattr(body, "camera_yaw_sd_deg", math.nan), _USUAL_YAW_SD_DEG)
    if {"f_px", "R", "t"} <= set(given):
        rotation = np.asarray(given["R"], float)
        place = -rotation.T @ np.asarray(given["t"], float)
        centre = np.asarray(given["centre_px"], float)
        return Camera(float(given["f_px"]), centre, rotation, place, yaw_sd)
    size = given["size_px"] if "size_px" in given else _size_px(body)
    return usual_camera(
        view=capture.view,
        size_px=(int(size[0]), int(size[1])),
        feet_px=_feet_px(body, events),
        stature_px=stature_px,
        stature_m=capture.stature_cm / 100,
        yaw_deg=yaw,
        yaw_sd_deg=yaw_sd,
        roll_deg=_sure_part(_finite(float(given.get("roll_deg", math.nan)), 0.0)),
    )


def _sure_part(roll_deg: float) -> float:
    """People hold a phone level to a degree, and a roll is read no better than that."""
    return math.copysign(max(abs(roll_deg) - _LEVEL_HELD_DEG, 0.0), roll_deg)


def _finite(value: float, otherwise: float) -> float:
    return float(value) if math.isfinite(value) else otherwise


def _size_px(body: Any) -> tuple[float, float]:
    """Without a picture size: twice the middle of where the golfer stands."""
    middle = np.nanmedian(body.joints_px.reshape(-1, 2), axis=0)
    return (2 * float(middle[0]), 2 * float(middle[1]))


def _feet_px(body: Any, events: Mapping[str, Moment]) -> Array:
    address = events.get("address", Moment(None)).time_s
    ankles = body.joints_px[:, [JOINT["ankle_lead"], JOINT["ankle_trail"]]].mean(axis=1)
    rows = np.abs(body.time_s - (body.time_s[0] if address is None else address)) < 0.3
    return np.asarray(np.nanmedian(ankles[rows] if rows.any() else ankles, axis=0))


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
    id: str, event: str, seen: _Seen, setting: _Setting, moment: Moment
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
    sigma = _event_sd(moment, seen.frame_s)
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
        replace(given, camera=_turned(setting.camera, yaw=setting.camera.yaw_sd_deg)),
        replace(given, camera=_turned(setting.camera, pitch=setting.camera.pitch_sd_deg)),
        replace(given, camera=_turned(setting.camera, roll=setting.camera.roll_sd_deg)),
    ]
    variance = 0.0
    for other in moved:
        changed = _value(id, event, other, setting)
        step = 15.0 if isinstance(changed, str) else changed - value
        variance += min(abs(step), 60.0) ** 2
    return value, math.sqrt(variance)


def _event_sd(moment: Moment, frame_s: float) -> float:
    """One standard deviation of the moment; half a gap is a bound of what interpolates."""
    told = moment.uncertainty_s or 0.0
    return told if told > 0.525 * frame_s else 0.6 * told


def _along(seen: _Seen, setting: _Setting, event: str) -> tuple[float, float]:
    """Share of the shaft along the view: what is usual, sharpened by the seen length."""
    usual = _USUAL[event]
    mean, sd = usual.along_x if setting.view == "down_the_line" else usual.along_y
    axis = 0 if setting.view == "down_the_line" else 1
    depth = usual.grip_x[0] if axis == 0 else usual.grip_y[0]
    away = abs(depth * setting.stature_m - setting.camera.position_m[axis])
    whole = setting.shaft_m * setting.camera.f_px / away
    share = seen.length_px / whole
    for _ in range(2):  # a head nearer to the camera looks longer
        share = min(seen.length_px / whole, 1.0)
        out = math.sqrt(1 - share**2)
        sign = -1.0 if (axis == 0) == (mean < 0) else 1.0
        whole = setting.shaft_m * setting.camera.f_px / (away + 0.5 * sign * out * setting.shaft_m)
    signed = math.copysign(math.sqrt(max(1 - share**2, 0.0)), mean if mean else 1.0)
    spread = share * 0.06 / max(abs(signed), 0.12) + 0.04
    weight = sd**2 / (sd**2 + spread**2)
    both = mean + weight * (signed - mean)
    return float(np.clip(both, -0.995, 0.995)), math.sqrt(weight) * spread


def _turned(camera: Camera, *, yaw: float = 0.0, pitch: float = 0.0, roll: float = 0.0) -> Camera:
    """The camera turned about the golfer (yaw) or about itself (pitch, roll)."""
    if yaw:
        a = math.radians(yaw)
        turn = np.array(
            [[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1.0]]
        )
        return replace(
            camera,
            rotation=camera.rotation @ turn.T,
            position_m=turn @ camera.position_m,
        )
    a, b = math.radians(pitch), math.radians(roll)
    tilt = np.array([[1.0, 0, 0], [0, math.cos(a), -math.sin(a)], [0, math.sin(a), math.cos(a)]])
    spin = np.array([[math.cos(b), -math.sin(b), 0], [math.sin(b), math.cos(b), 0], [0, 0, 1.0]])
    return replace(camera, rotation=spin @ tilt @ camera.rotation)


def _value(id: str, event: str, given: _Inputs, setting: _Setting) -> float | str:
    axis = 0 if setting.view == "down_the_line" else 1
    direction = shaft_direction(given.camera, given.grip_px, given.angle_deg, given.along, axis)
    if direction is None:
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
    grip = _at_depth(given.camera, given.grip_px, given.grip_depth * setting.stature_m, axis)
    ball = _at_depth(given.camera, setting.ball_px, given.ball_depth * setting.stature_m, axis)
    down = direction if direction[2] < 0 else -direction
    drop = grip[2] - ball[2]
    to_ball = math.atan2(ball[1] - grip[1], drop)
    along_shaft = math.atan2(down[1], -down[2])
    if id == "shaft_aim_deg":
        return math.degrees(along_shaft - to_ball)
    return float(100 * (grip[1] + math.tan(along_shaft) * (drop + _BALL_Z_M) - ball[1]))


def _at_depth(camera: Camera, xy_px: Array, depth_m: float, axis: int) -> Array:
    ray = camera.ray(xy_px)
    return np.asarray(camera.position_m + ray * (depth_m - camera.position_m[axis]) / ray[axis])


def shaft_direction(
    camera: Camera, grip_px: Array, angle_deg: float, along: float, axis: int
) -> Array | None:
    """Unit direction grip to head from its line in the picture.

    Parameters
    ----------
    camera : Camera
    grip_px : ndarray, shape (2,)
        A point of the line.
    angle_deg : float
        Picture angle of the ray from the grip to the head, 0 right, 90 up.
    along : float
        Component of the direction on `axis`, the golfer's axis that the camera looks
        along.
    axis : int
        0 down-the-line, 1 face-on.

    Returns
    -------
    ndarray, shape (3,), or None
        None where the line and the component contradict each other.
    """
    a = math.radians(angle_deg)
    step = np.array([math.cos(a), -math.sin(a)])
    normal = np.cross(camera.ray(grip_px), camera.ray(grip_px + 50 * step))
    normal = normal / np.linalg.norm(normal)
    others = [i for i in range(3) if i != axis]
    across = normal[others]
    size = float(np.hypot(*across))
    if size < 1e-6:
        return None
    foot = -normal[axis] * along / size
    rest = 1 - along**2 - foot**2
    if rest <= 0:
        return None
    tangent = np.array([-across[1], across[0]]) / size
    found = []
    for sign in (1.0, -1.0):
        d = np.zeros(3)
        d[axis] = along
        d[others] = foot * across / size + sign * math.sqrt(rest) * tangent
        found.append(d)
    picture = [camera.rotation @ d for d in found]
    middle = camera.rotation @ camera.ray(grip_px)
    # how the two would move in the picture, seen from the grip
    moved = [(p[:2] * middle[2] - middle[:2] * p[2]) @ step for p in picture]
    return found[int(np.argmax(moved))]
