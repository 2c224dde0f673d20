"""Stillness: where a path rests, and when it leaves its rest."""

from __future__ import annotations

import math

import numpy as np

from analysis.core.motion import local_fit
from analysis.core.pose import Array

_SETTLED_M = 0.037  # how far the hands of someone at rest stray


def rests(time_s: Array, path: Array, *, limit: float) -> list[tuple[float, float]]:
    """All rests of at least 0.25 s, greedy from the start."""
    out: list[tuple[float, float]] = []
    start = 0
    while start < len(time_s) - 1:
        end = start
        while end + 1 < len(time_s) and np.linalg.norm(path[end + 1] - path[start]) <= limit:
            end += 1
        if time_s[end] - time_s[start] >= 0.25:
            out.append((float(time_s[start]), float(time_s[end])))
            start = end + 1
        else:
            start += 1
    return out


def longest_rest(
    time_s: Array, path: Array, *, since_s: float, limit: float = _SETTLED_M
) -> tuple[float, float] | None:
    smooth = local_fit(time_s, path, time_s, width_s=0.03)[0]
    best: tuple[float, float] | None = None
    start = int(np.searchsorted(time_s, since_s))
    for end in range(start, len(time_s)):
        while np.linalg.norm(smooth[start] - smooth[end]) > limit:
            start += 1
        if best is None or time_s[end] - time_s[start] > best[1] - best[0]:
            best = (float(time_s[start]), float(time_s[end]))
    return best if best is not None and best[1] - best[0] >= 0.12 else None


def onset(time_s: Array, signals: Array, guess_s: float) -> tuple[float, float]:
    """Where a constant turns into a parabola: least squares over the breaking point.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    signals : ndarray, shape (T, K)
        NaN rows of a signal carry no weight.
    guess_s : float
        Returned with a wide spread when there is too little to fit.

    Returns
    -------
    onset_s, sd_s : float
        Spread where the residual grows by its own variance.
    """
    if len(time_s) < 6:
        return guess_s, 0.1
    tries = np.arange(time_s[0] + 0.04, time_s[-1] - 0.02, 0.004)
    if not len(tries):
        return guess_s, 0.1
    costs = np.zeros(len(tries))
    for column in signals.T:
        good = np.isfinite(column)
        if good.sum() < 6:
            continue
        rest = good & (time_s <= np.quantile(time_s, 0.4))
        noise = np.nanstd(np.diff(column[rest])) / math.sqrt(2) if rest.sum() > 3 else np.nan
        residual = np.array([_bend(time_s[good], column[good], t0) for t0 in tries])
        floor = residual.min() / max(good.sum() - 4, 1)
        noise2 = max(floor, 0.0 if not np.isfinite(noise) else noise**2, 1e-10)
        costs += residual / noise2
    best = int(np.argmin(costs))
    near = tries[costs < costs[best] + 1.0]
    return float(tries[best]), float(max(np.ptp(near) / 2, 0.004))


def _bend(time_s: Array, values: Array, onset_s: float) -> float:
    late = np.maximum(time_s - onset_s, 0.0)
    design = np.stack([np.ones_like(late), late, late**2], axis=1)
    solved = np.linalg.lstsq(design, values, rcond=None)[0]
    return float(np.sum((values - design @ solved) ** 2))
