"""Which stretches of a clip hold a swing, from drawn hands."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.pose import LANDMARK, LANDMARKS, PoseSequence
from analysis.core.swings import (
    film_cuts,
    frames_to_measure,
    hand_speed,
    hold_spans,
    still_moment,
    swing_windows,
)

STATURE = 400.0


def golfer(
    time_s: np.ndarray, height: np.ndarray, *, apart: float = 0.05, walk: float = 0.0
) -> np.ndarray:
    """Landmarks of somebody whose hands are `height` statures above the hips."""
    xy = np.zeros((len(time_s), len(LANDMARKS), 2))
    feet = 200 + walk * STATURE * time_s
    places = {"shoulder": 0.8, "hip": 0.5, "knee": 0.27, "ankle": 0.04, "heel": 0.02, "toe": 0.02}
    for name, k in LANDMARK.items():
        up = places.get(name.split("_")[0], 0.9)
        xy[:, k, 0] = feet + (20 if name.endswith("left") else -20)
        xy[:, k, 1] = 900 - up * STATURE
    for side, sign in (("left", 1), ("right", -1)):
        xy[:, LANDMARK[f"wrist_{side}"], 0] = feet + sign * apart * STATURE / 2
        xy[:, LANDMARK[f"wrist_{side}"], 1] = 900 - (0.5 + height) * STATURE
    return xy


def one_swing(time_s: np.ndarray, start: float, *, rise: float = 0.4) -> np.ndarray:
    """Height of the hands: up for 0.8 s, down in 0.25, up to the finish, down again."""
    keys = np.array([0.0, 0.8, 1.05, 1.5, 2.6, 3.2]) + start
    return np.interp(time_s, keys, [0.0, rise, 0.0, 0.42, 0.42, 0.0]) - 0.03


TIME = np.arange(0, 20, 0.1)


def test_one_swing_among_standing_still() -> None:
    windows = swing_windows(
        TIME, golfer(TIME, one_swing(TIME, 8.0)), stature_px=STATURE, kind="swing"
    )
    assert len(windows) == 1
    start, end = windows[0]
    assert 6.0 < start < 7.5 and 9.5 < end < 12.6


def test_three_swings_are_all_inside() -> None:
    height = np.max([one_swing(TIME, s) for s in (2.0, 8.0, 14.0)], axis=0)
    windows = swing_windows(TIME, golfer(TIME, height), stature_px=STATURE, kind="swing")
    for start in (2.0, 8.0, 14.0):
        assert any(a < start and b > start + 1.05 for a, b in windows)


def test_a_short_backswing_is_a_swing_and_a_waggle_is_none() -> None:
    short = golfer(TIME, one_swing(TIME, 8.0, rise=0.2))
    assert swing_windows(TIME, short, stature_px=STATURE, kind="swing")
    waggle = golfer(TIME, -0.03 + 0.05 * np.sin(3 * TIME) ** 2)
    assert swing_windows(TIME, waggle, stature_px=STATURE, kind="swing") == []


def test_waving_with_hands_apart_and_walking_are_no_swing() -> None:
    height = one_swing(TIME, 8.0)
    waving = golfer(TIME, height, apart=0.5)
    walking = golfer(TIME, height, walk=0.4)
    assert swing_windows(TIME, waving, stature_px=STATURE, kind="swing") == []
    assert swing_windows(TIME, walking, stature_px=STATURE, kind="swing") == []


def test_the_stillest_moment_needs_hands_together_and_low() -> None:
    height = np.where(TIME < 10, 0.05 * np.sin(5 * TIME), -0.02)
    found = still_moment(TIME, golfer(TIME, height), stature_px=STATURE)
    assert found is not None and found > 10
    assert still_moment(TIME, golfer(TIME, height, apart=0.5), stature_px=STATURE) is None
    assert still_moment(TIME, golfer(TIME, height + 0.5), stature_px=STATURE) is None


def test_nothing_seen_is_nothing_found() -> None:
    nobody = np.full((len(TIME), len(LANDMARKS), 2), np.nan)
    assert swing_windows(TIME, nobody, stature_px=float("nan"), kind="swing") == []


@pytest.mark.parametrize("fps", [30, 60, 240])
def test_frames_are_denser_where_the_hands_are_fast(fps: int) -> None:
    times = np.arange(0, 20, 1 / fps)
    xy = golfer(TIME, one_swing(TIME, 8.0))
    chosen = frames_to_measure(
        times, (6.0, 11.0), coarse_time_s=TIME, coarse_speed=hand_speed(TIME, xy) / STATURE
    )
    assert np.all(np.diff(chosen) > 0)

    def rate(start: float, end: float) -> float:
        return float(np.sum((times[chosen] >= start) & (times[chosen] < end))) / (end - start)

    assert rate(8.8, 9.05) >= min(fps, 55)
    assert rate(6.2, 7.2) <= 22
    assert rate(8.8, 9.05) <= 130


def test_two_held_backswings_are_two_spans() -> None:
    keys = [0, 2, 3, 6, 7, 10, 11, 14, 15, 20]
    height = np.interp(TIME, keys, [0, 0, 0.4, 0.4, 0, 0, 0.4, 0.4, 0, 0]) - 0.03
    xy = golfer(TIME, height)
    pose = PoseSequence(TIME, np.arange(len(TIME)), xy, np.ones(xy.shape[:2]), (720, 1280))
    first, second = hold_spans(pose, stature_px=STATURE)
    assert first[0] < 2.0 and 6.5 < first[1] < 7.5
    assert first[1] <= second[0] < 10.0 and 14.5 < second[1] < 15.5


def following(time_s: np.ndarray, height: np.ndarray) -> np.ndarray:
    """A golfer whose head, arms and hips go with the hands."""
    xy = golfer(time_s, height)
    for joint, share in (("ear", 0.1), ("shoulder", 0.15), ("elbow", 0.6), ("hip", 0.15)):
        for side in ("left", "right"):
            xy[:, LANDMARK[f"{joint}_{side}"], 0] += share * STATURE * height
    return xy


def test_an_edited_film_is_told_from_the_fastest_hands() -> None:
    time_s = np.arange(0, 8, 1 / 60)
    swing = one_swing(time_s, 1.0)
    assert film_cuts(time_s, following(time_s, swing), stature_px=STATURE) == []
    cut = np.where(time_s < 3.0, swing, one_swing(time_s, 4.5))
    (row,) = film_cuts(time_s, following(time_s, cut), stature_px=STATURE)
    assert time_s[row] == pytest.approx(3.0, abs=0.02)


@pytest.mark.parametrize("frames", [3, 4, 8])
@pytest.mark.parametrize("sides", [("left",), ("left", "right")])
def test_lost_wrists_are_no_edit(frames: int, sides: tuple[str, ...]) -> None:
    time_s = np.arange(0, 4, 1 / 60)
    xy = following(time_s, one_swing(time_s, 2.0))
    for side in sides:
        xy[60 : 60 + frames, LANDMARK[f"wrist_{side}"]] += 0.5 * STATURE
    assert film_cuts(time_s, xy, stature_px=STATURE) == []


def test_a_figure_that_collapses_for_a_moment_is_no_edit() -> None:
    time_s = np.arange(0, 4, 1 / 60)
    xy = following(time_s, one_swing(time_s, 2.0))
    xy[60:64] = xy[60:64, :, :][..., ::-1]
    assert film_cuts(time_s, xy, stature_px=STATURE) == []
