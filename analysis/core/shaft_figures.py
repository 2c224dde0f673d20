"""What one sighting of the shaft says: its angles in space and where it points.

Every figure is computed once as it was seen, and once more with each thing it depends on
moved by its own spread; the changes are added as squares.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analysis.core.camera import Camera, at_depth, shaft_directions, turned
from analysis.core.measures import Reading
from analysis.core.pose import Array, Moment
from analysis.core.sighting import Sighting, event_sd


@dataclass(frozen=True)
class Usual:
    """Where hands and shaft usually are at an event, in statures and shaft lengths.

    Medians and standard deviations over the rendered training swings: how far the grip
    lies from the feet along the target line and toward the ball, and which share of the
    shaft points along the target line and toward the ball.
    """

    grip_x: tuple[float, float]
    grip_y: tuple[float, float]
    along_x: tuple[float, float]
    along_y: tuple[float, float]


USUAL = {
    "address": Usual((0.00, 0.02), (0.18, 0.03), (0.04, 0.05), (0.51, 0.10)),
    "lead_arm_back": Usual((-0.29, 0.03), (0.08, 0.06), (0.00, 0.25), (-0.51, 0.15)),
    "late_back": Usual((-0.23, 0.05), (0.06, 0.07), (0.80, 0.30), (-0.33, 0.26)),
    "top": Usual((-0.20, 0.05), (0.06, 0.07), (0.90, 0.20), (-0.18, 0.29)),
    "transition": Usual((-0.25, 0.04), (0.10, 0.07), (0.20, 0.40), (-0.45, 0.20)),
    "lead_arm_down": Usual((-0.28, 0.03), (0.11, 0.06), (0.00, 0.20), (-0.60, 0.19)),
    "delivery": Usual((-0.15, 0.03), (0.13, 0.04), (-0.98, 0.05), (-0.02, 0.10)),
    "impact": Usual((0.05, 0.04), (0.18, 0.04), (0.00, 0.20), (0.47, 0.14)),
}
# The head stands on the target line, which runs this far from the feet (statures).
BALL_X, BALL_Y, BALL_Z_M = (0.02, 0.03), (0.43, 0.06), 0.021
BALL_MEETS_Y = 0.50  # as far out as its line of sight meets the ground on average
LEVEL_DEG = 25.0  # an aim along a shaft nearer level than this points at the horizon
_LINE_SD_DEG = 0.5  # the handle is gripped a little off the line of the shaft
# How well the seen length is known: a share of it, and how far its end is found (statures).
_LENGTH_SD, _END_SD = 0.06, 0.02
_SHARES = np.linspace(-0.98, 0.98, 99)


@dataclass(frozen=True)
class Setting:
    """What is the same for all events of one repetition."""

    camera: Camera
    view: str
    stature_m: float
    stature_px: float
    shaft_m: float
    ball_px: Array


@dataclass(frozen=True)
class Forearm:
    """The lead forearm across a face-on view, as `lead_forearm_deg` tells it."""

    angle_deg: float
    rate_deg_s: float
    sd_deg: float


# A figure, and what each thing it depends on may have changed of it.
Effects = tuple[float, dict[str, float]]
_OF_THE_CAMERA = ("yaw", "pitch", "roll")


@dataclass(frozen=True)
class _Inputs:
    """Everything a value depends on, so that each can be moved by its spread."""

    angle_deg: float
    grip_px: Array
    along: float
    grip_depth: float
    ball_depth: float
    camera: Camera
    forearm_deg: float


def reading(
    id: str,
    event: str,
    seen: Sighting,
    setting: Setting,
    moment: Moment,
    forearm: Forearm | None = None,
) -> Reading:
    """One figure of the shaft at one event: value and spread, or why there is none.

    Parameters
    ----------
    forearm : Forearm, optional
        For `wrist_set_deg`, which is told against it.
    """
    found = effects(id, event, seen, setting, moment, forearm)
    if isinstance(found, str):
        return found
    value, changes = found
    return value, math.sqrt(sum(step**2 for step in changes.values()))


def steepening(before: Effects | str, after: Effects | str) -> Reading:
    """Pitch coming down minus pitch going back, from the `effects` of both.

    The camera is the same: what it changes of both alike cancels out.
    """
    for found in (before, after):
        if isinstance(found, str):
            return found
    assert not isinstance(before, str) and not isinstance(after, str)
    variance = sum((after[1][c] - before[1][c]) ** 2 for c in _OF_THE_CAMERA)
    for _, changes in (before, after):
        variance += sum(step**2 for c, step in changes.items() if c not in _OF_THE_CAMERA)
    return _wrapped(after[0] - before[0], low=-90.0, turn=180.0), math.sqrt(variance)


def effects(
    id: str,
    event: str,
    seen: Sighting,
    setting: Setting,
    moment: Moment,
    forearm: Forearm | None = None,
) -> Effects | str:
    """The value, and how much each thing it depends on may have changed it."""
    usual = USUAL[event]
    down_the_line = setting.view == "down_the_line"
    depth, depth_sd = usual.grip_x if down_the_line else usual.grip_y
    ball, ball_sd = BALL_X if down_the_line else BALL_Y
    along, along_sd = _along(seen, setting, event)
    arm = forearm or Forearm(0.0, 0.0, 0.0)
    given = _Inputs(seen.angle_deg, seen.grip_px, along, depth, ball, setting.camera, arm.angle_deg)
    value = _value(id, event, given, setting)
    if isinstance(value, str):
        return value
    sigma = event_sd(moment, seen.frame_s)
    # delivery is the moment at which the shaft is level: it is so whenever that was
    turning = 0.0 if (id, event) == ("wrist_set_deg", "delivery") else seen.rate_deg_s
    off = math.hypot(seen.sd_deg, _LINE_SD_DEG)
    moved = {
        "line": replace(given, angle_deg=given.angle_deg + off),
        "line the other way": replace(given, angle_deg=given.angle_deg - off),
        "moment": replace(
            given,
            angle_deg=given.angle_deg + turning * sigma,
            grip_px=given.grip_px + seen.grip_rate_px_s * sigma,
            forearm_deg=given.forearm_deg + arm.rate_deg_s * sigma,
        ),
        "along": replace(given, along=float(np.clip(along + along_sd, -0.999, 0.999))),
        "grip": replace(given, grip_depth=depth + depth_sd),
        "ball": replace(given, ball_depth=ball + ball_sd),
        "forearm": replace(given, forearm_deg=given.forearm_deg + arm.sd_deg),
        "yaw": replace(given, camera=turned(setting.camera, yaw=setting.camera.yaw_sd_deg)),
        "pitch": replace(given, camera=turned(setting.camera, pitch=setting.camera.pitch_sd_deg)),
        "roll": replace(given, camera=turned(setting.camera, roll=setting.camera.roll_sd_deg)),
    }
    changes = {}
    for cause, other in moved.items():
        changed = _value(id, event, other, setting)
        step = 15.0 if isinstance(changed, str) else changed - value
        changes[cause] = math.copysign(min(abs(step), 60.0), step)
    # a shaft seen short turns farther in space one way than the other
    other_way = changes.pop("line the other way")
    changes["line"] = max(changes["line"], other_way, key=abs)
    return value, changes


def _along(seen: Sighting, setting: Setting, event: str) -> tuple[float, float]:
    """Share of the shaft along the view: what is usual, sharpened by the seen length.

    Every share is tried: the direction it gives the shaft, how long a shaft of this
    length would look then from this camera, and how well both fit.
    """
    usual, axis = USUAL[event], 0 if setting.view == "down_the_line" else 1
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


def _value(id: str, event: str, given: _Inputs, setting: Setting) -> float | str:
    axis = 0 if setting.view == "down_the_line" else 1
    share = np.array([given.along])
    direction = shaft_directions(given.camera, given.grip_px, given.angle_deg, share, axis)[0]
    if not np.isfinite(direction).all():
        return "shaft_end_on"
    if id == "handle_lean_deg":
        return math.degrees(math.atan2(-direction[0], -direction[2]))
    if id == "shaft_past_level_deg":
        return math.degrees(math.atan2(-direction[2], direction[0]))
    if id == "wrist_set_deg":
        rise = math.degrees(math.atan2(direction[2], -direction[0]))
        return _wrapped(rise - given.forearm_deg, low=-90.0, turn=360.0)
    pitch = math.degrees(math.atan2(direction[2], -direction[1])) % 180
    if id == "shaft_pitch_deg":
        return pitch
    if min(pitch, 180 - pitch) < LEVEL_DEG:
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
    return float(100 * (grip[1] + math.tan(along_shaft) * (drop + BALL_Z_M) - ball[1]))


def _wrapped(angle: float, *, low: float, turn: float) -> float:
    """The same direction as an angle from `low` on."""
    return (angle - low) % turn + low
