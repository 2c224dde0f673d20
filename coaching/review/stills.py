"""Pictures cut from a clip: one moment of it, whole or cropped to the golfer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from analysis.core.measures import nearest_frame
from analysis.cropping import Crop
from analysis.errors import AnalysisError
from analysis.files import local_path
from analysis.models import Video
from coaching import numbers
from coaching.review import clip_cache
from coaching.review.queries import curves as archives

# Cropped to the golfer, three wide to four high: (width, height) in pixels.
SIZES = {"thumb": (132, 176), "half": (270, 360), "card": (520, 416), "still": (480, 640)}
# The moment that says most of a clip, in this order.
TELLING = ("top", "address", "impact")
Box = tuple[float, float, float, float]
_ROUND = 0.22  # of the golfer's height is kept above and below him


def moment(video: Video, asked: Mapping[str, str]) -> float | None:
    """Seconds of `time`, or of `event` in repetition `rep`; None for a moment there is not.

    Raises
    ------
    ValueError
        When what should be a number is none.
    """
    if "time" in asked:
        return min(max(numbers.real(asked["time"]), 0.0), video.duration_s or 0.0)
    times = _event_times(video, numbers.whole(asked.get("rep", "0"), high=1000))
    return times.get(asked.get("event", ""))


def telling_moment(video: Video) -> float:
    """The top of the first swing, else its address, else the middle of the clip."""
    times = _event_times(video, 0)
    return next((times[e] for e in TELLING if e in times), (video.duration_s or 0.0) / 2)


def _event_times(video: Video, rep: int) -> dict[str, float]:
    run = video.measured()
    rows = run.events.all() if run else ()
    return {r.event: r.time_s for r in rows if r.repetition == rep and r.time_s is not None}


def cut(video: Video, time_s: float, size: str = "") -> bytes | None:
    """A JPEG of the moment, kept for an hour; None when the clip cannot be read.

    Parameters
    ----------
    size : str
        A key of `SIZES` crops it to the golfer; nothing gives the whole picture.
    """
    what = f"still-{video.copy.name}-{time_s:.4f}-{size}"
    picture: bytes | None = clip_cache.get(video.pk, what)
    if picture is None:
        picture = _cut(video, time_s, size)
        if picture is not None:
            clip_cache.keep(video.pk, what, picture)
    return picture


def _cut(video: Video, time_s: float, size: str) -> bytes | None:
    from analysis import video as films  # PyAV loads only where a picture is cut

    crop = None
    if size:
        crop = crop_of(video, time_s, size)
    try:
        with local_path(video.copy) as path:
            return films.still(path, time_s, crop=crop)
    except AnalysisError:
        return None


def crop_of(video: Video, time_s: float, size: str) -> Crop:
    """The part of the picture that a still of this size shows."""
    return Crop(golfer_box(video, time_s) or (0.0, 0.0, 1.0, 1.0), *SIZES[size])


def part_of(video: Video, event: str, rep: int, size: str) -> tuple[float, float, float, float]:
    """What a still of an event shows, in 0..1 of the whole picture: left, top, right, bottom.

    The whole picture where the event is not known, or its size is not.
    """
    time_s = _event_times(video, rep).get(event)
    if time_s is None or not (video.height and video.width):
        return (0.0, 0.0, 1.0, 1.0)
    return crop_of(video, time_s, size).shares(video.height, video.width)


def golfer_box(video: Video, time_s: float) -> Box | None:
    """Where the golfer stands then: left, top, right, bottom in 0..1 of the picture as filmed.

    None when nobody was measured.
    """
    frames, boxes = _boxes(video)
    if not frames:
        return None
    frame = nearest_frame(video.frame_times_s, time_s)
    return boxes[int(np.argmin(np.abs(np.array(frames) - frame)))]


def _boxes(video: Video) -> tuple[list[int], list[Box | None]]:
    """Frames and the golfer's box in each, kept for an hour: a still loads no archive.

    A run's archive never changes.
    """
    run = video.measured()
    if run is None:
        return [], []
    what = f"boxes-{run.pk}-{run.artifact.name}"
    known: tuple[list[int], list[Box | None]] | None = clip_cache.get(video.pk, what)
    if known is None:
        held = archives.archive(run)
        if held is None:  # it may be away only now
            return [], []
        curves = archives.curves(held)
        series: list[list[Any]] = list(curves["joints"].values())
        rows = range(len(curves["frames"]))
        known = curves["frames"], [_box(video, [curve[i] for curve in series]) for i in rows]
        clip_cache.keep(video.pk, what, known)
    return known


def _box(video: Video, points: Sequence[Any]) -> Box | None:
    """Around the points that were seen, with room for the club and the feet."""
    seen = np.array([point for point in points if point], float)
    if not len(seen):
        return None
    low, high = np.quantile(seen, 0.004, axis=0), np.quantile(seen, 0.996, axis=0)
    room = _ROUND * (high[1] - low[1])
    wide = room * (video.height or 1) / (video.width or 1)
    edges = (low[0] - wide, low[1] - room, high[0] + wide, high[1] + room / 2)
    left, top, right, bottom = (round(min(max(float(edge), 0.0), 1.0), 4) for edge in edges)
    return left, top, right, bottom
