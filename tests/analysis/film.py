"""Clips made for tests: encoded as a phone, a chat or a browser would, or damaged."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]
TICKS = Fraction(1, 90_000)


def pictures(path: Path) -> Iterator[tuple[float, Image]]:
    """Times and RGB pictures of a clip as stored, rotation not applied."""
    with av.open(str(path)) as source:
        start = None
        for frame in source.decode(video=0):
            start = frame.time if start is None else start
            yield frame.time - start, frame.to_ndarray(format="rgb24")


def encode(
    path: Path,
    rows: Iterable[tuple[float, Image]],
    *,
    codec: str = "libx264",
    pix_fmt: str = "yuv420p",
    rotation: int = 0,
    gop: int = 60,
    crf: int = 20,
    metadata: dict[str, str] | None = None,
    start_s: float = 0.0,
) -> Path:
    """Write pictures at their times; `rotation` is the clockwise turn of the tag."""
    with av.open(str(path), "w") as out:
        out.metadata.update(metadata or {})
        stream = None
        for time_s, image in rows:
            if stream is None:
                stream = out.add_stream(codec, rate=60)
                stream.height, stream.width = image.shape[:2]
                stream.pix_fmt = pix_fmt
                stream.codec_context.time_base = TICKS
                stream.codec_context.gop_size = gop
                fast = {"deadline": "realtime", "cpu-used": "8"} if "vp" in codec else {}
                x265 = {"x265-params": "log-level=none"} if codec == "libx265" else {}
                preset = {} if "vp" in codec else {"preset": "ultrafast"}
                stream.codec_context.options = {"crf": str(crf), **fast, **x265, **preset}
                if rotation:
                    stream.set_display_rotation(-rotation)
            picture = av.VideoFrame.from_ndarray(np.ascontiguousarray(image), format="rgb24")
            picture.pts, picture.time_base = round((time_s + start_s) / TICKS), TICKS
            out.mux(stream.encode(picture))
        out.mux(stream.encode(None))
    return path


def changed(
    src: Path, dst: Path, change: Callable[[Image], Image] = lambda image: image, **options: object
) -> Path:
    """The same clip with each picture changed."""
    return encode(dst, ((t, change(image)) for t, image in pictures(src)), **options)  # type: ignore[arg-type]


def turned(image: Image, clockwise: int) -> Image:
    turn = {90: cv2.ROTATE_90_CLOCKWISE, 180: cv2.ROTATE_180, 270: cv2.ROTATE_90_COUNTERCLOCKWISE}
    return image if clockwise == 0 else cv2.rotate(image, turn[clockwise])


def scaled(image: Image, factor: float) -> Image:
    height, width = image.shape[:2]
    size = (2 * round(width * factor / 2), 2 * round(height * factor / 2))
    return cv2.resize(image, size, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC)


def sound_only(path: Path) -> Path:
    """A file with a tone and no picture."""
    with av.open(str(path), "w") as out:
        stream = out.add_stream("aac", rate=44_100)
        tone = np.sin(np.arange(44_100) / 44_100 * 2 * np.pi * 440).astype(np.float32)
        for k in range(0, 44_100 - 1024, 1024):
            frame = av.AudioFrame.from_ndarray(
                tone[None, k : k + 1024], format="fltp", layout="mono"
            )
            frame.sample_rate, frame.pts = 44_100, k
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path
