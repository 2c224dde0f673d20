"""Has a figure changed? Against the published smallest detectable change and by simulation."""

import numpy as np
import pytest

from coaching.review.change import Reading, minimal_detectable_change, reading


def test_equal_errors_give_the_published_factor() -> None:
    # Weir JP. J Strength Cond Res 2005;19(1):231-240: MDC95 = SEM x 1.96 x sqrt(2).
    assert minimal_detectable_change(5.0, 5.0) == pytest.approx(5 * 1.96 * np.sqrt(2), rel=2e-3)


def test_unequal_errors_are_the_spread_of_the_difference() -> None:
    assert minimal_detectable_change(3.0, 4.0) == pytest.approx(1.96 * 5.0, rel=2e-3)


def test_five_in_a_hundred_unchanged_pairs_look_changed() -> None:
    draws = np.random.default_rng(3).normal(0, [[2.0], [5.0]], (2, 20_000))
    seen = [reading((a, 2.0), (b, 5.0))[0] is Reading.CHANGED for a, b in draws.T]
    assert np.mean(seen) == pytest.approx(0.05, abs=0.006)


def test_three_readings() -> None:
    assert reading((10, 1), (20, 1))[:2] == (Reading.CHANGED, 10)
    assert reading((10, 1), (11, 1))[0] is Reading.NOT_SEEN
    assert reading(None, (11, 1)) == (Reading.CANNOT_TELL, None, None)
