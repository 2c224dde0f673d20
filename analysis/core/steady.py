"""Points of a film whose camera moved, counted in one picture.

A transform is a 2 x 3 matrix, from a frame's own picture to the one in which everything
is counted: ``xy' = A xy + b`` with ``[A | b]``. One a frame, shape (T, 2, 3).
"""

from __future__ import annotations

import numpy as np

from analysis.core.pose import Array

STILL = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


def moved(points_px: Array, transforms: Array) -> Array:
    """Points of each frame where they lie in the common picture, shape (T, ..., 2)."""
    flat = points_px.reshape(len(points_px), -1, 2)
    out = flat @ transforms[:, :, :2].transpose(0, 2, 1) + transforms[:, None, :, 2]
    return np.asarray(out.reshape(points_px.shape))


def undone(transforms: Array) -> Array:
    """From the common picture back to each frame's own."""
    turn = np.linalg.inv(transforms[:, :, :2])
    return np.concatenate([turn, -turn @ transforms[:, :, 2:]], axis=2)


def scaled(transforms: Array, factor: float) -> Array:
    """The same for pictures `factor` times as large."""
    return np.asarray(transforms * np.array([1.0, 1.0, factor]))


def flipped(transforms: Array, *, width_px: float) -> Array:
    """The same between mirrored pictures."""
    flip = np.array([[1.0, -1.0, -1.0], [-1.0, 1.0, 1.0]])
    out = transforms * flip
    out[:, 0, 2] += width_px * (1 - transforms[:, 0, 0])
    out[:, 1, 2] += width_px * transforms[:, 1, 0]
    return np.asarray(out)


def bridged(time_s: Array, transforms: Array) -> Array:
    """NaN rows filled in time; where nothing is known the camera counts as still."""
    known = np.isfinite(transforms).all(axis=(1, 2))
    if not known.any():
        return np.tile(STILL, (len(transforms), 1, 1))
    out = transforms.copy()
    for i, j in np.ndindex(2, 3):
        out[:, i, j] = np.interp(time_s, time_s[known], transforms[known, i, j])
    return out
