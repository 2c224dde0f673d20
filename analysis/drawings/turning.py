"""Turn, tilt and travel of body and arms, as pictures."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis.core.pose import JOINT
from analysis.drawings import golfer as figure
from analysis.drawings.readings import film
from analysis.drawings.sheet import Sheet
from analysis.drawings.strokes import plumb, rays, standing, value_beside


def side_tilt(sheet: Sheet) -> None:
    body = standing(sheet, "impact")
    hip, shoulder = body["mid_hip"], body["mid_shoulder"]
    up = plumb(sheet, hip, 0.72)
    sheet.line("now", hip, shoulder, role="ray")
    middle = sheet.angle(hip, up, shoulder, radius=88)
    value_beside(sheet, "side_tilt_deg", "impact", middle, -40, 0)


def line_turn(measure: str, joint: str) -> Callable[[Sheet], None]:
    def draw(sheet: Sheet) -> None:
        body = standing(sheet, "top")
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
        rays(sheet, middle, middle + 2.4 * was[1], middle + now[1])
        radius = 78 if joint == "hip" else 84
        at = sheet.angle(middle, middle + was[1], middle + now[1], radius=radius)
        value_beside(sheet, measure, "top", at, -12, -6)

    return draw


def separation(sheet: Sheet) -> None:
    body = standing(sheet, "top")
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
    rays(sheet, middle, ends["hip"], ends["shoulder"])
    at = sheet.angle(middle, ends["hip"], ends["shoulder"], radius=80)
    value_beside(sheet, "separation_deg", "top", at, -14, -4)


def bar_turn(sheet: Sheet) -> None:
    sheet.ground()
    body = film().at("top")
    sheet.golfer(body, club=False)
    lead, trail = figure.bar_ends(body)
    middle = (lead + trail) / 2
    was = np.array([-0.5, 0, 0])
    sheet.line("was", middle - was, middle)
    sheet.line("now", lead, middle)
    rays(sheet, middle, middle + was, trail)
    at = sheet.angle(middle, middle + was, trail, radius=60)
    value_beside(sheet, "bar_turn_deg", "top", at, -12, 0)


def hip_line_tilt(sheet: Sheet) -> None:
    body = standing(sheet, "top", was="address")
    lead, trail = body["hip_lead"], body["hip_trail"]
    end = lead + 2.4 * (trail - lead)
    level = lead + (lead - end) * np.array([-1, 0, 0])
    sheet.line("was", lead, level + np.array([-0.05, 0, 0]), role="ray")
    sheet.line("now", lead, end, role="ray")
    sheet.dot(lead)
    sheet.dot(trail)
    at = sheet.angle(lead, level, end, radius=0.27 * sheet.per_m)
    value_beside(sheet, "hip_line_tilt_deg", "top", at, -34, 8)


def travel(
    measure: str, event: str, joint: str, *, axis: int, was: str = "address", place: str = "above"
) -> Callable[[Sheet], None]:
    """How far a joint has come along one axis since an earlier moment."""

    def draw(sheet: Sheet) -> None:
        body = standing(sheet, event, was=was)
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
            value_beside(sheet, measure, event, at, gap, 9)
        else:
            value_beside(sheet, measure, event, at, 0, -18 if place == "above" else 36)

    return draw


def trunk_tilt_change(sheet: Sheet) -> None:
    body = standing(sheet, "impact", was="address")
    before = film().at("address")
    hip = body["mid_hip"]
    length = 1.35
    was = hip + length * (before["mid_shoulder"] - before["mid_hip"])
    now = hip + length * (body["mid_shoulder"] - hip)
    rays(sheet, hip, was, now)
    at = sheet.angle(hip, was, now, radius=0.56 * sheet.per_m)
    value_beside(sheet, "trunk_tilt_change_deg", "impact", at, 20, -2)


def hand_depth(sheet: Sheet) -> None:
    body = standing(sheet, "top")
    heel = film().at("address")["heel_trail"]
    grip = body["grip"]
    level = heel + np.array([0, 0, grip[2] - heel[2]])
    above = np.array([0, 0, 0.16])
    sheet.line("was", heel, level + 1.3 * above)
    sheet.line("was", grip, grip + 1.3 * above)
    sheet.dot(grip)
    sheet.dot(heel, old=True)
    at = sheet.distance(sheet.at(level + above), sheet.at(grip + above))
    value_beside(sheet, "hand_depth_cm", "top", at, -18, 8)


def lead_elbow(sheet: Sheet) -> None:
    body = standing(sheet, "top")
    shoulder, elbow, wrist = (body[f"{j}_lead"] for j in ("shoulder", "elbow", "wrist"))
    on = elbow + 1.3 * (elbow - shoulder)
    sheet.line("now", elbow, shoulder)
    rays(sheet, elbow, on, wrist)
    at = sheet.angle(elbow, on, wrist, radius=0.22 * sheet.per_m)
    value_beside(sheet, "lead_elbow_deg", "top", at, -12, -10)


def lead_arm_up(sheet: Sheet) -> None:
    body = standing(sheet, "top")
    shoulder, wrist = body["shoulder_lead"], body["wrist_lead"]
    level = shoulder + np.array([-0.62, 0, 0])
    rays(sheet, shoulder, level, wrist)
    at = sheet.angle(shoulder, level, wrist, radius=0.34 * sheet.per_m)
    value_beside(sheet, "lead_arm_up_deg", "top", at, -12, 14)


def hands_path(sheet: Sheet) -> None:
    swing, body = film(), standing(sheet, "lead_arm_down", was="lead_arm_back")
    down = swing.at("lead_arm_down")["grip"]
    first, top = (round(200 * figure.TIMES_S[e]) for e in ("address", "top"))
    last = round(200 * figure.TIMES_S["lead_arm_down"])
    path = swing.joints_m[:, JOINT["grip"]]
    back = path[first + int(np.argmin(np.abs(path[first:top, 2] - down[2])))]
    sheet.line("was", *path[first : top + 1 : 4])
    sheet.line("now", *path[top : last + 1 : 4])
    sheet.dot(back, old=True)
    sheet.dot(body["grip"])
    lift = np.array([0.0, -34.0])
    for point in (back, down):
        sheet.points("was", sheet.at(point), sheet.at(point) + 1.3 * lift)
    at = sheet.distance(sheet.at(back) + lift, sheet.at(down) + lift)
    value_beside(sheet, "hands_path_cm", "lead_arm_down", at, 26, -6)
