"""Video files in and out: what a clip holds, its frames in time, and our own copy.

PyAV carries FFmpeg, so every frame comes with its own presentation time. All times
here are seconds with 0 = the first displayed frame; all pictures are upright (the
rotation tag is applied) with 8 bits a channel.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
from av.video.reformatter import Colorspace
from numpy.typing import NDArray

from analysis.cropping import Crop
from analysis.errors import MediaMissing, UnreadableVideo, VideoTooLong, VideoTooShort

MAX_DURATION_S = 180.0
# A small file can announce pictures that no memory holds, or more of them than any camera takes.
MAX_PIXELS = 40_000_000
MAX_SIDE = 8192
MAX_ASPECT = 8.0
MAX_FRAMES = 60_000
COPY_SHORT_SIDE = 720
COPY_TIME_BASE = Fraction(1, 90_000)

Image = NDArray[np.uint8]
Progress = Callable[[str, float], None]

# A playlist or a script of other files could make the reader open what is not the
# student's: only containers that hold their own media, only from the disk.
_OPEN = {
    "protocol_whitelist": "file",
    "format_whitelist": "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpegts,mpeg,asf,flv,ogg,gif,"
    "h264,hevc,image2,png_pipe,jpeg_pipe,webp_pipe,bmp_pipe",
}


# These number their packets in the order of decoding, also where pictures change places.
_IN_DECODING_ORDER = ("avi", "asf")


@dataclass(frozen=True)
class VideoInfo:
    """What a clip holds.

    `width` and `height` are those of the upright picture; `rotation` is the clockwise
    turn the player is asked to make (0, 90, 180 or 270), `fps` the median rate,
    `pts` and `frame_times_s` have shape (N,) in order of presentation, `keys` are the
    indices of frames that decode by themselves. `counted` says that the file numbers its
    frames in the order of decoding: the n-th picture that comes out is then the n-th.
    """

    width: int
    height: int
    fps: float
    duration_s: float
    rotation: int
    codec: str
    frame_times_s: NDArray[np.float64]
    pts: NDArray[np.int64]
    keys: NDArray[np.int64]
    capture_fps: float | None = None
    counted: bool = False

    @property
    def frames(self) -> int:
        return len(self.frame_times_s)


@dataclass(frozen=True)
class Frame:
    """One upright picture, `image` of shape (H, W, 3) RGB or (H, W) grey."""

    index: int
    time_s: float
    image: Image


def probe(path: Path | str) -> VideoInfo:
    """Read the table of frame times and the size, decoding only the first frame.

    Raises
    ------
    MediaMissing, UnreadableVideo, VideoTooShort, VideoTooLong
    """
    with _opened(path) as (container, stream):
        pts, key_pts = _packet_times(container, stream)
        counted = container.format.name in _IN_DECODING_ORDER
        capture_fps = _capture_fps(container, stream)
    first = _first_picture(path)
    if len(pts) < 2 or first is None:
        pts = _decoded_times(path)
    if len(pts) == 0 or first is None:
        raise UnreadableVideo("no picture could be decoded")
    if len(pts) < 2:
        raise VideoTooShort("only one picture")
    with _opened(path) as (_, stream):
        base = stream.time_base
        sar = stream.sample_aspect_ratio or Fraction(1)
    times = (pts - pts[0]) * float(base)
    gap = float(np.median(np.diff(times)))
    duration = float(times[-1]) + gap
    if duration > MAX_DURATION_S:
        raise VideoTooLong(f"{duration:.0f} s; at most {MAX_DURATION_S:.0f} s")
    width, height = round(first.width * float(sar)), first.height
    _refuse_shape(width, height)
    rotation = -first.rotation % 360
    if rotation in (90, 270):
        width, height = height, width
    return VideoInfo(
        width=width,
        height=height,
        fps=1 / gap,
        duration_s=duration,
        rotation=rotation,
        codec=stream.codec_context.name,
        frame_times_s=times,
        pts=pts,
        keys=np.flatnonzero(np.isin(pts, key_pts)),
        capture_fps=capture_fps,
        counted=counted,
    )


def _refuse_shape(width: int, height: int) -> None:
    """The size as it is shown: a few kilobytes can ask for pixels a thousand times as wide."""
    long, short = max(width, height), min(width, height)
    if width * height > MAX_PIXELS or long > MAX_SIDE or short < 2 or long > MAX_ASPECT * short:
        raise UnreadableVideo(f"pictures of {width} x {height} are no film of a person")


def frames(
    path: Path | str,
    info: VideoInfo,
    *,
    wanted: NDArray[np.int64] | None = None,
    short_side: int | None = None,
    grey: bool = False,
    mirrored: bool = False,
    beside: tuple[int, Callable[[Frame], None]] | None = None,
) -> Iterator[Frame]:
    """Decode frames in order of presentation.

    Parameters
    ----------
    wanted : ndarray of int, optional
        Indices into `info.frame_times_s`; all when None. Decoding starts at the key
        frame before the first and stops after the last.
    short_side : int, optional
        Pictures are scaled down so that their short side is at most this.
    grey, mirrored : bool
        Grey instead of RGB; flipped left to right.
    beside : (int, callable), optional
        A second picture of each frame from the same decoding, grey and not flipped, of this
        short side: handed over before the frame is given.

    Notes
    -----
    A damaged frame is left out; the rest of the clip is still given.
    """
    keep = np.ones(info.frames, bool) if wanted is None else np.zeros(info.frames, bool)
    if wanted is not None:
        if len(wanted) == 0:
            return
        keep[wanted] = True
    first, last = int(np.argmax(keep)), int(np.flatnonzero(keep)[-1])
    size = working_size(info, short_side)
    with _opened(path) as (container, stream):
        stream.thread_type = "AUTO"
        stream.codec_context.thread_count = 2
        if np.isin(np.flatnonzero(keep), info.keys).all():
            stream.codec_context.skip_frame = "NONKEY"
        if _may_seek(info, first):
            container.seek(int(info.pts[first]), stream=stream, backward=True)
        for number, picture in enumerate(_decoded(container, stream)):
            index = _index(picture, info, number)
            if index > last:
                return
            if index >= first and keep[index]:
                keep[index] = False
                if beside is not None:
                    other = working_size(info, beside[0])
                    image = _upright(picture, other, info.rotation, grey=True, mirrored=False)
                    beside[1](Frame(index, float(info.frame_times_s[index]), image))
                image = _upright(picture, size, info.rotation, grey=grey, mirrored=mirrored)
                yield Frame(index, float(info.frame_times_s[index]), image)


def _may_seek(info: VideoInfo, first: int) -> bool:
    """Some containers find nothing before time zero, or only in the order of decoding."""
    return first > 0 and not info.counted and int(info.pts[0]) >= 0


def key_frames(info: VideoInfo, count: int) -> NDArray[np.int64]:
    """About `count` frames spread over the clip, key frames where there are enough."""
    even = np.unique(np.linspace(0, info.frames - 1, count).round().astype(np.int64))
    if len(info.keys) < count // 2:
        return even
    return np.unique(info.keys[np.linspace(0, len(info.keys) - 1, count).round().astype(int)])


def working_size(info: VideoInfo, short_side: int | None) -> tuple[int, int]:
    """Width and height of the upright picture scaled to at most `short_side`, even."""
    scale = 1.0 if short_side is None else min(1.0, short_side / min(info.width, info.height))
    return (2 * round(info.width * scale / 2), 2 * round(info.height * scale / 2))


def make_copy(src: Path | str, dst: Path | str, progress: Progress | None = None) -> dict[str, Any]:
    """Write our own H.264 copy: seekable frame by frame, upright, without metadata.

    Location, device and sound stay behind; every presentation time is kept to
    1/90000 s. Short side at most 720.

    Returns
    -------
    dict
        `frame_times_s` (list), `width`, `height`, `fps`, `duration_s`, `rotation` (0).

    Raises
    ------
    MediaMissing, UnreadableVideo, VideoTooShort, VideoTooLong
    """
    info = probe(src)
    width, height = working_size(info, COPY_SHORT_SIDE)
    ticks: list[int] = []
    with av.open(str(dst), "w", format="mp4", options={"movflags": "+faststart"}) as out:
        stream = out.add_stream("libx264", rate=max(1, round(info.fps)))
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        context = stream.codec_context
        context.time_base = COPY_TIME_BASE
        context.gop_size, context.max_b_frames = 15, 0
        context.options = {"crf": "21", "preset": "veryfast"}
        context.thread_count = 2
        for picture, index in _copy_pictures(src, info, (width, height)):
            tick = max(
                round(info.frame_times_s[index] / COPY_TIME_BASE), ticks[-1] + 1 if ticks else 0
            )
            ticks.append(tick)
            picture.pts, picture.time_base = tick, COPY_TIME_BASE
            picture.pict_type = 0
            out.mux(stream.encode(picture))
            if progress and index % 15 == 0:
                progress("copy", index / info.frames)
        out.mux(stream.encode(None))
    if len(ticks) < 2:
        raise VideoTooShort("fewer than two pictures could be decoded")
    times = (np.array(ticks) - ticks[0]) * float(COPY_TIME_BASE)
    if progress:
        progress("copy", 1.0)
    return {
        "frame_times_s": times.tolist(),
        "width": width,
        "height": height,
        "fps": info.fps,
        "duration_s": info.duration_s,
        "rotation": 0,
    }


def still(
    path: Path | str,
    time_s: float,
    *,
    short_side: int = COPY_SHORT_SIDE,
    crop: Crop | None = None,
) -> bytes:
    """The frame shown at `time_s`, or a part of it, as JPEG.

    Raises
    ------
    MediaMissing, UnreadableVideo, VideoTooShort, VideoTooLong
    """
    info = probe(path)
    shown = int(np.searchsorted(info.frame_times_s, time_s + 1e-6, side="right")) - 1
    index = np.array([max(shown, 0)])
    for frame in frames(path, info, wanted=index, short_side=short_side):
        image = _cropped(frame.image, crop) if crop else frame.image
        done, data = cv2.imencode(".jpg", cv2.cvtColor(image, cv2.COLOR_RGB2BGR))
        if done:
            return bytes(data)
    raise UnreadableVideo(f"no picture at {time_s:.3f} s")


def _cropped(image: np.ndarray, crop: Crop) -> np.ndarray:
    left, top, right, bottom = crop.part(*image.shape[:2])
    size = (crop.width, crop.height)
    return cv2.resize(image[top:bottom, left:right], size, interpolation=cv2.INTER_AREA)


@contextmanager
def _opened(path: Path | str) -> Iterator[tuple[Any, Any]]:
    try:
        container = av.open(str(path), options=_OPEN)
    except FileNotFoundError as error:
        raise MediaMissing(f"{Path(path).name} is not there") from error
    except (av.error.FFmpegError, ValueError) as error:
        raise UnreadableVideo(f"{Path(path).name} is not a video") from error
    with container:
        films = [s for s in container.streams.video if not _is_cover(s)]
        if not films:
            raise UnreadableVideo("the file holds no moving picture")
        if films[0].width * films[0].height > MAX_PIXELS:
            raise UnreadableVideo(f"pictures of {films[0].width} x {films[0].height} are too big")
        yield container, films[0]


def _is_cover(stream: Any) -> bool:
    return "attached_pic" in str(stream.disposition).lower()


def _packet_times(container: Any, stream: Any) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Presentation times of all packets, sorted, and those of the key frames."""
    pts: list[int] = []
    keys: list[int] = []
    try:
        for packet in container.demux(stream):
            if packet.size == 0 or packet.is_discard:
                continue
            if packet.pts is None:
                return np.zeros(0, np.int64), np.zeros(0, np.int64)
            if len(pts) >= MAX_FRAMES:
                raise VideoTooLong(f"more than {MAX_FRAMES} pictures")
            pts.append(packet.pts)
            if packet.is_keyframe:
                keys.append(packet.pts)
    except av.error.FFmpegError:
        pass  # a truncated file: what came before the cut still counts
    return np.unique(np.array(pts, np.int64)), np.array(keys, np.int64)


def _decoded_times(path: Path | str) -> NDArray[np.int64]:
    """Times of containers that give none: whatever the decoder makes of them."""
    pts: list[int] = []
    with _opened(path) as (container, stream):
        for picture in _decoded(container, stream):
            if len(pts) >= MAX_FRAMES:
                raise VideoTooLong(f"more than {MAX_FRAMES} pictures")
            if picture.pts is not None:
                pts.append(picture.pts)
    return np.unique(np.array(pts, np.int64))


def _first_picture(path: Path | str) -> Any | None:
    with _opened(path) as (container, stream):
        return next(_decoded(container, stream), None)


def _decoded(container: Any, stream: Any) -> Iterator[Any]:
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except (StopIteration, av.error.FFmpegError):
            return
        try:
            yield from packet.decode()
        except av.error.FFmpegError:
            continue  # one damaged frame is no reason to lose the swing


def _index(picture: Any, info: VideoInfo, number: int) -> int:
    """The index of the nearest of the file's times; `number` counts what was decoded."""
    if info.counted:
        return min(number, info.frames - 1)
    if picture.pts is None:
        return -1
    after = min(int(np.searchsorted(info.pts, picture.pts)), info.frames - 1)
    before = max(after - 1, 0)
    nearer = abs(info.pts[before] - picture.pts) <= abs(info.pts[after] - picture.pts)
    return before if nearer else after


def _upright(
    picture: Any, size: tuple[int, int], rotation: int, *, grey: bool, mirrored: bool
) -> Image:
    width, height = size if rotation in (0, 180) else size[::-1]
    image = picture.reformat(
        width=width, height=height, format="gray" if grey else "rgb24"
    ).to_ndarray()
    if rotation:
        turn = {
            90: cv2.ROTATE_90_CLOCKWISE,
            180: cv2.ROTATE_180,
            270: cv2.ROTATE_90_COUNTERCLOCKWISE,
        }
        image = cv2.rotate(image, turn[rotation])
    # the decoder pads its lines, and the pose network reads bytes without asking
    return np.ascontiguousarray(image[:, ::-1] if mirrored else image)


def _copy_pictures(
    src: Path | str, info: VideoInfo, size: tuple[int, int]
) -> Iterator[tuple[Any, int]]:
    """Upright pictures in 8-bit yuv420p, each with its index, none twice."""
    done = -1
    with _opened(src) as (container, stream):
        stream.thread_type = "AUTO"
        for number, picture in enumerate(_decoded(container, stream)):
            index = _index(picture, info, number)
            if index <= done:
                continue
            done = index
            if info.rotation:
                image = _upright(picture, size, info.rotation, grey=False, mirrored=False)
                turned = av.VideoFrame.from_ndarray(image, format="rgb24")
                yield turned.reformat(format="yuv420p", dst_colorspace=Colorspace.ITU709), index
            else:
                yield picture.reformat(width=size[0], height=size[1], format="yuv420p"), index


def _capture_fps(container: Any, stream: Any) -> float | None:
    """The rate the camera ran at, where the phone wrote it down (slow motion)."""
    for key, value in (*container.metadata.items(), *stream.metadata.items()):
        if key.lower() == "com.android.capture.fps":
            with suppress(ValueError):
                return float(value)
    return None
