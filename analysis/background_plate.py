"""The working picture of one repetition: its crop, and the scene without the golfer.

The *plate* is the median of frames in which he stands differently. Everything is cropped
to his reach and shrunk until a shaft is about three pixels wide, which costs no accuracy
and makes the time independent of the clip's resolution.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.ball import Spot, find_spots
from analysis.core.pose import LANDMARK, Array, Capture, Moment, PoseSequence
from analysis.frame_store import picked
from analysis.video import Frame

Grey = NDArray[np.uint8]

REACH = 0.78  # statures from the hands to the far end of any club
# A shaft is about 1 cm thick: at this stature it is three pixels wide.
_WORKING_STATURE_PX = 540.0
_PLATE_FRAMES = 13
_BALL_PLATES = 5


@dataclass(frozen=True)
class Scene:
    """Working crop of one repetition: where it lies in the picture, and its plates."""

    left: int
    top: int
    right: int
    bottom: int
    scale: float
    stature: float  # working pixels
    plate: Grey | None = None
    spots: tuple[Spot, ...] = ()

    def cut(self, image: NDArray[np.uint8]) -> Grey:
        part = image[self.top : self.bottom, self.left : self.right]
        grey = part if part.ndim == 2 else cv2.cvtColor(part, cv2.COLOR_RGB2GRAY)
        if self.scale < 1:
            size = (
                max(round(grey.shape[1] * self.scale), 8),
                max(round(grey.shape[0] * self.scale), 8),
            )
            grey = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
        return np.ascontiguousarray(grey)

    def to_working(self, xy_px: Array) -> Array:
        return (xy_px - (self.left, self.top)) * self.scale

    def to_picture(self, xy: Array) -> Array:
        return xy / self.scale + (self.left, self.top)


def _plate_rows(pose: PoseSequence, hands: Array, tall: float) -> NDArray[np.int64]:
    """Rows far apart in pose: each next one is the furthest from those taken."""
    posture = np.concatenate(
        [hands[:, None] * 2, pose.xy_px[:, [LANDMARK["elbow_left"], LANDMARK["nose"]]]], axis=1
    ).reshape(len(pose), -1)
    rows = np.flatnonzero(np.isfinite(posture).all(axis=1))
    x = posture[rows] / tall
    taken = [0]
    distance = np.linalg.norm(x - x[0], axis=1)
    while len(taken) < min(_PLATE_FRAMES, len(rows)):
        k = int(np.argmax(distance))
        taken.append(k)
        distance = np.minimum(distance, np.linalg.norm(x - x[k], axis=1))
    return np.sort(rows[taken])


def _crop(pose: PoseSequence, hands: Array, tall: float) -> Scene:
    width, height = pose.size_px
    reach = REACH * tall
    low, high = np.nanmin(hands, axis=0) - reach, np.nanmax(hands, axis=0) + reach
    scale = min(1.0, _WORKING_STATURE_PX / tall)
    return Scene(
        left=int(max(low[0], 0)),
        top=int(max(low[1], 0)),
        right=int(min(high[0], width)),
        bottom=int(min(high[1], height)),
        scale=scale,
        stature=tall * scale,
    )


def scene_of(frames: Iterable[Frame], pose: PoseSequence, hands: Array, tall: float) -> Scene:
    """Crop and plate alone, by one pass over the frames."""
    scene = _crop(pose, hands, tall)
    wanted = {int(pose.frame[i]) for i in _plate_rows(pose, hands, tall)}
    cut = [scene.cut(f.image) for f in picked(frames, wanted)]
    return replace(scene, plate=_median(cut)) if len(cut) >= 3 else scene


def scene_with_ball(
    frames: Iterable[Frame],
    pose: PoseSequence,
    hands: Array,
    tall: float,
    rough: dict[str, Moment],
    capture: Capture,
) -> Scene:
    """One pass over the frames: the crop, the plate, and what may be the ball."""
    scene = _crop(pose, hands, tall)
    plate = _plate_rows(pose, hands, tall)
    before, after = _ball_rows(pose, rough)
    wanted = {int(pose.frame[i]) for i in (*plate, *before, *after)}
    cut = {f.index: scene.cut(f.image) for f in picked(frames, wanted)}

    def median(rows: NDArray[np.int64], least: int) -> Grey | None:
        pictures = [cut[int(pose.frame[i])] for i in rows if int(pose.frame[i]) in cut]
        return _median(pictures) if len(pictures) >= least else None

    scene = replace(scene, plate=median(plate, 3))
    standing = median(before, 1)
    if standing is None:
        return scene
    ground = _ground(scene, pose, before, capture.view, standing.shape)
    spots = find_spots(standing, median(after, 3), ground, stature=scene.stature)
    return replace(scene, spots=tuple(spots))


def _ball_rows(
    pose: PoseSequence, rough: dict[str, Moment]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows in which the ball lies open, and rows in which it has left."""
    none = np.empty(0, np.int64)
    address, top, impact = (rough.get(e, Moment(None)).time_s for e in ("address", "top", "impact"))
    if top is None:
        return _spread(np.arange(len(pose))), none
    start = address if address is not None and address < top else top - 0.5
    before = _spread(
        np.flatnonzero((pose.time_s > start + 0.5 * (top - start)) & (pose.time_s <= top))
    )
    if impact is None:
        return before, none
    settled = impact + 0.35 * (impact - top) + 0.1
    return before, _spread(np.flatnonzero(pose.time_s > settled))


def _spread(rows: NDArray[np.int64]) -> NDArray[np.int64]:
    if len(rows) <= _BALL_PLATES:
        return rows
    return np.asarray(rows[np.linspace(0, len(rows) - 1, _BALL_PLATES).astype(int)])


def _ground(
    scene: Scene, pose: PoseSequence, rows: NDArray[np.int64], view: str, shape: tuple[int, ...]
) -> Grey:
    """Where a ball can lie: in front of the feet (down-the-line), beyond them (face-on)."""
    xy = scene.to_working(np.nanmedian(pose.xy_px[rows], axis=0))
    feet = xy[[LANDMARK[n] for n in ("heel_left", "heel_right", "toe_left", "toe_right")]]
    mask = np.zeros(shape[:2], np.uint8)
    if not np.isfinite(feet).all():
        return mask
    s = scene.stature
    (x0, y0), (x1, y1) = feet.min(axis=0), feet.max(axis=0)
    left, right = (x1, x1 + 0.75 * s) if view == "down_the_line" else (x0 - 0.3 * s, x1 + 0.3 * s)
    top, bottom = (y0 - 0.12 * s, y1 + 0.2 * s) if view == "down_the_line" else (y0, y1 + 0.35 * s)
    cv2.rectangle(mask, (int(left), int(top)), (int(right), int(bottom)), 1, -1)
    for side in ("left", "right"):
        heel, toe = (
            tuple(np.round(xy[LANDMARK[f"{part}_{side}"]]).astype(int).tolist())
            for part in ("heel", "toe")
        )
        cv2.line(mask, heel, toe, 0, max(2 * round(0.032 * s), 1))
    return mask


def _median(pictures: list[Grey]) -> Grey:
    """Median picture by an exchange sort of whole images: exact, and fast on bytes."""
    stack: list[NDArray[Any]] = list(pictures)
    if len(stack) % 2 == 0:
        stack = stack[:-1]
    for turn in range(len(stack)):
        for i in range(turn % 2, len(stack) - 1, 2):
            a, b = stack[i], stack[i + 1]
            stack[i], stack[i + 1] = np.asarray(cv2.min(a, b)), np.asarray(cv2.max(a, b))
    return stack[len(stack) // 2]
