"""Criteria: suggestions from marks, and targets the camera can judge."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from coaching.lessons.estimates import (
    SURE_TO_COUNT,
    Band,
    Estimate,
    Standing,
    chance_of_at_least,
)
from coaching.practice.criteria import (
    Suggested,
    Target,
    advise,
    at_least,
    at_most,
    between,
    chance_of_step,
    chance_on_target,
    fair_half_width,
    needed_to_count,
    standing_of,
    suggest,
    survives,
)

TURN = ("pelvis_turn_deg", "top")
PITCH = ("shaft_pitch_deg", "late_back")
values = st.floats(-100, 100)
spreads = st.floats(0.05, 30)


class TestTargets:
    def test_forty_to_forty_five_counts_for_nobody_at_five_degrees(self):
        advice = advise(between(*TURN, 40, 45), 5)
        assert (advice.chance, advice.hardly, advice.needed) == (0.0, True, None)
        assert advice.wider == (31, 54)
        assert advice.open_ended == 34

    def test_what_is_advised_instead_is_fair(self):
        for sd in (1.0, 2.5, 5.0, 8.0):
            advice = advise(between(*TURN, 40, 41), sd)
            assert advice.hardly
            assert chance_on_target(between(*TURN, *advice.wider), sd) >= 0.8
            assert chance_on_target(at_least(*TURN, advice.open_ended), sd, true=40.5) >= 0.8

    def test_where_less_is_better_the_alternative_is_an_at_most(self):
        advice = advise(between(*PITCH, 60, 62), 4, upward=False)
        assert chance_on_target(at_most(*PITCH, advice.open_ended), 4, true=61) >= 0.8

    def test_exactly_on_a_limit_counts_once_in_five(self):
        assert chance_on_target(at_least(*TURN, 38), 5) == pytest.approx(0.2)
        needed = needed_to_count(at_least(*TURN, 38), 5)
        assert needed == pytest.approx(38 + 2 * 5 * stats.norm.ppf(0.8))
        assert chance_on_target(at_least(*TURN, 38), 5, true=needed) == pytest.approx(0.8)
        needed = needed_to_count(at_most(*PITCH, 70), 3)
        assert needed < 70
        assert chance_on_target(at_most(*PITCH, 70), 3, true=needed) == pytest.approx(0.8)

    @pytest.mark.parametrize("target", [at_least(*TURN, 38), between(*TURN, 30, 50)])
    def test_the_odds_are_those_of_the_marks(self, target):
        """Readings drawn at random, each marked as a page marks it."""
        at, sd = 45.0, 4.0
        read = np.random.default_rng(5).normal(at, sd, 20_000)
        counted = [target.band.standing(Estimate(v, sd)) == Standing.COUNTS for v in read]
        assert np.mean(counted) == pytest.approx(chance_on_target(target, sd, true=at), abs=0.01)

    @given(spreads)
    def test_a_default_width_is_fair(self, sd):
        half = fair_half_width(sd)
        assert chance_on_target(between(*TURN, -half, half), sd) == pytest.approx(0.8, abs=1e-6)

    @given(values, spreads, st.floats(0.5, 30))
    def test_a_wider_band_is_never_harder(self, low, sd, width):
        narrow, wide = between(*TURN, low, low + width), between(*TURN, low - 1, low + width + 1)
        assert chance_on_target(wide, sd) >= chance_on_target(narrow, sd) - 1e-9

    @pytest.mark.parametrize("limits", [(45, 40), (40, 40), (-math.inf, math.inf)])
    def test_bands_that_are_none_are_refused(self, limits):
        with pytest.raises(ValueError, match=r"no value lies|needs a limit"):
            Target(*TURN, Band(*limits))

    def test_how_much_of_a_change_survives(self):
        assert survives(50, 30, 40) == 0.5
        assert survives(30, 30, 40) is None


def film(*pairs):
    return [{TURN: pair and Estimate(*pair)} for pair in pairs]


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

    def test_close_to_the_limit_nothing_counts_and_nothing_fails(self):
        result = self.says((40, 5), (39, 5), (41, 5))
        assert (result.says, result.why) == ("cannot_tell", "too_close")
        assert (result.counted, result.close) == (0, 3)

    @settings(deadline=None)
    @given(
        st.lists(st.none() | st.tuples(values, spreads), min_size=1, max_size=5),
        st.data(),
        values,
        st.none() | st.floats(0.1, 60),
    )
    def test_suggestion_marks_and_count_are_one(self, readings, data, low, width):
        """For every value, uncertainty and band."""
        band = Band(low=low) if width is None else Band(low, low + width)
        need = data.draw(st.integers(1, len(readings)))
        pairs = [pair and Estimate(*pair) for pair in readings]
        marks = [band.standing(pair) for pair in pairs]
        result = suggest(
            [Target(*TURN, band)], [{TURN: p} for p in pairs], need=need, asked=len(readings)
        )
        assert list(result.standings) == marks
        assert result.counted == marks.count(Standing.COUNTS)
        assert (result.says == "passes") == (result.counted >= need)
        open_still = len(marks) - marks.count(Standing.DOES_NOT)
        assert (result.says == "does_not") == (open_still < need)

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
        good = [{TURN: Estimate(55, 4), PITCH: Estimate(60, 3)}] * 3
        bad = [{TURN: Estimate(55, 4), PITCH: Estimate(85, 3)}] * 3
        assert suggest(targets, good, need=3, asked=3).says == "passes"
        assert suggest(targets, bad, need=3, asked=3).says == "does_not"
        assert standing_of(targets, bad[0]) == Standing.DOES_NOT
        assert standing_of(targets, {TURN: Estimate(55, 4)}) == Standing.NOT_SEEN

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
            near_chance, far_chance = (
                band.band.chance(Estimate(40 + side * away, u)) for away in (near, far)
            )
            assert near_chance >= far_chance - 1e-12

    @settings(deadline=None, max_examples=30)
    @given(st.lists(st.tuples(values, spreads), min_size=1, max_size=5))
    def test_without_a_constant_part_the_step_is_the_plain_convolution(self, readings):
        chances = [stats.norm.sf(38, v, u) for v, u in readings]
        result = chance_of_step([self.target], film(*readings), need=1, shares={TURN[0]: 0})
        assert result == pytest.approx(chance_of_at_least(1, chances), abs=1e-9)

    def test_a_constant_error_is_agreed_by_simulation(self):
        share, u, limit = 0.6, 5.0, 38.0
        random = np.random.default_rng(7)
        readings = np.array([41.0, 44.0, 39.0])
        constant = random.normal(0, u * math.sqrt(share), (200_000, 1))
        loose = random.normal(0, u * math.sqrt(1 - share), (200_000, 3))
        simulated = (((readings - constant - loose) >= limit).sum(1) >= 2).mean()
        film_of = film(*[(v, u) for v in readings])
        result = chance_of_step([self.target], film_of, need=2, shares={TURN[0]: share})
        assert result == pytest.approx(simulated, abs=0.01)

    def test_a_suggestion_is_as_sure_as_it_says(self):
        """Of many students, at least four in five suggested passes are true ones."""
        random = np.random.default_rng(11)
        right = []
        for _ in range(400):
            true, u = random.uniform(20, 60), random.uniform(2, 8)
            read = true + random.normal(0, u)
            result = self.says((read, u), need=1, asked=1)
            if result.says == "passes":
                right.append(true >= 38)
        assert len(right) > 100
        assert np.mean(right) >= SURE_TO_COUNT
