"""What a figure says about a band: closed forms first."""

from __future__ import annotations

import math

import pytest

from coaching.lessons.reading import band_of, probability_in, reading_of


def test_half_of_a_normal_lies_above_its_middle() -> None:
    assert probability_in(40.0, 3.0, 40.0, None) == pytest.approx(0.5)
    assert probability_in(40.0, 3.0, None, None) == 1.0


@pytest.mark.parametrize(("z", "share"), [(1.6449, 0.95), (1.0, 0.84134), (-1.6449, 0.05)])
def test_tabled_normal(z: float, share: float) -> None:
    """Tabled values of the standard normal distribution (any statistics textbook)."""
    assert probability_in(40.0 + 2.0 * z, 2.0, 40.0, None) == pytest.approx(share, abs=1e-4)


def test_two_sided_is_the_sum_of_what_is_left() -> None:
    inside = probability_in(42.0, 2.0, 40.0, 45.0)
    below = probability_in(42.0, 2.0, None, 40.0)
    above = probability_in(42.0, 2.0, 45.0, None)
    assert inside + below + above == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("value", "u", "reading"),
    [(48.0, 2.0, "in"), (43.3, 2.0, "in"), (43.2, 2.0, "cant_tell"), (40.0, 2.0, "cant_tell"),
     (36.8, 2.0, "cant_tell"), (36.7, 2.0, "out"), (10.0, 2.0, "out")],
)  # fmt: skip
def test_at_least_40_turns_over_at_1_645_u(value: float, u: float, reading: str) -> None:
    assert reading_of(value, u, 40.0, None, "at_least") == reading
    # The mirrored question gives the mirrored answer.
    assert reading_of(-value, u, None, -40.0, "at_most") == reading


def test_band_narrower_than_the_uncertainty_is_never_called_in() -> None:
    assert reading_of(42.5, 2.0, 40.0, 45.0) == "cant_tell"
    assert reading_of(42.5, 1.0, 40.0, 45.0) == "in"


def test_change_is_as_uncertain_as_both_its_ends() -> None:
    told = {"change": 10.0, "baseline": 21.0}
    assert reading_of(35.0, 2.0, comparison="changed_by", **told) == "in"
    assert (
        reading_of(35.0, 2.0, comparison="changed_by", baseline_uncertainty=3.0, **told)
        == "cant_tell"
    )


def test_change_downward() -> None:
    assert band_of("changed_by", change=-5.0, baseline=12.0) == (None, 7.0)
    assert reading_of(3.0, 1.0, comparison="changed_by", change=-5.0, baseline=12.0) == "in"


def test_missing() -> None:
    assert reading_of(None, None, 40.0, None, "at_least") == "cant_tell"
    assert reading_of(40.0, 1.0) is None
    assert reading_of(40.0, 1.0, comparison="changed_by", change=3.0) is None


def test_without_spread_the_edge_counts() -> None:
    assert reading_of(40.0, 0.0, 40.0, 45.0) == "in"
    assert reading_of(45.0, 0.0, 40.0, 45.0) == "in"
    assert reading_of(math.nextafter(40.0, 0.0), 0.0, 40.0, 45.0) == "out"
