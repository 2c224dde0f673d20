"""Who finds people in a picture: the protocol, and its MediaPipe adapter.

Every picture is looked at on its own (no smoothing over time: it lags behind a fast
swing). Two networks: a quick one to find the person and the swings, and the heavy one
for the frames that are measured.
"""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.video import Frame


def threads() -> int:
    """How many pictures of one clip are read at once: `$MEASURE_THREADS`, else 2.

    One for each core of the machine by all processes together is most; more only wait.
    """
    told = os.environ.get("MEASURE_THREADS", "")
    return min(max(int(told), 1), 64) if told.isdecimal() else 2


@dataclass(frozen=True)
class Person:
    """One person in one picture.

    `xy_px` (33, 2) in pixels of the given picture, y down; `depth_px` (33,) smaller is
    nearer; `confidence` (33,); `world_m` (33, 3), or None.
    """

    xy_px: NDArray[np.float64]
    depth_px: NDArray[np.float64]
    confidence: NDArray[np.float64]
    world_m: NDArray[np.float64]

    @property
    def height_px(self) -> float:
        return float(np.ptp(self.xy_px[:, 1]))


class PoseEstimator(Protocol):
    """Finds people. `estimate` keeps the order of the frames it is given and reads
    them lazily, so that only a few pictures are in memory at a time."""

    version: str

    def estimate(
        self, frames: Iterable[Frame], *, quick: bool
    ) -> Iterator[tuple[Frame, list[Person]]]: ...

    def __enter__(self) -> PoseEstimator: ...

    def __exit__(self, *exc: object) -> None: ...


def default_models_dir() -> Path:
    """`$MODELS_DIR`, else `models` in `$VAR_DIR`, which is `var` by default."""
    told = os.environ.get("MODELS_DIR")
    return Path(told) if told else Path(os.environ.get("VAR_DIR", "var")) / "models"


class MediaPipeEstimator:
    """The ready-made network, one landmarker per worker thread.

    Parameters
    ----------
    models_dir : Path, optional
        Folder with `pose_heavy.task` and `pose_full.task`; else `default_models_dir()`.

    Notes
    -----
    Networks live from `__enter__` to `__exit__`; it may be entered again.
    """

    version = "mediapipe-pose-heavy-1"

    def __init__(self, models_dir: Path | str | None = None) -> None:
        self._models = Path(models_dir) if models_dir else default_models_dir()
        self._lock = threading.Lock()

    def __enter__(self) -> MediaPipeEstimator:
        self._own = threading.local()
        self._open = ExitStack()
        self._quick: bool | None = None
        self._threads = threads()
        self._pool = ThreadPoolExecutor(self._threads, thread_name_prefix="pose")
        return self

    def __exit__(self, *exc: object) -> None:
        self._pool.shutdown()
        self._close_networks()

    def estimate(
        self, frames: Iterable[Frame], *, quick: bool
    ) -> Iterator[tuple[Frame, list[Person]]]:
        """People in each frame, the tallest first; two at most when quick, else one."""
        if quick is not self._quick:
            self._close_networks()  # both kinds at once would take 100 MB more
            self._own, self._quick = threading.local(), quick
        waiting: deque[tuple[Frame, Future[list[Person]]]] = deque()
        for frame in frames:
            waiting.append((frame, self._pool.submit(self._detect, frame.image, quick)))
            if len(waiting) > 2 * self._threads:
                done, people = waiting.popleft()
                yield done, people.result()
        for done, people in waiting:
            yield done, people.result()

    def _detect(self, image: NDArray[np.uint8], quick: bool) -> list[Person]:
        import mediapipe as mp

        found = self._landmarker(quick).detect(
            mp.Image(image_format=mp.ImageFormat.SRGB, data=image)
        )
        size = np.array([image.shape[1], image.shape[0]])
        people = [
            _person(marks, world, size)
            for marks, world in zip(found.pose_landmarks, found.pose_world_landmarks, strict=True)
        ]
        return sorted(people, key=lambda person: -person.height_px)

    def _landmarker(self, quick: bool) -> Any:
        if not hasattr(self._own, "network"):
            with self._lock:
                self._own.network = self._create(quick)
        return self._own.network

    def _create(self, quick: bool) -> Any:
        from mediapipe.tasks.python import BaseOptions
        from mediapipe.tasks.python.vision import PoseLandmarker, PoseLandmarkerOptions, RunningMode

        model = self._models / ("pose_full.task" if quick else "pose_heavy.task")
        if not model.exists():
            raise FileNotFoundError(f"{model} is missing: run `make setup` to build it")
        options = PoseLandmarkerOptions(
            base_options=BaseOptions(model_asset_path=str(model)),
            running_mode=RunningMode.IMAGE,
            num_poses=2 if quick else 1,
        )
        with _silent_stderr():
            return self._open.enter_context(PoseLandmarker.create_from_options(options))

    def _close_networks(self) -> None:
        with _silent_stderr():
            self._open.close()


def _person(marks: Any, world: Any, size: NDArray[np.int64]) -> Person:
    table = np.array([(m.x, m.y, m.z, m.visibility or 0.0) for m in marks], float)
    return Person(
        xy_px=table[:, :2] * size,
        depth_px=table[:, 2] * size[0],
        confidence=table[:, 3],
        world_m=np.array([(m.x, m.y, m.z) for m in world], float),
    )


@contextmanager
def _silent_stderr() -> Iterator[None]:
    """Loading and closing a network writes dozens of lines from C++ that say nothing."""
    saved, sink = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    os.dup2(sink, 2)
    try:
        yield
    finally:
        os.dup2(saved, 2)
        os.close(saved)
        os.close(sink)
