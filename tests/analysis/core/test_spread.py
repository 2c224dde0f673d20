"""From the network's own spread to that of a figure."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.core import spread

KNOTS = np.array([[0.0, 1.0, 2.0], [0.5, 1.0, 2.0]])
WEIGHTS = {
    "spread/turn/top": KNOTS,
    "spread_level/turn/top": KNOTS - np.array([[0.0], [0.5]]),
    "power/turn/top": np.array(0.5),
    "most/turn/top": np.array(10.0),
}


def told(raw: float, strange: float = 0.0, *, level: bool = False) -> float:
    return spread.spread_of(raw, strange, WEIGHTS, "turn/top", level=level, otherwise=9.0)


def test_spread_follows_the_knots_stays_below_and_grows_beyond() -> None:
    assert told(math.e) == pytest.approx(math.e)
    assert told(0.01) == pytest.approx(math.exp(0.5))
    assert told(math.exp(3)) == pytest.approx(math.exp(3))  # one more in x, one more in ln(u)


def test_a_strange_pose_counts_by_its_power_and_a_usual_one_not() -> None:
    assert told(math.e, 1.0) == told(math.e, 0.2)
    assert told(math.e, 4.0) == pytest.approx(told(2 * math.e))


def test_upright_pictures_have_their_own_knots() -> None:
    assert told(math.e, level=True) == pytest.approx(math.exp(0.5))


def test_a_figure_without_knots_takes_a_factor() -> None:
    found = spread.spread_of(2.0, 3.0, WEIGHTS, "other/top", level=False, otherwise=1.5)
    assert found == pytest.approx(9.0)


def test_a_figure_as_loose_as_people_differ_is_mostly_the_average() -> None:
    assert spread.mostly_average(10.1, WEIGHTS, "turn/top")
    assert not spread.mostly_average(9.9, WEIGHTS, "turn/top")
    assert not spread.mostly_average(1e6, WEIGHTS, "other/top")
