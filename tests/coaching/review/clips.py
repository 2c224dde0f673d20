"""Clips for the review room: real video whose pixels carry the frame number, and a measured
swing with known joints."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from django.core.files.base import ContentFile

from analysis import artifact, weights
from analysis.core.artifact import Artifact
from analysis.core.pose import JOINT, JOINTS
from analysis.core.remeasure import remeasure
from analysis.figures import store_figures
from analysis.models import Run, Video
from analysis.video import make_copy
from coaching.intake.models import Submission
from tests import factories

SIZE = (240, 320)  # width, height
BITS = 10
EVENTS_S = {"address": 0.5, "top": 1.2, "impact": 1.5}


def even_times(count: int = 120, fps: float = 60.0) -> np.ndarray:
    return np.arange(count) / fps


def uneven_times(count: int = 120, seed: int = 7) -> np.ndarray:
    """A phone's variable rate: gaps of 8 to 50 ms, on the copy's clock of 1/90000 s."""
    gaps = np.random.default_rng(seed).uniform(0.008, 0.05, count - 1)
    return np.round(np.concatenate([[0.0], np.cumsum(gaps)]) * 90_000) / 90_000


def coded_film(path: Path, times: np.ndarray) -> None:
    """A film whose frame i shows the binary digits of i as black and white blocks."""
    width, height = SIZE
    block = width // BITS
    with av.open(str(path), "w", format="mp4") as out:
        stream = out.add_stream("libx264", rate=60)
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 90_000)
        stream.codec_context.options = {"crf": "20", "preset": "ultrafast"}
        for number, time in enumerate(times):
            image = np.full((height, width, 3), 90, np.uint8)
            for bit in range(BITS):
                image[:block, bit * block : (bit + 1) * block] = 255 * (number >> bit & 1)
            frame = av.VideoFrame.from_ndarray(image, format="rgb24")
            frame.pts, frame.time_base = round(time * 90_000), Fraction(1, 90_000)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))


def make_film(video: Video, times: np.ndarray | None = None) -> None:
    """Give a video its coded film as original and our own copy of it."""
    with tempfile.TemporaryDirectory() as folder:
        source, copy = Path(folder) / "a.mp4", Path(folder) / "b.mp4"
        coded_film(source, even_times() if times is None else times)
        facts = make_copy(source, copy)
        video.original.save("clip.mp4", ContentFile(source.read_bytes()), save=False)
        video.copy.save("copy.mp4", ContentFile(copy.read_bytes()), save=False)
    video.keep_frame_times(facts["frame_times_s"])
    video.width, video.height = facts["width"], facts["height"]
    video.fps, video.duration_s = facts["fps"], facts["duration_s"]
    video.save()


def spoken(
    seconds: float,
    *,
    cut: float = 1.0,
    form: str = "webm",
    codec: str = "libopus",
    rate: int = 48_000,
    layout: str = "mono",
) -> bytes:
    """A tone as a browser records it; `cut` keeps only a share of the bytes."""
    made = io.BytesIO()
    with av.open(made, "w", format=form) as out:
        stream: Any = out.add_stream(codec, rate=rate, layout=layout)
        size = rate // 50
        t = np.arange(size)
        for block in range(int(seconds * 50)):
            tone = (8000 * np.sin(2 * np.pi * 440 * (t + size * block) / rate)).astype(np.int16)
            both = np.repeat(tone, 2 if layout == "stereo" else 1)
            frame = av.AudioFrame.from_ndarray(both[None], format="s16", layout=layout)
            frame.sample_rate, frame.pts, frame.time_base = rate, size * block, Fraction(1, rate)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    data = made.getvalue()
    return data[: int(len(data) * cut)]


def swing(times: np.ndarray, *, handedness: str = "right") -> Artifact:
    """A golfer seen down the line who turns nothing and leans: every joint is known."""
    count = len(times)
    flat = {"head": (0.55, 0.2), "neck": (0.52, 0.28), "grip": (0.7, 0.5)}
    for joint, place in {
        "shoulder": (0.52, 0.3), "elbow": (0.6, 0.4), "wrist": (0.68, 0.48), "hip": (0.42, 0.5),
        "knee": (0.47, 0.68), "ankle": (0.44, 0.86), "heel": (0.42, 0.9), "toe": (0.54, 0.9),
    }.items():  # fmt: skip
        flat[f"{joint}_lead"] = flat[f"{joint}_trail"] = place
    px = np.array([flat[j] for j in JOINTS]) * SIZE
    joints_px = np.repeat(px[None], count, axis=0)
    joints_px[:, JOINT["grip"], 1] -= 60 * np.sin(np.pi * np.clip(times / times[-1], 0, 1))
    scale = 1.78 / (0.75 * SIZE[1])
    joints_m = np.zeros((count, len(JOINTS), 3))
    joints_m[..., 1] = (joints_px[..., 0] - 0.42 * SIZE[0]) * scale
    joints_m[..., 2] = (0.9 * SIZE[1] - joints_px[..., 1]) * scale
    joints_m[:, [JOINT[j] for j in JOINTS if j.endswith("trail")], 0] -= 0.15
    joints_m[:, [JOINT[j] for j in JOINTS if j.endswith("lead")], 0] += 0.15
    moments: dict[str, dict[str, Any]] = {
        event: {"time_s": float(min(time, times[-2])), "uncertainty_s": 0.01}
        for event, time in EVENTS_S.items()
    }
    tilt = float(np.degrees(np.arctan2(0.1 * SIZE[0], 0.2 * SIZE[1])))
    values = [
        ["trunk_tilt_deg", "address", [tilt, 1.5]],
        ["knee_flex_deg", "address", [20.0, 2.0]],
        ["pelvis_to_ball_cm", "top", [0.0, 1.0]],
        ["pelvis_to_ball_cm", "impact", [0.0, 1.0]],
        ["pelvis_rise_cm", "top", [0.0, 1.0]],
        ["shaft_pitch_deg", "top", "shaft_end_on"],
        ["backswing_s", "top", [0.7, 0.02]],
    ]
    return Artifact(
        meta={
            "capture": {
                "view": "down_the_line", "kind": "swing", "handedness": handedness,
                "stature_cm": 178.0, "club_cm": None,
            },
            "size_px": list(SIZE), "stretched": False, "versions": {}, "quality": [],
            "reps": [
                {
                    "events": moments, "values": values, "still": True, "scale_m_per_px": scale,
                    "camera_yaw_deg": None, "camera_yaw_sd_deg": None,
                }
            ],
        },
        arrays={
            "frame_times_s": times, "rep0/time_s": times, "rep0/frame": np.arange(count),
            "rep0/joints_px": joints_px, "rep0/joints_m": joints_m,
            "rep0/joints_sd_m": np.full((count, len(JOINTS)), 0.01),
        },
    )  # fmt: skip


def measure_film(
    video: Video,
    *,
    handedness: str = "right",
    values: Sequence[list[Any]] = (),
    by_hand: bool = False,
) -> Run:
    """Give a video with a film its finished runs, archive and figures.

    `values` are `[measure, event, [value, one standard deviation]]` beside the swing's own;
    `by_hand`: the archive holds how figures follow joints that a person puts right.
    """
    for kind in (Run.Kind.CHECK, Run.Kind.COPY):
        factories.make_run(video=video, kind=kind)
    run = factories.make_run(video=video)
    held = swing(video.frame_times_s, handedness=handedness)
    held.meta["reps"][0]["values"] += values
    if by_hand:
        known = weights.covariances(held.capture.view)
        held.arrays["rep0/camera/drawn_px"] = np.array(0.75 * SIZE[1])
        held.arrays.update({f"rep0/covariance/{event}": c for event, c in known.items()})
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.npz"
        artifact.save(held, path)
        run.artifact.save("a.npz", ContentFile(path.read_bytes()))
    store_figures(run=run, repetitions=remeasure(held, []))
    return run


def make_clip(
    *, student: Any = None, times: np.ndarray | None = None, measured: bool = True, **fields: Any
) -> Submission:
    """A clip sent back that can be played, and is measured unless told otherwise."""
    submission = factories.make_submission(student=student, **fields)
    make_film(submission.video, times)
    if measured:
        measure_film(submission.video, handedness=submission.video.handedness)
    return submission
