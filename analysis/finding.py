"""Where in a film the swings are: a quick look, then the heavy network where the hands rise.

No shaft and no figures: what comes out is landmarks, and the span of each repetition.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, fields
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis import frame_store
from analysis.backdrop import Backdrop
from analysis.capture import insisted_on, issue, judged, refused, survey_issues
from analysis.core.bar_events import bar_spans
from analysis.core.pose import (
    LANDMARKS,
    MEASURED_VIEWS,
    SIDE_SWAP,
    Capture,
    PoseSequence,
    mirror_for,
)
from analysis.core.repetitions import find_repetitions
from analysis.core.repetitions import find_swings as find_swings_of_hands
from analysis.core.signs import HANDS_AT_TOP, HANDS_SURE, other_hand
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
from analysis.estimators import Person, PoseEstimator
from analysis.frame_store import FrameStore
from analysis.survey import Survey, look_over, spread_frames, stature_px
from analysis.video import Frame, VideoInfo, frames, working_size

Progress = Callable[[str, float], None]
Window = tuple[float, float]
POSE_SHORT_SIDE = 720
STILLNESS_S = 0.8
TOLD_APART = ("swing", "rehearsal", "hold")
CLOSE_HZ, MOST_PICTURES = 20.0, 900
PASSER = 0.6  # of the golfer's height: somebody near enough to hide a swing


@dataclass(frozen=True)
class Stretch:
    """Landmarks of one stretch of film, and the spans of the repetitions in it."""

    pose: PoseSequence
    spans: list[Window]


@dataclass(frozen=True)
class Finding:
    """What a film holds.

    `kind` is that of the capture, or `setup` where somebody stands at address and
    never swings.
    """

    kind: str
    stretches: list[Stretch]
    quality: list[dict[str, Any]]


def find_swings(
    path: Path | str,
    info: VideoInfo,
    *,
    capture: Capture,
    network: PoseEstimator,
    clock: Any,
    tell: Progress,
    store: FrameStore | None = None,
    insisted: bool = False,
) -> Finding:
    """Look over a film and find its repetitions.

    Parameters
    ----------
    store : FrameStore, optional
        Keeps the grey frames of all stretches, for those who measure.
    insisted : bool
        A person has said that the clip is right: what would refuse it only warns.
    clock : Profiler
        Seconds are counted as `decode` and `pose`.
    tell : callable
        Called with a stage (`survey`, `pose`) and the share of this search, 0 to 1.
    """
    with clock.stage("decode"):
        survey = look_over(
            path,
            info,
            estimator=network,
            mirrored=capture.handedness == "left",
            progress=lambda share: tell("survey", 0.4 * share),
        )
        first, quality = survey, survey_issues(info, survey, capture)
        if refused(quality):
            survey, quality = judged(path, info, survey, capture, network)
    quality = insisted_on(quality) if insisted else quality
    if capture.view not in MEASURED_VIEWS or refused(quality):
        return Finding(capture.kind, [], quality)
    if survey is not first:
        survey = _closer_look(path, info, capture, network, clock)
    tell("pose", 0.4)
    look = _Look(path, info, capture, network, clock, store)
    stretches = look.stretches(survey, lambda share: tell("pose", 0.4 + 0.3 * share))
    if capture.kind in TOLD_APART and _count(stretches) < (capture.repetitions or 1):
        # what should be there and is not is looked for again, denser and with the heavy network
        closer = _closer_look(path, info, capture, network, clock)
        again = look.stretches(closer, lambda share: tell("pose", 0.7 + 0.3 * share))
        if _count(again) > _count(stretches):
            survey, stretches = closer, again
    if not _count(stretches):
        quality += [*_somebody_before(first, quality), _nothing_found(survey)]
        return Finding("setup", look.standing(survey, capture), quality)
    if capture.view == "face_on" and capture.kind != "bar":
        wrong = _hand_issue(next(s for s in stretches if s.spans))
        wrongs = [] if wrong is None else [wrong]
        quality += insisted_on(wrongs) if insisted else wrongs
    return Finding(capture.kind, stretches, quality)


@dataclass(frozen=True)
class _Look:
    """The heavy network on the stretches in which a coarser look saw hands rise."""

    path: Path | str
    info: VideoInfo
    capture: Capture
    network: PoseEstimator
    clock: Any
    store: FrameStore | None

    def stretches(self, survey: Survey, tell: Callable[[float], None]) -> list[Stretch]:
        windows = swing_windows(
            survey.time_s,
            survey.steady_px,
            stature_px=survey.stature_px(),
            kind=self.capture.kind,
        )
        out = []
        for k, window in enumerate(windows):
            share = partial(self._share, tell, k, len(windows))
            pose = self.pose(survey, window, share)
            if pose is not None:
                out.append(
                    Stretch(pose, spans_of(pose, view=self.capture.view, kind=self.capture.kind))
                )
        return out

    @staticmethod
    def _share(tell: Callable[[float], None], k: int, windows: int, done: float) -> None:
        tell((k + done) / windows)

    def standing(self, survey: Survey, capture: Capture) -> list[Stretch]:
        """Somebody who stands at address, where nobody swings."""
        still = still_moment(survey.time_s, survey.steady_px, stature_px=survey.stature_px())
        if still is None or capture.kind not in TOLD_APART:
            return []
        pose = self.pose(survey, (still - 0.6, still + 0.6), lambda done: None)
        return [] if pose is None else [Stretch(pose, spans_of(pose, view="", kind="setup"))]

    def pose(
        self, survey: Survey, window: Window, tell: Callable[[float], None]
    ) -> PoseSequence | None:
        wanted = _wanted(self.info, survey, window)
        if len(wanted) < 2:
            return None
        backdrop = survey.backdrop if survey.camera_moves else None
        with self.clock.stage("pose"):
            return heavy_pose(
                self.path,
                self.info,
                wanted,
                self.capture,
                self.network,
                backdrop,
                tell,
                self.store,
            )


def _closer_look(
    path: Path | str, info: VideoInfo, capture: Capture, network: PoseEstimator, clock: Any
) -> Survey:
    rate = min(CLOSE_HZ, MOST_PICTURES / max(info.duration_s, 1.0))
    with clock.stage("pose"):
        return look_over(
            path,
            info,
            estimator=network,
            mirrored=capture.handedness == "left",
            wanted=spread_frames(info, rate),
            quick=False,
        )


def _count(stretches: list[Stretch]) -> int:
    return sum(len(stretch.spans) for stretch in stretches)


def spans_of(pose: PoseSequence, *, view: str, kind: str) -> list[Window]:
    """Start and end of each repetition in heavy landmarks, in order."""
    if kind == "setup":
        return [(float(pose.time_s[0]), float(pose.time_s[-1]))]
    if kind == "bar":
        return bar_spans(pose, view=view)
    stature = stature_px(pose.xy_px)
    find = hold_spans if kind == "hold" else find_repetitions
    return [
        span
        for part in _uncut(pose, stature)
        for span in _with_stillness(find(part, stature_px=stature), float(part.time_s[0]))
    ]


def _wanted(info: VideoInfo, survey: Survey, window: tuple[float, float]) -> NDArray[np.int64]:
    return frames_to_measure(
        info.frame_times_s,
        window,
        coarse_time_s=survey.time_s,
        coarse_speed=hand_speed(survey.time_s, survey.steady_px) / survey.stature_px(),
    )


def rows_of(pose: PoseSequence, rows: NDArray[np.int64]) -> PoseSequence:
    parts: dict[str, Any] = {
        f.name: None if (values := getattr(pose, f.name)) is None else values[rows]
        for f in fields(pose)
        if f.name != "size_px"
    }
    return PoseSequence(**parts, size_px=pose.size_px)


_ABSENT = np.full(len(LANDMARKS), np.nan)
_NOBODY = Person(np.tile(_ABSENT[:, None], 2), _ABSENT, _ABSENT, np.tile(_ABSENT[:, None], 3))


def heavy_pose(
    path: Path | str,
    info: VideoInfo,
    wanted: NDArray[np.int64],
    capture: Capture,
    network: PoseEstimator,
    backdrop: Backdrop | None,
    tell: Callable[[float], None],
    store: FrameStore | None = None,
) -> PoseSequence:
    """Heavy landmarks of the wanted frames, in pixels of the working picture.

    With a backdrop, of a camera that moves, they are counted in its picture.
    """
    size = working_size(info, frame_store.SHORT_SIDE)
    scale = np.array(size) / np.array(working_size(info, POSE_SHORT_SIDE))
    rows: list[tuple[Frame, Person]] = []
    beside = None if store is None else (frame_store.SHORT_SIDE, store.keep)
    pictures = frames(path, info, wanted=wanted, short_side=POSE_SHORT_SIDE, beside=beside)
    places: list[NDArray[np.float64]] = []
    if backdrop is not None:
        pictures = _placed(pictures, backdrop, places)
    for frame, people in network.estimate(pictures, quick=False):
        light = Frame(frame.index, frame.time_s, np.zeros((0, 0), np.uint8))
        rows.append((light, people[0] if people else _NOBODY))
        if len(rows) % 8 == 0:
            tell(len(rows) / len(wanted))
    xy = np.array([p.xy_px * scale for _, p in rows])
    confidence = np.array([p.confidence for _, p in rows])
    depth = np.array([p.depth_px * scale[0] for _, p in rows])
    world = np.array([p.world_m for _, p in rows])
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
    return [rows_of(pose, np.arange(a, b)) for a, b in pairwise(edges)]


def _with_stillness(spans: list[tuple[float, float]], first_s: float) -> list[tuple[float, float]]:
    """Room before each repetition to see how long the golfer stood still."""
    roomy: list[tuple[float, float]] = []
    for start, end in spans:
        floor = roomy[-1][1] if roomy else first_s
        roomy.append((max(floor, start - STILLNESS_S), end))
    return roomy


def _somebody_before(survey: Survey, known: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Where no swing is seen because somebody passed: about as tall as the golfer, for a while.

    Who is half as tall walks far behind and hides nobody.
    """
    tall = survey.others > PASSER
    if tall.sum() < 2 or any(row["code"] == "several_people" for row in known):
        return []
    middle = np.flatnonzero(tall)[int(tall.sum()) // 2]
    when = float(survey.time_s[middle])
    return [issue("several_people", "warn", frame=int(survey.frame[middle]), time_s=when)]


def _nothing_found(survey: Survey) -> dict[str, Any]:
    middle = len(survey.frame) // 2
    return issue(
        "no_swing", "warn", frame=int(survey.frame[middle]), time_s=float(survey.time_s[middle])
    )


def _hand_issue(stretch: Stretch) -> dict[str, Any] | None:
    """Face on the hands rise away from the target, and finish toward it.

    Both told by the heavy network refuse; the top alone, of a film that ends there, warns.
    """
    start, end = stretch.spans[0]
    rows = np.flatnonzero((stretch.pose.time_s >= start) & (stretch.pose.time_s <= end))
    pose = rows_of(stretch.pose, rows)
    stature = stature_px(pose.xy_px)
    swings = find_swings_of_hands(pose, stature_px=stature)
    if swings:
        top_s, finish_s = swings[0].high_s, swings[0].after_s
    else:  # held at the top
        height = hand_height(pose.xy_px) / stature
        high = np.flatnonzero(height > np.fmin.accumulate(height) + 2 * RISE)
        if not len(high):
            return None
        top_s, finish_s = float(pose.time_s[high[0]]), float("inf")
    score, both = other_hand(pose, stature_px=stature, top_s=top_s, finish_s=finish_s)
    if not score > (HANDS_SURE if both else HANDS_AT_TOP):
        return None
    i = int(np.argmin(np.abs(pose.time_s - top_s)))
    level = "reject" if both else "warn"
    return issue("wrong_hand", level, frame=int(pose.frame[i]), time_s=float(pose.time_s[i]))
