"""Rotation matrices about an axis."""

from __future__ import annotations

import numpy as np

from analysis.training.table import Array

X, Z = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])


def about(axis: Array, angle: Array) -> Array:
    """Rotations (N, 3, 3) by angles (N,) in radians (Rodrigues).

    Parameters
    ----------
    axis : ndarray, shape (3,) or (N, 3)
        Of unit length: one for all, or one each.
    """
    k = np.zeros((*axis.shape, 3))
    k[..., 0, 1], k[..., 0, 2], k[..., 1, 2] = -axis[..., 2], axis[..., 1], -axis[..., 0]
    k -= np.swapaxes(k, -1, -2)
    sin, cos = np.sin(angle)[:, None, None], np.cos(angle)[:, None, None]
    return np.asarray(np.eye(3) + sin * k + (1 - cos) * (k @ k))
