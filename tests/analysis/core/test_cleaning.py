"""Repair of landmarks by time."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.cleaning import bridge, clean, collapsed, unswapped_legs
from analysis.core.pose import LANDMARK, PoseSequence


def standing(frames: int = 20) -> np.ndarray:
    """A person of about 400 px who stands still, shape (T, 33, 2)."""
    xy = np.zeros((33, 2))
    for part, y, apart in (
        ("shoulder", 100, 30), ("elbow", 170, 35), ("wrist", 230, 10), ("hip", 220, 20),
        ("knee", 310, 25), ("ankle", 400, 40), ("heel", 410, 40), ("toe", 412, 45),
    ):  # fmt: skip
        xy[LANDMARK[f"{part}_left"]] = (300 + apart, y)
        xy[LANDMARK[f"{part}_right"]] = (300 - apart, y)
    return np.tile(xy, (frames, 1, 1))


def sequence(xy: np.ndarray) -> PoseSequence:
    n = len(xy)
    return PoseSequence(np.arange(n) / 60, np.arange(n), xy, np.ones((n, 33)), (600, 500))


def test_a_person_upside_down_is_replaced_by_the_neighbours() -> None:
    xy = standing()
    xy[7, :, 1] = 500 - xy[7, :, 1]
    found = clean(sequence(xy), until_s=1.0)
    assert np.flatnonzero(found.repaired).tolist() == [7]
    np.testing.assert_allclose(found.pose.xy_px, standing())


def test_moving_arms_and_a_lifted_trail_heel_are_no_collapse() -> None:
    xy = standing()
    xy[:, LANDMARK["wrist_left"]] += np.linspace(0, 200, 20)[:, None]
    planted = np.arange(20) < 12
    xy[12:, LANDMARK["heel_right"], 1] -= 60
    xy[12:, LANDMARK["ankle_right"], 1] -= 60
    assert not collapsed(xy, planted).any()


def test_exchanged_legs_are_put_back_and_hips_left_alone() -> None:
    xy = standing()
    for part in ("hip", "knee", "ankle", "heel", "toe"):
        left, right = LANDMARK[f"{part}_left"], LANDMARK[f"{part}_right"]
        xy[4, [left, right]] = xy[4, [right, left]]
    fixed = unswapped_legs(xy, np.ones(20, bool))
    hips = [LANDMARK["hip_left"], LANDMARK["hip_right"]]
    rest = [i for i in range(33) if i not in hips]
    np.testing.assert_array_equal(fixed[:, rest], standing()[:, rest])
    np.testing.assert_array_equal(fixed[4, hips], xy[4, hips])


def test_input_is_not_modified() -> None:
    xy = standing()
    xy[3] = np.nan
    before = xy.copy()
    clean(sequence(xy), until_s=1.0)
    np.testing.assert_array_equal(xy, before)


def test_short_gaps_are_bridged_and_wide_ones_stay_missing() -> None:
    time_s = np.arange(10) / 10
    values = np.arange(10.0)[:, None]
    bad = np.isin(np.arange(10), (2, 5, 6, 7, 8))
    found = bridge(time_s, np.where(bad[:, None], 99.0, values), bad, max_gap_s=0.25)
    assert found[2, 0] == pytest.approx(2.0)
    assert np.isnan(found[5:9]).all()
    assert np.isfinite(found[[0, 1, 3, 4, 9]]).all()


def test_bridging_beyond_the_ends_holds_the_nearest_for_half_the_gap() -> None:
    time_s = np.arange(5) / 10
    bad = np.array([True, True, False, False, True])
    found = bridge(time_s, np.arange(5.0), bad, max_gap_s=0.21)
    assert np.isnan(found[0])
    np.testing.assert_allclose(found[1:], [2, 2, 3, 3])


def test_nothing_seen_stays_nothing() -> None:
    xy = np.full((5, 33, 2), np.nan)
    found = clean(sequence(xy), until_s=1.0)
    assert np.isnan(found.pose.xy_px).all()


def test_one_frame_passes_through() -> None:
    found = clean(sequence(standing(1)), until_s=1.0)
    np.testing.assert_array_equal(found.pose.xy_px, standing(1))
