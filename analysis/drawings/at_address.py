"""How a golfer stands, as pictures."""

from __future__ import annotations

import numpy as np

from analysis.core.geometry import centre_of_mass_m
from analysis.core.pose import Array
from analysis.drawings import golfer as figure
from analysis.drawings.golfer import BALL
from analysis.drawings.readings import value_of, words_of
from analysis.drawings.sheet import Sheet
from analysis.drawings.strokes import plumb, rays, standing, value_beside


def trunk_tilt(sheet: Sheet) -> None:
    body = standing(sheet)
    hip, shoulder = body["mid_hip"], body["mid_shoulder"]
    up = plumb(sheet, hip, 0.62)
    sheet.line("now", hip, shoulder, role="ray")
    middle = sheet.angle(hip, up, shoulder, radius=66)
    value_beside(sheet, "trunk_tilt_deg", "address", middle, -32, 4)


def knee_flex(sheet: Sheet) -> None:
    body = standing(sheet)
    hip, knee, ankle = (body[f"mid_{j}"] for j in ("hip", "knee", "ankle"))
    on = knee + 0.42 * (knee - hip) / np.linalg.norm(knee - hip)
    sheet.line("now", knee, hip)
    sheet.line("was", knee, on, role="ray")
    sheet.line("now", knee, ankle, role="ray")
    middle = sheet.angle(knee, on, ankle, radius=70)
    value_beside(sheet, "knee_flex_deg", "address", middle, 26, 12)


def arm_hang(sheet: Sheet) -> None:
    body = standing(sheet)
    shoulder, wrist = body["mid_shoulder"], body["mid_wrist"]
    down = plumb(sheet, shoulder, -0.72)
    sheet.line("now", shoulder, wrist, role="ray")
    middle = sheet.angle(shoulder, down, wrist, radius=96)
    value_beside(sheet, "arm_hang_deg", "address", middle, 24, 4)


def balance(sheet: Sheet) -> None:
    body = standing(sheet)
    joints = np.array(list(body.joints.values()))[None]
    com = centre_of_mass_m(joints)[0]
    _ruler(sheet, body["mid_heel"], body["mid_toe"], com)
    sheet.dot(com)
    value_beside(sheet, "balance_pct", "address", sheet.at(com), 30, 8)


def pelvis_behind_heel(sheet: Sheet) -> None:
    body = standing(sheet)
    hip, heel = body["mid_hip"], body["mid_heel"]
    level = np.array([0, 0, 0.35])
    sheet.line("was", heel, heel + 1.3 * level)
    sheet.line("was", hip, hip * [1, 1, 0] + level - [0, 0, 0.08])
    sheet.dot(hip)
    sheet.dot(heel, old=True)
    middle = sheet.distance(*(sheet.at(p * [1, 1, 0] + level) for p in (heel, hip)))
    value_beside(sheet, "pelvis_behind_heel_cm", "address", middle, -22, 9)


def arm_torso(sheet: Sheet) -> None:
    body = standing(sheet)
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


def stance(sheet: Sheet) -> None:
    body = standing(sheet)
    ends = {}
    for joint, z in (("shoulder", 1.64), ("ankle", -0.07)):
        ends[joint] = [body[f"{joint}_{side}"] for side in ("trail", "lead")]
        level = [p * np.array([1, 1, 0]) + np.array([0, 0, z]) for p in ends[joint]]
        for p, q in zip(ends[joint], level, strict=True):
            sheet.line("was", p, q)
            sheet.dot(p)
        sheet.distance(*(sheet.at(p) for p in level), tips="both")
    value_beside(sheet, "stance_ratio", "address", sheet.at(ends["ankle"][1]), 34, -24)


def ball_position(sheet: Sheet) -> None:
    body = standing(sheet)
    at = _ruler(sheet, body["heel_lead"], body["heel_trail"], BALL)
    value_beside(sheet, "ball_position_pct", "address", at, 26, 10)


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


def balance_side(sheet: Sheet) -> None:
    body = standing(sheet, "top")
    joints = np.array(list(body.joints.values()))[None]
    com = centre_of_mass_m(joints)[0]
    at = _ruler(sheet, body["ankle_lead"], body["ankle_trail"], com)
    sheet.dot(com)
    value_beside(sheet, "balance_side_pct", "top", at, 24, 10)


def hands_thigh(sheet: Sheet) -> None:
    body = standing(sheet)
    hip, knee, grip = body["mid_hip"], body["mid_knee"], body["grip"]
    share = (hip[2] - grip[2]) / (hip[2] - knee[2])
    thigh = hip + share * (knee - hip)
    sheet.line("was", hip, knee)
    sheet.dot(grip)
    sheet.dot(thigh, old=True)
    at = sheet.distance(sheet.at(thigh), sheet.at(grip))
    value_beside(sheet, "hands_thigh_cm", "address", at, 46, 34)


def ball_distance(sheet: Sheet) -> None:
    body = standing(sheet)
    below = np.array([0.0, 22.0])
    start, end = (sheet.at(p * np.array([1, 1, 0])) for p in (body["mid_toe"], BALL))
    for point in (start, end):
        sheet.points("was", point - below / 3, point + 1.4 * below)
    at = sheet.distance(start + below, end + below)
    value_beside(sheet, "ball_distance_cm", "address", at, 0, 34)


def shoulder_to_feet(sheet: Sheet) -> None:
    sheet.ground()
    body = figure.body_of("shoulder_to_feet_deg", "address")
    sheet.golfer(body)
    middle = body["mid_shoulder"]
    toes = body["toe_trail"] - body["toe_lead"]
    shoulders = body["shoulder_trail"] - middle
    sheet.line("was", body["toe_lead"], body["toe_trail"])
    sheet.line("now", body["shoulder_lead"], middle)
    rays(sheet, middle, middle + 1.5 * toes / np.linalg.norm(toes) * 0.38,
          middle + 0.55 * shoulders / np.linalg.norm(shoulders))  # fmt: skip
    for side in ("lead", "trail"):
        sheet.dot(body[f"shoulder_{side}"])
        sheet.dot(body[f"toe_{side}"], old=True)
    at = sheet.angle(middle, middle + toes, middle + shoulders, radius=104)
    value_beside(sheet, "shoulder_to_feet_deg", "address", at, -6, -14)
