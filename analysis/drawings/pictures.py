"""The picture of each measure: which lines it is read between, on a golfer seen as filmed.

Every number that is printed is the closed form of `core.measures` applied to the golfer
that is drawn, and every line runs between the joints that it names.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from analysis.core.measures import DTL, FO
from analysis.drawings.at_address import (
    arm_hang,
    arm_torso,
    balance,
    balance_side,
    ball_distance,
    ball_position,
    hands_thigh,
    knee_flex,
    pelvis_behind_heel,
    shoulder_to_feet,
    stance,
    trunk_tilt,
)
from analysis.drawings.of_the_club import (
    handle_lean,
    shaft_aim_cm,
    shaft_aim_deg,
    shaft_past_level,
    shaft_pitch,
    steepening,
    wrist_set,
)
from analysis.drawings.over_time import grip_speed, held_finish, peak, tempo, turn_rate
from analysis.drawings.readings import value_of
from analysis.drawings.sheet import SIZE, Sheet
from analysis.drawings.turning import (
    bar_turn,
    hand_depth,
    hands_path,
    hip_line_tilt,
    lead_arm_up,
    lead_elbow,
    line_turn,
    separation,
    side_tilt,
    travel,
    trunk_tilt_change,
)

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


_HIPS_DTL, _HIPS_FO = (-0.50, 0.50, 0.52, 1.42), (-0.60, 0.40, 0.52, 1.42)

_HEAD_FO = (-0.55, 0.35, 1.02, 1.80)

_CLUB_DTL = (-0.72, 1.35, -0.12, 2.0)

PICTURES: tuple[Picture, ...] = (
    Picture("trunk_tilt_deg", "address", DTL, trunk_tilt),
    Picture("knee_flex_deg", "address", DTL, knee_flex, (-0.6, 0.5, -0.05, 1.15)),
    Picture("arm_hang_deg", "address", DTL, arm_hang),
    Picture("balance_pct", "address", DTL, balance, (-0.55, 0.5, -0.16, 1.12)),
    Picture("pelvis_behind_heel_cm", "address", DTL, pelvis_behind_heel, (-0.68, 0.5, -0.06, 1.2)),
    Picture("hands_thigh_cm", "address", DTL, hands_thigh, (-0.45, 0.85, 0.30, 1.45)),
    Picture("ball_distance_cm", "address", DTL, ball_distance, (-0.45, 1.05, -0.24, 1.3)),
    Picture("shoulder_to_feet_deg", "address", ABOVE, shoulder_to_feet,
            (-0.76, 0.56, -0.88, 0.44)),
    Picture("balance_side_pct", "top", FO, balance_side, (-0.75, 0.75, -0.2, 1.74)),
    Picture("arm_torso_ratio", "address", DTL, arm_torso, (-0.75, 0.95, -0.06, 1.95)),
    Picture("stance_ratio", "address", FO, stance, (-0.8, 0.9, -0.14, 1.76)),
    Picture("ball_position_pct", "address", FO, ball_position, (-0.42, 0.6, -0.2, 0.85)),
    Picture("side_tilt_deg", "impact", FO, side_tilt),
    Picture("pelvis_turn_deg", "top", ABOVE, line_turn("pelvis_turn_deg", "hip"),
            against="address"),
    Picture("shoulder_turn_deg", "top", ABOVE, line_turn("shoulder_turn_deg", "shoulder"),
            against="address"),
    Picture("bar_turn_deg", "top", ABOVE, bar_turn, against="address"),
    Picture("separation_deg", "top", ABOVE, separation),
    Picture("hip_line_tilt_deg", "top", FO, hip_line_tilt, _HIPS_FO, against="address"),
    Picture("trail_hip_depth_cm", "top", DTL,
            travel("trail_hip_depth_cm", "top", "hip_trail", axis=1), _HIPS_DTL, "address"),
    Picture("pelvis_to_ball_cm", "impact", DTL,
            travel("pelvis_to_ball_cm", "impact", "mid_hip", axis=1), _HIPS_DTL, "address"),
    Picture("pelvis_to_ball_down_cm", "impact", DTL,
            travel("pelvis_to_ball_down_cm", "impact", "mid_hip", axis=1, was="top"),
            _HIPS_DTL, "top"),
    Picture("pelvis_rise_cm", "impact", FO,
            travel("pelvis_rise_cm", "impact", "mid_hip", axis=2), _HIPS_FO, "address"),
    Picture("pelvis_sway_cm", "top", FO,
            travel("pelvis_sway_cm", "top", "mid_hip", axis=0), _HIPS_FO, "address"),
    Picture("head_sway_cm", "top", FO,
            travel("head_sway_cm", "top", "head", axis=0), _HEAD_FO, "address"),
    Picture("head_rise_cm", "impact", FO,
            travel("head_rise_cm", "impact", "head", axis=2), _HEAD_FO, "address"),
    Picture("trunk_tilt_change_deg", "impact", DTL, trunk_tilt_change, against="address"),
    Picture("hand_depth_cm", "top", DTL, hand_depth, (-0.80, 0.85, -0.06, 1.86)),
    Picture("lead_elbow_deg", "top", FO, lead_elbow, (-0.75, 0.6, 0.75, 1.9)),
    Picture("lead_arm_up_deg", "top", FO, lead_arm_up, (-0.80, 0.6, 0.75, 1.9)),
    Picture("hands_path_cm", "lead_arm_down", DTL, hands_path, (-0.75, 0.65, 0.62, 1.95),
            against="lead_arm_back"),
    Picture("wrist_set_deg", "lead_arm_down", FO, wrist_set, (-1.15, 0.5, 0.85, 2.35)),
    Picture("shaft_past_level_deg", "top", FO, shaft_past_level, (-0.65, 0.75, 0.75, 1.95)),
    Picture("handle_lean_deg", "impact", FO, handle_lean, (-0.6, 0.6, -0.04, 1.2)),
    Picture("shaft_pitch_deg", "lead_arm_down", DTL, shaft_pitch, _CLUB_DTL),
    Picture("steepening_deg", "lead_arm_down", DTL, steepening, (-0.9, 1.2, -0.1, 2.4),
            against="lead_arm_back"),
    Picture("shaft_aim_deg", "lead_arm_down", DTL, shaft_aim_deg, _CLUB_DTL),
    Picture("shaft_aim_cm", "lead_arm_down", DTL, shaft_aim_cm, (-0.72, 1.35, -0.30, 2.0)),
    Picture("backswing_s", "top", TIME, tempo("backswing_s"), against="address"),
    Picture("downswing_s", "impact", TIME, tempo("downswing_s"), against="top"),
    Picture("tempo_ratio", "impact", TIME, tempo("tempo_ratio"), against="address → top"),
    Picture("hand_speed_peak_m_s", "impact", TIME, peak("hand_speed_peak_m_s", grip_speed)),
    Picture("pelvis_speed_peak_s", "impact", TIME,
            peak("pelvis_speed_peak_s", turn_rate("pelvis"))),
    Picture("shoulder_speed_peak_s", "impact", TIME,
            peak("shoulder_speed_peak_s", turn_rate("shoulder"))),
    Picture("hand_speed_peak_s", "impact", TIME, peak("hand_speed_peak_s", grip_speed)),
    Picture("finish_held_s", "finish", TIME, held_finish),
)  # fmt: skip
