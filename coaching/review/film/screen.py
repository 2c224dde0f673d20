"""A clip through the coach's window: the part that was looked at, with everything drawn on it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from analysis.frame_reader import FrameReader
from coaching.review.film.figures import figure_strokes
from coaching.review.film.geometry import Pair, Point, View, clamp_view, fit_of
from coaching.review.film.painting import Image, paint
from coaching.review.film.strokes import (
    VIEWS,
    Data,
    Strokes,
    event_frame,
    mark_strokes,
    named_point,
    overlay,
    strength,
)

AROUND = (18, 26, 25)  # what a window shows beside the picture


@dataclass(frozen=True)
class Clip:
    """A clip of the walk-through: our copy, what `player_data` says of it, its drawings."""

    path: Path
    data: Data
    marks: Sequence[Mapping[str, Any]] = ()


@dataclass(frozen=True)
class Shown:
    """What is to be seen of a clip; equal ones give equal pictures."""

    frame: int
    view: View
    size: tuple[int, int]  # of the window, pixels
    bright: float = 1.0
    repetition: int = 0
    overlays: frozenset[str] = frozenset()
    marks: frozenset[str] = frozenset()
    figure: str = ""  # looked up by its text form, so that this stays hashable
    mirrored: bool = False


class Screen:
    """Draws one clip; holds its file open."""

    def __init__(self, clip: Clip, reader: FrameReader, *, by_eye: str) -> None:
        self.data, self.marks = clip.data, clip.marks
        self._reader, self._by_eye = reader, by_eye
        self.times = np.asarray(clip.data["frame_times_s"], float)
        self.aspect = reader.info.width / reader.info.height

    def fit(self, size: tuple[int, int]) -> Pair:
        return fit_of(self.aspect, size[0] / size[1])

    def draw(self, shown: Shown, figure: Mapping[str, Any] | None) -> Image:
        """The window's picture, shape (height, width, 3) RGB."""
        width, height = shown.size
        fit = self.fit(shown.size)
        view = clamp_view(shown.view, fit)
        image = self._picture(shown.frame, view, fit, shown.size)
        if shown.bright != 1.0:
            image = cv2.convertScaleAbs(image, alpha=shown.bright)

        def to_px(point: Point) -> tuple[float, float]:
            return (
                (point[0] * view.scale * fit[0] + view.x) * width,
                (point[1] * view.scale * fit[1] + view.y) * height,
            )

        for strokes in self._strokes(shown, figure):
            if shown.mirrored:  # read the wrong way round, text is no help
                strokes = Strokes(**{**strokes.__dict__, "label": None})
            paint(image, strokes, to_px)
        return np.ascontiguousarray(image[:, ::-1]) if shown.mirrored else image

    def _picture(self, frame: int, view: View, fit: Pair, size: tuple[int, int]) -> Image:
        picture = self._reader.at(frame)
        across = view.scale * fit[0] * size[0] / picture.shape[1]
        down = view.scale * fit[1] * size[1] / picture.shape[0]
        moved = np.array([[across, 0, view.x * size[0]], [0, down, view.y * size[1]]])
        return cv2.warpAffine(
            picture, moved, size, flags=cv2.INTER_LINEAR, borderValue=AROUND
        )  # fmt: skip

    def _strokes(self, shown: Shown, figure: Mapping[str, Any] | None) -> Iterable[Strokes]:
        where = {"frame": shown.frame, "repetition": shown.repetition}
        if figure is not None:
            yield figure_strokes(self.data, figure, aspect=self.aspect, **where)
        for name in VIEWS:  # in their order, as in the room
            if name in shown.overlays:
                yield overlay(name, self.data, **where)
        time_s = float(self.times[min(shown.frame, len(self.times) - 1)])
        for mark in self.marks:
            strong = strength(mark, time_s) if mark["key"] in shown.marks else 0.0
            if strong:
                yield mark_strokes(mark, self.aspect, by_eye=self._by_eye, faint=strong < 1)

    def standing(self, repetition: int) -> Point | None:
        """Between the heels at address, 0..1 of the picture; None where it is not known."""
        start = event_frame(self.data, repetition, "address")
        if start is None or not self.data["stature_share"]:
            return None
        return named_point(self.data, "mid_heel", start)


def matched(now: Screen, view: View, then: Screen, size: tuple[int, int], rep: int) -> View:
    """The view that shows the golfer of `then` as large, and standing where `now` stands."""
    here, there = now.standing(rep), then.standing(0)
    if here is None or there is None:
        return clamp_view(View(1.0, 0.0, 0.0), then.fit(size))
    fit, other = now.fit(size), then.fit(size)
    scale = view.scale * fit[1] * now.data["stature_share"]["y"]
    scale /= other[1] * then.data["stature_share"]["y"]
    x = here[0] * view.scale * fit[0] + view.x - there[0] * scale * other[0]
    y = here[1] * view.scale * fit[1] + view.y - there[1] * scale * other[1]
    return clamp_view(View(scale, x, y), other)
