"""The picture of a measure over time: everything inside, up is more."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.practice.charts import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, draw

DAY = datetime(2026, 5, 1, tzinfo=UTC)
numbers = st.floats(-200, 200)
films = st.lists(
    st.tuples(
        numbers,
        st.floats(0, 30),
        st.one_of(st.none(), st.tuples(numbers, st.floats(0.1, 50))),
    ),
    min_size=1,
    max_size=12,
)


def points(rows):
    return [
        (
            DAY + timedelta(days=i),
            value,
            u,
            band[0] if band else None,
            band[0] + band[1] if band else None,
        )
        for i, (value, u, band) in enumerate(rows)
    ]


@given(films)
def test_everything_stands_inside_the_picture(rows):
    chart = draw(points(rows))
    for dot in chart.dots:
        assert LEFT <= dot.x <= WIDTH - RIGHT
        assert TOP <= dot.top <= dot.y <= dot.bottom <= HEIGHT - BOTTOM
        if dot.band_top is not None:
            assert dot.band_top >= TOP - 0.11
            assert dot.band_top + dot.band_height <= HEIGHT - BOTTOM + 0.11
    assert 1 <= len(chart.ticks) <= 8


@given(films)
def test_more_is_higher_and_later_is_further_right(rows):
    dots = draw(points(rows)).dots
    for (value, *_), dot in zip(rows, dots, strict=True):
        for (other, *_), one in zip(rows, dots, strict=True):
            if value > other:
                assert dot.y <= one.y
    assert [dot.x for dot in dots] == sorted(dot.x for dot in dots)


def test_an_open_band_reaches_the_edge():
    [dot] = draw([(DAY, 50, 2, 38, None)]).dots
    assert dot.band_top == TOP
    [dot] = draw([(DAY, 50, 2, None, 60)]).dots
    assert dot.band_top + dot.band_height == pytest.approx(HEIGHT - BOTTOM)


def test_one_film_has_no_line_and_none_has_no_picture():
    assert draw([(DAY, 50, 2, None, None)]).line == ""
    assert draw(points([(1, 1, None), (2, 1, None)])).line.startswith("M")
    with pytest.raises(ValueError, match="at least one film"):
        draw([])
