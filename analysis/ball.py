"""The ball at rest, and when it has left.

At address the club head hides it, so it is looked for in the median of backswing frames;
where frames from after the strike show the same ground without it, their difference is
asked first, because nothing else that small disappears there.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.core.pose import Array

Grey = NDArray[np.uint8]

# A ball is at least 42.67 mm across (rules of the game); on an average stature of 1.75 m.
DIAMETER = 0.0244
_STEP = 18.0  # grey levels between the ground with and without it
_WITH_STRIKE_S = 0.1
_BY_THE_HEAD = 0.09  # statures from the club head
_BRIGHT = 45.0  # above its surroundings, where no picture without it exists


@dataclass(frozen=True, eq=False)  # one spot is itself: its arrays cannot be compared as a whole
class Spot:
    """A round thing on the ground in working pixels.

    `inside` is a mask over `box` (left, top, right, bottom); `with_it` and `without_it`
    are its mean grey before the strike and after (NaN where never seen gone).
    """

    centre: Array
    box: tuple[int, int, int, int]
    inside: NDArray[np.bool_]
    with_it: float
    without_it: float
    score: float


def find_spots(before: Grey, after: Grey | None, allowed: Grey, *, stature: float) -> list[Spot]:
    """Round things that may be the ball, best first.

    Parameters
    ----------
    before : ndarray of uint8, shape (H, W)
        Median of backswing frames.
    after : ndarray of uint8, shape (H, W), optional
        Median of frames after the strike.
    allowed : ndarray of uint8, shape (H, W)
        Non-zero where a ball can lie: the ground by the feet, without them.
    stature : float
        Standing height in these pixels.
    """
    gone = [] if after is None else _blobs(_change(before, after), before, after, allowed, stature)
    if gone:
        return gone[:4]
    size = max(round(3 * DIAMETER * stature) | 1, 5)
    ground = cv2.medianBlur(before, size)
    bright = before.astype(np.float32) - ground
    return _blobs(np.where(bright > _BRIGHT, bright, 0), before, None, allowed, stature)[:4]


def _change(before: Grey, after: Grey) -> NDArray[np.float32]:
    """What was there before, with a slow change of light taken out."""
    change = before.astype(np.float32) - after
    change -= np.median(change)
    return np.abs(cv2.GaussianBlur(change, (0, 0), 0.8))


def _blobs(
    strength: NDArray[np.float32], before: Grey, after: Grey | None, allowed: Grey, stature: float
) -> list[Spot]:
    mask = ((strength > _STEP) & (allowed > 0)).astype(np.uint8)
    n, label, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    area = np.pi / 4 * (DIAMETER * stature) ** 2
    spots = []
    for k in range(1, n):
        x, y, w, h, size = (int(v) for v in stats[k])
        fill = size / (w * h)
        # nearer to the camera than the feet it looks larger; small ones lose their rim
        if not 0.15 * area < size < 3.0 * area or max(w, h) > 1.8 * min(w, h) + 1 or fill < 0.5:
            continue
        inside = label[y : y + h, x : x + w] == k
        weight = strength[y : y + h, x : x + w] * inside
        grid_y, grid_x = np.mgrid[y : y + h, x : x + w]
        centre = np.array([np.sum(grid_x * weight), np.sum(grid_y * weight)]) / weight.sum()
        spots.append(
            Spot(
                centre=centre,
                box=(x, y, x + w, y + h),
                inside=inside,
                with_it=float(before[y : y + h, x : x + w][inside].mean()),
                without_it=float("nan")
                if after is None
                else float(after[y : y + h, x : x + w][inside].mean()),
                score=float(weight.sum() / inside.sum()) * fill * min(size / (0.6 * area), 1.0),
            )
        )
    return sorted(spots, key=lambda s: -s.score)


def could_be(
    spot: Spot, left_s: float, strike_s: float | None, head: Array, *, stature: float
) -> bool:
    """Whether a spot may be the ball: by the club head at address, or gone with the strike.

    A shadow or a heel some way off leaves a round change as well, but not at that time.
    """
    away = float(np.hypot(*(spot.centre - head)))
    if not away > _BY_THE_HEAD * stature or not np.isfinite(spot.without_it):
        return True
    return strike_s is not None and abs(left_s - strike_s) < _WITH_STRIKE_S


def nearest(spots: list[Spot], head: Array, *, stature: float) -> Spot | None:
    """The spot that the club head could have stood behind, if any.

    Parameters
    ----------
    head : ndarray, shape (2,)
        Far end of the shaft at address; NaN when it was not seen: then the best spot.
    """
    if not spots:
        return None
    if not np.isfinite(head).all():
        return spots[0] if np.isfinite(spots[0].without_it) else None

    def merit(spot: Spot) -> float:
        away = np.hypot(*(spot.centre - head)) / stature
        return spot.score * float(np.exp(-((away / 0.07) ** 2)))

    best = max(spots, key=merit)
    reach = 0.16 if np.isfinite(best.without_it) else _BY_THE_HEAD
    return best if np.hypot(*(best.centre - head)) < reach * stature else None


def struck(spots: list[Spot], left_s: list[float], strike_s: float | None) -> Spot | None:
    """The best spot that leaves with the strike, wherever the club points at address.

    Parameters
    ----------
    left_s : list of float
        When each spot has gone for good, as in `left_at_s`.
    strike_s : float, optional
        When the hands are low; only what leaves at that time counts.
    """
    if strike_s is None:
        return None
    gone = [
        spot
        for spot, when in zip(spots, left_s, strict=True)
        if np.isfinite(when) and abs(when - strike_s) < _WITH_STRIKE_S
    ]
    return max(gone, key=lambda spot: spot.score, default=None)


def left_at_s(time_s: Array, level: Array, spot: Spot, *, around_s: float) -> float:
    """First time from which the ball is gone for good.

    Parameters
    ----------
    time_s, level : ndarray, shape (T,)
        Mean grey inside the spot, frame by frame; NaN where not looked at.
    around_s : float
        Where the strike is expected; a passing head hides the ball for a frame.
    """
    seen = np.isfinite(level)
    if seen.sum() < 3 or not np.isfinite(spot.without_it):
        return float("nan")
    t = time_s[seen]
    there = (level[seen] - spot.without_it) / (spot.with_it - spot.without_it) > 0.5
    if not there.any() or there[-1]:
        return float("nan")
    last = int(np.flatnonzero(there)[-1])
    when = float(t[last + 1])
    return when if abs(when - around_s) < 0.4 else float("nan")
