"""A golfer who acts a drill: a sound swing, changed where the drill or a fault changes it.

Drills are drawn from it, and measured on it: what the words ask for must be what the
mark counts. Positions in metres as in `golfer`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline

from analysis.core import measures
from analysis.core.measures import ball_position_pct, body_value
from analysis.core.pose import JOINTS, Moment
from analysis.drawings.golfer import BALL, Body, Pose, posed

# A sound swing of an amateur: nothing in it is a fault worth a drill.
SOUND: dict[str, Pose] = {
    "address": Pose((0.0, -0.12, 0.935), 0, 0, 36, 5, 0, (-0.03, 0.31, 1.49),
                    (-0.14, 0.13, -0.63), 0.60, (-0.03, 0.50, -0.74)),
    "lead_arm_back": Pose((-0.01, -0.12, 0.92), 26, 4, 36, 4, 52, (-0.04, 0.31, 1.49),
                          (-0.60, -0.16, 0.0), 0.605, (-0.05, -0.45, 0.80)),
    "late_back": Pose((-0.015, -0.12, 0.92), 38, 7, 36, 4, 76, (-0.045, 0.31, 1.49),
                      (-0.50, -0.40, 0.30), 0.605, (0.60, -0.48, 0.62)),
    "top": Pose((-0.02, -0.12, 0.92), 45, 9, 36, 4, 90, (-0.05, 0.31, 1.49),
                (-0.36, -0.52, 0.32), 0.610, (0.95, -0.20, 0.0)),
    "transition": Pose((0.0, -0.12, 0.92), 34, 7, 36, 6, 78, (-0.05, 0.31, 1.49),
                       (-0.52, -0.42, 0.20), 0.605, (0.35, -0.62, 0.62)),
    "lead_arm_down": Pose((0.02, -0.125, 0.915), 8, 4, 36, 8, 48, (-0.05, 0.31, 1.49),
                          (-0.60, -0.18, 0.0), 0.605, (-0.10, -0.57, 0.78)),
    "delivery": Pose((0.05, -0.125, 0.92), -17, -2, 35, 10, 6, (-0.045, 0.31, 1.49),
                     (-0.40, 0.05, -0.44), 0.605, (-0.90, -0.10, 0.0), heel_up=0.02),
    "impact": Pose((0.07, -0.125, 0.93), -36, -6, 33, 11, -16, (-0.04, 0.31, 1.50),
                   (-0.04, 0.20, -0.66), 0.605, (-0.10, 0.45, -0.83), heel_up=0.06),
    "follow_through": Pose((0.10, -0.10, 0.93), -55, -8, 27, 11, -58, (-0.02, 0.28, 1.52),
                           (0.34, 0.34, -0.36), 0.590, (0.97, 0.05, -0.05), heel_up=0.10,
                           trail_step=(0.03, 0.0, 0.0)),
    "finish": Pose((0.15, -0.04, 0.93), -88, -4, 6, 3, -112, (0.10, 0.12, 1.60),
                   (-0.20, -0.10, 0.24), 0.33, (-0.62, -0.52, -0.42), heel_up=0.14,
                   trail_step=(0.13, 0.03, 0.02)),
}  # fmt: skip
TIMES_S = {
    "address": 0.0, "lead_arm_back": 0.50, "late_back": 0.66, "top": 0.81, "transition": 0.87,
    "lead_arm_down": 0.95, "delivery": 1.02, "impact": 1.08, "follow_through": 1.14,
    "finish": 1.70,
}  # fmt: skip
# Changes of the sound swing by moment: {"top": {"pelvis_turn": 60}}.
Changes = Mapping[str, Mapping[str, Any]]


@dataclass(frozen=True)
class Act:
    """One golfer's way through a film.

    Parameters
    ----------
    changes : mapping
        By moment, what differs from `SOUND`.
    ball : tuple of float
        Where it lies.
    top_s, impact_s : float
        When the backswing ends and the club strikes, for the tempo.
    held_s : float
        How long the finish is held.
    """

    changes: Changes
    ball: tuple[float, float] = (float(BALL[0]), float(BALL[1]))
    top_s: float = TIMES_S["top"]
    impact_s: float = TIMES_S["impact"]
    held_s: float = 2.5


def pose_of(event: str, changes: Changes) -> Pose:
    """The sound pose at a moment with its changes; `all` changes every moment."""
    told = {**changes.get("all", {}), **changes.get(event, {})}
    return replace(SOUND[event], **told)


@lru_cache(maxsize=256)
def _sound(event: str) -> Body:
    return posed(SOUND[event])


def body_of(event: str, changes: Changes) -> Body:
    return posed(pose_of(event, changes)) if changes else _sound(event)


def figures(act: Act) -> dict[tuple[str, str], float]:
    """Every figure at every moment that it is told of, by the closed forms of the measures."""
    bodies = {event: body_of(event, act.changes) for event in SOUND}
    keys = list(TIMES_S.values())
    joints = np.array([[bodies[e].joints[j] for j in JOINTS] for e in TIMES_S])
    time_s = np.round(np.unique(np.append(np.linspace(0, keys[-1], 171), keys)), 6)
    track = CubicSpline(keys, joints)(time_s)
    moments = {event: Moment(when, 0.0) for event, when in TIMES_S.items()}
    curves = measures.body_curves(track, time_s, address_s=0.0)
    found: dict[tuple[str, str], float] = {}
    for m in measures.MEASURES:
        if m.event in bodies:
            club = _club(m.id, m.event, bodies, act)
            found[m.id, m.event] = (
                body_value(m.id, m.event, curves, time_s, moments) if club is None else club
            )
    for id in ("pelvis_turn_deg", "shoulder_turn_deg"):
        found[f"bar:{id}", "top"] = found[id, "top"]
    return {key: value for key, value in found.items() if math.isfinite(value)}


def _club(id: str, event: str, bodies: Mapping[str, Body], act: Act) -> float | None:
    """What is told of club, ball and clock; None for a figure of the body."""
    body = bodies[event]
    shaft, back = body.club_head - body["grip"], bodies["lead_arm_back"]
    forearm = body["wrist_lead"] - body["elbow_lead"]
    timed = {
        "tempo_ratio": act.top_s / (act.impact_s - act.top_s),
        "backswing_s": act.top_s,
        "downswing_s": act.impact_s - act.top_s,
        "finish_held_s": act.held_s,
    }
    if id in timed:
        return timed[id]
    if id == "ball_position_pct":
        heels = body["heel_lead"][0], body["heel_trail"][0]
        return ball_position_pct(float(heels[0]), float(heels[1]), act.ball[0])
    if id == "ball_distance_cm":
        return 100 * float(act.ball[1] - body["mid_toe"][1])
    if id == "handle_lean_deg":
        return math.degrees(math.atan2(-shaft[0], -shaft[2]))
    if id == "shaft_past_level_deg":
        return math.degrees(math.atan2(-shaft[2], shaft[0]))
    if id == "wrist_set_deg":
        return (_rise_deg(shaft) - _rise_deg(forearm) + 90) % 360 - 90
    if id == "shaft_pitch_deg":
        return _pitch_deg(shaft)
    if id == "steepening_deg":
        return _pitch_deg(shaft) - _pitch_deg(back.club_head - back["grip"])
    if id in ("shaft_aim_deg", "shaft_aim_cm"):
        return _aim(id, body, act)
    return None


def _pitch_deg(shaft: Any) -> float:
    up = shaft if shaft[2] > 0 else -shaft
    return math.degrees(math.atan2(up[2], -up[1])) % 180


def _rise_deg(line: Any) -> float:
    return math.degrees(math.atan2(line[2], -line[0]))


def _aim(id: str, body: Body, act: Act) -> float:
    shaft = body.club_head - body["grip"]
    down = shaft if shaft[2] < 0 else -shaft
    grip = body["grip"]
    if abs(down[2]) < 1e-6:
        return math.nan
    if id == "shaft_aim_cm":
        return 100 * float(grip[1] + down[1] * grip[2] / -down[2] - act.ball[1])
    to_ball = math.atan2(act.ball[1] - grip[1], grip[2] - BALL[2])
    return math.degrees(math.atan2(down[1], -down[2]) - to_ball)
