"""A pose estimator that waits in the middle of a clip until it is let go."""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

from analysis.estimators import Person
from analysis.video import Frame
from tests.fakes import FakeEstimator

FRAMES_BEFORE = 5
PATIENCE_S = 120.0


class HeldEstimator(FakeEstimator):
    """Notes its process in `$HELD/waiting`, waits for `$HELD/go`, and notes
    itself in `$HELD/finished`, or in `$HELD/stopped` when its work was broken off."""

    def __init__(self, *, models_dir: Path | None = None) -> None:
        super().__init__(models_dir=models_dir)
        self.version = f"held-{os.getpid()}"

    def __exit__(self, *exc: object) -> None:
        note("finished" if exc[0] is None else "stopped")

    def estimate(
        self, frames: Iterable[Frame], *, quick: bool
    ) -> Iterator[tuple[Frame, list[Person]]]:
        for number, found in enumerate(super().estimate(frames, quick=quick)):
            if number == FRAMES_BEFORE:
                wait_to_be_let_go()
            yield found


def note(name: str) -> None:
    with (Path(os.environ["HELD"]) / name).open("a") as file:
        file.write(f"{os.getpid()}\n")


def noted(folder: Path, name: str) -> list[int]:
    path = folder / name
    return [int(line) for line in path.read_text().split()] if path.exists() else []


def wait_to_be_let_go() -> None:
    go = Path(os.environ["HELD"]) / "go"
    if not go.exists():
        note("waiting")
    until = time.monotonic() + PATIENCE_S
    while not go.exists() and time.monotonic() < until:
        time.sleep(0.1)
