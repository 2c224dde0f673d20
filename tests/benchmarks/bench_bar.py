"""Error of `bar_turn_deg` on drawn films: `make bench ONLY=bar`.

The method was tuned on seeds 1 to 60 of each view; scored are 61 to 120, which nothing was
tuned on. `BAR_TUNED=1` scores the others instead.
"""

from __future__ import annotations

import os
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np

from analysis.bar import track_bar
from analysis.core.bar import measure_bar
from analysis.core.events import find_events
from analysis.core.pose import Capture
from tests.analysis.drawn_bar import SIZE, body_of, drawn, film

VIEWS = ("down_the_line", "face_on")
BANDS = ((15, 35), (35, 55), (55, 75))
TUNED, HELD_OUT = range(1, 61), range(61, 121)


@dataclass(frozen=True)
class Told:
    """One film: its true turn, and what was read of it, degrees, or why nothing was."""

    turn: float
    reading: tuple[float, float] | str


def read(view: str, seed: int) -> Told:
    cv2.setNumThreads(1)
    bar = drawn(view, seed)
    frames, pose = film(bar, fps=12.0)
    capture = Capture(view, "bar", "right", 100 * bar.stature, 100 * bar.length)
    window = (float(pose.time_s[0]), float(pose.time_s[-1]))
    events = find_events(pose, None, capture=capture, window=window)
    track = track_bar(frames, pose, capture=capture)
    found = measure_bar(track, events, body_of(bar, pose), capture=capture, size_px=SIZE)
    return Told(bar.turn, found["bar_turn_deg", "top"])


def figures(name: str, told: list[Told]) -> None:
    pairs = [(t.reading[0] - t.turn, t.reading[1]) for t in told if not isinstance(t.reading, str)]
    print(f"figure {name}_films {len(told)} films")
    print(f"figure {name}_read {len(pairs) / max(len(told), 1):.3f} share")
    if not pairs:
        return
    off, u = np.array(pairs).T
    rms = float(np.sqrt(np.mean(off**2)))
    print(f"figure {name}_rms {rms:.2f} deg")
    print(f"figure {name}_median {np.median(np.abs(off)):.2f} deg")
    print(f"figure {name}_bias {off.mean():.2f} deg")
    print(f"figure {name}_coverage_2u {np.mean(np.abs(off) <= 2 * u):.3f} share")
    print(f"figure {name}_u_over_error {np.sqrt(np.mean(u**2)) / rms:.2f} ratio")


def main() -> None:
    seeds = TUNED if "BAR_TUNED" in os.environ else HELD_OUT
    jobs = [(view, seed) for view in VIEWS for seed in seeds]
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        told = list(pool.map(read, *zip(*jobs, strict=True)))
    for view in VIEWS:
        mine = [t for (v, _), t in zip(jobs, told, strict=True) if v == view]
        figures(f"bar_{view}", mine)
        for low, high in BANDS:
            figures(f"bar_{view}_{low}_{high}", [t for t in mine if low <= t.turn < high])
        why = Counter(t.reading for t in mine if isinstance(t.reading, str))
        print(f"bar_{view} absent: {dict(why)}")
