"""Normal errors and the smallest change, against SciPy and published examples."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from coaching.diagnosis.certainty import (
    ONE_SIDED_95,
    chance_between,
    constant_share,
    mean_reading,
    normal_cdf,
    smallest_change,
    surely_at_least,
    surely_at_most,
)

values = st.floats(-200, 200)
spreads = st.floats(0.01, 60)


@given(st.floats(-8, 8))
def test_the_normal_distribution_is_scipys(z):
    assert normal_cdf(z) == pytest.approx(stats.norm.cdf(z), abs=1e-12)


@given(values, spreads, values, spreads)
def test_the_chance_of_a_band_is_scipys(value, u, low, width):
    expected = stats.norm.cdf(low + width, value, u) - stats.norm.cdf(low, value, u)
    assert chance_between(value, u, low=low, high=low + width) == pytest.approx(expected, abs=1e-9)


@given(values, spreads, values)
def test_surely_means_at_least_95_percent(value, u, limit):
    surely = surely_at_least(value, u, limit)
    chance = chance_between(value, u, low=limit, high=math.inf)
    assert surely == (chance >= 0.95) or chance == pytest.approx(0.95, abs=1e-9)
    assert surely_at_most(-value, u, -limit) == surely


def test_the_one_sided_point():
    assert pytest.approx(stats.norm.ppf(0.95)) == ONE_SIDED_95


def test_an_entered_value_is_taken_as_it_stands():
    assert chance_between(40, 0, low=40, high=45) == 1.0
    assert chance_between(39.9, 0, low=40, high=45) == 0.0


def test_a_reading_without_a_value_is_refused():
    with pytest.raises(ValueError, match="finite"):
        chance_between(math.nan, 1, low=0, high=1)


class TestSmallestChange:
    # MDC95 = 1.96 sqrt(2) SEM: Weir JP, J Strength Cond Res 2005;19(1):231-240.
    def test_weirs_formula(self):
        sem = 5 * math.sqrt(1 - 0.9)
        assert smallest_change(sem) == pytest.approx(4.38269324, abs=1e-4)
        assert smallest_change(4 * math.sqrt(1 - 0.75)) == pytest.approx(5.5437, abs=1e-3)

    @pytest.mark.parametrize(("count", "change"), [(1, 13.8), (3, 8.0), (7, 5.2), (10, 4.4)])
    def test_means_of_several_swings(self, count, change):
        # 2.77 x 5 / sqrt(n), worked by hand.
        assert smallest_change(5, before=count, after=count) == pytest.approx(change, abs=0.08)

    @given(st.integers(1, 10), st.floats(0, 1), spreads)
    def test_averaging_never_removes_the_constant_part(self, count, share, u):
        averaged = smallest_change(u, before=count, after=count, share=share)
        floor = smallest_change(u) * math.sqrt(share)
        assert floor - 1e-9 <= averaged <= smallest_change(u) + 1e-9

    @given(st.lists(st.tuples(values, spreads), min_size=1, max_size=8), st.floats(0, 1))
    def test_a_mean_lies_inside_and_is_no_less_sure_than_its_parts(self, readings, share):
        value, u = mean_reading(readings, share=share)
        assert min(v for v, _ in readings) - 1e-9 <= value <= max(v for v, _ in readings) + 1e-9
        assert u <= max(u for _, u in readings) + 1e-9

    def test_independent_errors_shrink_with_the_root(self):
        assert mean_reading([(1, 2), (3, 2), (5, 2), (7, 2)], share=0) == (4, 1)
        assert mean_reading([(1, 2), (3, 2), (5, 2), (7, 2)], share=1) == (4, 2)

    def test_an_empty_film_is_refused(self):
        with pytest.raises(ValueError, match="at least one"):
            mean_reading([], share=0)
        with pytest.raises(ValueError, match="at least one"):
            smallest_change(1, before=0)


def test_shares_follow_what_limits_a_measure():
    assert constant_share("pelvis_turn_deg") > constant_share("shaft_pitch_deg")
    assert constant_share("backswing_s") == 0.0
    assert constant_share("balance_pct") == 0.5
