"""Which lines on the body a figure is read from: drawn when that figure is looked at.

Names are joints of `analysis.core.pose.JOINTS`, `mid_JOINT`, `com`, `shaft_grip`,
`shaft_head` and `ball`.
"""

from __future__ import annotations

Segment = tuple[str, str]

_TRUNK: tuple[Segment, ...] = (("mid_hip", "mid_shoulder"),)
_HIPS: tuple[Segment, ...] = (("hip_lead", "hip_trail"),)
_SHOULDERS: tuple[Segment, ...] = (("shoulder_lead", "shoulder_trail"),)
_SHAFT: tuple[Segment, ...] = (("shaft_grip", "shaft_head"),)

SEGMENTS: dict[str, tuple[Segment, ...]] = {
    "trunk_tilt_deg": _TRUNK,
    "trunk_tilt_change_deg": _TRUNK,
    "side_tilt_deg": _TRUNK,
    "knee_flex_deg": tuple(
        pair
        for side in ("lead", "trail")
        for pair in ((f"hip_{side}", f"knee_{side}"), (f"knee_{side}", f"ankle_{side}"))
    ),
    "arm_hang_deg": (("mid_shoulder", "mid_wrist"),),
    "arm_torso_ratio": (
        *_TRUNK,
        ("shoulder_lead", "elbow_lead"),
        ("elbow_lead", "wrist_lead"),
    ),
    "balance_pct": (("mid_heel", "mid_toe"),),
    "pelvis_behind_heel_cm": (("mid_hip", "mid_heel"),),
    "stance_ratio": (("ankle_lead", "ankle_trail"), *_SHOULDERS),
    "ball_position_pct": (("heel_lead", "heel_trail"),),
    "pelvis_turn_deg": _HIPS,
    "hip_line_tilt_deg": _HIPS,
    "shoulder_turn_deg": _SHOULDERS,
    "separation_deg": (*_HIPS, *_SHOULDERS),
    "trail_hip_depth_cm": _HIPS,
    "pelvis_to_ball_cm": _HIPS,
    "pelvis_to_ball_down_cm": _HIPS,
    "pelvis_rise_cm": _HIPS,
    "pelvis_sway_cm": _HIPS,
    "head_rise_cm": (("head", "head"),),
    "head_sway_cm": (("head", "head"),),
    "hand_depth_cm": (("grip", "heel_trail"),),
    "lead_elbow_deg": (("shoulder_lead", "elbow_lead"), ("elbow_lead", "wrist_lead")),
    "handle_lean_deg": _SHAFT,
    "shaft_pitch_deg": _SHAFT,
    "shaft_aim_deg": (*_SHAFT, ("shaft_grip", "ball")),
    "shaft_aim_cm": _SHAFT,
    "steepening_deg": _SHAFT,
    "shaft_past_level_deg": _SHAFT,
    "wrist_set_deg": (("elbow_lead", "wrist_lead"), *_SHAFT),
    "balance_side_pct": (("ankle_lead", "ankle_trail"), ("com", "mid_ankle")),
    "hands_thigh_cm": (("mid_hip", "mid_knee"), ("grip", "mid_knee")),
    "ball_distance_cm": (("mid_toe", "ball"),),
    "shoulder_to_feet_deg": (*_SHOULDERS, ("toe_lead", "toe_trail")),
    "hands_path_cm": (("grip", "grip"),),
    "lead_arm_up_deg": (("shoulder_lead", "wrist_lead"),),
}
