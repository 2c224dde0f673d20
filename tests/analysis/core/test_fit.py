"""A joint put right by hand moves the figures that hang on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis import weights as stored
from analysis.core.corrector import FIGURES
from analysis.core.fit import (
    CLICK_SD_PCT,
    N_JOINTS,
    N_TOLD,
    as_read,
    by_hand,
    condition,
    left_open,
)
from analysis.core.pose import JOINT
from analysis.core.remeasure import remeasure
from tests.analysis.core.test_remeasure import figures, joint, make_artifact

PELVIS = FIGURES.index("pelvis_turn_deg")
SHOULDERS = FIGURES.index("shoulder_turn_deg")


def covariance(correlation: float, sd_figure: float = 8.0, sd_joint: float = 1.4) -> np.ndarray:
    """Only the pelvis turn and the x of the lead hip hang together."""
    c = np.eye(N_TOLD + N_JOINTS)
    j = N_TOLD + 2 * JOINT["hip_lead"]
    c[PELVIS, PELVIS], c[j, j] = sd_figure**2, sd_joint**2
    c[PELVIS, j] = c[j, PELVIS] = correlation * sd_figure * sd_joint
    return c


def only(figure: int) -> np.ndarray:
    return np.eye(N_TOLD)[figure]


def told_as(sd: float, c: np.ndarray, mix: np.ndarray) -> np.ndarray:
    """The covariance of a film on which a figure is told to `sd`."""
    return sd**2 / (mix @ c[:N_TOLD, :N_TOLD] @ mix) * c


def test_conditional_of_two_gaussians_by_hand() -> None:
    """Textbook: mean r s_f / s_j x, variance (1 - r^2), the click's noise added to s_j."""
    found = condition({"hip_lead": np.array([1.0, 0.0])}, covariance(0.6))
    total = 1.4**2 + CLICK_SD_PCT**2
    shift, shrink = found.told(only(PELVIS))
    assert shift == pytest.approx(0.6 * 8 * 1.4 / total)
    assert shrink == pytest.approx(np.sqrt(1 - (0.6 * 1.4) ** 2 / total))
    assert found.told(only(SHOULDERS)) == pytest.approx((0.0, 1.0))


def test_a_joint_that_hangs_with_nothing_changes_nothing() -> None:
    found = condition({"toe_trail": np.array([2.0, 2.0])}, covariance(0.6))
    assert not found.shift.any()
    assert not condition({}, covariance(0.6)).shift.any()


def test_a_click_on_the_spot_leaves_the_value_and_makes_it_surer() -> None:
    shift, shrink = condition({"hip_lead": np.zeros(2)}, covariance(0.6)).told(only(PELVIS))
    assert shift == 0
    assert shrink < 1


def test_what_is_left_open_is_known_before_anybody_clicks() -> None:
    told = condition({"hip_lead": np.array([1.0, 0.0])}, covariance(0.6)).told(only(PELVIS))

    def left(sd: float, *joints: str) -> float:
        return left_open("pelvis_turn_deg", sd, covariance(0.6), here=joints)

    assert left(8.0, "hip_lead") == pytest.approx(8 * told[1])
    assert left(8.0) == left(8.0, "toe_lead") == 8
    # a click errs alike on every film: where the joint was read better it tells less
    assert left(4.0, "hip_lead") / 4 > told[1] > left(16.0, "hip_lead") / 16
    for sd in (1.0, 8.0, 30.0):
        after = left(sd, "hip_lead")
        before = as_read("pelvis_turn_deg", after, covariance(0.6), here={"hip_lead"})
        assert before == pytest.approx(sd)


def test_a_wild_step_is_followed_only_so_far() -> None:
    far = condition({"hip_lead": np.array([90.0, 0.0])}, covariance(0.6))
    further = condition({"hip_lead": np.array([900.0, 0.0])}, covariance(0.6))
    assert far.shift[PELVIS] == further.shift[PELVIS]


def test_an_unknown_joint_is_refused() -> None:
    with pytest.raises(ValueError, match="no such joint: tail"):
        condition({"tail": np.zeros(2)}, covariance(0.5))


def test_readings_follow_and_differences_with_them() -> None:
    readings = {
        ("pelvis_turn_deg", "top"): (40.0, 5.0),
        ("separation_deg", "top"): (50.0, 6.0),
        ("pelvis_turn_deg", "impact"): (-30.0, 5.0),
        ("trail_hip_depth_cm", "top"): "not_seen",
        ("shaft_pitch_deg", "top"): (70.0, 2.0),
    }
    both = {"top": covariance(0.6), "impact": covariance(0.6)}
    steps = {"top": {"hip_lead": np.array([1.0, 0.0])}}
    found = by_hand(readings, steps, covariance=both, stature_cm=180.0)
    turn, less = (
        condition(steps["top"], told_as(sd, both["top"], mix)).told(mix)
        for sd, mix in ((5.0, only(PELVIS)), (6.0, only(SHOULDERS) - only(PELVIS)))
    )
    assert found["pelvis_turn_deg", "top"] == pytest.approx((40 + turn[0], 5 * turn[1]))
    assert found["separation_deg", "top"] == pytest.approx((50 + less[0], 6 * less[1]))
    assert turn[0] > 0 > less[0]
    for same in (("pelvis_turn_deg", "impact"), ("shaft_pitch_deg", "top")):
        assert found[same] == pytest.approx(readings[same])
    assert found["trail_hip_depth_cm", "top"] == "not_seen"


@pytest.mark.parametrize("view", ["down_the_line", "face_on"])
@pytest.mark.parametrize("event", ["address", "top", "lead_arm_down", "impact"])
def test_stored_covariances_are_covariances(view: str, event: str) -> None:
    c = np.asarray(stored.load(view)[f"covariance/{event}"], float)
    size = N_TOLD + N_JOINTS * (1 if event == "address" else 2)
    assert c.shape == (size, size)
    np.testing.assert_allclose(c, c.T, rtol=1e-4, atol=1e-4)
    assert np.linalg.eigvalsh(c).min() > -1e-2


def test_hips_moved_toward_the_ball_are_travel_and_at_address_the_opposite() -> None:
    """Both hips 1 % of stature to the right down-the-line."""
    c = stored.load("down_the_line")["covariance/impact"]
    travel = FIGURES.index("pelvis_to_ball_cm")
    step = dict.fromkeys(("hip_lead", "hip_trail"), np.array([1.0, 0.0]))
    assert 0 < condition(step, c).shift[travel] < 1.5
    assert -1.5 < condition({}, c, at_address=step).shift[travel] < 0


def test_remeasuring_uses_the_covariance_that_the_archive_holds() -> None:
    """The trail hip moved 10 px at the top: the pelvis follows by the conditional."""
    plain = make_artifact()
    c = np.asarray(stored.load("down_the_line")["covariance/top"], float)
    held = replace(
        plain,
        arrays={
            **plain.arrays,
            "rep0/covariance/top": c,
            "rep0/camera/drawn_px": np.array(400.0),
        },
    )
    key, step = ("pelvis_turn_deg", "top"), np.array([10.0, 0.0])
    before = figures(remeasure(held, []))[key]
    after = figures(remeasure(held, [joint("hip_trail", 1.0, (10, 0))]))[key]
    own = told_as(before["uncertainty"], c, only(PELVIS))
    shift, shrink = condition({"hip_trail": 100 * step / 400}, own).told(only(PELVIS))
    assert after["value"] == pytest.approx(before["value"] + shift, abs=2e-3)
    assert after["uncertainty"] == pytest.approx(before["uncertainty"] * shrink, abs=2e-3)
    far = figures(remeasure(held, [joint("hip_trail", 1.5, (10, 0))]))[key]
    assert far == before
