"""How long a finish is held, on hands and hips whose path is known."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.held import ENOUGH_S, Afterwards, finish_held
from analysis.core.pose import Moment

KEY = ("finish_held_s", "finish")


def after(
    until_s: float, *, ends_s: float = 5.0, slope_m_s: float = 0.6, rate: float = 20.0
) -> Afterwards:
    """Still at 4 mm a pixel until a moment, then the hands sink."""
    time_s = np.arange(0.0, ends_s, 1 / rate)
    points = np.full((len(time_s), 2, 2), 300.0)
    points[:, 0, 1] += np.maximum(time_s - until_s, 0) * slope_m_s / 0.004
    return Afterwards(time_s, points)


FINISH = Moment(0.5, 0.15)


def held(track: Afterwards | None, finish: Moment = FINISH):
    return finish_held(track, {"finish": finish}, scale_m_per_px=0.004)[KEY]


@pytest.mark.parametrize("until_s", [0.9, 1.7, 2.6])
def test_held_until_the_hands_have_come_three_centimetres(until_s) -> None:
    value, spread = held(after(until_s))
    assert value == pytest.approx(until_s + 0.03 / 0.6 - 0.5, abs=0.05)
    assert 0.15 <= spread < 0.2


def test_the_pelvis_ends_it_as_well_as_the_hands() -> None:
    track = after(1.7)
    swapped = Afterwards(track.time_s, track.points_px[:, ::-1])
    assert held(swapped)[0] == pytest.approx(held(track)[0])


def test_more_than_enough_is_not_counted_and_a_film_that_ends_before_is_said() -> None:
    assert held(after(9.0))[0] == ENOUGH_S
    assert held(after(9.0, ends_s=2.0)) == "clip_ends"


def test_a_slow_drift_makes_it_less_sure() -> None:
    assert held(after(1.5, slope_m_s=0.05))[1] > 1.2 * held(after(1.5))[1]


def test_noise_of_a_centimetre_does_not_end_it() -> None:
    track = after(2.0)
    noisy = track.points_px + np.random.default_rng(0).normal(0, 1.5, track.points_px.shape)
    assert held(Afterwards(track.time_s, noisy))[0] == pytest.approx(held(track)[0], abs=0.15)


@pytest.mark.parametrize(("track", "finish", "reason"), [
    (None, Moment(0.5, 0.15), "not_seen"),
    (after(2.0, ends_s=0.04), Moment(0.0, 0.15), "not_seen"),
    (after(2.0), Moment(None, reason="not_reached"), "not_reached"),
    (Afterwards(np.arange(0, 3, 0.05), np.full((60, 2, 2), np.nan)), Moment(0.5, 0.1), "not_seen"),
])  # fmt: skip
def test_what_was_not_seen_is_absent_with_its_reason(track, finish, reason) -> None:
    assert held(track, finish) == reason


def test_a_gap_while_it_is_held_is_not_bridged() -> None:
    track = after(2.5)
    points = track.points_px.copy()
    points[(track.time_s > 1.0) & (track.time_s < 1.6)] = np.nan
    assert held(Afterwards(track.time_s, points)) == "not_seen"
