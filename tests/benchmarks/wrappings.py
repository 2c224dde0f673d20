"""One filmed swing in many wrappings: rates, drops, phases, speeds, frames and sizes.

A change of the picture (padding, crop, size, tilt of shape) is encoded once and looked at by the
real network. A change in time is made from that by choosing frames and giving them other
times, so the network's answers for those very frames serve again: pictures are looked at
one by one, and nothing depends on the time between them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice
from pathlib import Path

import av
import cv2
import numpy as np

from analysis.estimators import MediaPipeEstimator, Person
from analysis.survey import PART
from analysis.video import Frame
from tests.analysis.film import Image, changed, scaled

TICKS = Fraction(1, 90_000)
BATCH = 24  # pictures in memory


@dataclass(frozen=True)
class Take:
    """A filmed swing and what is true of it; `swings` are its impacts in seconds."""

    path: Path
    view: str
    handedness: str
    stature_cm: float
    swings: tuple[float, ...]


@dataclass(frozen=True)
class Row:
    """A frame of a wrapping: two of the take's and how far it lies between them."""

    time_s: float
    near: int
    far: int
    share: float = 0.0


@dataclass(frozen=True)
class Timed:
    """The frames of a wrapping and its impacts in seconds."""

    rows: list[Row]
    swings: tuple[float, ...]


# --- pictures ------------------------------------------------------------------------


def _landscape(image: Image) -> Image:
    """The upright picture in the middle of a wide one, as players of video show it."""
    height, width = image.shape[:2]
    wide = 2 * round(height * 16 / 9 / 2)
    side = (wide - width) // 2
    return cv2.copyMakeBorder(image, 0, 0, side, wide - width - side, cv2.BORDER_CONSTANT)


def _surrounded(image: Image) -> Image:
    """More room around the golfer, who fills less of the picture."""
    height, width = image.shape[:2]
    return cv2.copyMakeBorder(
        image, height // 4, height // 8, width // 4, width // 4, cv2.BORDER_REPLICATE
    )


def _closer(image: Image) -> Image:
    height, width = image.shape[:2]
    rows, columns = 2 * (height // 32), 2 * (width // 24)
    return np.ascontiguousarray(image[rows:, columns : width - columns])


def _shaped(wide: float, high: float) -> Callable[[Image], Image]:
    def change(image: Image) -> Image:
        height, width = image.shape[:2]
        return cv2.resize(image, (2 * round(width * wide / 2), 2 * round(height * high / 2)))

    return change


PICTURES: dict[str, tuple[Callable[[Image], Image], int]] = {
    "as filmed": (lambda image: image, 20),
    "landscape": (_landscape, 20),
    "surrounded": (_surrounded, 20),
    "closer": (_closer, 20),
    "360p": (lambda image: scaled(image, 0.5), 23),
    "1080p": (lambda image: scaled(image, 1.5), 23),
    "4K": (lambda image: scaled(image, 3.0), 28),
    "tall": (_shaped(1.0, 1.08), 20),
    "small": (_shaped(1.06, 0.96), 20),
    "chat": (lambda image: image, 34),
}


# --- times ---------------------------------------------------------------------------


def _played(times: np.ndarray, swings: Iterable[float], chosen: Iterable[int]) -> Timed:
    return Timed([Row(float(times[i]), i, i) for i in chosen], tuple(swings))


def _dropped(every: int, first: int) -> Callable[[np.ndarray, tuple[float, ...]], Timed]:
    return lambda times, swings: _played(
        times, swings, (i for i in range(len(times)) if (i + first) % every or not i)
    )


def _at_rate(rate: float) -> Callable[[np.ndarray, tuple[float, ...]], Timed]:
    def change(times: np.ndarray, swings: tuple[float, ...]) -> Timed:
        grid = np.arange(0, times[-1], 1 / rate)
        near = np.clip(np.searchsorted(times, grid, side="right") - 1, 0, len(times) - 2)
        share = (grid - times[near]) / (times[near + 1] - times[near])
        if rate <= 1.01 / float(np.median(np.diff(times))):
            near, share = near + (share > 0.5), 0 * share  # a camera takes no picture between
        rows = [
            Row(float(t), int(i), min(int(i) + 1, len(times) - 1), float(s))
            for t, i, s in zip(grid, near, share, strict=True)
        ]
        return Timed(rows, swings)

    return change


def _later(shift_s: float) -> Callable[[np.ndarray, tuple[float, ...]], Timed]:
    """Another phase of the first look: the film starts a little later."""

    def change(times: np.ndarray, swings: tuple[float, ...]) -> Timed:
        first = int(np.searchsorted(times, shift_s))
        start = float(times[first])
        rows = [Row(float(times[i]) - start, i, i) for i in range(first, len(times))]
        return Timed(rows, tuple(s - start for s in swings))

    return change


def _faster(factor: float) -> Callable[[np.ndarray, tuple[float, ...]], Timed]:
    return lambda times, swings: Timed(
        [Row(float(t) / factor, i, i) for i, t in enumerate(times)],
        tuple(s / factor for s in swings),
    )


def _three_times(pause_s: float) -> Callable[[np.ndarray, tuple[float, ...]], Timed]:
    """Three repetitions; between them the hands come down, or the film is cut (no pause)."""

    def change(times: np.ndarray, swings: tuple[float, ...]) -> Timed:
        gap, last = float(np.median(np.diff(times))), len(times) - 1
        rows: list[Row] = []
        impacts: list[float] = []
        start = 0.0
        for k in range(3):
            rows += [Row(start + float(t), i, i) for i, t in enumerate(times)]
            impacts += [start + s for s in swings]
            start += float(times[-1]) + gap
            down = np.arange(0, pause_s if k < 2 else 0, gap)
            for t in down:
                ease = 0.5 - 0.5 * np.cos(np.pi * t / pause_s)
                rows.append(Row(start + float(t), last, 0, float(ease)))
            start += len(down) * gap
        return Timed(rows, tuple(impacts))

    return change


TIMES: dict[str, Callable[[np.ndarray, tuple[float, ...]], Timed]] = {
    "as filmed": lambda times, swings: _played(times, swings, range(len(times))),
    **{f"one in {n} dropped, from {k}": _dropped(n, k) for n, k in ((11, 3), (11, 8), (4, 1))},
    **{f"{rate} a second": _at_rate(rate) for rate in (30, 50, 120, 240)},
    **{f"first look {ms} ms later": _later(ms / 1000) for ms in (31, 63, 94)},
    **{f"{factor} times as fast": _faster(factor) for factor in (0.6, 0.8, 1.3, 1.6)},
    "three times, cut": _three_times(0.0),
    "three times, hands lowered": _three_times(1.2),
}


# --- landmarks ------------------------------------------------------------------------


def lost_wrist(people: list[Person], share: float) -> list[Person]:
    """The golfer with one wrist and hand where the network puts a lost one: at the other hip."""
    from analysis.core.pose import LANDMARK

    if not people:
        return people
    golfer = people[0]
    xy = golfer.xy_px.copy()
    hand = [LANDMARK[f"{part}_right"] for part in ("wrist", "pinky", "index", "thumb")]
    feet = xy[[LANDMARK["ankle_left"], LANDMARK["ankle_right"]]].mean(axis=0)
    head = xy[LANDMARK["nose"]]
    xy[hand] += share * (feet - head)
    return [replace(golfer, xy_px=xy), *people[1:]]


class Kept:
    """Answers of the real network, kept on disk by picture of the take."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._file = folder / "people.npz"
        self._known: dict[str, np.ndarray] = {}
        if self._file.exists():
            with np.load(self._file) as stored:
                self._known = {name: stored[name] for name in stored.files}
        self._new = 0

    def get(self, frame: int, quick: bool) -> list[Person] | None:
        table = self._known.get(f"{frame}/{quick}")
        return None if table is None else [_person(row) for row in table]

    def put(self, frame: int, quick: bool, people: list[Person]) -> None:
        rows = [np.column_stack([p.xy_px, p.depth_px, p.confidence, p.world_m]) for p in people]
        self._known[f"{frame}/{quick}"] = np.array(rows).reshape(-1, 33, 7).astype(np.float32)
        self._new += 1

    def save(self) -> None:
        if self._new:
            np.savez(self._file, **self._known)
            self._new = 0


def _person(row: np.ndarray) -> Person:
    row = row.astype(float)
    return Person(row[:, :2], row[:, 2], row[:, 3], row[:, 4:])


def _between(a: list[Person], b: list[Person], share: float) -> list[Person]:
    if not a or not b or share in (0, 1):
        return a if share < 0.5 else b
    p, q = a[0], b[0]
    mixed = [
        (1 - share) * getattr(p, name) + share * getattr(q, name)
        for name in ("xy_px", "depth_px", "confidence", "world_m")
    ]
    return [Person(*mixed)]


class Remembered:
    """The estimator of a wrapping: each picture is the take's, looked at once.

    Parameters
    ----------
    lost : tuple of float, optional
        Start and end in seconds of a time in which one wrist is lost.
    """

    version = MediaPipeEstimator.version

    def __init__(
        self,
        network: MediaPipeEstimator,
        kept: Kept,
        source: Path,
        rows: list[Row],
        lost: tuple[float, float] | None = None,
    ) -> None:
        self._network, self._kept, self._source = network, kept, source
        self._rows, self._lost = rows, lost

    def __enter__(self) -> Remembered:
        return self

    def __exit__(self, *exc: object) -> None:
        self._kept.save()

    def estimate(
        self, frames: Iterable[Frame], *, quick: bool
    ) -> Iterator[tuple[Frame, list[Person]]]:
        pictures = iter(frames)
        while batch := list(islice(pictures, BATCH)):
            whole = [frame for frame in batch if frame.index != PART]
            needed = {i for frame in whole for i in self._of(frame)}
            self._look(
                sorted(i for i in needed if self._kept.get(i, quick) is None), quick, batch[0]
            )
            for frame in batch:
                # nobody was ever filmed beside the golfer
                yield frame, [] if frame.index == PART else self._people(frame, quick)

    def _people(self, frame: Frame, quick: bool) -> list[Person]:
        row = self._rows[frame.index]
        near, far = (self._kept.get(i, quick) or [] for i in (row.near, row.far))
        people = _between(near, far, row.share)
        if self._lost and self._lost[0] <= frame.time_s < self._lost[1]:
            people = lost_wrist(people, 0.4)
        return people

    def _of(self, frame: Frame) -> tuple[int, ...]:
        row = self._rows[frame.index]
        return (
            (row.near, row.far)
            if 0 < row.share < 1
            else (row.near if row.share < 0.5 else row.far,)
        )

    def _look(self, needed: list[int], quick: bool, like: Frame) -> None:
        from analysis.video import frames, probe

        if not needed:
            return
        pictures = frames(
            self._source,
            probe(self._source),
            wanted=np.array(needed, np.int64),
            short_side=min(like.image.shape[:2]),
        )
        for frame, people in self._network.estimate(pictures, quick=quick):
            self._kept.put(frame.index, quick, people)


# --- files ----------------------------------------------------------------------------


def pictured(take: Take, name: str, folder: Path) -> Path:
    """The take with its pictures changed, each of them decoding by itself; made once."""
    change, crf = PICTURES[name]
    target = folder / "take.mp4"
    if not target.exists():
        folder.mkdir(parents=True, exist_ok=True)
        changed(take.path, target.with_name("part.mp4"), change, gop=1, crf=crf)
        target.with_name("part.mp4").rename(target)
    return target


def wrapped(source: Path, rows: list[Row], target: Path) -> Path:
    """The chosen frames at their times, copied without encoding anew."""
    with av.open(str(source)) as film, av.open(str(target), "w") as out:
        stream = film.streams.video[0]
        packets = [(p.pts, bytes(p)) for p in film.demux(stream) if p.size]
        packets.sort(key=lambda pair: pair[0])
        copy = out.add_stream_from_template(stream)
        copy.time_base = TICKS
        for row in rows:
            packet = av.Packet(packets[row.near if row.share < 0.5 else row.far][1])
            packet.stream, packet.time_base, packet.is_keyframe = copy, TICKS, True
            packet.pts = packet.dts = round(row.time_s / TICKS)
            out.mux(packet)
    return target


def takes(folder: Path) -> list[Take]:
    """Clips with one swing each, from the truth files beside them."""
    out = []
    for path in sorted(folder.glob("*.truth.json")):
        truth = json.loads(path.read_text())
        if truth["kind"] == "swing" and truth["events"].get("impact") is not None:
            out.append(
                Take(
                    path.with_name(truth["clip"]),
                    truth["view"],
                    truth["handedness"],
                    truth["stature_cm"],
                    (truth["events"]["impact"],),
                )
            )
    return out
