"""How the camera moved: corners of the scene behind the golfer, followed by optical flow."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.core.pose import Array
from analysis.core.steady import STILL

Grey = NDArray[np.uint8]

_CORNERS, _APART = 160, 0.015  # apart as a share of the picture's width
_FLOW = {
    "winSize": (21, 21),
    "maxLevel": 3,
    "criteria": (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 20, 0.03),
}
_AGREE_PX = 0.8  # a corner nearer than this to where the camera's motion puts it agrees
_LEAST, _SHARE = 12, 0.5  # corners that agree, and their share of those found again


class Backdrop:
    """One picture of the scene, in which all others find their place.

    Parameters
    ----------
    grey : ndarray of uint8, shape (H, W)
    golfer : ndarray, shape (N, 2)
        Where the golfer is over the film, in its pixels: nothing there counts.
    """

    def __init__(self, grey: Grey, golfer: Array) -> None:
        self._grey = grey
        height, width = grey.shape
        mask = np.full((height, width), 255, np.uint8)
        if len(golfer):
            low, high = np.percentile(golfer, 1, axis=0), np.percentile(golfer, 99, axis=0)
            margin = 0.06 * (high[1] - low[1])
            corners = (tuple((low - margin).astype(int)), tuple((high + margin).astype(int)))
            cv2.rectangle(mask, *corners, 0, -1)
        found = cv2.goodFeaturesToTrack(grey, _CORNERS, 0.01, max(_APART * width, 3), mask=mask)
        self._corners = np.empty((0, 1, 2), np.float32) if found is None else found
        self._guess = STILL

    @property
    def size_px(self) -> tuple[int, int]:
        return self._grey.shape[1], self._grey.shape[0]

    def rest(self) -> None:
        """Start a new run of pictures, the first of them near this one."""
        self._guess = STILL

    def place(self, grey: Grey) -> Array:
        """The transform from a picture of the same size to this one, shape (2, 3).

        NaN where too few corners are found again. Pictures come in the film's order: each
        is looked for near the one before.
        """
        if len(self._corners) < _LEAST:
            return np.full((2, 3), np.nan)
        start = cv2.transform(self._corners, self._guess).astype(np.float32)
        there, status, _ = cv2.calcOpticalFlowPyrLK(
            self._grey, grey, self._corners, start, flags=cv2.OPTFLOW_USE_INITIAL_FLOW, **_FLOW
        )
        kept = status[:, 0] == 1
        if kept.sum() < _LEAST:
            return np.full((2, 3), np.nan)
        here, there = self._corners[kept], there[kept]
        back, agree = cv2.estimateAffinePartial2D(
            there, here, method=cv2.RANSAC, ransacReprojThreshold=_AGREE_PX
        )
        if back is None or agree.sum() < max(_LEAST, _SHARE * kept.sum()):
            return np.full((2, 3), np.nan)
        self._guess = cv2.invertAffineTransform(back)
        return np.asarray(back, float)

    def place_of_photo(self, image: NDArray[np.uint8]) -> Array:
        """The same from an RGB picture of any size."""
        small = cv2.resize(image, self.size_px, interpolation=cv2.INTER_AREA)
        return self.place(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY))


def held_still(image: NDArray[np.uint8], transform: Array) -> NDArray[np.uint8]:
    """A picture as the camera would have seen it from where it saw the common one.

    Beyond its own edge it goes on mirrored: no edge that could pass for a line.
    """
    size = image.shape[1], image.shape[0]
    return np.asarray(
        cv2.warpAffine(image, transform, size, borderMode=cv2.BORDER_REFLECT_101), np.uint8
    )
