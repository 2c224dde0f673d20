"""The file of a lesson film: H.264 and AAC in MP4, as long as what was said. In a worker only."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np

from analysis.frame_reader import FrameReader
from coaching.review.film import comparing, painting
from coaching.review.film.captions import line_at, lines_of
from coaching.review.film.geometry import clamp, fit_of, refitted
from coaching.review.film.screen import AROUND, Clip, Screen, Shown, matched
from coaching.review.film.script import Script, State, frame_of

FPS = 30
PIXELS = 1280 * 720  # as many as phones and messengers show without making it smaller
LONGEST_S = 20 * 60 + 10
WIDEST = 16 / 9  # and as narrow, the other way round
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Plan:
    """Everything a film is made of.

    Parameters
    ----------
    clips : by key of the video; `first` is the one it begins with.
    events : of the walk-through, in order of time.
    captions : WebVTT, burned in.
    sound : AAC in MP4; None for a film without.
    length_s : how long it was spoken, seconds.
    by_eye : the sentence of an angle read off the picture, with `{angle}`.
    """

    clips: Mapping[int, Clip]
    first: int
    events: Sequence[Mapping[str, Any]]
    captions: str
    sound: Path | None
    length_s: float
    by_eye: str


def make(plan: Plan, target: Path, progress: Progress | None = None) -> dict[str, Any]:
    """Write the film to `target`; its `frames`, `width`, `height` and `duration_s`.

    Raises
    ------
    MediaMissing, UnreadableVideo, VideoTooShort, VideoTooLong
        When a clip cannot be read.
    """
    length_s = min(plan.length_s, LONGEST_S)
    count = max(round(length_s * FPS), 1)
    with ExitStack() as stack:
        screens = {
            pk: Screen(clip, stack.enter_context(FrameReader(clip.path)), by_eye=plan.by_eye)
            for pk, clip in plan.clips.items()
        }
        size = canvas(plan, screens)
        options = {"movflags": "+faststart"}
        out = stack.enter_context(av.open(str(target), "w", format="mp4", options=options))
        stream = _picture_stream(out, size)
        sound = _sound(stack, out, plan.sound) if plan.sound else iter(())
        heard = next(sound, None)
        for number, frame in enumerate(_frames(plan, screens, size, count)):
            time_s = number / FPS
            frame.pts, frame.time_base, frame.pict_type = number, Fraction(1, FPS), 0
            out.mux(stream.encode(frame))
            while heard is not None and heard[0] <= time_s:
                out.mux(heard[1])
                heard = next(sound, None)
            if progress and number % FPS == 0:
                progress("film", number / count)
        out.mux(stream.encode(None))
        while heard is not None:
            out.mux(heard[1])
            heard = next(sound, None)
    return {"frames": count, "width": size[0], "height": size[1], "duration_s": count / FPS}


def canvas(plan: Plan, screens: Mapping[int, Screen]) -> tuple[int, int]:
    """Width and height, even: the coach's window, or two of them where clips stood side by side.

    A walk-through that does not tell its window has the shape of its first clip.
    """
    script, beside = Script(plan.events, plan.first), False
    windows: dict[bool, float] = {}
    for event in plan.events:
        state = script.after(event)
        if state.clip not in screens:
            continue
        side = state.beside in screens and state.lie == "side"
        beside = beside or side
        if event.get("do") == "view":
            aspect = screens[state.clip].aspect * state.fit[1] / state.fit[0]
            windows.setdefault(side, aspect)
    window = windows.get(beside) or screens[plan.first].aspect
    shape = clamp(window * (2 if beside else 1), 1 / WIDEST, WIDEST)
    height = math.sqrt(PIXELS / shape)
    return 2 * round(height * shape / 2), 2 * round(height / 2)


def _frames(
    plan: Plan, screens: Mapping[int, Screen], size: tuple[int, int], count: int
) -> Iterator[av.VideoFrame]:
    """Every frame in order; one that is as the last is drawn once."""
    script, lines = Script(plan.events, plan.first), lines_of(plan.captions)
    drawn: tuple[Any, ...] | None = None
    frame = None
    for number in range(count):
        time_s = number / FPS
        state, said = script.at(time_s), line_at(lines, time_s)
        parts = layout(state, time_s, screens, size)
        wanted = (parts, state.lie, state.share, said)
        if frame is None or wanted != drawn:
            image = _composed(parts, state, screens, size)
            if said:
                painting.caption(image, said)
            picture = av.VideoFrame.from_ndarray(image, format="rgb24")
            frame, drawn = picture.reformat(format="yuv420p"), wanted
        yield frame


Part = tuple[int, Shown]


def layout(
    state: State, time_s: float, screens: Mapping[int, Screen], size: tuple[int, int]
) -> tuple[Part, ...]:
    """Which clips are seen and how: the one in hand, and the one it is compared with after it."""
    pk = state.clip if state.clip in screens else next(iter(screens))
    now = screens[pk]
    other = state.beside if state.beside in screens and state.beside != pk else None
    half = other is not None and state.lie == "side"
    window = (size[0] // 2, size[1]) if half else size
    view = refitted(state.view, state.fit, fit_of(now.aspect, window[0] / window[1]))
    frame = frame_of(state, time_s, now.times)
    figure = json.dumps(state.figure, sort_keys=True) if state.figure else ""
    here = Shown(
        frame, view, window, state.bright, state.repetition, state.overlays, state.marks, figure
    )
    if other is None:
        return ((pk, here),)
    then = screens[other]
    there = Shown(
        comparing.frame_beside(state, float(now.times[frame]), now.data, then.data),
        matched(now, view, then, window, state.repetition),
        window,
        overlays=state.overlays,
        figure=json.dumps(state.then, sort_keys=True) if state.then else "",
        mirrored=now.data["handedness"] != then.data["handedness"],
    )
    return ((pk, here), (other, there))


def _composed(
    parts: tuple[Part, ...], state: State, screens: Mapping[int, Screen], size: tuple[int, int]
) -> painting.Image:
    images = [
        screens[pk].draw(shown, json.loads(shown.figure) if shown.figure else None)
        for pk, shown in parts
    ]
    if len(images) == 1:
        return images[0]
    now, then = images
    if state.lie == "ghost":
        return np.asarray(now * state.share + then * (1 - state.share)).round().astype(np.uint8)
    if state.lie == "wipe":
        cut = round(size[0] * state.share)
        both = np.concatenate([then[:, :cut], now[:, cut:]], axis=1)
        both[:, max(cut - 2, 0) : cut + 1] = painting.EDGE
        return np.ascontiguousarray(both)
    both = np.full((size[1], size[0], 3), AROUND, np.uint8)
    both[:, : size[0] // 2], both[:, size[0] - size[0] // 2 :] = then, now
    return both


def _picture_stream(out: Any, size: tuple[int, int]) -> Any:
    stream = out.add_stream("libx264", rate=FPS)
    stream.width, stream.height, stream.pix_fmt = *size, "yuv420p"
    context = stream.codec_context
    context.time_base = Fraction(1, FPS)
    context.gop_size, context.max_b_frames, context.thread_count = 2 * FPS, 0, 2
    context.options = {"crf": "23", "preset": "veryfast"}
    return stream


def _sound(stack: ExitStack, out: Any, path: Path) -> Iterator[tuple[float, Any]]:
    """The packets of a sound that is AAC already, as they are, each with its time in seconds."""
    source = stack.enter_context(av.open(str(path)))
    heard = source.streams.audio[0]
    stream = out.add_stream_from_template(heard)

    def packets() -> Iterator[tuple[float, Any]]:
        for packet in source.demux(heard):
            if packet.dts is None:
                continue
            time_s = float(packet.dts * packet.time_base)
            packet.stream = stream
            yield time_s, packet

    return packets()
