"""The scale under every drawn figure: it runs either way, shows all marks, and ticks are round."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.lessons.scale import Scale, covering

VALUES = st.lists(st.floats(-500, 500), min_size=1, max_size=8)


def test_a_value_stands_in_proportion_whichever_way_the_picture_runs() -> None:
    assert Scale(0, 10, start=100, end=200).at(2.5) == 125
    assert Scale(0, 10, start=200, end=100).at(2.5) == 175


def test_what_lies_outside_stands_at_the_end() -> None:
    scale = Scale(0, 10, start=0, end=50)
    assert (scale.at(-3), scale.at(12)) == (0, 50)


def test_a_small_difference_does_not_fill_the_picture() -> None:
    scale = covering([40.0, 40.1], air=0.0, start=0, end=100, least_range=20)
    assert scale.at(40.1) - scale.at(40.0) == pytest.approx(0.5, abs=0.11)


def test_ticks_are_round() -> None:
    assert [value for value, _place in Scale(-10, 10, 0, 100).ticks()] == [-10, -5, 0, 5, 10]
    assert [value for value, _place in Scale(0.32, 0.5, 0, 100).ticks()] == [0.35, 0.4, 0.45, 0.5]


def test_no_mark_is_no_picture() -> None:
    with pytest.raises(ValueError, match="at least one"):
        covering([], air=0.1, start=0, end=1)


@given(VALUES, st.sampled_from([0.0, 0.1]))
def test_every_mark_is_shown_and_order_is_kept(marks: list[float], air: float) -> None:
    scale = covering(marks, air=air, start=10, end=90)
    places = [scale.at(mark) for mark in sorted(marks)]
    assert places == sorted(places)
    assert all(10 <= place <= 90 for place in places)
    assert 1 <= len(scale.ticks()) <= 8
