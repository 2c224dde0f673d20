"""The picture of each measure: which lines it is read between, on a golfer seen as filmed.

Every number that is printed is the closed form of `core.measures` applied to the golfer
that is drawn, and every line runs between the joints that it names.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.core import measures
from analysis.core.measures import DTL, FO
from analysis.core.pose import Array
from analysis.drawings import golfer as figure
from analysis.drawings.golfer import BALL, Body
from analysis.drawings.over_time import grip_speed, peak, tempo, turn_rate
from analysis.drawings.readings import (
    film,
    meets_ground,
    value_of,
    words_of,
)
from analysis.drawings.sheet import SIZE, Sheet

ABOVE, TIME = "above", "time"
_TALL = {  # what of the golfer is shown, in metres of the view: left, right, bottom, top
    DTL: (-0.55, 1.05, -0.06, 1.72),
    FO: (-0.85, 0.85, -0.06, 1.74),
    ABOVE: (-0.76, 0.56, -0.88, 0.38),
}


@dataclass(frozen=True)
class Picture:
    """How one measure is drawn."""

    measure: str
    event: str
    view: str
    draw: Callable[[Sheet], None]
    box: tuple[float, float, float, float] | None = None
    against: str = ""  # the moment that it is told against

    def svg(self) -> str:
        sheet = Sheet(self.view, self.box or _TALL.get(self.view, (0, 1, 0, 1)))
        self.draw(sheet)
        if "_peak_" not in self.measure:  # their axes name the moments
            words = " → ".join(filter(None, (self.against, self.event)))
            sheet.text("small", words.replace("_", " "), 14, SIZE - 14, anchor="start")
        number = f"{value_of(self.measure, self.event):.2f}"
        return sheet.svg(measure=self.measure, event=self.event, value=number)


# --- standing -----------------------------------------------------------------------------


def _standing(sheet: Sheet, event: str = "address", *, was: str = "") -> Body:
    """Ground and golfer, perhaps over a pale one of an earlier moment."""
    sheet.ground()
    if was:
        sheet.golfer(film().at(was), ghost=True, club=False)
    body = film().at(event)
    sheet.golfer(body)
    return body


def _value(sheet: Sheet, measure: str, event: str, at: Array, dx: float, dy: float) -> None:
    anchor = "start" if dx > 0 else "end" if dx < 0 else "middle"
    sheet.text("value", words_of(measure, event), at[0] + dx, at[1] + dy, anchor=anchor)


def _plumb(sheet: Sheet, vertex: Array, metres: float) -> Array:
    """A dashed vertical from a place, up where metres are positive; its far end."""
    end = vertex + np.array([0, 0, metres])
    sheet.line("was", vertex, end, role="ray")
    return np.asarray(end)


def _trunk_tilt(sheet: Sheet) -> None:
    body = _standing(sheet)
    hip, shoulder = body["mid_hip"], body["mid_shoulder"]
    up = _plumb(sheet, hip, 0.62)
    sheet.line("now", hip, shoulder, role="ray")
    middle = sheet.angle(hip, up, shoulder, radius=66)
    _value(sheet, "trunk_tilt_deg", "address", middle, -32, 4)


def _knee_flex(sheet: Sheet) -> None:
    body = _standing(sheet)
    hip, knee, ankle = (body[f"mid_{j}"] for j in ("hip", "knee", "ankle"))
    on = knee + 0.42 * (knee - hip) / np.linalg.norm(knee - hip)
    sheet.line("now", knee, hip)
    sheet.line("was", knee, on, role="ray")
    sheet.line("now", knee, ankle, role="ray")
    middle = sheet.angle(knee, on, ankle, radius=70)
    _value(sheet, "knee_flex_deg", "address", middle, 26, 12)


def _arm_hang(sheet: Sheet) -> None:
    body = _standing(sheet)
    shoulder, wrist = body["mid_shoulder"], body["mid_wrist"]
    down = _plumb(sheet, shoulder, -0.72)
    sheet.line("now", shoulder, wrist, role="ray")
    middle = sheet.angle(shoulder, down, wrist, radius=96)
    _value(sheet, "arm_hang_deg", "address", middle, 24, 4)


def _balance(sheet: Sheet) -> None:
    body = _standing(sheet)
    joints = np.array(list(body.joints.values()))[None]
    com = measures.centre_of_mass_m(joints)[0]
    _ruler(sheet, body["mid_heel"], body["mid_toe"], com)
    sheet.dot(com)
    _value(sheet, "balance_pct", "address", sheet.at(com), 30, 8)


def _pelvis_behind_heel(sheet: Sheet) -> None:
    body = _standing(sheet)
    hip, heel = body["mid_hip"], body["mid_heel"]
    level = np.array([0, 0, 0.35])
    sheet.line("was", heel, heel + 1.3 * level)
    sheet.line("was", hip, hip * [1, 1, 0] + level - [0, 0, 0.08])
    sheet.dot(hip)
    sheet.dot(heel, old=True)
    middle = sheet.distance(*(sheet.at(p * [1, 1, 0] + level) for p in (heel, hip)))
    _value(sheet, "pelvis_behind_heel_cm", "address", middle, -22, 9)


def _arm_torso(sheet: Sheet) -> None:
    body = _standing(sheet)
    sheet.line("now", *(body[f"{j}_trail"] for j in ("shoulder", "elbow", "wrist")))
    sheet.line("was", body["mid_hip"], body["mid_shoulder"])
    trunk = float(np.linalg.norm(body["mid_shoulder"] - body["mid_hip"]))
    arm = trunk * value_of("arm_torso_ratio", "address")
    _ratio(sheet, "arm_torso_ratio", arm, trunk, (14, 24))


def _ratio(sheet: Sheet, measure: str, over: float, under: float, at: tuple[float, float]) -> None:
    """Two lengths above each other and what their ratio is; in metres, from a point on."""
    x, y = at
    scale = 70.0
    sheet.points("now", (x, y), (x + scale * over, y))
    sheet.points("was", (x, y + 16), (x + scale * under, y + 16))
    sheet.text("value", words_of(measure, "address"), x + scale * max(over, under) + 12, y + 17,
               anchor="start")  # fmt: skip


def _stance(sheet: Sheet) -> None:
    body = _standing(sheet)
    ends = {}
    for joint, z in (("shoulder", 1.64), ("ankle", -0.07)):
        ends[joint] = [body[f"{joint}_{side}"] for side in ("trail", "lead")]
        level = [p * np.array([1, 1, 0]) + np.array([0, 0, z]) for p in ends[joint]]
        for p, q in zip(ends[joint], level, strict=True):
            sheet.line("was", p, q)
            sheet.dot(p)
        sheet.distance(*(sheet.at(p) for p in level), tips="both")
    _value(sheet, "stance_ratio", "address", sheet.at(ends["ankle"][1]), 34, -24)


def _ball_position(sheet: Sheet) -> None:
    body = _standing(sheet)
    at = _ruler(sheet, body["heel_lead"], body["heel_trail"], BALL)
    _value(sheet, "ball_position_pct", "address", at, 26, 10)


def _ruler(sheet: Sheet, zero: Array, hundred: Array, told: Array) -> Array:
    """A scale below the ground, and where something stands on it; the place of its 0."""
    below = np.array([0.0, 18.0])
    ends = [sheet.at(p * [1, 1, 0]) + below for p in (zero, hundred)]
    mark = np.array([sheet.at(told)[0], ends[0][1]])
    sheet.points("told", *ends)
    for end, words in zip(ends, ("0", "100"), strict=True):
        sheet.points("told", end - below / 3, end + below / 3)
        sheet.text("small", words, end[0], end[1] + 24)
    sheet.points("was", sheet.at(told), mark)
    sheet.spot(mark)
    return np.asarray(ends[0])


# --- turn and tilt ------------------------------------------------------------------------


def _side_tilt(sheet: Sheet) -> None:
    body = _standing(sheet, "impact")
    hip, shoulder = body["mid_hip"], body["mid_shoulder"]
    up = _plumb(sheet, hip, 0.72)
    sheet.line("now", hip, shoulder, role="ray")
    middle = sheet.angle(hip, up, shoulder, radius=88)
    _value(sheet, "side_tilt_deg", "impact", middle, -40, 0)


def _line_turn(measure: str, joint: str) -> Callable[[Sheet], None]:
    def draw(sheet: Sheet) -> None:
        body = _standing(sheet, "top")
        middle = body[f"mid_{joint}"]
        before = film().at("address")
        reach = 1.9 if joint == "hip" else 1.25
        was, now = (
            [reach * (b[f"{joint}_{side}"] - b[f"mid_{joint}"]) for side in ("lead", "trail")]
            for b in (before, body)
        )
        sheet.line("was", middle, middle + 2.2 * was[0])
        sheet.line("now", middle, middle + now[0])
        for side in ("lead", "trail"):
            sheet.dot(body[f"{joint}_{side}"])
        _rays(sheet, middle, middle + 2.4 * was[1], middle + now[1])
        radius = 78 if joint == "hip" else 84
        at = sheet.angle(middle, middle + was[1], middle + now[1], radius=radius)
        _value(sheet, measure, "top", at, -12, -6)

    return draw


def _rays(sheet: Sheet, vertex: Array, was: Array, now: Array) -> None:
    sheet.line("was", vertex, was, role="ray")
    sheet.line("now", vertex, now, role="ray")


def _separation(sheet: Sheet) -> None:
    body = _standing(sheet, "top")
    middle = body["mid_shoulder"]
    ends = {}
    for joint, kind in (("hip", "was"), ("shoulder", "now")):
        centre = body[f"mid_{joint}"]
        along = body[f"{joint}_trail"] - centre
        along = along * np.array([1, 1, 0]) / np.linalg.norm(along[:2])
        ends[joint] = middle + 0.42 * along
        if joint == "hip":
            sheet.line("now", *(body[f"hip_{side}"] for side in ("lead", "trail")))
            sheet.line(kind, middle - 0.2 * along, middle)
        else:
            sheet.line(kind, middle - 0.25 * along, middle)
        for side in ("lead", "trail"):
            sheet.dot(body[f"{joint}_{side}"])
    _rays(sheet, middle, ends["hip"], ends["shoulder"])
    at = sheet.angle(middle, ends["hip"], ends["shoulder"], radius=80)
    _value(sheet, "separation_deg", "top", at, -14, -4)


def _bar_turn(sheet: Sheet) -> None:
    sheet.ground()
    body = film().at("top")
    sheet.golfer(body, club=False)
    lead, trail = figure.bar_ends(body)
    middle = (lead + trail) / 2
    was = np.array([-0.5, 0, 0])
    sheet.line("was", middle - was, middle)
    sheet.line("now", lead, middle)
    _rays(sheet, middle, middle + was, trail)
    at = sheet.angle(middle, middle + was, trail, radius=60)
    _value(sheet, "bar_turn_deg", "top", at, -12, 0)


def _hip_line_tilt(sheet: Sheet) -> None:
    body = _standing(sheet, "top", was="address")
    lead, trail = body["hip_lead"], body["hip_trail"]
    end = lead + 2.4 * (trail - lead)
    level = lead + (lead - end) * np.array([-1, 0, 0])
    sheet.line("was", lead, level + np.array([-0.05, 0, 0]), role="ray")
    sheet.line("now", lead, end, role="ray")
    sheet.dot(lead)
    sheet.dot(trail)
    at = sheet.angle(lead, level, end, radius=0.27 * sheet.per_m)
    _value(sheet, "hip_line_tilt_deg", "top", at, -34, 8)


# --- travel -------------------------------------------------------------------------------


def _travel(
    measure: str, event: str, joint: str, *, axis: int, was: str = "address", place: str = "above"
) -> Callable[[Sheet], None]:
    """How far a joint has come along one axis since an earlier moment."""

    def draw(sheet: Sheet) -> None:
        body = _standing(sheet, event, was=was)
        before, now = film().at(was)[joint], body[joint]
        level = before.copy()
        level[axis] = now[axis]
        start, end, seen = sheet.at(before), sheet.at(level), sheet.at(now)
        side = axis == 2
        aside = np.array([-70.0, 0]) if side else np.array([0, -70.0])
        if place in ("right", "below"):
            aside = -aside
        sheet.points("was", start, start + aside * 1.15)
        sheet.points("was", seen, end + aside * 1.15)
        sheet.dot(before, old=True)
        sheet.dot(now)
        at = sheet.distance(start + aside, end + aside)
        if side:
            gap = 18 if place == "right" else -18
            _value(sheet, measure, event, at, gap, 9)
        else:
            _value(sheet, measure, event, at, 0, -18 if place == "above" else 36)

    return draw


def _trunk_tilt_change(sheet: Sheet) -> None:
    body = _standing(sheet, "impact", was="address")
    before = film().at("address")
    hip = body["mid_hip"]
    length = 1.35
    was = hip + length * (before["mid_shoulder"] - before["mid_hip"])
    now = hip + length * (body["mid_shoulder"] - hip)
    _rays(sheet, hip, was, now)
    at = sheet.angle(hip, was, now, radius=0.56 * sheet.per_m)
    _value(sheet, "trunk_tilt_change_deg", "impact", at, 20, -2)


def _hand_depth(sheet: Sheet) -> None:
    body = _standing(sheet, "top")
    heel = film().at("address")["heel_trail"]
    grip = body["grip"]
    level = heel + np.array([0, 0, grip[2] - heel[2]])
    above = np.array([0, 0, 0.16])
    sheet.line("was", heel, level + 1.3 * above)
    sheet.line("was", grip, grip + 1.3 * above)
    sheet.dot(grip)
    sheet.dot(heel, old=True)
    at = sheet.distance(sheet.at(level + above), sheet.at(grip + above))
    _value(sheet, "hand_depth_cm", "top", at, -18, 8)


def _lead_elbow(sheet: Sheet) -> None:
    body = _standing(sheet, "top")
    shoulder, elbow, wrist = (body[f"{j}_lead"] for j in ("shoulder", "elbow", "wrist"))
    on = elbow + 1.3 * (elbow - shoulder)
    sheet.line("now", elbow, shoulder)
    _rays(sheet, elbow, on, wrist)
    at = sheet.angle(elbow, on, wrist, radius=0.22 * sheet.per_m)
    _value(sheet, "lead_elbow_deg", "top", at, -12, -10)


# --- the club -----------------------------------------------------------------------------


def _handle_lean(sheet: Sheet) -> None:
    body = _standing(sheet, "impact")
    head, grip = body.club_head, body["grip"]
    up = _plumb(sheet, head, 0.95)
    sheet.line("now", head, grip, role="ray")
    at = sheet.angle(head, up, grip, radius=0.8 * sheet.per_m)
    _value(sheet, "handle_lean_deg", "impact", at, 24, -8)


def _shaft_pitch(sheet: Sheet) -> None:
    body = _standing(sheet, "lead_arm_down")
    grip, head = body["grip"], body.club_head
    level = grip + np.array([0, -0.62, 0])
    sheet.line("was", grip, level, role="ray")
    sheet.line("now", grip, head, role="ray")
    at = sheet.angle(grip, level, head, radius=0.42 * sheet.per_m)
    _value(sheet, "shaft_pitch_deg", "lead_arm_down", at, -14, -4)


def _shaft_line(sheet: Sheet) -> tuple[Body, Array]:
    body = _standing(sheet, "lead_arm_down")
    ground = meets_ground(body)
    sheet.line("now", body.club_head, body["grip"])
    return body, ground


def _shaft_aim_deg(sheet: Sheet) -> None:
    body, ground = _shaft_line(sheet)
    _rays(sheet, body["grip"], BALL, ground)
    at = sheet.angle(body["grip"], BALL, ground, radius=0.95 * sheet.per_m)
    _value(sheet, "shaft_aim_deg", "lead_arm_down", at, 16, -16)


def _shaft_aim_cm(sheet: Sheet) -> None:
    body, ground = _shaft_line(sheet)
    sheet.line("now", body["grip"], ground)
    below = np.array([0, 20.0])
    start, end = (sheet.at(p * np.array([1, 1, 0])) for p in (BALL, ground))
    sheet.points("was", start, start + 1.5 * below)
    sheet.points("was", end, end + 1.5 * below)
    at = sheet.distance(start + below, end + below)
    _value(sheet, "shaft_aim_cm", "lead_arm_down", at, 0, 34)


_HIPS_DTL, _HIPS_FO = (-0.50, 0.50, 0.52, 1.42), (-0.60, 0.40, 0.52, 1.42)
_HEAD_FO = (-0.55, 0.35, 1.02, 1.80)
_CLUB_DTL = (-0.72, 1.35, -0.12, 2.0)

PICTURES: tuple[Picture, ...] = (
    Picture("trunk_tilt_deg", "address", DTL, _trunk_tilt),
    Picture("knee_flex_deg", "address", DTL, _knee_flex, (-0.6, 0.5, -0.05, 1.15)),
    Picture("arm_hang_deg", "address", DTL, _arm_hang),
    Picture("balance_pct", "address", DTL, _balance, (-0.55, 0.5, -0.16, 1.12)),
    Picture("pelvis_behind_heel_cm", "address", DTL, _pelvis_behind_heel, (-0.68, 0.5, -0.06, 1.2)),
    Picture("arm_torso_ratio", "address", DTL, _arm_torso, (-0.75, 0.95, -0.06, 1.95)),
    Picture("stance_ratio", "address", FO, _stance, (-0.8, 0.9, -0.14, 1.76)),
    Picture("ball_position_pct", "address", FO, _ball_position, (-0.42, 0.6, -0.2, 0.85)),
    Picture("side_tilt_deg", "impact", FO, _side_tilt),
    Picture("pelvis_turn_deg", "top", ABOVE, _line_turn("pelvis_turn_deg", "hip"),
            against="address"),
    Picture("shoulder_turn_deg", "top", ABOVE, _line_turn("shoulder_turn_deg", "shoulder"),
            against="address"),
    Picture("bar_turn_deg", "top", ABOVE, _bar_turn, against="address"),
    Picture("separation_deg", "top", ABOVE, _separation),
    Picture("hip_line_tilt_deg", "top", FO, _hip_line_tilt, _HIPS_FO, against="address"),
    Picture("trail_hip_depth_cm", "top", DTL,
            _travel("trail_hip_depth_cm", "top", "hip_trail", axis=1), _HIPS_DTL, "address"),
    Picture("pelvis_to_ball_cm", "impact", DTL,
            _travel("pelvis_to_ball_cm", "impact", "mid_hip", axis=1), _HIPS_DTL, "address"),
    Picture("pelvis_to_ball_down_cm", "impact", DTL,
            _travel("pelvis_to_ball_down_cm", "impact", "mid_hip", axis=1, was="top"),
            _HIPS_DTL, "top"),
    Picture("pelvis_rise_cm", "impact", FO,
            _travel("pelvis_rise_cm", "impact", "mid_hip", axis=2), _HIPS_FO, "address"),
    Picture("pelvis_sway_cm", "top", FO,
            _travel("pelvis_sway_cm", "top", "mid_hip", axis=0), _HIPS_FO, "address"),
    Picture("head_sway_cm", "top", FO,
            _travel("head_sway_cm", "top", "head", axis=0), _HEAD_FO, "address"),
    Picture("head_rise_cm", "impact", FO,
            _travel("head_rise_cm", "impact", "head", axis=2), _HEAD_FO, "address"),
    Picture("trunk_tilt_change_deg", "impact", DTL, _trunk_tilt_change, against="address"),
    Picture("hand_depth_cm", "top", DTL, _hand_depth, (-0.80, 0.85, -0.06, 1.86)),
    Picture("lead_elbow_deg", "top", FO, _lead_elbow, (-0.75, 0.6, 0.75, 1.9)),
    Picture("handle_lean_deg", "impact", FO, _handle_lean, (-0.6, 0.6, -0.04, 1.2)),
    Picture("shaft_pitch_deg", "lead_arm_down", DTL, _shaft_pitch, _CLUB_DTL),
    Picture("shaft_aim_deg", "lead_arm_down", DTL, _shaft_aim_deg, _CLUB_DTL),
    Picture("shaft_aim_cm", "lead_arm_down", DTL, _shaft_aim_cm, (-0.72, 1.35, -0.30, 2.0)),
    Picture("backswing_s", "top", TIME, tempo("backswing_s"), against="address"),
    Picture("downswing_s", "impact", TIME, tempo("downswing_s"), against="top"),
    Picture("tempo_ratio", "impact", TIME, tempo("tempo_ratio"), against="address → top"),
    Picture("hand_speed_peak_m_s", "impact", TIME, peak("hand_speed_peak_m_s", grip_speed)),
    Picture("pelvis_speed_peak_s", "impact", TIME,
            peak("pelvis_speed_peak_s", turn_rate("pelvis"))),
    Picture("shoulder_speed_peak_s", "impact", TIME,
            peak("shoulder_speed_peak_s", turn_rate("shoulder"))),
    Picture("hand_speed_peak_s", "impact", TIME, peak("hand_speed_peak_s", grip_speed)),
)  # fmt: skip
