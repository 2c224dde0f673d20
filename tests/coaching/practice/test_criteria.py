"""Criteria: counting, judging, and targets the camera can judge."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from coaching.practice.criteria import (
    SURE,
    Suggested,
    Target,
    advise,
    at_least,
    at_most,
    between,
    chance_of_at_least,
    chance_of_rung,
    chance_on_target,
    changed_by,
    counts,
    fair_half_width,
    needed_to_pass,
    suggest,
    survives,
)

TURN = ("pelvis_turn_deg", "top")
PITCH = ("shaft_pitch_deg", "late_back")
values = st.floats(-100, 100)
spreads = st.floats(0.05, 30)
chances = st.lists(st.floats(0, 1), min_size=1, max_size=10)


class TestKOfN:
    @given(chances, st.integers(0, 11))
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

    @given(chances, st.integers(1, 10))
    def test_asking_for_more_is_never_easier(self, chances, k):
        assert chance_of_at_least(k + 1, chances) <= chance_of_at_least(k, chances) + 1e-12

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


class TestTargets:
    def test_forty_to_forty_five_passes_a_perfect_student_38_times_in_100(self):
        band = between(*TURN, 40, 45)
        assert chance_on_target(band, 5) == pytest.approx(0.3829, abs=1e-4)
        advice = advise(band, 5)
        assert advice.hardly
        assert advice.wider == (36, 49)
        assert advice.open_ended == 38
        assert advice.needed is None

    def test_what_is_advised_instead_is_fair(self):
        for u in (1.0, 2.5, 5.0, 8.0):
            advice = advise(between(*TURN, 40, 41), u)
            assert advice.hardly
            assert chance_on_target(between(*TURN, *advice.wider), u) >= 0.8
            assert chance_on_target(at_least(*TURN, advice.open_ended), u, true=40.5) >= 0.8

    def test_where_less_is_better_the_alternative_is_an_at_most(self):
        advice = advise(between(*PITCH, 60, 62), 4, upward=False)
        assert chance_on_target(at_most(*PITCH, advice.open_ended), 4, true=61) >= 0.8

    def test_exactly_on_a_limit_passes_half_the_time(self):
        assert chance_on_target(at_least(*TURN, 38), 5) == pytest.approx(0.5)
        needed = needed_to_pass(at_least(*TURN, 38), 5)
        assert chance_on_target(at_least(*TURN, 38), 5, true=needed) == pytest.approx(0.8)
        needed = needed_to_pass(at_most(*PITCH, 70), 3)
        assert needed < 70
        assert chance_on_target(at_most(*PITCH, 70), 3, true=needed) == pytest.approx(0.8)

    @given(spreads)
    def test_a_default_width_is_fair(self, u):
        half = fair_half_width(u)
        assert chance_on_target(between(*TURN, -half, half), u) == pytest.approx(0.8, abs=1e-9)

    @given(values, spreads, st.floats(0.5, 30))
    def test_a_wider_band_is_never_harder(self, low, u, width):
        narrow, wide = between(*TURN, low, low + width), between(*TURN, low - 1, low + width + 1)
        assert chance_on_target(wide, u) >= chance_on_target(narrow, u) - 1e-12

    def test_a_change_is_judged_with_the_baselines_own_doubt(self):
        target = changed_by(*TURN, (28, 4), 10)
        assert target.chance(45, 3) == pytest.approx(stats.norm.cdf(7 / 5), abs=1e-9)
        assert changed_by(*PITCH, (85, 3), -10).high == 75

    @pytest.mark.parametrize("limits", [(45, 40), (40, 40), (-math.inf, math.inf)])
    def test_bands_that_are_none_are_refused(self, limits):
        with pytest.raises(ValueError):
            Target(*TURN, *limits)

    def test_a_change_of_nothing_is_refused(self):
        with pytest.raises(ValueError, match="nothing"):
            changed_by(*TURN, (30, 2), 0)

    def test_how_much_of_a_change_survives(self):
        assert survives(50, 30, 40) == 0.5
        assert survives(30, 30, 40) is None


def film(*readings):
    return [{TURN: reading} for reading in readings]


class TestSuggestion:
    target = at_least(*TURN, 38)

    def says(self, *readings, need=3, asked=3, **options):
        return suggest([self.target], film(*readings), need=need, asked=asked, **options)

    def test_three_clear_repetitions_pass(self):
        result = self.says((55, 4), (52, 4), (58, 4))
        assert (result.says, result.counted) == (Suggested.PASSES, 3)
        assert result.sure > 0.95

    def test_three_clear_misses_do_not(self):
        result = self.says((20, 4), (22, 4), (25, 4))
        assert (result.says, result.counted) == (Suggested.DOES_NOT, 0)

    def test_close_to_the_limit_the_camera_cannot_tell(self):
        result = self.says((40, 5), (39, 5), (41, 5))
        assert (result.says, result.why, result.counted) == ("cannot_tell", "too_close", 3)

    def test_what_was_not_seen_is_no_pass_and_no_fail(self):
        result = self.says((55, 4), None, (58, 4))
        assert (result.says, result.why) == ("cannot_tell", "unseen")
        assert self.says((55, 4), None, (58, 4), need=2).says == "passes"
        assert self.says((20, 4), None, (21, 4), need=2).says == "does_not"

    def test_a_repetition_that_was_not_filmed_is_asked_for(self):
        result = self.says((55, 4), (58, 4))
        assert (result.says, result.why) == ("cannot_tell", "too_few")

    def test_only_the_first_repetitions_asked_for_are_judged(self):
        result = self.says((20, 4), (21, 4), (22, 4), (60, 4), (60, 4), (60, 4))
        assert result.says == "does_not"

    def test_self_tests(self):
        assert suggest([], [], need=1, asked=1, answers=[True]).says == "passes"
        assert suggest([], [], need=1, asked=1, answers=[False]).says == "does_not"
        assert suggest([], [], need=1, asked=1, answers=[None]).why == "unanswered"
        assert self.says((55, 4), (52, 4), (58, 4), answers=[None]).why == "unanswered"
        assert self.says((55, 4), (52, 4), (58, 4), answers=[False]).says == "does_not"
        assert suggest([], [], need=1, asked=1).says == "cannot_tell"

    def test_criteria_are_joined_by_and(self):
        targets = [self.target, at_most(*PITCH, 70)]
        good = [{TURN: (55, 4), PITCH: (60, 3)}] * 3
        bad = [{TURN: (55, 4), PITCH: (85, 3)}] * 3
        assert suggest(targets, good, need=3, asked=3).says == "passes"
        assert suggest(targets, bad, need=3, asked=3).says == "does_not"
        assert not counts(targets, bad[0])
        assert not counts(targets, {TURN: (55, 4)})

    def test_what_cannot_be_asked_for_is_refused(self):
        with pytest.raises(ValueError, match="4 of 3"):
            self.says((1, 1), need=4)

    @settings(deadline=None)
    @given(st.floats(0, 60), spreads, st.floats(0, 30), st.integers(1, 3))
    def test_nearer_to_the_band_is_never_judged_worse(self, distance, u, closer, need):
        order = {"does_not": 0, "cannot_tell": 1, "passes": 2}
        far = self.says(*[(38 - distance, u)] * 3, need=need)
        near = self.says(*[(38 - distance + closer, u)] * 3, need=need)
        assert order[near.says] >= order[far.says]

    @settings(deadline=None)
    @given(st.floats(0, 40), st.floats(0, 40), spreads)
    def test_the_chance_falls_with_the_distance_from_the_middle_of_a_band(self, a, b, u):
        band = between(*TURN, 30, 50)
        near, far = sorted((a, b))
        for side in (1, -1):
            assert band.chance(40 + side * near, u) >= band.chance(40 + side * far, u) - 1e-12

    @settings(deadline=None, max_examples=30)
    @given(st.lists(st.tuples(values, spreads), min_size=1, max_size=5))
    def test_without_a_constant_part_the_rung_is_the_plain_convolution(self, readings):
        chances = [stats.norm.sf(38, v, u) for v, u in readings]
        result = chance_of_rung([self.target], film(*readings), need=1, shares={TURN[0]: 0})
        assert result == pytest.approx(chance_of_at_least(1, chances), abs=1e-9)

    def test_a_constant_error_is_agreed_by_simulation(self):
        share, u, limit = 0.6, 5.0, 38.0
        random = np.random.default_rng(7)
        readings = np.array([41.0, 44.0, 39.0])
        constant = random.normal(0, u * math.sqrt(share), (200_000, 1))
        loose = random.normal(0, u * math.sqrt(1 - share), (200_000, 3))
        simulated = (((readings - constant - loose) >= limit).sum(1) >= 2).mean()
        film_of = film(*[(v, u) for v in readings])
        result = chance_of_rung([self.target], film_of, need=2, shares={TURN[0]: share})
        assert result == pytest.approx(simulated, abs=0.01)

    def test_a_suggestion_is_as_sure_as_it_says(self):
        """Of many students, nine in ten suggested passes are true ones."""
        random = np.random.default_rng(11)
        right = []
        for _ in range(400):
            true, u = random.uniform(20, 60), random.uniform(2, 8)
            read = true + random.normal(0, u)
            result = self.says((read, u), need=1, asked=1)
            if result.says == "passes":
                right.append(true >= 38)
        assert len(right) > 100
        assert np.mean(right) >= SURE
