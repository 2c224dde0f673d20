"""What the club does, as pictures."""

from __future__ import annotations

import numpy as np

from analysis.core.pose import Array
from analysis.drawings import golfer as figure
from analysis.drawings.golfer import BALL, Body
from analysis.drawings.readings import film, meets_ground, wrist_lines
from analysis.drawings.sheet import Sheet
from analysis.drawings.strokes import plumb, rays, standing, value_beside


def handle_lean(sheet: Sheet) -> None:
    body = standing(sheet, "impact")
    head, grip = body.club_head, body["grip"]
    up = plumb(sheet, head, 0.95)
    sheet.line("now", head, grip, role="ray")
    at = sheet.angle(head, up, grip, radius=0.8 * sheet.per_m)
    value_beside(sheet, "handle_lean_deg", "impact", at, 24, -8)


def shaft_pitch(sheet: Sheet) -> None:
    body = standing(sheet, "lead_arm_down")
    grip, head = body["grip"], body.club_head
    level = grip + np.array([0, -0.62, 0])
    sheet.line("was", grip, level, role="ray")
    sheet.line("now", grip, head, role="ray")
    at = sheet.angle(grip, level, head, radius=0.42 * sheet.per_m)
    value_beside(sheet, "shaft_pitch_deg", "lead_arm_down", at, -14, -4)


def steepening(sheet: Sheet) -> None:
    sheet.ground()
    before, body = film().at("lead_arm_back"), figure.body_of("steepening_deg", "lead_arm_down")
    sheet.golfer(before, ghost=True, club=False)
    sheet.golfer(body)
    grip, head = body["grip"], body.club_head
    rays(sheet, grip, grip + (before.club_head - before["grip"]), head)
    at = sheet.angle(grip, grip + (before.club_head - before["grip"]), head,
                     radius=0.72 * sheet.per_m)  # fmt: skip
    value_beside(sheet, "steepening_deg", "lead_arm_down", at, -12, -12)


def shaft_past_level(sheet: Sheet) -> None:
    sheet.ground()
    body = figure.body_of("shaft_past_level_deg", "top")
    sheet.golfer(body)
    grip, head = body["grip"], body.club_head
    level = grip + np.array([0.95, 0, 0])
    rays(sheet, grip, level, head)
    at = sheet.angle(grip, level, head, radius=0.62 * sheet.per_m)
    value_beside(sheet, "shaft_past_level_deg", "top", at, 16, 10)


def wrist_set(sheet: Sheet) -> None:
    body = standing(sheet, "lead_arm_down")
    (elbow, wrist), (grip, head) = wrist_lines(body)
    on = grip + 0.42 * (wrist - elbow) / np.linalg.norm(wrist - elbow)
    sheet.line("now", elbow, grip)
    rays(sheet, grip, on, head)
    at = sheet.angle(grip, on, head, radius=0.30 * sheet.per_m)
    value_beside(sheet, "wrist_set_deg", "lead_arm_down", at, -10, -12)


def _shaft_line(sheet: Sheet) -> tuple[Body, Array]:
    body = standing(sheet, "lead_arm_down")
    ground = meets_ground(body)
    sheet.line("now", body.club_head, body["grip"])
    return body, ground


def shaft_aim_deg(sheet: Sheet) -> None:
    body, ground = _shaft_line(sheet)
    rays(sheet, body["grip"], BALL, ground)
    at = sheet.angle(body["grip"], BALL, ground, radius=0.95 * sheet.per_m)
    value_beside(sheet, "shaft_aim_deg", "lead_arm_down", at, 16, -16)


def shaft_aim_cm(sheet: Sheet) -> None:
    body, ground = _shaft_line(sheet)
    sheet.line("now", body["grip"], ground)
    below = np.array([0, 20.0])
    start, end = (sheet.at(p * np.array([1, 1, 0])) for p in (BALL, ground))
    sheet.points("was", start, start + 1.5 * below)
    sheet.points("was", end, end + 1.5 * below)
    at = sheet.distance(start + below, end + below)
    value_beside(sheet, "shaft_aim_cm", "lead_arm_down", at, 0, 34)
