"""Any frame of a clip by its number: quick in order, exact after a jump. One picture is held."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from analysis import video
from analysis.errors import UnreadableVideo

AHEAD = 30  # so many frames are decoded on the way rather than looked for anew


class FrameReader:
    """Pictures of one of our own copies, upright; use it in a `with` block.

    Raises
    ------
    MediaMissing, UnreadableVideo, VideoTooShort, VideoTooLong
        When it is opened.
    """

    def __init__(self, path: Path | str) -> None:
        self.info = video.probe(path)
        self._stack = ExitStack()
        self._container, self._stream = self._stack.enter_context(video._opened(path))
        self._size = video.working_size(self.info, None)
        self._pictures: Iterator[Any] = video._decoded(self._container, self._stream)
        self._decoded = -1  # index of the newest picture that came out
        self._shown: tuple[int, video.Image] | None = None

    def __enter__(self) -> FrameReader:
        return self

    def __exit__(self, *error: object) -> None:
        self._stack.close()

    def at(self, index: int) -> video.Image:
        """The picture of frame `index`, shape (H, W, 3) RGB; the nearest there is at the end.

        A damaged frame is stood for by the next one.

        Raises
        ------
        UnreadableVideo
            When nothing can be decoded there.
        """
        index = min(max(index, 0), self.info.frames - 1)
        if self._shown is not None and self._shown[0] == index:
            return self._shown[1]
        if not self._decoded < index <= self._decoded + AHEAD:
            self._seek(index)
        found = None
        for picture in self._pictures:
            self._decoded = video._index(picture, self.info, self._decoded + 1)
            found = picture
            if self._decoded >= index:
                break
        if found is None and self._shown is None:
            raise UnreadableVideo(f"no picture at frame {index}")
        if found is not None:
            image = video._upright(
                found, self._size, self.info.rotation, grey=False, mirrored=False
            )
            self._shown = (index, image)
        assert self._shown is not None
        return self._shown[1]

    def _seek(self, index: int) -> None:
        key = int(self.info.keys[self.info.keys <= index].max(initial=0))
        self._container.seek(int(self.info.pts[key]), stream=self._stream, backward=True)
        self._pictures = video._decoded(self._container, self._stream)
        self._decoded = key - 1
