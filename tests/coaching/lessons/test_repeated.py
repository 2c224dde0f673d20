"""Effort against one's own full swings, and the spread over a clip's repetitions."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coaching.lessons.estimates import Estimate
from coaching.lessons.repeated import effort_pct, over_repetitions

FULL = [Estimate(v, 0.4) for v in (7.0, 8.0, 9.0)]


def test_effort_is_told_against_the_median_of_the_students_own_full_swings() -> None:
    found = effort_pct(Estimate(4.8, 0.4), FULL)
    assert found is not None
    assert found.value == pytest.approx(60.0)
    assert 5.0 < found.sd < 7.0


def test_the_spread_of_effort_agrees_with_drawn_readings() -> None:
    """Monte Carlo of the quotient with NumPy, seven full swings of one true speed."""
    rng = np.random.default_rng(1)
    slow = rng.normal(2.4, 0.3, 20_000)
    full = np.median(rng.normal(8.0, 0.5, (20_000, 7)), axis=1)
    found = effort_pct(Estimate(2.4, 0.3), [Estimate(8.0, 0.5)] * 7)
    assert found is not None
    assert found.sd == pytest.approx(float(np.std(100 * slow / full)), rel=0.1)


@pytest.mark.parametrize("full", [[], FULL[:2]])
def test_without_enough_full_swings_there_is_no_effort(full) -> None:
    assert effort_pct(Estimate(4.8, 0.4), full) is None


def test_spread_over_repetitions_leaves_out_what_is_the_same_in_all_of_them() -> None:
    found = over_repetitions([Estimate(v, 5.0) for v in (40.0, 44.0, 48.0)], share=0.8)
    assert found is not None
    assert (found.low, found.high, found.count) == (40.0, 48.0, 3)
    assert found.sd == pytest.approx(4.0)
    assert found.reading_sd == pytest.approx(5.0 * math.sqrt(0.2))
    assert found.of_the_player == pytest.approx(math.sqrt(16.0 - 5.0))


def test_a_spread_no_larger_than_the_readings_own_is_nobodys() -> None:
    found = over_repetitions([Estimate(v, 5.0) for v in (40.0, 41.0, 42.0)], share=0.2)
    assert found is not None
    assert found.of_the_player == 0.0
    assert over_repetitions([Estimate(40.0, 5.0)] * 2, share=0.2) is None
