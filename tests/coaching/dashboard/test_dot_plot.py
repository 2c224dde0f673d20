"""Where dots, ticks and the block of the limits stand."""

import pytest

from coaching.dashboard.dot_plot import LEAST_DEG, MARGIN, WIDTH, draw


def test_a_small_difference_looks_small():
    """With everything inside ±10 the rule runs from −10 to 10 and zero is its middle."""
    scale = draw([((2.0, 4.0), 3.0, 1.0)])
    assert scale.zero == pytest.approx(WIDTH / 2)
    per_deg = (WIDTH - 2 * MARGIN) / (2 * LEAST_DEG)
    (strip,) = scale.strips
    placed = [(x - scale.zero) / per_deg for x in (*strip.dots, strip.mean, *strip.whisker)]
    assert placed == pytest.approx([2, 4, 3, 1, 5], abs=0.02)
    assert scale.band is None
    assert [value for value, _x in scale.ticks] == [-10, -5, 0, 5, 10]


def test_everything_lies_on_the_picture_and_rows_share_one_scale():
    scale = draw([((-31.0,), -31.0, 6.0), ((4.0,), 4.0, 2.0)], limits=(-50.0, 24.0))
    marks = [x for s in scale.strips for x in (*s.dots, *s.whisker)]
    assert all(MARGIN <= x <= WIDTH - MARGIN for x in [*marks, *scale.band])
    assert scale.band == pytest.approx((MARGIN, WIDTH - MARGIN))
    assert scale.band_width == pytest.approx(WIDTH - 2 * MARGIN)
    assert scale.strips[0].mean < scale.zero < scale.strips[1].mean
    assert len(scale.ticks) <= 6
