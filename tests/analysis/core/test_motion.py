"""Closed-form truth for paths of the hands, local fits and crossings."""

import numpy as np
import pytest

from analysis.core.motion import crossing_s, gap_at, hands_px, local_fit, median3, stature_px
from analysis.core.pose import LANDMARK, PoseSequence
from tests.analysis.stick import pose_of


def test_a_parabola_at_uneven_times_gives_its_own_value_and_slope():
    t = np.sort(np.random.default_rng(1).uniform(0, 1, 60))
    at = np.linspace(0.1, 0.9, 9)
    value, slope = local_fit(t, 3 * t**2 - t, at, width_s=0.05)
    assert value == pytest.approx(3 * at**2 - at, abs=1e-6)
    assert slope == pytest.approx(6 * at - 1, abs=1e-4)


def test_nan_rows_carry_no_weight():
    t = np.linspace(0, 1, 50)
    y = 2 * t
    y[10:14] = np.nan
    assert local_fit(t, y, t, width_s=0.05)[0] == pytest.approx(2 * t, abs=1e-6)


def test_too_few_frames_give_nan():
    assert np.isnan(local_fit(np.array([0.0]), np.array([1.0]), np.array([0.0]), width_s=0.1)[0])


def test_a_crossing_lies_between_frames_and_bridges_a_gap():
    t = np.array([0.0, 0.1, 0.2, 0.5, 0.6])
    y = np.array([-3.0, np.nan, -1.0, 2.0, 3.0])
    assert crossing_s(t, y, rising=True) == pytest.approx(0.3)
    assert np.isnan(crossing_s(t, y, rising=False))


def test_a_median_of_three_drops_one_wild_row():
    assert median3(np.array([1.0, 2.0, 99.0, 4.0, 5.0])).tolist() == [1.0, 2.0, 4.0, 5.0, 5.0]


def test_the_gap_at_a_moment_is_that_of_the_frames_around_it():
    assert gap_at(np.array([0.0, 0.1, 0.4]), 0.2) == pytest.approx(0.3)


def test_a_hand_thrown_far_off_does_not_drag_the_middle():
    pose = pose_of(np.tile([0.3, 0.9], (9, 1)))
    xy, sure = pose.xy_px.copy(), pose.confidence.copy()
    for part in ("wrist", "pinky", "index", "thumb"):
        xy[4:7, LANDMARK[f"{part}_right"]] += 300
        sure[4:7, LANDMARK[f"{part}_right"]] = 0.05
    torn = PoseSequence(pose.time_s, pose.frame, xy, sure, pose.size_px)
    away = np.hypot(*(hands_px(torn) - hands_px(pose)).T)
    assert away.max() < 25


def test_stature_is_legs_and_trunk_times_the_factor_of_the_view():
    pose = pose_of(np.tile([0.3, 0.9], (5, 1)))
    ratio = stature_px(pose, view="face_on") / stature_px(pose, view="down_the_line")
    assert ratio == pytest.approx(1.50 / 1.38)


def test_nobody_has_no_stature():
    empty = PoseSequence(
        np.arange(2.0), np.arange(2), np.full((2, 33, 2), np.nan), np.full((2, 33), np.nan), (9, 9)
    )
    assert np.isnan(stature_px(empty, view="face_on"))
