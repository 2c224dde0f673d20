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
from typing import Any

import numpy as np

from analysis.core.camera import Camera, at_depth, camera_of, shaft_directions, turned
from analysis.core.from_joints import read
from analysis.core.led_on import late_in_backswing
from analysis.core.measures import (
    CLUB_MEASURES,
    Reading,
    Readings,
    ball_position_pct,
    measures_of,
)
from analysis.core.motion import gap_at, local_fit
from analysis.core.pose import JOINT, Array, Capture, Moment, ShaftTrack
from analysis.core.shaft_figures import (
    BALL_MEETS_Y,
    BALL_X,
    BALL_Y,
    BALL_Z_M,
    USUAL,
    Forearm,
    Setting,
    effects,
    reading,
    steepening,
)
from analysis.core.sighting import (
    Sighting,
    at_rest,
    head_at_address,
    seen_at,
    through_the_ball,
    told_by_the_club,
)

HAND_MEASURES = ("hand_speed_peak_m_s", "hand_speed_peak_s")
# Of the lead forearm's direction: from the joints' own spread to a true one on bodies
# never seen, and what of it points along the view at least to be told (metres across it).
_FOREARM_SCALE = {"lead_arm_back": 0.42, "top": 0.46, "lead_arm_down": 0.49, "delivery": 0.27}
_FOREARM_M = 0.10
# Of the toes likewise; and how well a length in the picture is known.
_TOE_SCALE, _SCALE_SD = 0.7, 0.02
_LONG = 0.35
# Heels lie behind the ankles, and the network finds them to about this.
_HEEL_Y, _HEEL_SD_M = -0.025, 0.015
# Speed in space over speed across the picture, and its spread as a share: over the downswings of
# 3,018 rendered swings, habitual and free, 1.22 (1.08 to 1.60 for two in three) down the line,
# where hands also cross the view along the target line, and 1.03 (1.00 to 1.09) face on.
_ACROSS = {"down_the_line": (1.23, 0.25), "face_on": (1.04, 0.07)}
_SPEED_SD_M_S = 0.3  # a fastest of noisy points: landmarks stray by half a centimetre a frame


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
    rows = [m for m in listed if m.id in CLUB_MEASURES]
    if shaft is None:
        return {(m.id, m.event): "not_seen" for m in rows}
    readings: Readings = {}
    if any(m.id in HAND_MEASURES for m in listed):
        readings |= _hand_speed(shaft, events, body.scale_m_per_px, capture.view)
    if any(m.id == "ball_position_pct" for m in listed):
        readings["ball_position_pct", "address"] = _ball_position(shaft, body, events, capture)
    if any(m.id == "ball_distance_cm" for m in listed):
        readings["ball_distance_cm", "address"] = _ball_distance(shaft, body, events, capture)
        rows = [m for m in rows if m.id != "ball_distance_cm"]
    if not np.isfinite(shaft.angle_deg).any():
        return readings | {(m.id, m.event): "not_seen" for m in rows}
    setting = _setting(shaft, body, events, capture)
    for m in rows:
        readings[m.id, m.event] = _told(m.id, m.event, shaft, events, body, setting)
    return readings


def _told(
    id: str,
    event: str,
    shaft: ShaftTrack,
    events: Mapping[str, Moment],
    body: Any,
    setting: Setting,
) -> Reading:
    moment = events.get(event, Moment(None, reason="not_reached"))
    if event == "late_back" and moment.time_s is not None:
        led = late_in_backswing(id, shaft, moment, events, setting)
        if led is not None:
            return led
    seen = _seen(event, shaft, events, setting)
    if isinstance(seen, str):
        return seen
    if id == "steepening_deg":
        before = _seen("lead_arm_back", shaft, events, setting)
        if isinstance(before, str):
            return before
        pitch = "shaft_pitch_deg"
        return steepening(
            effects(pitch, "lead_arm_back", before, setting, events["lead_arm_back"]),
            effects(pitch, event, seen, setting, moment),
        )
    if id != "wrist_set_deg":
        return reading(id, event, seen, setting, moment)
    forearm = _forearm(event, events, body)
    return (
        forearm if isinstance(forearm, str) else reading(id, event, seen, setting, moment, forearm)
    )


def _seen(
    event: str, shaft: ShaftTrack, events: Mapping[str, Moment], setting: Setting
) -> Sighting | str:
    """The shaft at an event, or why it is not told there."""
    moment = events.get(event, Moment(None, reason="not_reached"))
    if moment.time_s is None:
        return moment.reason or "not_reached"
    if event == "address":
        return at_rest(shaft, moment)
    seen = seen_at(shaft, moment, setting.stature_px)
    if isinstance(seen, str):
        # face on no shaft points at the camera at impact: there it is blur that hides it
        return "not_seen" if event == "impact" else seen
    if event == "top" and seen.length_px <= _LONG * setting.stature_px:
        # down-the-line the shaft points along the view there: what is short is an edge
        return "shaft_end_on"
    if event == "impact":
        if not told_by_the_club(moment, events, seen.frame_s):
            return "not_seen"
        head, ball = head_at_address(shaft, events), shaft.ball_px
        if not np.isfinite(head).all():
            # the ball lies within a few centimetres of where the head stood
            head, ball = ball, np.full(2, np.nan)
        return through_the_ball(seen, head, moment, ball=ball)
    return seen


def _forearm(event: str, events: Mapping[str, Moment], body: Any) -> Forearm | str:
    """Which way the lead forearm points across the picture, from the joints."""
    joints_m, sd_m = getattr(body, "joints_m", None), getattr(body, "joints_sd_m", None)
    if joints_m is None or sd_m is None:
        return "not_seen"
    found = read(
        "lead_forearm_deg",
        event,
        time_s=body.time_s,
        joints=100 * joints_m,
        joints_sd=100 * np.repeat(sd_m[..., None], 3, axis=2),
        events=events,
    )
    if not (math.isfinite(found.value) and math.isfinite(found.raw)):
        return "not_seen"
    near = int(np.argmin(np.abs(body.time_s - events[event].time_s)))
    elbow, wrist = (joints_m[near, JOINT[f"{j}_lead"]] for j in ("elbow", "wrist"))
    if float(np.hypot(wrist[0] - elbow[0], wrist[2] - elbow[2])) < _FOREARM_M:
        return "arm_end_on"
    return Forearm(found.value, found.rate, _FOREARM_SCALE[event] * found.raw)


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
        share(camera, far + BALL_Y[1]),
        share(camera, far, _HEEL_SD_M / body.scale_m_per_px),
    ]
    return value, math.hypot(*(o - value for o in others), 1.0)


def _ball_distance(
    shaft: ShaftTrack, body: Any, events: Mapping[str, Moment], capture: Capture
) -> Reading:
    """Ball in front of the middle of the toes, down-the-line, each at its own distance."""
    address = events.get("address", Moment(None, reason="not_seen"))
    if address.time_s is None:
        return address.reason or "not_seen"
    ball = shaft.ball_px
    ball = ball if np.isfinite(ball).all() else head_at_address(shaft, events)
    if not np.isfinite(ball).all():
        return "no_ball"
    near = np.abs(body.time_s - address.time_s) < 0.3
    toes = [JOINT["toe_lead"], JOINT["toe_trail"]]
    if not near.any() or not np.isfinite(body.joints_px[near][:, toes]).any():
        return "not_seen"
    toe_px = np.nanmedian(body.joints_px[near][:, toes], axis=0).mean(axis=0)
    stature_m = capture.stature_cm / 100
    camera = camera_of(body, events, capture, stature_m / body.scale_m_per_px)

    def away(seen_by: Camera, ball_x: float) -> float:
        out = at_depth(seen_by, ball, ball_x * stature_m, 0) - at_depth(seen_by, toe_px, 0.0, 0)
        return 100 * float(out[1])

    value = away(camera, BALL_X[0])
    others = [
        away(turned(camera, yaw=camera.yaw_sd_deg), BALL_X[0]),
        away(turned(camera, roll=camera.roll_sd_deg), BALL_X[0]),
        away(camera, BALL_X[0] + BALL_X[1]),
        value * (1 + _SCALE_SD),
    ]
    toe_sd = _TOE_SCALE * 100 * float(np.nanmean(_spread_m(body, near)[:, toes])) / math.sqrt(2)
    return value, math.hypot(*(o - value for o in others), toe_sd, 0.5)


def _spread_m(body: Any, rows: Array) -> Array:
    """How far off each joint may be; where nobody says, a landmark's own error."""
    known = getattr(body, "joints_sd_m", None)
    if known is None or not np.isfinite(known[rows]).any():
        return np.full((int(np.sum(rows)), len(JOINT)), _HEEL_SD_M)
    return np.asarray(known[rows])


def _ball_depth(camera: Camera, ball_px: Array, stature_m: float) -> float:
    """Statures from the feet to the ball, face-on, by where its line of sight meets the ground.

    Drawn half-way to what is usual: regression over 339 rendered swings.
    """
    ray = camera.ray(ball_px)
    if ray[2] >= 0:
        return BALL_Y[0]
    meets = camera.position_m + ray * (BALL_Z_M - camera.position_m[2]) / ray[2]
    return BALL_Y[0] + 0.5 * (min(max(float(meets[1]) / stature_m, 0.2), 0.8) - BALL_MEETS_Y)


def _setting(
    shaft: ShaftTrack, body: Any, events: Mapping[str, Moment], capture: Capture
) -> Setting:
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
    return Setting(camera, capture.view, stature_m, stature_px, shaft_m, ball)


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
    usual, axis = USUAL["address"], 0 if view == "down_the_line" else 1
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
