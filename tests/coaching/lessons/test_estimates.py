"""What a value with its uncertainty means: closed forms, SciPy, published examples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from coaching.lessons.estimates import (
    SURE_TO_COUNT,
    Band,
    Change,
    Estimate,
    Standing,
    all_of,
    band_of,
    chance_between,
    chance_of_at_least,
    constant_share,
    difference,
    k_of_n,
    mean_of,
    normal_cdf,
    normal_point,
    sd_of_mean,
    smallest_change,
    surely_at_least,
    surely_at_most,
)

values = st.floats(-200, 200)
spreads = st.floats(0.01, 60)
marks = st.lists(st.sampled_from(list(Standing)), max_size=10)
# Four fifths, and nine tenths, of a standard normal distribution lie below these.
Z, NOT = stats.norm.ppf(0.8), stats.norm.ppf(0.9)


class TestChances:
    @given(st.floats(-8, 8))
    def test_the_normal_distribution_is_scipys(self, z):
        assert normal_cdf(z) == pytest.approx(stats.norm.cdf(z), abs=1e-12)

    @given(values, spreads, values, spreads)
    def test_the_chance_of_a_band_is_scipys(self, value, sd, low, width):
        expected = stats.norm.cdf(low + width, value, sd) - stats.norm.cdf(low, value, sd)
        found = chance_between(value, sd, low=low, high=low + width)
        assert found == pytest.approx(expected, abs=1e-9)

    @pytest.mark.parametrize(("z", "share"), [(1.6449, 0.95), (1.0, 0.84134), (-1.6449, 0.05)])
    def test_tabled_normal(self, z, share):
        """Tabled values of the standard normal distribution (any statistics textbook)."""
        assert Band(low=40).chance(Estimate(40 + 2 * z, 2)) == pytest.approx(share, abs=1e-4)

    @given(values, spreads, values)
    def test_a_finding_is_suggested_from_95_percent(self, value, sd, limit):
        surely = surely_at_least(value, sd, limit)
        chance = chance_between(value, sd, low=limit, high=math.inf)
        assert surely == (chance >= 0.95) or chance == pytest.approx(0.95, abs=1e-9)
        assert surely_at_most(-value, sd, -limit) == surely

    def test_an_entered_value_is_taken_as_it_stands(self):
        band = Band(40, 45)
        assert [band.standing(Estimate(v, 0)) for v in (40, 45)] == [Standing.COUNTS] * 2
        assert band.standing(Estimate(math.nextafter(40, 0), 0)) == Standing.DOES_NOT

    @pytest.mark.parametrize(
        ("value", "sd"), [(math.nan, 1), (math.inf, 1), (1, math.nan), (1, -1), (1, math.inf)]
    )
    def test_what_is_no_estimate_is_refused(self, value, sd):
        with pytest.raises(ValueError, match="finite"):
            Estimate(value, sd)


class TestStanding:
    @pytest.mark.parametrize(
        ("value", "standing"),
        [(40 + 2 * Z + 0.01, "counts"), (40 + 2 * Z - 0.01, "close"), (40, "close"),
         (40 - 2 * NOT + 0.01, "close"), (40 - 2 * NOT - 0.01, "does_not_count")],
    )  # fmt: skip
    def test_at_least_40_turns_over_at_tabled_points(self, value, standing):
        assert Band(low=40).standing(Estimate(value, 2)) == standing
        # The mirrored question gives the mirrored answer.
        assert Band(high=-40).standing(Estimate(-value, 2)) == standing

    def test_a_band_narrower_than_the_camera_leaves_its_middle_close(self):
        assert Band(40, 45).standing(Estimate(42.5, 5)) == Standing.CLOSE
        assert Band(40, 45).standing(Estimate(42.5, 1)) == Standing.COUNTS

    @given(values, spreads, values, spreads)
    def test_a_value_inside_never_fails_and_one_outside_never_counts(self, value, sd, low, width):
        standing = Band(low, low + width).standing(Estimate(value, sd))
        if low <= value <= low + width:
            assert standing != Standing.DOES_NOT
        else:
            assert standing != Standing.COUNTS

    @given(values, spreads, st.floats(1, 10), values, spreads)
    def test_more_uncertainty_never_makes_surer(self, value, sd, factor, low, width):
        band = Band(low, low + width)
        before, after = (band.standing(Estimate(value, s)) for s in (sd, sd * factor))
        assert after in (before, Standing.CLOSE)

    @given(values, spreads, values, spreads)
    def test_the_values_that_count_are_those_whose_mark_says_so(self, value, sd, low, width):
        band = Band(low, low + width)
        counting = band.counting(sd)
        chance = band.chance(Estimate(value, sd))
        assume(abs(chance - SURE_TO_COUNT) > 1e-6)
        counts = band.standing(Estimate(value, sd)) == Standing.COUNTS
        assert counts == (counting is not None and counting.low <= value <= counting.high)

    def test_a_change_is_judged_with_the_baselines_own_doubt(self):
        band = band_of("changed_by", change=10, baseline=28, baseline_sd=4)
        assert band.chance(Estimate(45, 3)) == pytest.approx(stats.norm.cdf(7 / 5), abs=1e-9)

    def test_not_seen(self):
        assert Band(low=40).standing(None) == Standing.NOT_SEEN


class TestBandOf:
    @pytest.mark.parametrize(
        ("asked", "edges"),
        [
            ({"comparison": "at_least", "low": 38, "high": 50}, (38, None)),
            ({"comparison": "at_most", "low": 38, "high": 70}, (None, 70)),
            ({"comparison": "between", "low": 40, "high": 45}, (40, 45)),
            ({"comparison": "changed_by", "baseline": 28, "change": 10}, (38, None)),
            ({"comparison": "changed_by", "baseline": 12, "change": -5}, (None, 7)),
        ],
    )
    def test_each_comparison(self, asked, edges):
        assert band_of(**asked).edges == edges

    @pytest.mark.parametrize(
        "asked",
        [
            {"comparison": "self_test"},
            {"comparison": "between"},
            {"comparison": "between", "low": 45, "high": 40},
            {"comparison": "changed_by", "change": 3},
            {"comparison": "changed_by", "change": 0, "baseline": 3},
        ],
    )
    def test_nothing_or_half_of_it_is_no_band(self, asked):
        assert band_of(**asked) is None


class TestSeveral:
    @given(marks, st.integers(1, 10))
    def test_k_of_n_counts_the_marks(self, found, need):
        whole = k_of_n(found, need=need)
        assert (whole == Standing.COUNTS) == (found.count(Standing.COUNTS) >= need)
        still = len(found) - found.count(Standing.DOES_NOT)
        assert (whole == Standing.DOES_NOT) == (still < need)

    @given(marks)
    def test_a_repetition_is_as_good_as_its_worst_figure(self, found):
        whole = all_of(found)
        assert (whole == Standing.COUNTS) == (bool(found) and set(found) == {Standing.COUNTS})
        assert (whole == Standing.DOES_NOT) == (Standing.DOES_NOT in found)

    def test_nothing_seen_is_not_seen(self):
        assert all_of([]) == Standing.NOT_SEEN
        assert k_of_n([Standing.NOT_SEEN] * 2, need=1) == Standing.NOT_SEEN
        assert k_of_n([Standing.NOT_SEEN, Standing.CLOSE], need=2) == Standing.CLOSE

    @given(st.lists(st.floats(0, 1), min_size=1, max_size=10), st.integers(0, 11))
    def test_the_convolution_is_scipys_when_chances_are_alike(self, chances, k):
        p = chances[0]
        expected = stats.binom.sf(k - 1, len(chances), p)
        assert chance_of_at_least(k, [p] * len(chances)) == pytest.approx(expected, abs=1e-9)

    @given(st.lists(st.floats(0, 1), min_size=1, max_size=6), st.integers(0, 6))
    def test_the_convolution_is_the_sum_over_all_outcomes(self, chances, k):
        total = 0.0
        for outcome in range(2 ** len(chances)):
            hits = [bool(outcome >> i & 1) for i in range(len(chances))]
            if sum(hits) >= k:
                pairs = zip(chances, hits, strict=True)
                total += math.prod(p if hit else 1 - p for p, hit in pairs)
        assert chance_of_at_least(k, chances) == pytest.approx(total, abs=1e-9)

    @pytest.mark.parametrize(
        ("k", "n", "p", "chance"),
        [
            # Binomial tails, computed with SciPy beforehand; the success rule they belong to:
            # Longino E et al., Behav Anal Pract 2022;15:397-405.
            (8, 10, 0.8, 0.67779953),
            (8, 10, 0.5, 0.0546875),
            (4, 5, 0.5, 0.1875),
            (4, 5, 0.8, 0.73728),
        ],
    )
    def test_worked_examples(self, k, n, p, chance):
        assert chance_of_at_least(k, [p] * n) == pytest.approx(chance, abs=1e-6)

    def test_a_number_that_is_no_chance_is_refused(self):
        with pytest.raises(ValueError, match="between 0 and 1"):
            chance_of_at_least(1, [1.2])

    @given(st.lists(st.tuples(values, spreads), min_size=1, max_size=8), st.floats(0, 1))
    def test_a_mean_lies_inside_and_is_no_less_sure_than_its_parts(self, pairs, share):
        mean = mean_of([Estimate(*pair) for pair in pairs], share=share)
        assert min(v for v, _ in pairs) - 1e-9 <= mean.value <= max(v for v, _ in pairs) + 1e-9
        assert mean.sd <= max(sd for _, sd in pairs) + 1e-9

    def test_independent_errors_shrink_with_the_root(self):
        four = [Estimate(v, 2) for v in (1, 3, 5, 7)]
        assert mean_of(four, share=0) == Estimate(4, 1)
        assert mean_of(four, share=1) == Estimate(4, 2)

    def test_an_empty_clip_is_refused(self):
        with pytest.raises(ValueError, match="at least one"):
            mean_of([], share=0)
        with pytest.raises(ValueError, match="at least one"):
            sd_of_mean(1, count=0, share=0)

    def test_shares_follow_what_limits_a_measure(self):
        assert constant_share("pelvis_turn_deg") > constant_share("shaft_pitch_deg")
        assert constant_share("backswing_s") == 0.0
        assert constant_share("balance_pct") == 0.5


class TestChange:
    # MDC95 = 1.96 sqrt(2) SEM: Weir JP, J Strength Cond Res 2005;19(1):231-240.
    def test_weirs_formula(self):
        sem = 5 * math.sqrt(1 - 0.9)
        assert smallest_change(sem, sem) == pytest.approx(4.38269324, abs=1e-4)
        assert smallest_change(3, 4) == pytest.approx(normal_point(0.975) * 5)

    @pytest.mark.parametrize(("count", "change"), [(1, 13.8), (3, 8.0), (7, 5.2), (10, 4.4)])
    def test_means_of_several_swings(self, count, change):
        # 2.77 x 5 / sqrt(n), worked by hand.
        sd = sd_of_mean(5, count=count, share=0)
        assert smallest_change(sd, sd) == pytest.approx(change, abs=0.08)

    @given(st.integers(1, 10), st.floats(0, 1), spreads)
    def test_averaging_never_removes_the_constant_part(self, count, share, sd):
        averaged = sd_of_mean(sd, count=count, share=share)
        assert sd * math.sqrt(share) - 1e-9 <= averaged <= sd + 1e-9

    def test_five_in_a_hundred_unchanged_pairs_look_changed(self):
        draws = np.random.default_rng(3).normal(0, [[2.0], [5.0]], (2, 20_000))
        seen = [
            difference(Estimate(a, 2), Estimate(b, 5)).says is Change.CHANGED for a, b in draws.T
        ]
        assert np.mean(seen) == pytest.approx(0.05, abs=0.006)

    def test_three_answers(self):
        changed = difference(Estimate(10, 1), Estimate(20, 1))
        assert (changed.says, changed.size) == (Change.CHANGED, 10)
        assert difference(Estimate(10, 1), Estimate(11, 1)).says is Change.NO_CHANGE
        assert difference(None, Estimate(11, 1)).says is Change.NOT_SEEN
