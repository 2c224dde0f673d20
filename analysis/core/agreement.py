"""How far a figure and an independent reference of it agree, measured in pairs.

The pairs come in films (one camera, one bar) of persons. What is the same in all
repetitions of a film is not known better by repeating it, and one person's many pairs
say no more about the next person than one film does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

# Two-sided 95 % of the normal distribution.
_TWO_SIDED_95 = 1.96


@dataclass(frozen=True)
class Bias:
    """How much a figure reads above its reference: mean, standard error, counts."""

    mean: float
    u: float
    pairs: int
    films: int


@dataclass(frozen=True)
class Agreement:
    """Differences over persons; `low` and `high` are the limits of agreement.

    `mean_u` and `limit_u` are the standard errors of the mean and of either limit.
    """

    persons: int
    pairs: int
    mean: float
    mean_u: float
    sd: float
    low: float
    high: float
    limit_u: float


def film_bias(
    value: ArrayLike, value_u: ArrayLike, reference: ArrayLike, reference_u: ArrayLike
) -> Bias:
    """Mean difference `value` − `reference` of one film's repetitions.

    Parameters
    ----------
    value, value_u, reference, reference_u : ndarray, shape (N,)
        Figures and references with their standard deviations, in one unit; N of at least 1.

    Notes
    -----
    u² = max(s², mean of value_u²) / N + mean of reference_u², with s the sample standard
    deviation of the differences. The figure's own uncertainty keeps repetitions that
    happen to agree from looking surer than they are; the reference's does not shrink with
    N, because camera and bar are the same in all of a film.
    """
    difference = np.asarray(value, float) - np.asarray(reference, float)
    if not len(difference):
        raise ValueError("a film needs at least one pair")
    loose = float(np.mean(np.square(value_u)))
    if len(difference) > 1:
        loose = max(loose, float(np.var(difference, ddof=1)))
    variance = loose / len(difference) + float(np.mean(np.square(reference_u)))
    return Bias(float(np.mean(difference)), math.sqrt(variance), len(difference), 1)


def person_bias(films: Sequence[Bias]) -> Bias:
    """Mean over one person's films, each alike.

    Notes
    -----
    u² is the larger of what the films' own uncertainties give, Σu²/K², and what their
    scatter gives, S²/K: clothes and the phone's place are new in each film.
    """
    if not films:
        raise ValueError("a person needs at least one film")
    means = np.array([film.mean for film in films])
    variance = float(np.sum(np.square([film.u for film in films]))) / len(films) ** 2
    if len(films) > 1:
        variance = max(variance, float(np.var(means, ddof=1)) / len(films))
    pairs = sum(film.pairs for film in films)
    return Bias(float(np.mean(means)), math.sqrt(variance), pairs, len(films))


def agreement(persons: Sequence[ArrayLike]) -> Agreement | None:
    """Limits within which 95 % of single differences of further persons are expected.

    Parameters
    ----------
    persons : sequence of ndarray
        Each person's differences, of shape (n_i,).

    Returns
    -------
    Agreement or None
        None for fewer than two persons: one says nothing about the next.

    Notes
    -----
    One-way analysis of variance: the variance of a single difference is that between
    persons, (MSB − MSW) / m with m = (N − Σn_i²/N) / (k − 1) (none below zero), plus that
    within, MSW. With one pair a person it is the plain variance. The mean is that of the
    persons' means, so that nobody counts more for having filmed more. Standard errors:
    SD/√k of the mean, √(3/k)·SD of a limit.

    References
    ----------
    Bland JM, Altman DG. Lancet 1986;1:307-310 (one pair a person, standard errors).
    Bland JM, Altman DG. J Biopharm Stat 2007;17(4):571-582 (several pairs, true value
    varying).
    """
    groups = [group for person in persons if (group := np.asarray(person, float)).size]
    k, counts = len(groups), np.array([len(group) for group in groups])
    if k < 2:
        return None
    total = int(counts.sum())
    means = np.array([group.mean() for group in groups])
    grand = float(np.concatenate(groups).mean())
    between = float(counts @ (means - grand) ** 2) / (k - 1)
    within = 0.0
    if total > k:
        within = sum(float(np.sum((g - g.mean()) ** 2)) for g in groups) / (total - k)
    share = (total - float(counts @ counts) / total) / (k - 1)
    sd = math.sqrt(max((between - within) / share, 0.0) + within)
    mean = float(means.mean())
    return Agreement(
        persons=k,
        pairs=total,
        mean=mean,
        mean_u=sd / math.sqrt(k),
        sd=sd,
        low=mean - _TWO_SIDED_95 * sd,
        high=mean + _TWO_SIDED_95 * sd,
        limit_u=math.sqrt(3 / k) * sd,
    )
