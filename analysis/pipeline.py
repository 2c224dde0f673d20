"""A video file in, figures out. No database, no settings: everything is handed in."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, fields, replace
from importlib.metadata import version
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis import PIPELINE_VERSION, artifact, reel, weights
from analysis.backdrop import Backdrop
from analysis.bar import track_bar
from analysis.capture import HANDS_SURE, LIMITS, clip_row, issue, refused, survey_issues
from analysis.core.bar import BarTrack, measure_bar
from analysis.core.bar_events import bar_spans
from analysis.core.body import BodyResult, measure_body
from analysis.core.club import measure_club
from analysis.core.events import find_events, joint_signals
from analysis.core.measures import Readings, repetition, tempo_readings, withheld
from analysis.core.pose import (
    EVENTS,
    LANDMARK,
    LANDMARKS,
    MEASURED_VIEWS,
    SIDE_SWAP,
    Capture,
    Moment,
    PoseSequence,
    ShaftTrack,
    mirror_for,
)
from analysis.core.remeasure import Artifact
from analysis.core.repetitions import find_repetitions
from analysis.core.steady import bridged, flipped, moved, scaled
from analysis.core.swings import (
    RISE,
    film_cuts,
    frames_to_measure,
    hand_height,
    hand_speed,
    hold_spans,
    still_moment,
    swing_windows,
)
from analysis.estimators import PoseEstimator
from analysis.reel import Reel
from analysis.scene import camera_lean
from analysis.shaft import track_shaft
from analysis.survey import Survey, look_over, stature_px
from analysis.video import Frame, VideoInfo, frames, probe, working_size

Progress = Callable[[str, float], None]
POSE_SHORT_SIDE = 720
LEAN_FRAMES = 3
SLOWEST_DOWNSWING_S = 0.85  # a slow practice swing takes 0.7; 120 frames shown as 30 take more
BORROWED_S = 0.25
STILLNESS_S = 0.8
STAGES = ("decode", "pose", "club", "measure")


@dataclass(frozen=True)
class Swing:
    """One repetition and everything measured on it."""

    pose: PoseSequence
    events: dict[str, Moment]
    shaft: ShaftTrack | None
    bar: BarTrack | None
    body: BodyResult
    readings: Readings


class Clock:
    """Seconds spent in each stage."""

    def __init__(self) -> None:
        self.seconds = dict.fromkeys(STAGES, 0.0)
        self._start = time.perf_counter()

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        start = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[name] += time.perf_counter() - start

    def row(self) -> dict[str, float]:
        total = time.perf_counter() - self._start
        return {k: round(v, 3) for k, v in (self.seconds | {"total": total}).items()}


def analyse_video(
    path: Path | str,
    *,
    capture: Capture,
    estimator: PoseEstimator,
    progress: Progress | None = None,
    artifact_path: Path | str | None = None,
) -> dict[str, Any]:
    """Measure a clip: the JSON of the command line's contract.

    Parameters
    ----------
    progress : callable, optional
        Called with a stage (`survey`, `pose`, `club`, `measure`) and the share done, 0 to 1.
    artifact_path : path, optional
        Where the archive goes; nothing is written for a clip that is refused.

    Raises
    ------
    UnreadableVideo, VideoTooShort, VideoTooLong, MediaMissing
    """
    clock, tell = Clock(), progress or (lambda stage, share: None)
    info = probe(path)
    mirrored = capture.handedness == "left"
    with estimator as network:
        with clock.stage("decode"):
            survey = look_over(
                path,
                info,
                estimator=network,
                mirrored=mirrored,
                progress=lambda share: tell("survey", 0.25 * share),
            )
        quality = survey_issues(info, survey, capture)
        swings: list[Swing] = []
        if capture.view in MEASURED_VIEWS and not refused(quality):
            swings, found = _swings(path, info, survey, capture, network, clock, tell)
            quality += found
    if artifact_path is not None and swings:
        artifact.save(_archive(info, capture, swings, quality), artifact_path)
    tell("measure", 1.0)
    return {
        "schema": 1,
        "clip": clip_row(info),
        "quality": quality,
        "reps": [] if refused(quality) else [_repetition(s, capture, info) for s in swings],
        "seconds": clock.row(),
        "versions": versions(network.version),
    }


def versions(estimator: str) -> dict[str, str]:
    """What made the figures, so that they can be explained later."""
    return {
        "pipeline": str(PIPELINE_VERSION),
        "estimator": estimator,
        "mediapipe": version("mediapipe"),
        "av": version("av"),
        "numpy": version("numpy"),
    }


def _swings(
    path: Path | str,
    info: VideoInfo,
    survey: Survey,
    capture: Capture,
    network: PoseEstimator,
    clock: Clock,
    tell: Progress,
) -> tuple[list[Swing], list[dict[str, Any]]]:
    stature = survey.stature_px()
    windows = swing_windows(survey.time_s, survey.steady_px, stature_px=stature, kind=capture.kind)
    quality = []
    if not windows:
        quality.append(_nothing_found(survey))
        still = still_moment(survey.time_s, survey.steady_px, stature_px=stature)
        if still is None:
            return [], quality
        windows = [(still - 0.6, still + 0.6)]
        capture_here = Capture(**asdict(capture) | {"kind": "setup"})
    else:
        capture_here = capture
    swings: list[Swing] = []
    for k, window in enumerate(windows):
        share = lambda stage, done, k=k: tell(stage, 0.25 + 0.75 * (k + done) / len(windows))  # noqa: E731
        swings += _window_swings(path, info, survey, capture_here, window, network, clock, share)
    if capture_here is not capture:
        swings = [_address_only(s) for s in swings]
    elif not swings and capture.kind != "setup":
        quality.append(_nothing_found(survey))
    return swings, quality + _swing_issues(swings, capture)


def _window_swings(
    path: Path | str,
    info: VideoInfo,
    survey: Survey,
    capture: Capture,
    window: tuple[float, float],
    network: PoseEstimator,
    clock: Clock,
    tell: Progress,
) -> list[Swing]:
    wanted = _wanted(info, survey, window)
    if len(wanted) < 2:
        return []
    with clock.stage("pose"):
        backdrop = survey.backdrop if survey.camera_moves else None
        pose = _pose(
            path, info, wanted, capture, network, backdrop, lambda done: tell("pose", 0.6 * done)
        )
    stature = stature_px(pose.xy_px)
    if capture.kind == "setup":
        spans = [(float(pose.time_s[0]), float(pose.time_s[-1]))]
    elif capture.kind == "bar":
        spans = bar_spans(pose, view=capture.view)
    else:
        find = hold_spans if capture.kind == "hold" else find_repetitions
        spans = [
            span
            for part in _uncut(pose, stature)
            for span in _with_stillness(find(part, stature_px=stature), float(part.time_s[0]))
        ]
    swings: list[Swing] = []
    for k, span in enumerate(spans):
        tell("club", 0.6 + 0.4 * k / len(spans))
        # a turn with a held club is only told against standing still before it
        first = swings[0].events.get("address") if swings and capture.kind != "bar" else None
        swings.append(_swing(path, info, pose, capture, span, clock, reference=first))
    return swings


def _wanted(info: VideoInfo, survey: Survey, window: tuple[float, float]) -> NDArray[np.int64]:
    return frames_to_measure(
        info.frame_times_s,
        window,
        coarse_time_s=survey.time_s,
        coarse_speed=hand_speed(survey.time_s, survey.steady_px) / survey.stature_px(),
    )


def _swing(
    path: Path | str,
    info: VideoInfo,
    whole: PoseSequence,
    capture: Capture,
    window: tuple[float, float],
    clock: Clock,
    *,
    reference: Moment | None,
) -> Swing:
    """Measure one repetition; `reference` is the first one's address, which a repetition
    that starts without standing still is told against."""
    pose = _cut(whole, window, also=None if reference is None else reference.time_s)
    pictures = Reel(path, info, pose, mirrored=capture.handedness == "left")
    track, bar = None, None
    with clock.stage("club"):
        if capture.kind == "bar":
            bar = track_bar(pictures, pose, capture=capture)
        else:
            track = track_shaft(pictures, pose, capture=capture)
    with clock.stage("measure"):
        events = find_events(
            pose, track, capture=capture, window=window, reference_address=reference
        )
        learned = weights.load(capture.view)
        lean = _lean(path, info, pose, events, mirrored=capture.handedness == "left")
        body = measure_body(pose, events, capture=capture, weights=learned, lean=lean)
        sharper = joint_signals(body.joints_m, view=capture.view)
        if sharper and capture.kind in ("hold", "rehearsal", "swing"):
            # joints in space place the arm and the hands better than the picture did
            events = find_events(
                pose, track, capture=capture, window=window, reference_address=reference, **sharper
            )
            body = measure_body(pose, events, capture=capture, weights=learned, lean=lean)
        body = replace(body, camera={"size_px": pose.size_px} | body.camera)
        readings: Readings = dict(body.values)
        if track is not None:
            readings |= measure_club(track, events, body, capture=capture)
        if bar is not None:
            readings |= measure_bar(bar, events, body, capture=capture, size_px=pose.size_px)
        stretched = _stretched(info, events, capture)
        readings |= tempo_readings(events, stretched=stretched, still=not _borrowed(events, window))
        if stretched:
            readings |= withheld(readings)
    return Swing(pose, events, track, bar, body, readings)


def _lean(
    path: Path | str,
    info: VideoInfo,
    pose: PoseSequence,
    events: dict[str, Moment],
    *,
    mirrored: bool,
) -> tuple[float, float] | None:
    """The camera's lean while the golfer stands at address; None where nothing tells it."""
    when = events["address"].time_s if "address" in events else None
    if when is None:
        return None
    near = np.sort(np.argsort(np.abs(pose.time_s - when))[:LEAN_FRAMES])
    found = [
        camera_lean(
            picture.image, golfer=pose.xy_px[np.flatnonzero(pose.frame == picture.index)[0]]
        )
        for picture in Reel(path, info, _rows(pose, near), mirrored=mirrored)
    ]
    told = [lean for lean in found if lean is not None]
    if 2 * len(told) <= len(found):
        return None
    middle = float(np.median([lean.roll_deg for lean in told]))
    scatter = float(np.ptp([lean.roll_deg for lean in told]))
    return middle, math.hypot(float(np.median([lean.sd_deg for lean in told])), scatter / 2)


def _pose(
    path: Path | str,
    info: VideoInfo,
    wanted: NDArray[np.int64],
    capture: Capture,
    network: PoseEstimator,
    backdrop: Backdrop | None,
    tell: Callable[[float], None],
) -> PoseSequence:
    """Heavy landmarks of the wanted frames, in pixels of the working picture.

    With a backdrop, of a camera that moves, they are counted in its picture.
    """
    size = working_size(info, reel.SHORT_SIDE)
    scale = np.array(size) / np.array(working_size(info, POSE_SHORT_SIDE))
    rows: list[tuple[Frame, NDArray[np.float64], ...]] = []
    nothing = np.full(len(LANDMARKS), np.nan)
    pictures = frames(path, info, wanted=wanted, short_side=POSE_SHORT_SIDE)
    places: list[NDArray[np.float64]] = []
    if backdrop is not None:
        pictures = _placed(pictures, backdrop, places)
    for frame, people in network.estimate(pictures, quick=False):
        light = Frame(frame.index, frame.time_s, np.zeros((0, 0), np.uint8))
        if people:
            p = people[0]
            rows.append((light, p.xy_px * scale, p.confidence, p.depth_px * scale[0], p.world_m))
        else:
            rows.append(
                (
                    light,
                    np.tile(nothing[:, None], 2),
                    nothing,
                    nothing,
                    np.tile(nothing[:, None], 3),
                )
            )
        if len(rows) % 8 == 0:
            tell(len(rows) / len(wanted))
    xy, confidence, depth, world = (np.array([r[k] for r in rows]) for k in range(1, 5))
    time_s, steady = np.array([r[0].time_s for r in rows]), None
    if backdrop is not None:
        steady = scaled(bridged(time_s, np.array(places)), size[0] / backdrop.size_px[0])
        xy = moved(xy, steady)
    if capture.handedness == "left":
        xy = mirror_for(xy, width_px=size[0])
        confidence, depth, world = (v[:, SIDE_SWAP].copy() for v in (confidence, depth, world))
        world[..., 0] *= -1
        steady = None if steady is None else flipped(steady, width_px=size[0])
    return PoseSequence(
        time_s=time_s,
        frame=np.array([r[0].index for r in rows], np.int64),
        xy_px=xy,
        confidence=confidence,
        size_px=size,
        depth=depth,
        world_m=world,
        steady=steady,
    )


def _placed(
    pictures: Iterable[Frame], backdrop: Backdrop, places: list[NDArray[np.float64]]
) -> Iterator[Frame]:
    """The pictures as they are; `places` gets each one's place in the backdrop."""
    backdrop.rest()
    for frame in pictures:
        places.append(backdrop.place_of_photo(frame.image))
        yield frame


def _uncut(pose: PoseSequence, stature: float) -> list[PoseSequence]:
    """The stretches between an edited film's cuts."""
    edges = [0, *film_cuts(pose.time_s, pose.xy_px, stature_px=stature), len(pose)]
    return [_rows(pose, np.arange(a, b)) for a, b in pairwise(edges)]


def _cut(pose: PoseSequence, span: tuple[float, float], *, also: float | None) -> PoseSequence:
    """The frames of one repetition, and those around an address that it borrows."""
    kept = (pose.time_s >= span[0]) & (pose.time_s <= span[1])
    if also is not None:
        kept |= np.abs(pose.time_s - also) <= BORROWED_S
    return _rows(pose, np.flatnonzero(kept))


def _rows(pose: PoseSequence, rows: NDArray[np.int64]) -> PoseSequence:
    parts = {f.name: getattr(pose, f.name) for f in fields(pose) if f.name != "size_px"}
    return PoseSequence(
        **{k: None if v is None else v[rows] for k, v in parts.items()}, size_px=pose.size_px
    )


def _address_only(swing: Swing) -> Swing:
    missing = Moment(None, reason="no_swing")
    events = dict.fromkeys(EVENTS, missing) | {"address": swing.events["address"]}
    return replace(swing, events=events)


def _repetition(swing: Swing, capture: Capture, info: VideoInfo) -> dict[str, Any]:
    return repetition(
        view=capture.view,
        kind=capture.kind,
        events=swing.events,
        readings=swing.readings,
        frame_times_s=info.frame_times_s,
    )


def _nothing_found(survey: Survey) -> dict[str, Any]:
    middle = len(survey.frame) // 2
    return issue(
        "no_swing", "warn", frame=int(survey.frame[middle]), time_s=float(survey.time_s[middle])
    )


def _swing_issues(swings: list[Swing], capture: Capture) -> list[dict[str, Any]]:
    rows = []
    if 0 < len(swings) < (capture.repetitions or 0):
        rows.append(issue("fewer_swings", "warn"))
    yaws = [s.body.camera_yaw_deg for s in swings if math.isfinite(s.body.camera_yaw_deg)]
    if yaws and abs(float(np.median(yaws))) > LIMITS.yaw_warn_deg:
        rows.append(issue("off_line", "warn"))
    if capture.view == "face_on":
        rows += [row for s in swings[:1] if (row := _hand_issue(s)) is not None]
    if any(s.readings.get(("backswing_s", "top")) == "slow_motion" for s in swings):
        rows.append(issue("slow_motion", "warn"))
    return rows


def _with_stillness(spans: list[tuple[float, float]], first_s: float) -> list[tuple[float, float]]:
    """Room before each repetition to see how long the golfer stood still."""
    roomy: list[tuple[float, float]] = []
    for start, end in spans:
        floor = roomy[-1][1] if roomy else first_s
        roomy.append((max(floor, start - STILLNESS_S), end))
    return roomy


def _borrowed(events: dict[str, Moment], window: tuple[float, float]) -> bool:
    """The address is that of an earlier repetition: no time runs from it."""
    address = events["address"].time_s
    return address is not None and address < window[0]


def _hand_issue(swing: Swing) -> dict[str, Any] | None:
    """Face-on the hands rise away from the target: behind the door, to the picture's left.

    Read when they first stand high, not at `top`: that may be the finish of a film of
    another kind than was told.
    """
    pose, stature = swing.pose, stature_px(swing.pose.xy_px)
    height = hand_height(pose.xy_px) / stature
    high = np.flatnonzero(height > np.fmin.accumulate(height) + 2 * RISE)
    if not len(high):
        return None
    i = int(high[0])
    hands, shoulders = (
        pose.xy_px[i, [LANDMARK[f"{j}_left"], LANDMARK[f"{j}_right"]], 0].mean()
        for j in ("wrist", "shoulder")
    )
    if not (hands - shoulders) / stature > HANDS_SURE:
        return None
    return issue("wrong_hand", "reject", frame=int(pose.frame[i]), time_s=float(pose.time_s[i]))


def _stretched(info: VideoInfo, events: dict[str, Moment], capture: Capture) -> bool:
    """Seconds are not seconds: the phone says so, or nobody swings a club that slowly."""
    if info.capture_fps is not None and info.capture_fps > 1.5 * info.fps:
        return True
    top, impact = (events.get(e, Moment(None)).time_s for e in ("top", "impact"))
    if capture.kind != "swing" or top is None or impact is None:
        return False
    return impact - top > SLOWEST_DOWNSWING_S


def _archive(
    info: VideoInfo, capture: Capture, swings: list[Swing], quality: list[dict[str, Any]]
) -> Artifact:
    arrays: dict[str, Any] = {"frame_times_s": info.frame_times_s}
    reps = []
    for k, swing in enumerate(swings):
        arrays |= {f"rep{k}/{name}": value for name, value in _rep_arrays(swing).items()}
        reps.append(_rep_meta(swing))
    meta = {
        "capture": asdict(capture),
        "size_px": list(swings[0].pose.size_px),
        "stretched": any(_stretched(info, s.events, capture) for s in swings),
        "quality": quality,
        "pipeline": str(PIPELINE_VERSION),
        "reps": reps,
    }
    return Artifact(meta=meta, arrays=arrays)


def _rep_arrays(swing: Swing) -> dict[str, Any]:
    body, pose = swing.body, swing.pose
    arrays = {
        "time_s": body.time_s,
        "frame": pose.frame,
        "landmarks_px": pose.xy_px.astype(np.float32),
        "confidence": pose.confidence.astype(np.float32),
        "depth_px": _kept(pose.depth, pose.confidence.shape),
        "world_m": _kept(pose.world_m, (*pose.confidence.shape, 3)),
        "joints_px": body.joints_px,
        "joints_m": body.joints_m,
        "joints_sd_m": body.joints_sd_m,
    }
    if pose.steady is not None:
        arrays["steady"] = pose.steady
    arrays |= {f"camera/{k}": np.asarray(v) for k, v in body.camera.items()}
    arrays |= {f"covariance/{k}": v for k, v in body.covariance.items()}
    for name, track in (("shaft", swing.shaft), ("bar", swing.bar)):
        if track is not None:
            arrays |= {
                f"{name}/{f.name}": np.asarray(getattr(track, f.name)) for f in fields(track)
            }
    return arrays


def _kept(values: NDArray[np.float64] | None, shape: tuple[int, ...]) -> NDArray[np.float32]:
    return (np.full(shape, np.nan) if values is None else values).astype(np.float32)


def _rep_meta(swing: Swing) -> dict[str, Any]:
    def number(value: float) -> float | None:
        return float(value) if math.isfinite(value) else None

    return {
        "events": {e: asdict(m) for e, m in swing.events.items()},
        "values": [
            [id, event, r if isinstance(r, str) else [float(r[0]), float(r[1])]]
            for (id, event), r in swing.readings.items()
            if isinstance(r, str) or all(map(math.isfinite, r))
        ],
        "scale_m_per_px": float(swing.body.scale_m_per_px),
        "still": swing.readings.get(("backswing_s", "top")) != "no_still_address",
        "camera_yaw_deg": number(swing.body.camera_yaw_deg),
        "camera_yaw_sd_deg": number(swing.body.camera_yaw_sd_deg),
    }
