"""A film that is read again and again: grey frames, decoded anew, their camera held still."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.backdrop import held_still
from analysis.core.pose import PoseSequence
from analysis.video import Frame, VideoInfo, frames

SHORT_SIDE = 1080


class Reel:
    """The frames of a pose in its own pixels, decoded each time they are iterated."""

    def __init__(
        self, path: Path | str, info: VideoInfo, pose: PoseSequence, *, mirrored: bool
    ) -> None:
        self._path, self._info, self._pose, self._mirrored = path, info, pose, mirrored

    def __len__(self) -> int:
        return len(self._pose)

    def __iter__(self) -> Iterator[Frame]:
        return self.only(self._pose.frame.tolist())

    def only(self, wanted: Collection[int]) -> Iterator[Frame]:
        """Some of the frames; the rest are not made into pictures."""
        steady = self._pose.steady
        row_of = {int(index): i for i, index in enumerate(self._pose.frame)}
        for frame in frames(
            self._path,
            self._info,
            wanted=np.array(sorted(wanted), np.int64),
            short_side=SHORT_SIDE,
            grey=True,
            mirrored=self._mirrored,
        ):
            if steady is None:
                yield frame
            else:
                yield replace(frame, image=held_still(frame.image, steady[row_of[frame.index]]))


def picked(pictures: Iterable[Frame], wanted: Collection[int]) -> Iterator[Frame]:
    """The wanted ones of any frames; a reel makes no others."""
    if isinstance(pictures, Reel):
        return pictures.only(wanted)
    return (frame for frame in pictures if frame.index in wanted)
