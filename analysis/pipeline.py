"""A video file in, figures out. No database, no settings: everything is handed in."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, fields, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis import PIPELINE_VERSION, artifact, weights
from analysis.bar import track_bar
from analysis.capture import LIMITS, clip_row, issue, refused
from analysis.core.artifact import Artifact
from analysis.core.bar import BarTrack, measure_bar
from analysis.core.body import BodyResult, measure_body
from analysis.core.club import measure_club
from analysis.core.events import find_events, joint_signals
from analysis.core.held import Afterwards, afterwards, finish_held
from analysis.core.measures import SWINGS, Readings, repetition, tempo_readings, withheld
from analysis.core.pose import EVENTS, Capture, Moment, PoseSequence, ShaftTrack
from analysis.estimators import PoseEstimator
from analysis.finding import Finding, find_swings, rows_of
from analysis.frame_store import FrameStore, Reel
from analysis.scene import camera_lean
from analysis.shaft import track_shaft
from analysis.video import VideoInfo, probe

Progress = Callable[[str, float], None]
LEAN_FRAMES = 3
SLOWEST_DOWNSWING_S = 0.85  # a slow practice swing takes 0.7; 120 frames shown as 30 take more
BORROWED_S = 0.25
STAGES = ("decode", "pose", "club", "measure")


@dataclass(frozen=True)
class Swing:
    """One repetition and everything measured on it."""

    pose: PoseSequence
    events: dict[str, Moment]
    shaft: ShaftTrack | None
    bar: BarTrack | None
    body: BodyResult
    after: Afterwards | None
    readings: Readings


class Profiler:
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
    keep: Callable[[Artifact], object] | None = None,
    insisted: bool = False,
) -> dict[str, Any]:
    """Measure a clip: the JSON of the command line's contract.

    Parameters
    ----------
    progress : callable, optional
        Called with a stage (`survey`, `pose`, `club`, `measure`) and the share done, 0 to 1.
    artifact_path : path, optional
        Where the archive goes; nothing is written for a clip that is refused.
    keep : callable, optional
        Called with the archive that was written, so that nobody need read it again.
    insisted : bool
        A person has said that a refused clip is right: it is measured as far as it goes.

    Raises
    ------
    UnreadableVideo, VideoTooShort, VideoTooLong, MediaMissing
    """
    clock, tell = Profiler(), progress or (lambda stage, share: None)
    info = probe(path)
    folder = None if artifact_path is None else Path(artifact_path).parent
    with FrameStore(folder) as store:
        with estimator as network:
            finding = find_swings(
                path,
                info,
                capture=capture,
                network=network,
                clock=clock,
                tell=lambda stage, share: tell(stage, 0.6 * share),
                store=store,
                insisted=insisted,
            )
        source = _Source(path, info, store, capture.handedness == "left")
        swings = (
            [] if refused(finding.quality) else _measured(source, finding, capture, clock, tell)
        )
    quality = finding.quality + _swing_issues(swings, capture)
    if artifact_path is not None and swings:
        archive = _archive(info, capture, swings, quality)
        artifact.save(archive, artifact_path)
        if keep is not None:
            keep(archive)
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


@dataclass(frozen=True)
class _Source:
    """Where the grey frames of a film come from."""

    path: Path | str
    info: VideoInfo
    store: FrameStore
    mirrored: bool

    def reel(self, pose: PoseSequence) -> Reel:
        return Reel(self.path, self.info, pose, mirrored=self.mirrored, store=self.store)


def _measured(
    source: _Source,
    finding: Finding,
    capture: Capture,
    clock: Profiler,
    tell: Progress,
) -> list[Swing]:
    here = replace(capture, kind=finding.kind)
    swings: list[Swing] = []
    total = max(sum(len(s.spans) for s in finding.stretches), 1)
    for stretch in finding.stretches:
        first = None
        for span in stretch.spans:
            tell("club", 0.6 + 0.4 * len(swings) / total)
            swing = _swing(source, stretch.pose, here, span, clock, reference=first)
            swings.append(swing)
            # a turn with a held club is only told against standing still before it
            if first is None and here.kind != "bar":
                first = swing.events.get("address")
    return [_address_only(s) for s in swings] if here.kind != capture.kind else swings


def _swing(
    source: _Source,
    whole: PoseSequence,
    capture: Capture,
    window: tuple[float, float],
    clock: Profiler,
    *,
    reference: Moment | None,
) -> Swing:
    """Measure one repetition; `reference` is the first one's address, which a repetition
    that starts without standing still is told against."""
    pose = _cut(whole, window, also=None if reference is None else reference.time_s)
    pictures = source.reel(pose)
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
        lean = _lean(source, pose, events)
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
        after = afterwards(whole, events) if capture.kind in SWINGS else None
        if capture.kind in SWINGS:
            readings |= finish_held(after, events, scale_m_per_px=body.scale_m_per_px)
        stretched = _stretched(source.info, events, capture)
        readings |= tempo_readings(events, stretched=stretched, still=not _borrowed(events, window))
        if stretched:
            readings |= withheld(readings)
    return Swing(pose, events, track, bar, body, after, readings)


def _lean(
    source: _Source, pose: PoseSequence, events: dict[str, Moment]
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
        for picture in source.reel(rows_of(pose, near))
    ]
    told = [lean for lean in found if lean is not None]
    if 2 * len(told) <= len(found):
        return None
    middle = float(np.median([lean.roll_deg for lean in told]))
    scatter = float(np.ptp([lean.roll_deg for lean in told]))
    return middle, math.hypot(float(np.median([lean.sd_deg for lean in told])), scatter / 2)


def _cut(pose: PoseSequence, span: tuple[float, float], *, also: float | None) -> PoseSequence:
    """The frames of one repetition, and those around an address that it borrows."""
    kept = (pose.time_s >= span[0]) & (pose.time_s <= span[1])
    if also is not None:
        kept |= np.abs(pose.time_s - also) <= BORROWED_S
    return rows_of(pose, np.flatnonzero(kept))


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


def _swing_issues(swings: list[Swing], capture: Capture) -> list[dict[str, Any]]:
    rows = []
    if 0 < len(swings) < (capture.repetitions or 0):
        rows.append(issue("fewer_swings", "warn"))
    yaws = [s.body.camera_yaw_deg for s in swings if math.isfinite(s.body.camera_yaw_deg)]
    if yaws and abs(float(np.median(yaws))) > LIMITS.yaw_warn_deg:
        rows.append(issue("off_line", "warn"))
    if any(s.readings.get(("backswing_s", "top")) == "slow_motion" for s in swings):
        rows.append(issue("slow_motion", "warn"))
    return rows


def _borrowed(events: dict[str, Moment], window: tuple[float, float]) -> bool:
    """The address is that of an earlier repetition: no time runs from it."""
    address = events["address"].time_s
    return address is not None and address < window[0]


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
    for name, track in (("shaft", swing.shaft), ("bar", swing.bar), ("after", swing.after)):
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
