"""Swings that act one fault at an amateur's size, and sound swings, as true figures.

Values are of the trade: common practice, no published source. Where the rendered reference
clips hold a sound swing (`rehearsal`, `left`), the sound values lie at theirs. Figures in cm
are in percent of stature, as in the catalogue. Each value is (mean, standard deviation
between players); a fault brings along the figures that usually come with it.
"""

from __future__ import annotations

Key = tuple[str, str]
Spread = tuple[float, float]


def key(figure: str) -> Key:
    measure, _, event = figure.partition("@")
    return measure, event


def table(rows: dict[str, Spread]) -> dict[Key, Spread]:
    return {key(figure): spread for figure, spread in rows.items()}


# A sound swing with a middle iron, both views.
SOUND = table(
    {
        "trunk_tilt_deg@address": (36, 3),
        "knee_flex_deg@address": (20, 2.5),
        "arm_hang_deg@address": (17.5, 1.5),
        "balance_pct@address": (49, 3),
        "pelvis_behind_heel_cm@address": (1.7, 0.6),
        "stance_ratio@address": (1.15, 0.08),
        "ball_position_pct@address": (35, 4),
        "side_tilt_deg@address": (3.6, 1.0),
        "balance_side_pct@address": (50, 3),
        "shoulder_to_feet_deg@address": (0, 2.5),
        "hands_thigh_cm@address": (18, 1.5),
        "ball_distance_cm@address": (32, 2),
        "handle_lean_deg@address": (1, 2),
        "shaft_pitch_deg@address": (58, 2),
        "shaft_pitch_deg@lead_arm_back": (58, 3),
        "shaft_aim_deg@lead_arm_back": (2, 2),
        "wrist_set_deg@lead_arm_back": (80, 8),
        "wrist_set_deg@top": (115, 8),
        "pelvis_turn_deg@top": (47, 4),
        "shoulder_turn_deg@top": (95, 5),
        "trail_hip_depth_cm@top": (4.6, 0.6),
        "hip_line_tilt_deg@top": (19, 2.5),
        "hand_depth_cm@top": (-1, 1.2),
        "shaft_pitch_deg@late_back": (45, 5),
        "shaft_aim_deg@late_back": (18, 5),
        "pelvis_sway_cm@top": (1.0, 0.5),
        "balance_side_pct@top": (60, 5),
        "side_tilt_deg@top": (4.8, 1.2),
        "head_sway_cm@top": (1.2, 0.7),
        "head_rise_cm@top": (0.2, 0.5),
        "pelvis_rise_cm@top": (-1.5, 0.5),
        "pelvis_to_ball_cm@top": (-0.2, 0.4),
        "lead_elbow_deg@top": (25, 3),
        "shaft_past_level_deg@top": (0, 4),
        "lead_arm_up_deg@top": (48, 5),
        "tempo_ratio@impact": (3.0, 0.2),
        "backswing_s@top": (0.78, 0.05),
        "downswing_s@impact": (0.26, 0.015),
        "hands_path_cm@lead_arm_down": (0.5, 1.5),
        "shaft_pitch_deg@transition": (42, 4),
        "shaft_aim_deg@transition": (22, 4),
        "shaft_pitch_deg@lead_arm_down": (48, 3),
        "shaft_aim_deg@lead_arm_down": (14, 3),
        "steepening_deg@lead_arm_down": (-10, 4),
        "pelvis_to_ball_cm@lead_arm_down": (0.1, 0.4),
        "pelvis_to_ball_cm@impact": (0.5, 0.5),
        "pelvis_to_ball_down_cm@impact": (0.6, 0.5),
        "trunk_tilt_change_deg@impact": (-4.5, 1.5),
        "pelvis_rise_cm@impact": (-0.9, 0.5),
        "head_rise_cm@impact": (0.2, 0.6),
        "wrist_set_deg@lead_arm_down": (76, 6),
        "wrist_set_deg@delivery": (38, 5),
        "balance_side_pct@lead_arm_down": (42, 5),
        "pelvis_turn_deg@impact": (-40, 4),
        "shoulder_turn_deg@impact": (-19, 4),
        "pelvis_sway_cm@impact": (-4.0, 0.8),
        "balance_side_pct@impact": (30, 5),
        "head_sway_cm@impact": (-1.8, 0.9),
        "side_tilt_deg@impact": (7, 1.5),
        "handle_lean_deg@impact": (4, 1.5),
        "balance_side_pct@finish": (8, 6),
        "finish_held_s@finish": (2.2, 0.4),
    }
)

# Seen face on only; the rest down the line, or from both.
FACE_ON = {
    "stance_ratio",
    "ball_position_pct",
    "side_tilt_deg",
    "balance_side_pct",
    "handle_lean_deg",
    "wrist_set_deg",
    "hip_line_tilt_deg",
    "pelvis_sway_cm",
    "head_sway_cm",
    "lead_elbow_deg",
    "shaft_past_level_deg",
    "lead_arm_up_deg",
}

# An amateur's size of each fault: which entries say it, and which figures it moves.
FAULTS: dict[str, tuple[tuple[str, ...], dict[Key, Spread]]] = {
    "early extension": (
        ("early-extension",),
        table(
            {
                "pelvis_to_ball_down_cm@impact": (3.6, 0.6),
                "pelvis_to_ball_cm@impact": (4.2, 0.7),
                "pelvis_to_ball_cm@lead_arm_down": (2.0, 0.4),
                "trunk_tilt_change_deg@impact": (-10, 2),
            }
        ),
    ),
    "loss of posture": (
        ("loss-of-posture",),
        table({"trunk_tilt_change_deg@impact": (-14, 2), "head_rise_cm@impact": (3.0, 0.6)}),
    ),
    "over the top": (
        ("over-the-top", "steep-coming-down"),
        table(
            {
                "hands_path_cm@lead_arm_down": (7, 1.2),
                "steepening_deg@lead_arm_down": (9, 3),
                "shaft_pitch_deg@lead_arm_down": (66, 4),
                "shaft_aim_deg@lead_arm_down": (-3, 3),
                "shaft_pitch_deg@transition": (56, 5),
                "shaft_aim_deg@transition": (9, 5),
            }
        ),
    ),
    "early release": (
        ("early-release",),
        table({"wrist_set_deg@lead_arm_down": (36, 6), "wrist_set_deg@delivery": (8, 6)}),
    ),
    "scoop": (("scoop",), table({"handle_lean_deg@impact": (-9, 2)})),
    "sway": (
        ("sway",),
        table({"pelvis_sway_cm@top": (4.2, 0.6), "balance_side_pct@top": (80, 5)}),
    ),
    "slide": (("slide",), table({"pelvis_sway_cm@impact": (-9.0, 0.8)})),
    "hanging back": (
        ("hanging-back",),
        table(
            {
                "balance_side_pct@impact": (68, 6),
                "balance_side_pct@lead_arm_down": (72, 6),
                "pelvis_sway_cm@impact": (0.3, 0.8),
                "balance_side_pct@finish": (48, 10),
            }
        ),
    ),
    "reverse lean": (
        ("reverse-lean",),
        table({"side_tilt_deg@top": (-6, 2), "balance_side_pct@top": (36, 5)}),
    ),
    "too little hip turn": (
        ("little-hip-turn",),
        table({"pelvis_turn_deg@top": (24, 4), "trail_hip_depth_cm@top": (1.6, 0.5)}),
    ),
    "too little shoulder turn": (
        ("little-shoulder-turn",),
        table({"shoulder_turn_deg@top": (62, 6)}),
    ),
    "too steep late in the backswing": (
        ("steep-late-back",),
        table({"shaft_pitch_deg@late_back": (84, 4), "shaft_aim_deg@late_back": (-18, 5)}),
    ),
    "too flat late in the backswing": (
        ("flat-late-back",),
        table({"shaft_pitch_deg@late_back": (18, 4), "shaft_aim_deg@late_back": (44, 5)}),
    ),
    "overswing": (("overswing",), table({"shaft_past_level_deg@top": (25, 5)})),
    "bent lead arm": (("lead-arm-bends",), table({"lead_elbow_deg@top": (68, 7)})),
    "ball too far forward": (
        ("ball-too-far-forward",),
        table({"ball_position_pct@address": (0, 5)}),
    ),
    "ball too far back": (("ball-too-far-back",), table({"ball_position_pct@address": (72, 5)})),
    "too close to the ball": (
        ("stands-too-close", "hands-too-close"),
        table({"ball_distance_cm@address": (19, 1.5), "hands_thigh_cm@address": (9.5, 1)}),
    ),
    "too far from the ball": (
        ("stands-too-far", "hands-reach"),
        table({"ball_distance_cm@address": (48, 2), "hands_thigh_cm@address": (28, 1.5)}),
    ),
    "weight on the heels": (("weight-to-the-heels",), table({"balance_pct@address": (21, 4)})),
    "weight on the toes": (("weight-to-the-toes",), table({"balance_pct@address": (74, 4)})),
    "head dip": (
        ("head-drops-back", "head-drops-down"),
        table({"head_rise_cm@top": (-3.8, 0.6), "head_rise_cm@impact": (-4.2, 0.7)}),
    ),
    "head lift": (
        ("head-lifts-back", "head-lifts-down"),
        table({"head_rise_cm@top": (3.2, 0.6), "head_rise_cm@impact": (3.8, 0.6)}),
    ),
    "hips stall": (("hips-stall",), table({"pelvis_turn_deg@impact": (-7, 5)})),
    "quick from the top": (
        ("quick-from-the-top",),
        table({"tempo_ratio@impact": (1.9, 0.15), "backswing_s@top": (0.5, 0.05)}),
    ),
    "poor finish": (
        ("poor-finish",),
        table({"finish_held_s@finish": (0.3, 0.15), "balance_side_pct@finish": (52, 8)}),
    ),
}

# The faults that must be found: each with the entries that say it. One that no phone sees
# is tapped by eye, and its entry says why.
WANTED: dict[str, tuple[str, ...]] = {
    "early extension": ("early-extension",),
    "loss of posture": ("loss-of-posture",),
    "over the top": ("over-the-top",),
    "early release or scoop": ("early-release", "scoop"),
    "sway": ("sway",),
    "slide": ("slide",),
    "hanging back": ("hanging-back",),
    "reverse lean": ("reverse-lean",),
    "too little turn": ("little-hip-turn", "little-shoulder-turn"),
    "too steep or too flat late in the backswing": ("steep-late-back", "flat-late-back"),
    "across the line or laid off": ("across-the-line", "laid-off"),
    "overswing": ("overswing",),
    "bent lead arm": ("lead-arm-bends",),
    "chicken wing": ("chicken-wing",),
    "ball position": ("ball-too-far-forward", "ball-too-far-back"),
    "distance to the ball": ("stands-too-close", "stands-too-far"),
    "weight to heels or toes": ("weight-to-the-heels", "weight-to-the-toes"),
    "head dip or lift": (
        "head-drops-back",
        "head-drops-down",
        "head-lifts-back",
        "head-lifts-down",
    ),
    "stall of the hips": ("hips-stall",),
    "quick from the top": ("quick-from-the-top",),
    "poor finish": ("poor-finish",),
}

# Errors of figures that are not learned, from docs/measurement.md (the club, tempo) or what
# their closed form makes of the joints' and the shaft's own errors.
# One standard deviation in the figure's unit; the share in which the figure is read at all.
UNLEARNED: dict[Key, tuple[float, float]] = table(
    {
        "shaft_pitch_deg@address": (0.8, 1),
        "shaft_pitch_deg@lead_arm_back": (1.0, 1),
        "shaft_aim_deg@lead_arm_back": (1.0, 1),
        "shaft_pitch_deg@late_back": (8, 0.9),
        "shaft_aim_deg@late_back": (8, 0.9),
        "shaft_pitch_deg@transition": (3.0, 0.95),
        "shaft_aim_deg@transition": (3.1, 0.95),
        "shaft_pitch_deg@lead_arm_down": (2.8, 1),
        "shaft_aim_deg@lead_arm_down": (3.0, 1),
        "steepening_deg@lead_arm_down": (3.0, 1),
        "ball_position_pct@address": (6.0, 1),
        "handle_lean_deg@address": (1.3, 1),
        "handle_lean_deg@impact": (4.4, 0.7),
        "backswing_s@top": (0.026, 1),
        "downswing_s@impact": (0.012, 1),
        "tempo_ratio@impact": (0.18, 1),
        "wrist_set_deg@lead_arm_back": (5, 1),
        "wrist_set_deg@top": (6, 0.9),
        "wrist_set_deg@lead_arm_down": (7, 0.9),
        "wrist_set_deg@delivery": (8, 0.8),
        "shaft_past_level_deg@top": (3, 0.9),
        "ball_distance_cm@address": (2.5, 1),
        "finish_held_s@finish": (0.15, 1),
    }
)
