"""Limits of agreement: the published example, one by hand, and the edges."""

import numpy as np
import pytest

from analysis.core.agreement import Bias, agreement, film_bias, person_bias

# Peak expiratory flow of 17 people, first reading of the large and of the small meter, l/min:
# Bland JM, Altman DG. Lancet 1986;1:307-310, table of the worked example.
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
SMALL = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_the_published_example():
    """They give: mean -2.1, SD 38.8, limits (of 2 SD) -79.7 and 75.5, standard error of the
    mean 9.4 and of a limit 16.3."""
    found = agreement([np.array([a - b]) for a, b in zip(LARGE, SMALL, strict=True)])
    assert found.mean == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert found.mean - 2 * found.sd == pytest.approx(-79.7, abs=0.1)
    assert found.mean + 2 * found.sd == pytest.approx(75.5, abs=0.1)
    assert found.high - found.mean == pytest.approx(1.96 * found.sd)
    assert found.mean_u == pytest.approx(9.4, abs=0.05)
    assert found.limit_u == pytest.approx(16.3, abs=0.05)
    assert (found.persons, found.pairs) == (17, 17)


def test_several_pairs_a_person_by_hand():
    """Means 3, 7, 11 around 7: MSB = 2 (16 + 0 + 16) / 2 = 32; MSW = 6 / 3 = 2; two pairs
    each, so the variance is (32 - 2) / 2 + 2 = 17 and the limits 7 ± 1.96 · 4.1231."""
    found = agreement([np.array(v, float) for v in ([2, 4], [6, 8], [10, 12])])
    assert found.mean == pytest.approx(7.0)
    assert found.sd == pytest.approx(17**0.5)
    assert found.low == pytest.approx(-1.0813, abs=1e-3)
    assert found.high == pytest.approx(15.0813, abs=1e-3)
    assert found.pairs == 6


def test_nobody_counts_more_for_having_filmed_more():
    found = agreement([np.array([0.0]), np.full(50, 10.0)])
    assert found.mean == pytest.approx(5.0)


def test_persons_alike_leave_the_spread_within():
    """Means that differ less than chance makes them add nothing (no variance below zero)."""
    found = agreement([np.array([-4.0, 4.0]), np.array([-4.0, 4.0])])
    assert found.sd == pytest.approx(32**0.5)


@pytest.mark.parametrize("persons", [[], [np.array([1.0, 2.0])], [np.array([1.0]), np.array([])]])
def test_one_person_says_nothing_about_the_next(persons):
    assert agreement(persons) is None


def test_a_films_bias_by_hand():
    """Differences 2, 4, 3: mean 3, s = 1 below the figure's own 3, so u² = 9/3 + 2² = 7."""
    found = film_bias([40, 44, 42], [3, 3, 3], [38, 40, 39], [2, 2, 2])
    assert found.mean == pytest.approx(3.0)
    assert found.u == pytest.approx(7**0.5)
    assert (found.pairs, found.films) == (3, 1)


def test_scatter_beyond_the_figures_own_uncertainty_counts():
    """Differences -6, 6: s² = 72, u² = 72/2 + 1."""
    assert film_bias([34, 46], [1, 1], [40, 40], [1, 1]).u == pytest.approx(37**0.5)


def test_the_bars_own_error_does_not_shrink_within_a_film():
    many = film_bias(np.full(400, 42.0), np.full(400, 3.0), np.full(400, 40.0), np.full(400, 2.0))
    assert many.u == pytest.approx(2.0, abs=0.01)


def test_a_persons_films_by_hand():
    """Means 3 and 7, each u² = 7: the films' own 14/4 = 3.5 is below their scatter 8/2 = 4."""
    films = [Bias(3.0, 7**0.5, 3, 1), Bias(7.0, 7**0.5, 2, 1)]
    found = person_bias(films)
    assert (found.mean, found.pairs, found.films) == (5.0, 5, 2)
    assert found.u == pytest.approx(2.0)
    assert person_bias(films[:1]) == films[0]


def test_nothing_is_no_film_and_no_person():
    with pytest.raises(ValueError, match="at least one pair"):
        film_bias([], [], [], [])
    with pytest.raises(ValueError, match="at least one film"):
        person_bias([])
