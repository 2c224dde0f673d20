"""Closed forms of balance between the feet, arms, hands and their path; NaN; one frame."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.core import measures as m
from analysis.core.from_joints import FROM_JOINTS, read
from analysis.core.geometry import centre_of_mass_m
from analysis.core.joint_forms import OF_THE_JOINTS
from analysis.core.pose import JOINT, JOINTS, Moment
from tests.analysis.core.test_measures import curves_of, figure, turned


def shifted(joints: np.ndarray, step: tuple[float, float, float], *but: str) -> np.ndarray:
    """Everything moved but the limbs whose names begin so."""
    out = joints.copy()
    for name, j in JOINT.items():
        if not name.startswith(but):
            out[j] += step
    return out


@pytest.mark.parametrize("aside_m", [-0.10, 0.0, 0.08])
def test_balance_between_the_feet_is_where_the_centre_of_mass_stands_over_the_ankles(
    aside_m,
) -> None:
    """Ankles at X = ±0.16 and a body that is the same on both sides: 50 when upright.

    Outside check: the centre of mass is that of de Leva 1996, as a lever of the moved parts.
    """
    still = figure()
    leaning = shifted(still, (-aside_m, 0, 0), "ankle", "heel", "toe")
    com_x = centre_of_mass_m(leaning[None])[0, 0]
    found = curves_of(still, leaning)["balance_side_pct"]
    assert found == pytest.approx(100 * (0.16 - com_x) / 0.32)
    assert curves_of(still)["balance_side_pct"] == pytest.approx(50.0)
    assert np.sign(found - 50) == np.sign(aside_m), "away from the target is toward the trail foot"


def test_balance_at_the_finish_is_told_against_where_the_feet_stood() -> None:
    still = figure()
    stepped = still.copy()
    stepped[JOINT["ankle_trail"]] += (0.15, 0, 0.2)
    com_x = centre_of_mass_m(stepped[None])[0, 0]
    assert curves_of(still, stepped)["balance_side_pct"] == pytest.approx(
        100 * (0.16 - com_x) / 0.32
    )


@pytest.mark.parametrize(("along", "up", "angle"), [
    (-0.5, 0.0, 0.0), (-0.4, 0.4, 45.0), (0.0, 0.5, 90.0), (0.3, 0.3, 135.0), (-0.4, -0.4, -45.0),
])  # fmt: skip
def test_the_lead_arm_above_level(along, up, angle) -> None:
    pose = figure()
    pose[JOINT["wrist_lead"]] = pose[JOINT["shoulder_lead"]] + (along, 0.2, up)
    assert curves_of(pose)["lead_arm_up_deg"] == pytest.approx(angle)


def test_hands_from_the_thigh_are_read_level_with_the_grip() -> None:
    """Hips at Y -0.10, Z 0.92 and knees at Y 0.08, Z 0.50: at Z 0.75 the line is at Y -0.0271."""
    pose = figure()
    line = -0.10 + (0.92 - 0.75) / 0.42 * 0.18
    assert curves_of(pose)["hands_thigh_cm"] == pytest.approx(100 * (0.35 - line))


@pytest.mark.parametrize("degrees", [-20.0, 0.0, 12.0])
def test_shoulders_against_the_feet(degrees) -> None:
    """Turning the whole golfer on the ground changes nothing: it is told against the toes."""
    pose = turned(figure(), degrees, ("shoulder_lead", "shoulder_trail"))
    assert curves_of(pose)["shoulder_to_feet_deg"] == pytest.approx(degrees)
    whole = turned(pose, 30.0, tuple(JOINTS))
    assert curves_of(whole)["shoulder_to_feet_deg"] == pytest.approx(degrees)


def swung(out_cm: float) -> tuple[np.ndarray, np.ndarray, dict[str, Moment]]:
    """The grip goes up along a line and comes down beside it, so much nearer the ball."""
    time_s = np.linspace(0, 1.5, 91)
    height = np.interp(time_s, [0, 1.0, 1.5], [0.75, 1.75, 0.75])
    joints = np.repeat(figure()[None], len(time_s), axis=0)
    joints[:, JOINT["grip"], 1] = 0.4 - 0.3 * (height - 0.75)
    joints[:, JOINT["grip"], 1] += np.where(time_s > 1.0, out_cm / 100, 0.0)
    joints[:, JOINT["grip"], 2] = height
    events = {"address": 0.0, "top": 1.0, "lead_arm_down": 1.22}
    return joints, time_s, {name: Moment(when, 0.01) for name, when in events.items()}


@pytest.mark.parametrize("out_cm", [-6.0, 0.0, 4.0])
def test_the_hands_path_is_notified_at_the_same_height(out_cm) -> None:
    joints, time_s, events = swung(out_cm)
    curves = m.body_curves(joints, time_s, address_s=0.0)
    found = m.body_value("hands_path_cm", "lead_arm_down", curves, time_s, events)
    assert found == pytest.approx(out_cm, abs=1e-6)


def test_hands_that_never_were_so_high_going_back_have_no_path() -> None:
    joints, time_s, events = swung(0.0)
    joints[time_s > 1.0, JOINT["grip"], 2] += 2.0
    curves = m.body_curves(joints, time_s, address_s=0.0)
    assert math.isnan(m.body_value("hands_path_cm", "lead_arm_down", curves, time_s, events))


@pytest.mark.parametrize("id", sorted(FROM_JOINTS))
def test_one_frame_gives_a_value_and_a_missing_joint_none(id) -> None:
    pose = 100 * figure()[None]
    sd = np.ones_like(pose)
    events = {"address": Moment(0.0, 0.01)}
    where = {"time_s": np.array([0.0]), "events": events}
    if id != "hands_path_cm":
        assert math.isfinite(read(id, "address", joints=pose, joints_sd=sd, **where).value)
    gone = pose.copy()
    form = OF_THE_JOINTS.get(id, OF_THE_JOINTS["grip_out_cm"])
    gone[0, JOINT[form.joints[0]]] = np.nan
    assert math.isnan(read(id, "address", joints=gone, joints_sd=sd, **where).value)


def test_the_spread_of_a_line_is_that_of_its_ends() -> None:
    """First order: both ends of a 50 cm arm off by 1 cm across it turn it by √2/50 rad."""
    pose = 100 * figure()
    pose[JOINT["wrist_lead"]] = pose[JOINT["shoulder_lead"]] + (-50, 0, 0)
    found = read(
        "lead_arm_up_deg",
        "address",
        time_s=np.array([0.0]),
        joints=pose[None],
        joints_sd=np.ones((1, len(JOINTS), 3)),
        events={"address": Moment(0.0, 0.01)},
    )
    assert found.value == pytest.approx(0.0, abs=1e-9)
    assert found.raw == pytest.approx(math.degrees(math.sqrt(2) / 50), rel=0.01)


def test_what_moves_at_an_event_has_a_rate() -> None:
    time_s = np.linspace(0, 1, 61)
    joints = np.repeat(100 * figure()[None], 61, axis=0)
    angle = np.radians(90 * time_s)
    reach = np.stack([-50 * np.cos(angle), 0 * angle, 50 * np.sin(angle)], axis=1)
    joints[:, JOINT["wrist_lead"]] = joints[:, JOINT["shoulder_lead"]] + reach
    found = read(
        "lead_arm_up_deg",
        "top",
        time_s=time_s,
        joints=joints,
        joints_sd=np.zeros_like(joints),
        events={"address": Moment(0.0, 0.01), "top": Moment(0.5, 0.01)},
    )
    assert found.value == pytest.approx(45.0, abs=0.1)
    assert found.rate == pytest.approx(90.0, rel=0.01)
