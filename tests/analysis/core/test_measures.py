"""Closed forms of every body measure, then rows and reasons."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from analysis.core import geometry
from analysis.core import measures as m
from analysis.core.pose import EVENTS, JOINT, JOINTS, KINDS, MEASURED_VIEWS, Moment

STANDING = {
    "head": (0, 0.15, 1.55), "neck": (0, 0.22, 1.42), "grip": (0.0, 0.35, 0.75),
    "shoulder": (0.18, 0.22, 1.36), "elbow": (0.16, 0.27, 1.07), "wrist": (0.02, 0.33, 0.83),
    "hip": (0.09, -0.10, 0.92), "knee": (0.14, 0.08, 0.50), "ankle": (0.16, 0.0, 0.07),
    "heel": (0.16, -0.07, 0.03), "toe": (0.16, 0.20, 0.0),
}  # fmt: skip


def figure() -> np.ndarray:
    """A golfer at address, lead side toward the target, shape (J, 3)."""
    joints = np.zeros((len(JOINTS), 3))
    for name, j in JOINT.items():
        limb, _, side = name.rpartition("_")
        x, y, z = STANDING[limb or name]
        joints[j] = (-x if side == "trail" else x, y, z)
    return joints


def curves_of(*poses: np.ndarray) -> dict[str, float]:
    """Measures of the last pose against the first."""
    time_s = np.arange(len(poses), dtype=float)
    curves = m.body_curves(np.array(poses), time_s, address_s=0.0)
    return {name: float(curve[-1]) for name, curve in curves.items()}


def turned(joints: np.ndarray, degrees: float, names: tuple[str, ...]) -> np.ndarray:
    """Some joints turned about the vertical so that a backswing is positive.

    SciPy's rotations are right-handed; for a right-hander X, Y, Z is a left-handed
    triple, in which the same matrix takes X toward Y: the way of a backswing's lead side.
    """
    out = joints.copy()
    turn = Rotation.from_euler("z", degrees, degrees=True)
    rows = [JOINT[n] for n in names]
    centre = out[rows].mean(axis=0)
    out[rows] = turn.apply(out[rows] - centre) + centre
    return out


def test_address_figure_of_the_reference_sheet() -> None:
    """Trunk tilt and knee flexion of a sagittal figure, worked by hand from its coordinates."""
    found = curves_of(figure())
    assert found["trunk_tilt_deg"] == pytest.approx(36.0273733851, abs=1e-6)
    flat = figure()
    flat[:, 0] = 0.0  # both sides coincide, as in the sagittal example
    assert curves_of(flat)["knee_flex_deg"] == pytest.approx(33.7377742422, abs=1e-6)
    assert found["pelvis_behind_heel_cm"] == pytest.approx(3.0)
    assert found["arm_hang_deg"] == pytest.approx(math.degrees(math.atan2(0.11, 0.53)))


def test_segment_masses_sum_to_one() -> None:
    """de Leva, J Biomech 1996;29(9):1223-1230: his columns sum to 1.0000 and 0.9999."""
    total = sum(
        share * (1 if first in ("head", "mid_shoulder") else 2)
        for first, _, share, _ in geometry._SEGMENTS
    )
    assert total == pytest.approx(0.99995, abs=1e-9)


def test_centre_of_mass_moves_with_the_body_and_balance_with_the_feet() -> None:
    still = figure()
    moved = still + np.array([0.3, 0.1, 0.2])
    step = geometry.centre_of_mass_m(moved[None])[0] - geometry.centre_of_mass_m(still[None])[0]
    np.testing.assert_allclose(step, (0.3, 0.1, 0.2), atol=1e-12)
    assert curves_of(moved)["balance_pct"] == pytest.approx(curves_of(still)["balance_pct"])
    assert 0 < curves_of(still)["balance_pct"] < 100


@pytest.mark.parametrize("degrees", [-60.0, -18.0, 0.0, 44.0, 89.0, 100.0, 135.0])
def test_turn_is_the_rotation_of_the_joint_line(degrees: float) -> None:
    """Against SciPy's rotation, past 90 degrees as well."""
    still = figure()
    half = turned(still, degrees / 2, ("hip_lead", "hip_trail"))
    whole = turned(still, degrees, ("hip_lead", "hip_trail"))
    found = curves_of(still, half, whole)
    assert found["pelvis_turn_deg"] == pytest.approx(degrees, abs=1e-9)
    assert found["shoulder_turn_deg"] == pytest.approx(0.0, abs=1e-9)
    assert found["separation_deg"] == pytest.approx(-degrees, abs=1e-9)


def test_a_backswing_turns_the_trail_hip_back_and_the_lead_hip_toward_the_ball() -> None:
    still = figure()
    top = turned(still, 45.0, ("hip_lead", "hip_trail"))
    assert top[JOINT["hip_trail"], 1] < still[JOINT["hip_trail"], 1]
    found = curves_of(still, top)
    assert found["pelvis_turn_deg"] == pytest.approx(45.0)
    assert found["trail_hip_depth_cm"] == pytest.approx(9 * math.sin(math.radians(45)))


def test_turn_of_a_tilted_line_is_read_on_the_ground() -> None:
    """A shoulder line turned 45 degrees and dipped 35: azimuth 39.32 by closed form.

    Turning about an axis leaning 35 degrees toward the ball: the worked example
    atan2(sin 45 cos 35, cos 45) of the reference sheet.
    """
    line = np.array([1.0, 0.0, 0.0])
    lean = Rotation.from_euler("x", 35, degrees=True)
    spun = (lean * Rotation.from_euler("z", 45, degrees=True)).apply(line)
    azimuth = math.degrees(math.atan2(spun[1], spun[0]))
    assert azimuth == pytest.approx(39.32268991, abs=1e-6)
    still = figure()
    pose = still.copy()
    pose[JOINT["shoulder_lead"]], pose[JOINT["shoulder_trail"]] = 0.18 * spun, -0.18 * spun
    assert curves_of(still, pose)["shoulder_turn_deg"] == pytest.approx(39.32268991, abs=1e-6)


def test_travels_carry_their_signs() -> None:
    still = figure()
    moved = still.copy()
    for name in ("hip_lead", "hip_trail", "head"):
        moved[JOINT[name]] += (-0.05, 0.04, 0.03)
    moved[JOINT["grip"]] = (-0.5, -0.20, 1.5)
    found = curves_of(still, moved)
    assert found["pelvis_sway_cm"] == pytest.approx(5.0), "away from the target"
    assert found["pelvis_to_ball_cm"] == pytest.approx(4.0), "toward the ball"
    assert found["pelvis_rise_cm"] == pytest.approx(3.0)
    assert found["head_sway_cm"] == pytest.approx(5.0)
    assert found["head_rise_cm"] == pytest.approx(3.0)
    assert found["hand_depth_cm"] == pytest.approx(13.0), "behind the trail heel"
    assert found["trunk_tilt_change_deg"] < 0, "the posture was lost"


def test_face_on_measures() -> None:
    still = figure()
    tilted = still.copy()
    for side in ("lead", "trail"):
        tilted[JOINT[f"shoulder_{side}"], 0] -= 0.1
    tilted[JOINT["hip_trail"], 2] += 0.03
    tilted[JOINT["hip_lead"], 2] -= 0.03
    found = curves_of(still, tilted)
    assert found["side_tilt_deg"] == pytest.approx(math.degrees(math.atan2(0.1, 0.44)))
    assert found["hip_line_tilt_deg"] == pytest.approx(math.degrees(math.atan2(0.06, 0.18)))
    assert found["stance_ratio"] == pytest.approx(0.32 / 0.36)
    bent = still.copy()
    bent[JOINT["elbow_lead"]] = bent[JOINT["shoulder_lead"]] + (0, 0, -0.3)
    bent[JOINT["wrist_lead"]] = bent[JOINT["elbow_lead"]] + (0, 0.3, 0)
    assert curves_of(bent)["lead_elbow_deg"] == pytest.approx(90.0)
    assert m.ball_position_pct(0.2, -0.2, 0.1) == pytest.approx(25.0)


def test_a_missing_joint_makes_its_measures_missing_and_no_other() -> None:
    still = figure()
    gone = still.copy()
    gone[JOINT["knee_trail"]] = np.nan
    found = curves_of(still, gone)
    assert math.isnan(found["knee_flex_deg"])
    assert math.isfinite(found["pelvis_turn_deg"])


def test_a_value_between_frames_is_interpolated_and_outside_missing() -> None:
    time_s = np.array([0.0, 0.1, 0.3])
    curve = np.array([0.0, 10.0, 30.0])
    assert geometry.at(time_s, curve, 0.2) == pytest.approx(20.0)
    assert math.isnan(geometry.at(time_s, curve, 0.5))


def moments(**times: float) -> dict[str, Moment]:
    return {name: Moment(t, 1 / 60) for name, t in times.items()}


@pytest.mark.parametrize(
    ("back", "down", "ratio"), [(21, 7, 3.0), (24, 8, 3.0), (27, 9, 3.0), (25, 7, 3.5714)]
)
def test_tempo_of_frames_at_thirty_a_second(back: int, down: int, ratio: float) -> None:
    """24:8 frames at 30 Hz: arXiv physics/0611291 (of order 3); one frame late: 3.57."""
    events = moments(address=1.0, top=1.0 + back / 30, impact=1.0 + (back + down) / 30)
    found = m.tempo_readings(events, stretched=False)
    assert found["backswing_s", "top"][0] == pytest.approx(back / 30)
    assert found["downswing_s", "impact"][0] == pytest.approx(down / 30)
    assert found["tempo_ratio", "impact"][0] == pytest.approx(ratio, abs=1e-4)


def test_the_spread_of_tempo_agrees_with_drawn_frames() -> None:
    """Each event off by a uniform half frame at 30 Hz: sd .185 of a ratio of 3."""
    sd = 1 / 30 / math.sqrt(12)
    events = {
        "address": Moment(0.0, sd), "top": Moment(0.8, sd), "impact": Moment(0.8 + 0.8 / 3, sd)
    }  # fmt: skip
    assert m.tempo_readings(events, stretched=False)["tempo_ratio", "impact"][1] == pytest.approx(
        0.185, abs=0.005
    )


def test_tempo_is_withheld_from_slow_motion() -> None:
    events = moments(address=0.0, top=3.0, impact=4.2)
    assert set(m.tempo_readings(events, stretched=True).values()) == {"slow_motion"}


@pytest.mark.parametrize("view", MEASURED_VIEWS)
@pytest.mark.parametrize("kind", KINDS)
def test_each_measure_of_view_and_kind_is_listed_once(view: str, kind: str) -> None:
    times = np.arange(60) / 30
    row = m.repetition(view=view, kind=kind, events={}, readings={}, frame_times_s=times)
    keys = [(r["id"], r["event"]) for r in row["measures"]]
    assert len(keys) == len(set(keys)) > 0
    assert all(r["value"] is None and r["reason"] for r in row["measures"])
    assert {e for _, e in keys} <= set(row["events"])
    assert list(row["events"]) == [e for e in EVENTS if e in row["events"]]
    json.dumps(row, allow_nan=False)


def test_rows_carry_value_spread_source_and_nearest_frame() -> None:
    times = np.array([0.0, 0.03, 0.07, 0.1])
    readings: m.Readings = {
        ("pelvis_turn_deg", "top"): (44.0, 3.0),
        ("shoulder_turn_deg", "top"): (math.nan, 3.0),
        ("separation_deg", "top"): "not_ready",
    }
    row = m.repetition(
        view="face_on",
        kind="hold",
        events={"top": Moment(0.06, 0.001)},
        readings=readings,
        frame_times_s=times,
        corrected=frozenset({("pelvis_turn_deg", "top")}),
    )
    by_id = {r["id"]: r for r in row["measures"] if r["event"] == "top"}
    turn = by_id["pelvis_turn_deg"]
    assert (turn["value"], turn["uncertainty"], turn["unit"]) == (44.0, 3.0, "deg")
    assert (turn["source"], turn["frame"], turn["time_s"]) == ("corrected", 2, 0.06)
    assert by_id["shoulder_turn_deg"]["reason"] == "not_seen", "a NaN never reaches a row"
    assert by_id["separation_deg"]["reason"] == "not_ready"
    assert row["events"]["top"]["uncertainty_s"] >= 0.5 * 0.03, "half the gap between frames"
    assert row["events"]["address"] == {"time_s": None, "reason": "not_reached"}


def test_slow_motion_takes_every_second_and_speed_away_and_no_angle() -> None:
    readings: m.Readings = {
        ("hand_speed_peak_m_s", "impact"): (8.0, 0.5),
        ("hand_speed_peak_s", "impact"): (0.02, 0.01),
        ("pelvis_turn_deg", "top"): (44.0, 3.0),
    }
    assert set(m.withheld(readings)) == {
        ("hand_speed_peak_m_s", "impact"),
        ("hand_speed_peak_s", "impact"),
    }


@pytest.mark.parametrize("view", MEASURED_VIEWS)
def test_a_bar_film_holds_both_turns_and_the_clubs_for_one_moment(view):
    """What the check of turn against the held club stands on."""
    read = {"pelvis_turn_deg": (44.0, 4.0), "shoulder_turn_deg": "unfamiliar"}
    readings = {(measure, "top"): reading for measure, reading in read.items()}
    readings["bar_turn_deg", "top"] = (41.0, 2.0)
    row = m.repetition(
        view=view,
        kind="bar",
        events={"address": Moment(1.0, 0.02), "top": Moment(2.0, 0.1)},
        readings=readings,
        frame_times_s=np.arange(0, 3, 1 / 30),
    )
    told = {r["id"]: r for r in row["measures"]}
    assert told.keys() == {"pelvis_turn_deg", "shoulder_turn_deg", "bar_turn_deg"}
    assert {r["event"] for r in row["measures"]} == {"top"}
    pelvis, bar = told["pelvis_turn_deg"], told["bar_turn_deg"]
    assert (pelvis["frame"], pelvis["time_s"]) == (bar["frame"], bar["time_s"]) == (60, 2.0)
    assert pelvis["value"] - bar["value"] == 3.0
    assert told["shoulder_turn_deg"]["reason"] == "unfamiliar"


@pytest.mark.parametrize(("id", "event", "kind", "folded"), [
    ("separation_deg", "top", "swing", True), ("arm_torso_ratio", "address", "setup", True),
    ("hand_speed_peak_s", "impact", "rehearsal", True),
    ("shaft_aim_cm", "lead_arm_down", "swing", True),
    ("shaft_aim_deg", "lead_arm_down", "swing", False), ("shaft_pitch_deg", "top", "swing", True),
    ("shaft_pitch_deg", "top", "hold", False), ("pelvis_turn_deg", "top", "swing", False),
])  # fmt: skip
def test_what_another_figure_says_better_is_shown_on_demand(id, event, kind, folded) -> None:
    assert m.is_folded(id, event, kind) is folded
