"""How far the camera leans, from what stands upright or lies level behind the golfer.

Walls, posts and door frames stand upright; the far edge of a field lies level. The
golfer leans as he likes, so without such marks the lean of the camera stays inside the
spread of every posture figure.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.core.cleaning import CHAIN_SHARE, chain_px
from analysis.core.pose import LANDMARK

Array = NDArray[np.float64]

WORKING_SHORT_SIDE = 720
STEEPEST_DEG = 9.0  # nobody films further off than that without seeing it
# A mark counts from this share of the picture's short side.
SHORTEST = 0.06
# Together the marks must be so long, as a share of the short side, and agree so well.
ENOUGH = 0.8
SCATTER_DEG = 0.6
# Verticals converge when the camera looks up or down: standard deviation in degrees at
# the picture's edge, for a camera that looks 4 degrees off the level.
CONVERGENCE_DEG = 1.6
# The far edge of a field rises and falls a little, and nearer edges run off the level.
FIELD_SD_DEG = 0.4
WIDEST_SD_DEG = 0.5
# Where a phone is held or stood, in statures above the golfer's feet.
CAMERA_HEIGHT = (0.4, 0.85)
_FEET = [LANDMARK[f"{part}_{side}"] for part in ("heel", "toe") for side in ("left", "right")]


@dataclass(frozen=True)
class Lean:
    """Lean of the picture: positive when upright things lean to the right in it.

    Parameters
    ----------
    roll_deg, sd_deg : float
    """

    roll_deg: float
    sd_deg: float


def camera_lean(picture: NDArray[np.uint8], *, golfer: Array) -> Lean | None:
    """The camera's lean, or None where too little says it.

    Parameters
    ----------
    picture : ndarray, shape (H, W) or (H, W, 3)
        Upright picture; the golfer in it counts for nothing.
    golfer : ndarray, shape (33, 2)
        Landmarks of the standing golfer in pixels of `picture`, NaN where not seen.
    """
    lines = _lines(picture, golfer)
    height, width = picture.shape[:2]
    uprights = _from_uprights(lines, width, height)
    field = _from_horizon(lines, width, height, golfer)
    if uprights is None or field is None:
        return uprights or field
    if abs(uprights.roll_deg - field.roll_deg) > 2 * np.hypot(uprights.sd_deg, field.sd_deg):
        return uprights  # the level edge is that of a wall, which runs off the level
    weight = np.array([uprights.sd_deg, field.sd_deg]) ** -2.0
    value = (weight @ [uprights.roll_deg, field.roll_deg]) / weight.sum()
    return Lean(float(value), float(weight.sum() ** -0.5))


def _lines(picture: NDArray[np.uint8], golfer: Array) -> Array:
    """Straight edges outside the golfer: x1, y1, x2, y2 in pixels of `picture`, shape (N, 4)."""
    grey = picture if picture.ndim == 2 else cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    short = min(grey.shape[:2])
    factor = min(1.0, WORKING_SHORT_SIDE / short)
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    found = cv2.createLineSegmentDetector().detect(small)[0]
    if found is None:
        return np.empty((0, 4))
    lines = found.reshape(-1, 4).astype(float) / factor
    length = np.hypot(lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1])
    lines = lines[length > SHORTEST * short]
    seen = golfer[np.isfinite(golfer).all(axis=1)]
    if not len(seen):
        return lines
    low, high = seen.min(axis=0), seen.max(axis=0)
    margin = 0.12 * (high[1] - low[1])
    ends = lines.reshape(-1, 2, 2)
    inside = ((ends > low - margin) & (ends < high + margin)).all(axis=(1, 2))
    return lines[~inside]


def _from_uprights(lines: Array, width: int, height: int) -> Lean | None:
    """Lean at the picture's middle of lines that would be upright, their convergence told apart."""
    run, rise = lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1]
    length = np.hypot(run, rise)
    # leaning to the right means that x grows as y falls
    lean = np.degrees(np.arctan2(-run * np.sign(rise), np.abs(rise)))
    use = np.abs(lean) < STEEPEST_DEG
    lean, length = lean[use], length[use]
    place = ((lines[use, 0] + lines[use, 2]) / 2 - width / 2) / (width / 2)
    if length.sum() < ENOUGH * min(width, height) or len(lean) < 3:
        return None
    design = np.stack([np.ones_like(place), place], axis=1)
    prior = np.diag([STEEPEST_DEG**-2.0, CONVERGENCE_DEG**-2.0])
    share = length / min(width, height)
    return _robust(design, lean, share, prior)


def _robust(design: Array, lean: Array, share: Array, prior: Array) -> Lean | None:
    """Iteratively reweighted fit (Cauchy); None where fewer than half of the marks agree."""
    start = _weighted_median(lean, share)
    solution = np.array([start, 0.0])
    for _ in range(20):
        off = (lean - design @ solution) / SCATTER_DEG
        weight = share / (1 + off**2)
        normal = (design * weight[:, None]).T @ design / SCATTER_DEG**2 + prior
        solution = np.linalg.solve(normal, (design * weight[:, None]).T @ lean / SCATTER_DEG**2)
    agree = np.abs(lean - design @ solution) < 2 * SCATTER_DEG
    if share[agree].sum() < max(0.5 * share.sum(), ENOUGH):
        return None
    sd = max(float(np.sqrt(np.linalg.inv(normal)[0, 0])), 0.15)
    return Lean(float(solution[0]), sd) if sd <= WIDEST_SD_DEG else None


def _from_horizon(lines: Array, width: int, height: int, golfer: Array) -> Lean | None:
    """Lean of the longest level edge that could be the end of the field.

    It runs through most of the picture and lies as high as the camera stands, counted
    at the golfer; the foot of a wall lies lower.
    """
    stature_px = float(chain_px(golfer[None])[0]) / CHAIN_SHARE
    feet = golfer[_FEET].mean(axis=0)
    run, rise = lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1]
    flat = lines[np.abs(rise) < np.tan(np.radians(STEEPEST_DEG)) * np.abs(run)]
    ends = flat.reshape(-1, 2, 2)
    best, lean = 0.0, None
    for x1, y1, x2, y2 in flat:
        tilt = (y2 - y1) / (x2 - x1)
        off = np.abs(ends[:, :, 1] - (y1 + tilt * (ends[:, :, 0] - x1)))
        member = (off < 0.006 * height).all(axis=1)
        if not member.any():
            continue
        on = ends[member].reshape(-1, 2)
        covered = _covered(ends[member][:, :, 0]) / width
        if np.ptp(on[:, 0]) < 0.7 * width or covered < max(0.35, best):
            continue
        slope, start = np.polyfit(on[:, 0], on[:, 1], 1)
        high = (feet[1] - (start + slope * feet[0])) / stature_px
        if CAMERA_HEIGHT[0] < high < CAMERA_HEIGHT[1]:
            best, lean = covered, Lean(float(np.degrees(np.arctan(slope))), FIELD_SD_DEG)
    return lean


def _covered(spans: Array) -> float:
    """Length of the union of intervals, shape (N, 2)."""
    total, reach = 0.0, -np.inf
    for low, high in sorted((min(s), max(s)) for s in spans):
        total += max(0.0, high - max(low, reach))
        reach = max(reach, high)
    return total


def _weighted_median(values: Array, weights: Array) -> float:
    order = np.argsort(values)
    half = np.searchsorted(np.cumsum(weights[order]), weights.sum() / 2)
    return float(values[order][min(int(half), len(values) - 1)])
