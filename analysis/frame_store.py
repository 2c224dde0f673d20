"""A film that is read again and again: grey frames, their camera held still.

They are decoded once, together with the pictures for the pose network, and wait in a file
without a name; what does not fit is decoded anew.
"""

from __future__ import annotations

import tempfile
from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.backdrop import held_still
from analysis.core.pose import PoseSequence
from analysis.video import Frame, VideoInfo, frames

SHORT_SIDE = 1080
MOST_BYTES = 1_500_000_000


class FrameStore:
    """Grey frames on disk, by index; gone when it is closed.

    Parameters
    ----------
    folder : Path, optional
        On whose disk; else that of the system's temporary files.
    """

    def __init__(self, folder: Path | None = None, *, most_bytes: int = MOST_BYTES) -> None:
        self._file = tempfile.TemporaryFile(dir=folder, buffering=0)  # noqa: SIM115
        self._most, self._size = most_bytes, 0
        self._frames: dict[int, tuple[int, float, tuple[int, ...]]] = {}

    def __enter__(self) -> FrameStore:
        return self

    def __exit__(self, *exc: object) -> None:
        self._file.close()

    def __contains__(self, index: int) -> bool:
        return index in self._frames

    def keep(self, frame: Frame) -> None:
        """Keep a frame that is not kept yet, where there is room."""
        if frame.index in self._frames or self._size + frame.image.nbytes > self._most:
            return
        try:
            self._file.seek(self._size)
            if self._file.write(frame.image.data) != frame.image.nbytes:
                return
        except OSError:  # a full disk costs time, not the figures
            self._most = self._size
            return
        self._frames[frame.index] = self._size, frame.time_s, frame.image.shape
        self._size += frame.image.nbytes

    def get(self, index: int) -> Frame:
        """A kept frame. Raises KeyError for one that is not."""
        start, time_s, shape = self._frames[index]
        image = np.empty(shape, np.uint8)
        self._file.seek(start)
        self._file.readinto(image.data)
        return Frame(index, time_s, image)


class Reel:
    """The frames of a pose in its own pixels, each time they are iterated.

    From the store where all of them are kept, else decoded anew.
    """

    def __init__(
        self,
        path: Path | str,
        info: VideoInfo,
        pose: PoseSequence,
        *,
        mirrored: bool,
        store: FrameStore | None = None,
    ) -> None:
        self._path, self._info, self._pose, self._mirrored = path, info, pose, mirrored
        self._store = store

    def __len__(self) -> int:
        return len(self._pose)

    def __iter__(self) -> Iterator[Frame]:
        return self.only(self._pose.frame.tolist())

    def only(self, wanted: Collection[int]) -> Iterator[Frame]:
        """Some of the frames; the rest are not made into pictures."""
        steady = self._pose.steady
        row_of = {int(index): i for i, index in enumerate(self._pose.frame)}
        for frame in self._grey(sorted({int(index) for index in wanted})):
            if steady is None:
                yield frame
            else:
                yield replace(frame, image=held_still(frame.image, steady[row_of[frame.index]]))

    def _grey(self, wanted: list[int]) -> Iterator[Frame]:
        store = self._store
        if store is not None and all(index in store for index in wanted):
            for frame in map(store.get, wanted):
                image = frame.image[:, ::-1] if self._mirrored else frame.image
                yield replace(frame, image=np.ascontiguousarray(image))
            return
        yield from frames(
            self._path,
            self._info,
            wanted=np.array(wanted, np.int64),
            short_side=SHORT_SIDE,
            grey=True,
            mirrored=self._mirrored,
        )


def picked(pictures: Iterable[Frame], wanted: Collection[int]) -> Iterator[Frame]:
    """The wanted ones of any frames; a reel makes no others."""
    if isinstance(pictures, Reel):
        return pictures.only(wanted)
    return (frame for frame in pictures if frame.index in wanted)
