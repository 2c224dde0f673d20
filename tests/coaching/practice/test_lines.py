"""The line a figure is read from, at its own frame or not at all."""

from __future__ import annotations

from coaching.practice.lines import judged_lines

CURVES = {
    "frames": [10, 12, 14],
    "joints": {
        "hip_lead": [[0.4, 0.5], [0.42, 0.5], None],
        "hip_trail": [[0.6, 0.5], [0.62, 0.52], [0.6, 0.5]],
        "shoulder_lead": [[0.4, 0.3]] * 3,
        "shoulder_trail": [[0.6, 0.3]] * 3,
    },
    "shaft": {"grip": [[0.5, 0.6]] * 3, "head": [[0.8, 0.9], None, [0.8, 0.9]]},
    "ball": None,
}


def test_the_hip_line_of_its_frame():
    assert judged_lines(CURVES, "pelvis_turn_deg", 12) == [((0.42, 0.5), (0.62, 0.52))]


def test_a_middle_is_between_both_sides():
    assert judged_lines(CURVES, "trunk_tilt_deg", 10) == [((0.5, 0.5), (0.5, 0.3))]


def test_what_was_not_seen_is_not_drawn():
    assert judged_lines(CURVES, "pelvis_turn_deg", 14) == []
    assert judged_lines(CURVES, "trunk_tilt_deg", 14) == []
    assert judged_lines(CURVES, "shaft_pitch_deg", 12) == []
    assert judged_lines(CURVES, "shaft_aim_deg", 10) == [((0.5, 0.6), (0.8, 0.9))]  # no ball


def test_a_line_of_another_moment_is_not_drawn():
    assert judged_lines(CURVES, "pelvis_turn_deg", 30) == []
    assert judged_lines(CURVES, "pelvis_turn_deg", None) == []
    assert judged_lines({"frames": [], "joints": {}}, "pelvis_turn_deg", 3) == []


def test_a_figure_without_a_line_has_none():
    assert judged_lines(CURVES, "tempo_ratio", 10) == []
    assert judged_lines(CURVES, "head_sway_cm", 10) == []
