"""Paths of the hands and the scale of the picture, from landmarks alone.

Frames may lie unevenly in time, so smoothing and rates are local polynomials in
time, never filters that assume a constant rate.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.core.pose import LANDMARK, Array, PoseSequence

HAND = {
    side: [LANDMARK[f"{part}_{side}"] for part in ("wrist", "pinky", "index", "thumb")]
    for side in ("left", "right")
}
# Two hands on one handle are never this share of the trunk's drawn length apart.
_TORN = 0.35
_MOMENT_S = 0.16
_SHIN = [("knee_left", "ankle_left"), ("knee_right", "ankle_right")]
_THIGH = [("hip_left", "knee_left"), ("hip_right", "knee_right")]

# Stature over (shin + thigh + trunk) as the network draws them at address: median over
# the rendered training swings; the spread is 3 % down-the-line and 4 % face-on.
STATURE_OVER_CHAIN = {"down_the_line": 1.38, "face_on": 1.50}
# Standing upright, from published segment lengths (Drillis & Contini 1966, in Winter
# 2009, figure 4.1): 1 / (0.246 + 0.245 + 0.288).
_UPRIGHT = 1.28


def midpoint(xy: Array, a: str, b: str) -> Array:
    """Mean of two named landmarks, shape (T, 2)."""
    return 0.5 * (xy[:, LANDMARK[a]] + xy[:, LANDMARK[b]])


def stature_px(pose: PoseSequence, *, view: str, rows: NDArray[np.bool_] | None = None) -> float:
    """The person's standing height in pixels, from legs and trunk.

    Parameters
    ----------
    pose : PoseSequence
    view : str
        The factor from drawn segments to stature differs by view.
    rows : ndarray of bool, shape (T,), optional
        Frames to use, best the still ones at address.

    Returns
    -------
    float
        Pixels; NaN when nobody was found. About 4 % (one standard deviation).
    """
    xy = pose.xy_px if rows is None else pose.xy_px[rows]
    if not np.isfinite(xy).any():
        return float("nan")

    def length(pairs: list[tuple[str, str]]) -> Array:
        parts = [_length(xy[:, LANDMARK[a]] - xy[:, LANDMARK[b]]) for a, b in pairs]
        return np.asarray(np.mean(parts, axis=0))

    trunk = midpoint(xy, "shoulder_left", "shoulder_right") - midpoint(xy, "hip_left", "hip_right")
    chain = length(_SHIN) + length(_THIGH) + _length(trunk)
    return float(STATURE_OVER_CHAIN.get(view, _UPRIGHT) * np.nanmedian(chain))


def hands_px(pose: PoseSequence) -> Array:
    """Middle of the two hands, median of three frames, shape (T, 2) in pixels.

    Both hands hold one handle: where the network puts them far apart (a hidden hand is
    guessed, at the top above all) only the hand it is surer of counts.
    """
    sides = [np.mean(pose.xy_px[:, HAND[side]], axis=1) for side in ("left", "right")]
    sure = [np.mean(pose.confidence[:, HAND[side]], axis=1) for side in ("left", "right")]
    trunk = midpoint(pose.xy_px, "shoulder_left", "shoulder_right") - midpoint(
        pose.xy_px, "hip_left", "hip_right"
    )
    trunk_px = _median(_length(trunk))
    torn = _length(sides[0] - sides[1]) > _TORN * trunk_px
    both = 0.5 * (sides[0] + sides[1])
    pick = np.where((sure[0] >= sure[1])[:, None], sides[0], sides[1])
    near = _bridged(pose.time_s, np.where(torn[:, None], np.nan, both))
    # lost for a moment only: the hand that stayed where both were is the right one
    stray = [_length(side - near) for side in (*sides, pick)]
    left = np.minimum(stray[0], stray[1]) < np.minimum(stray[2], _TORN * trunk_px)
    stayed = np.where((stray[0] <= stray[1])[:, None], sides[0], sides[1])
    pick = np.where(left[:, None], stayed, pick)
    return median3(np.where(torn[:, None], pick, both))


def _bridged(time_s: Array, path: Array) -> Array:
    """Short gaps of a path filled in time; NaN in longer ones, shape (T, 2)."""
    known = np.isfinite(path).all(axis=1)
    if known.sum() < 2:
        return np.full(path.shape, np.nan)
    t = time_s[known]
    after = np.clip(np.searchsorted(t, time_s), 1, len(t) - 1)
    short = t[after] - t[after - 1] <= _MOMENT_S
    filled = np.stack([np.interp(time_s, t, path[known, k]) for k in (0, 1)], axis=1)
    return np.where(short[:, None], filled, np.nan)


def _length(vectors: Array) -> Array:
    return np.hypot(vectors[:, 0], vectors[:, 1])


def _median(values: Array) -> float:
    seen = values[np.isfinite(values)]
    return float(np.median(seen)) if len(seen) else float("nan")


def median3(values: Array) -> Array:
    """Running median of three rows; the first and last row stay."""
    out = values.copy()
    if len(values) >= 3:
        inner = np.median(np.stack([values[:-2], values[1:-1], values[2:]]), axis=0)
        out[1:-1] = np.where(np.isfinite(inner), inner, values[1:-1])
    return out


def local_fit(
    time_s: Array, values: Array, at_s: Array, *, width_s: float, degree: int = 2
) -> tuple[Array, Array]:
    """Value and slope of a local polynomial with Gaussian weights.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
        Any spacing.
    values : ndarray, shape (T,) or (T, K)
        NaN rows carry no weight.
    at_s : ndarray, shape (N,)
        Where to evaluate.
    width_s : float
        Standard deviation of the weights. Where frames lie further apart than that the
        weights widen to hold enough of them.
    degree : int
        Degree of the polynomial.

    Returns
    -------
    value, slope : ndarray, shape (N,) or (N, K)
        NaN where fewer than `degree` + 1 frames have weight.
    """
    flat = values.ndim == 1
    y = values[:, None] if flat else values
    good = np.isfinite(y).all(axis=1)
    t, y = time_s[good], y[good]
    value = np.full((len(at_s), y.shape[1]), np.nan)
    slope = value.copy()
    if len(t) > degree:
        offset = t[None, :] - at_s[:, None]
        nearest = np.sort(np.abs(offset), axis=1)[:, degree]
        width = np.maximum(width_s, nearest)[:, None]
        weight = np.exp(-0.5 * (offset / width) ** 2)
        powers = (offset / width)[..., None] ** np.arange(degree + 1)
        normal = np.einsum("nt,nti,ntj->nij", weight, powers, powers)
        normal += 1e-9 * np.eye(degree + 1)
        right = np.einsum("nt,nti,tk->nik", weight, powers, y)
        solved = np.linalg.solve(normal, right)
        near = nearest < 4 * width_s + 0.2
        value[near] = solved[near, 0]
        slope[near] = solved[near, 1] / width[near]
    return (value[:, 0], slope[:, 0]) if flat else (value, slope)


def crossing_s(time_s: Array, values: Array, *, rising: bool | None = None) -> float:
    """First time at which `values` pass zero, interpolated between frames.

    Parameters
    ----------
    time_s, values : ndarray, shape (T,)
        NaN rows are bridged: the crossing may lie in a gap.
    rising : bool, optional
        Only crossings upwards (True) or downwards (False); None takes either.

    Returns
    -------
    float
        Seconds, NaN when there is none.
    """
    good = np.isfinite(values)
    t, y = time_s[good], values[good]
    change = (y[:-1] < 0) & (y[1:] >= 0) if rising else (y[:-1] > 0) & (y[1:] <= 0)
    if rising is None:
        change = (y[:-1] < 0) != (y[1:] < 0)
    where = np.flatnonzero(change)
    if not len(where):
        return float("nan")
    i = where[0]
    return float(t[i] - y[i] * (t[i + 1] - t[i]) / (y[i + 1] - y[i]))


def gap_at(time_s: Array, at_s: float) -> float:
    """Distance in seconds between the two frames around a moment."""
    if len(time_s) < 2:
        return 0.0
    i = int(np.clip(np.searchsorted(time_s, at_s), 1, len(time_s) - 1))
    return float(time_s[i] - time_s[i - 1])
