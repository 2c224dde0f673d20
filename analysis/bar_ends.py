"""Where a thin bar ends along a line that is already known.

Along the line the picture is compared with its flanks. Near the hands that contrast is
the bar's; on parallel lines beside it, it is the background's. Outward from a hand the
logarithms of the ratio of both likelihoods are summed up: the bar ends where the sum is
largest (the change point of Page 1954, doi 10.1093/biomet/41.1-2.100).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from analysis.core.pose import Array

_ASIDE = 16  # pixels to either side of the line that are looked at
_FLANK = (4, 5, 6)  # how far from the middle a flank lies: a grip is 8 pixels wide
_CORRELATED = 4.0  # pixels along the line that tell one thing
_LEAST_CONTRAST = 5.0
NEAR = (0.03, 0.10)  # statures outward of a hand in which the bar shows for certain


@dataclass(frozen=True)
class Evidence:
    """How much better bar explains the line than background, up to a distance from 0.

    Parameters
    ----------
    from_px : ndarray, shape (2,)
        Where lead and trail hand lie along the line.
    total : tuple of two ndarrays
        Sum of log likelihood ratios outward of each, a value per pixel.
    """

    from_px: Array
    way: tuple[int, int]
    total: tuple[Array, Array]

    def at(self, side: int, out_px: Array) -> Array:
        """Evidence that the bar reaches `out_px` beyond the hand of a side."""
        curve = self.total[side]
        inside = np.interp(out_px, np.arange(len(curve)), curve)
        return np.where(out_px < len(curve), inside, curve[-1] - 0.5 * (out_px - len(curve)))


def evidence(
    picture: Array,
    grip: Array,
    line: tuple[float, float],
    hands: Array,
    *,
    stature: float,
    near: tuple[float, float] = NEAR,
    reach: float = 0.62,
) -> Evidence | None:
    """Look outward of both hands along a line.

    Parameters
    ----------
    picture : ndarray, shape (H, W)
        Grey, a bar about four pixels wide.
    grip : ndarray, shape (2,)
        Origin of the line, pixels.
    line : tuple of float
        Angle in degrees, counter-clockwise, and offset in pixels.
    hands : ndarray, shape (2,)
        Positions of lead and trail hand along the line, pixels from the origin.
    near, reach : float
        Statures outward of a hand in which the bar shows for certain; how far to look.
    """
    far = int(reach * stature)
    strip = _strip(picture, grip, line, far)
    contrast = _contrast(strip)
    middle = contrast.shape[0] // 2
    inner = contrast[middle - 1 : middle + 2]
    bar = np.take_along_axis(inner, np.abs(inner).argmax(axis=0)[None], axis=0)[0]
    beside = np.abs(np.concatenate([contrast[: middle - 7], contrast[middle + 8 :]]))
    level = cv2.blur(beside.mean(axis=0, keepdims=True).astype(np.float32), (41, 1))[0]
    level = np.maximum(1.35 * level, 1.5)  # the best of three rows beside is larger than one
    ways = (1, -1) if hands[0] >= hands[1] else (-1, 1)
    totals = []
    for hand, way in zip(hands, ways, strict=True):
        start = round(float(hand)) + far
        along = slice(start, None) if way > 0 else slice(start, None, -1)
        if not 0 <= start < len(bar) or len(bar[along]) < near[1] * stature + 2:
            return None
        totals.append(_sum(bar[along], level[along], near[0] * stature, near[1] * stature))
    return Evidence(hands, ways, (totals[0], totals[1]))


def _strip(picture: Array, grip: Array, line: tuple[float, float], reach: int) -> Array:
    """The picture along the line, straightened: rows across, columns along it."""
    a = np.radians(line[0])
    along, across = np.array([np.cos(a), -np.sin(a)]), np.array([-np.sin(a), -np.cos(a)])
    steps = np.arange(-reach, reach + 1, dtype=np.float32)
    rows = np.arange(-_ASIDE, _ASIDE + 1) + line[1]
    at = grip + steps[None, :, None] * along + rows[:, None, None] * across
    at = at.astype(np.float32)
    border = cv2.BORDER_REPLICATE
    found = cv2.remap(
        picture.astype(np.float32), at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=border
    )
    return np.asarray(found, float)


def _contrast(strip: Array) -> Array:
    """Of each row against both flanks, signed; 0 where they disagree."""
    smooth = cv2.blur(strip.astype(np.float32), (5, 3)).astype(float)
    best = np.zeros_like(smooth)
    for flank in _FLANK:
        above, below = np.roll(smooth, flank, axis=0), np.roll(smooth, -flank, axis=0)
        a, b = smooth - above, smooth - below
        both = np.where(np.sign(a) == np.sign(b), np.sign(a) * np.minimum(abs(a), abs(b)), 0.0)
        best = np.where(abs(both) > abs(best), both, best)
    return best[max(_FLANK) : -max(_FLANK)]


def _sum(bar: Array, level: Array, from_px: float, to_px: float) -> Array:
    low, high = int(from_px), int(to_px)
    sure = bar[low:high]
    typical = max(float(np.percentile(np.abs(sure), 60)), _LEAST_CONTRAST)
    sign = np.sign(np.sum(sure)) or 1.0
    seen = np.clip(sign * bar, 0, None)
    spread = 0.4 * typical + 2.0
    like_bar = np.exp(-0.5 * ((seen - typical) / spread) ** 2) / (2.5 * spread)
    like_bar = 0.85 * like_bar + 0.15 / 120 + 0.15 * 0.2 * np.exp(-seen / 5)
    like_ground = 0.95 * np.exp(-seen / level) / level + 0.05 / 120
    ratio = np.clip(np.log(like_bar / like_ground), -3, 3) / _CORRELATED
    ratio[:low] = 0.0  # hand and forearm
    return np.asarray(np.cumsum(ratio))
