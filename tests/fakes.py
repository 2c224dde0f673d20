"""Stands in for the pose network where a test is not about the network."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Self

import numpy as np

from analysis.core.pose import LANDMARKS
from analysis.estimators import Person
from analysis.survey import PART
from analysis.video import Frame

# Where each landmark of somebody standing upright is, as a share of the picture.
_HEIGHTS = {
    "shoulder": 0.30, "elbow": 0.42, "wrist": 0.52, "pinky": 0.54, "index": 0.55, "thumb": 0.54,
    "hip": 0.52, "knee": 0.70, "ankle": 0.86, "heel": 0.88, "toe": 0.88,
}  # fmt: skip


class NetlessEstimator:
    """An estimator without a network: `people_in` says who is in a frame, tallest first."""

    version = "fake"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        pass

    def estimate(
        self, frames: Iterable[Frame], *, quick: bool
    ) -> Iterator[tuple[Frame, list[Person]]]:
        for frame in frames:
            # a part of a picture, beside the golfer, is empty
            yield frame, [] if frame.index == PART else self.people_in(frame, quick=quick)

    def people_in(self, frame: Frame, *, quick: bool) -> list[Person]:
        raise NotImplementedError


class FakeEstimator(NetlessEstimator):
    """Finds the same still person in every frame; `people` changes how many."""

    people = 1

    def __init__(self, *, models_dir: Path | None = None) -> None:
        self.models_dir = models_dir

    def people_in(self, frame: Frame, *, quick: bool) -> list[Person]:
        return [self._person(frame)] * self.people

    def _person(self, frame: Frame) -> Person:
        height, width = frame.image.shape[:2]
        share = np.array(
            [
                (0.46 if name.endswith("left") else 0.54, _HEIGHTS.get(name.split("_")[0], 0.15))
                for name in LANDMARKS
            ]
        )
        count = len(LANDMARKS)
        return Person(
            xy_px=share * (width, height),
            depth_px=np.zeros(count),
            confidence=np.full(count, 0.95),
            world_m=np.zeros((count, 3)),
        )
