"""The numbers that the pictures print: closed forms applied to the drawn golfer."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from analysis.core import body as core_body
from analysis.core import held, measures
from analysis.core.joint_forms import OF_THE_JOINTS
from analysis.core.pose import JOINTS, Array, Moment
from analysis.drawings import golfer as figure
from analysis.drawings.golfer import BALL, EVENTS, TIMES_S, Body

_UNITS = {"deg": "°", "cm": " cm", "%": " %", "s": " s", "m/s": " m/s", "": ""}
_UNSIGNED = (
    *("_ratio", "_pct", "_s", "shaft_pitch_deg", "knee_flex_deg", "lead_elbow_deg"),
    *("wrist_set_deg", "hands_thigh_cm", "ball_distance_cm"),
)


@lru_cache(maxsize=1)
def film() -> figure.Film:
    """The one swing that all pictures show."""
    return figure.swing()


@lru_cache(maxsize=1)
def curves() -> dict[str, Array]:
    """Closed forms of all body measures over it."""
    return figure.curves_of(film())


@lru_cache(maxsize=64)
def value_of(measure: str, event: str) -> float:
    """The number that a picture prints, in the unit of `core.measures`."""
    swing = film()
    if measure == "finish_held_s":
        found = held.finish_held(held_track(), HELD_EVENTS, scale_m_per_px=1.0)
        return float(found["finish_held_s", "finish"][0])
    body = figure.body_of(measure, event)
    if measure in figure.SHOWN_ON and measure in OF_THE_JOINTS:
        joints = np.array([[body.joints[j] for j in JOINTS]])
        return float(OF_THE_JOINTS[measure].curve(joints, joints)[0])
    if measure == "ball_distance_cm":
        return 100 * float(BALL[1] - body["mid_toe"][1])
    if measure == "wrist_set_deg":
        forearm, club = (rise_deg(*ends) for ends in wrist_lines(body))
        return (club - forearm + 90) % 360 - 90
    if measure == "shaft_past_level_deg":
        shaft = body.club_head - body["grip"]
        return math.degrees(math.atan2(-shaft[2], shaft[0]))
    if measure == "steepening_deg":
        back = figure.swing().at("lead_arm_back")
        return _shaft("shaft_pitch_deg", body) - _shaft("shaft_pitch_deg", back)
    if measure == "bar_turn_deg":
        return _azimuth(*figure.bar_ends(body)) - _azimuth(*figure.bar_ends(swing.at("address")))
    if measure == "ball_position_pct":
        return measures.ball_position_pct(
            body["heel_lead"][0], body["heel_trail"][0], float(BALL[0])
        )
    if measure == "handle_lean_deg":
        shaft = body["grip"] - body.club_head
        return math.degrees(math.atan2(shaft[0], shaft[2]))
    if measure.startswith("shaft_"):
        return _shaft(measure, body)
    tempo = measures.tempo_readings(EVENTS, stretched=False)
    if (measure, event) in tempo:
        return float(tempo[measure, event][0])
    if measure == "hand_speed_peak_m_s":
        return float(downswing(figure.grip_speed_m_s(swing)).max())
    if measure.endswith("_speed_peak_s"):
        return TIMES_S["impact"] - fastest_s(measure)
    return measures.body_value(measure, event, curves(), swing.time_s, EVENTS)


HELD_EVENTS = {"finish": Moment(0.0, 0.15)}


def held_track() -> held.Afterwards:
    """Hands and hips after a finish, in metres: still at first, then the hands come down."""
    time_s = np.linspace(0.0, 3.0, 121)
    points = np.zeros((len(time_s), 2, 2))
    points[:, 0, 1] = 0.10 * np.maximum(time_s - 1.7, 0) ** 1.5 + 0.004 * np.sin(2 * time_s)
    points[:, 1, 0] = 0.006 * np.sin(1.1 * time_s)
    return held.Afterwards(time_s, points)


def wrist_lines(body: Body) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """The lead forearm from the elbow, the shaft from the grip."""
    return (body["elbow_lead"], body["wrist_lead"]), (body["grip"], body.club_head)


def rise_deg(start: Array, end: Array) -> float:
    """Above level, of a line that points away from the target, seen face on."""
    return math.degrees(math.atan2(end[2] - start[2], start[0] - end[0]))


def words_of(measure: str, event: str) -> str:
    """The number as it is printed, with its sign where it has one."""
    value = value_of(measure, event)
    unit = next(m.unit for m in measures.MEASURES if m.id == measure)
    places = {"s": 2, "m/s": 1, "": 2}.get(unit, 0)
    sign = "" if measure.endswith(_UNSIGNED) else "+"
    return f"{value:{sign}.{places}f}{_UNITS[unit]}".replace("-", "−")


def _azimuth(lead: Array, trail: Array) -> float:
    return math.degrees(math.atan2(trail[1] - lead[1], trail[0] - lead[0])) % 360


def _shaft(measure: str, body: Body) -> float:
    grip, head = body["grip"], body.club_head
    up = head - grip if head[2] > grip[2] else grip - head
    if measure == "shaft_pitch_deg":
        return math.degrees(math.atan2(up[2], -up[1])) % 180
    if measure == "shaft_aim_cm":
        return 100 * float(meets_ground(body)[1] - BALL[1])
    down, to_ball = meets_ground(body) - grip, BALL - grip
    return math.degrees(math.atan2(down[1], -down[2]) - math.atan2(to_ball[1], -to_ball[2]))


def meets_ground(body: Body) -> Array:
    """Where the line along the shaft meets the ground."""
    step = body.club_head - body["grip"]
    return np.asarray(body["grip"] - step * body["grip"][2] / step[2])


def downswing(curve: Array) -> Array:
    """The part of a curve between top and impact."""
    inside = (film().time_s >= TIMES_S["top"]) & (film().time_s <= TIMES_S["impact"])
    return curve[inside]


def fastest_s(measure: str) -> float:
    """When the line or the hands of a `…_speed_peak_s` are fastest, as the pipeline finds it."""
    swing = film()
    if measure == "hand_speed_peak_s":
        speed = downswing(figure.grip_speed_m_s(swing))
        return float(downswing(swing.time_s)[int(np.argmax(speed))])
    curve = curves()[measure.replace("_speed_peak_s", "_turn_deg")]
    found = core_body.fastest_s(swing.time_s, curve, TIMES_S["top"], TIMES_S["impact"])
    if found is None:
        raise ValueError(f"{measure}: the drawn swing has no peak")
    return found[0]
