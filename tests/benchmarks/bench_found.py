"""Is every swing found, and no good film refused: `make bench ONLY=found`.

swing_found: share of filmed swings that a repetition holds, the lowest place of its hands within
0.12 s of the true impact; swing_count_right: films told to hold as many swings as they do;
false_refusals: good films refused. Once for filmed swings in many wrappings, once for drawn hands
in many manners (`_drawn`).

FOUND=full wraps every take in every picture and time; by default three takes are wrapped in a
part of them, the same one each time. FOUND_CLIPS is a folder of clips with truth files, else the
demo's. The network's answers are kept in `var/found`, so that a second run needs it only for
frames never seen.
"""

from __future__ import annotations

import os
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from analysis.capture import LIMITS, refused
from analysis.core.pose import Capture, PoseSequence
from analysis.core.repetitions import find_swings
from analysis.core.swings import frames_to_measure, hand_speed, swing_windows
from analysis.estimators import MediaPipeEstimator
from analysis.finding import Finding, rows_of, spans_of
from analysis.finding import find_swings as find_in_film
from analysis.pipeline import Profiler
from analysis.survey import RATE_HZ, stature_px
from analysis.video import probe
from tests.benchmarks import drawn_swings
from tests.benchmarks.wrappings import (
    PICTURES,
    TIMES,
    Kept,
    Remembered,
    Take,
    pictured,
    takes,
    wrapped,
)

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "coaching" / "demo" / "clips"
STORE = Path(os.environ.get("VAR_DIR", ROOT / "var")) / "found"
FULL = os.environ.get("FOUND") == "full"
DRAWN = 1000 if FULL else 300
STRIKE_S = 0.12  # how far the hands' lowest place may lie from impact


def main() -> None:
    clips = os.environ.get("FOUND_CLIPS")
    filmed = takes(Path(clips)) if clips else demo_takes()
    filmed = filmed if clips or FULL else filmed[:3]
    total = Counter[str]()
    for k, take in enumerate(filmed):
        total += of_take(take, k)
    told("", total)
    told("_drawn", of_drawn(DRAWN))


def demo_takes() -> list[Take]:
    right, left = ("down_the_line", "right", 180.0), ("down_the_line", "left", 179.2)
    return [
        Take(DEMO / "baseline_dtl.mp4", *right, (3.0,)),
        Take(DEMO / "baseline_face_on.mp4", "face_on", "right", 180.0, (3.0,)),
        Take(DEMO / "halfway_dtl.mp4", *right, (2.0,)),
        Take(DEMO / "left_dtl.mp4", *left, (1.8,)),
        Take(DEMO / "rehearsal_dtl.mp4", *right, (3.4,)),
        Take(DEMO / "woman_dtl_120.mp4", "down_the_line", "right", 176.7, (1.6,)),
    ]


def of_take(take: Take, k: int) -> Counter[str]:
    counts = Counter[str]()
    with MediaPipeEstimator() as network:
        for picture, time, lost in _chosen(take, k):
            store = STORE / take.path.stem / picture.replace(" ", "_")
            source = pictured(take, picture, store)
            timed = TIMES[time](probe(source).frame_times_s, take.swings)
            away = (timed.swings[0] - 1.4, timed.swings[0] - 1.35) if lost else None
            seen = Remembered(network, Kept(store), source, timed.rows, away)
            with tempfile.TemporaryDirectory() as folder:
                film = wrapped(source, timed.rows, Path(folder) / "film.mp4")
                if probe(film).fps < LIMITS.rate_reject:
                    continue  # slowed so much that refusing it is right
                finding = find_in_film(
                    film,
                    probe(film),
                    capture=Capture(take.view, "swing", take.handedness, take.stature_cm),
                    network=seen,
                    clock=Profiler(),
                    tell=lambda stage, share: None,
                )
            seen.__exit__()
            name = f"{take.path.stem}: {picture}, {time}{', wrist lost' if lost else ''}"
            counts += judged(name, finding, timed.swings)
    return counts


def _chosen(take: Take, k: int) -> Iterator[tuple[str, str, bool]]:
    """Picture, time and whether a wrist is lost: all, or a part that covers each over the takes."""
    pictures, times = list(PICTURES), list(TIMES)
    if FULL:
        yield from ((p, t, False) for p in pictures for t in times)
    else:
        some = [pictures[1 + (2 * k + j) % (len(pictures) - 1)] for j in range(2)]
        yield "as filmed", "as filmed", False
        yield from (
            ("as filmed", times[1 + (3 * k + 2 * j) % (len(times) - 1)], False) for j in range(7)
        )
        for n, picture in enumerate(some):
            yield picture, "as filmed", False
            yield picture, times[1 + (5 * k + 3 * n) % (len(times) - 1)], False
    yield "as filmed", "as filmed", True


def judged(name: str, finding: Finding, swings: tuple[float, ...]) -> Counter[str]:
    """Counts, and a line for each film that is not found as it is."""
    lows = []
    for stretch in finding.stretches:
        pose = stretch.pose
        for start, end in stretch.spans:
            rows = (pose.time_s >= start) & (pose.time_s <= end)
            part = rows_of(pose, np.flatnonzero(rows))
            lows += [s.low_s for s in find_swings(part, stature_px=stature_px(part.xy_px))[-1:]]
    found = sum(any(abs(low - when) < STRIKE_S for low in lows) for when in swings)
    reps = sum(len(stretch.spans) for stretch in finding.stretches)
    no = refused(finding.quality)
    if no or found < len(swings) or reps != len(swings):
        codes = " ".join(f"{q['code']}:{q['level']}" for q in finding.quality)
        print(f"  {name}: {found} of {len(swings)}, told {reps}; {codes}", flush=True)
    return Counter(
        films=1,
        swings=len(swings),
        found=0 if no else found,
        right=int(not no and reps == len(swings)),
        refused=int(no),
    )


def told(suffix: str, counts: Counter[str]) -> None:
    figure(f"swing_found{suffix}", counts["found"] / counts["swings"], "share")
    figure(f"swing_count_right{suffix}", counts["right"] / counts["films"], "share")
    figure(f"false_refusals{suffix}", counts["refused"] / counts["films"], "share")
    figure(f"films{suffix}", counts["films"], "films")


def of_drawn(count: int) -> Counter[str]:
    """First look at eight a second, then the frames that it chooses: no picture, no network."""
    counts = Counter[str]()
    for seed in range(count):
        film = drawn_swings.film(seed)
        lows, reps = [], 0
        for pose in _looked_at(film.pose, phase=seed % 5):
            for start, end in spans_of(pose, view="face_on", kind="swing"):
                reps += 1
                part = rows_of(pose, np.flatnonzero((pose.time_s >= start) & (pose.time_s <= end)))
                swings = find_swings(part, stature_px=stature_px(part.xy_px))
                lows += [s.low_s for s in swings[-1:]]
        found = sum(any(abs(low - when) < STRIKE_S for low in lows) for when in film.impacts)
        if found < len(film.impacts) or reps != len(film.impacts):
            print(f"  drawn {seed}: {found} of {len(film.impacts)}, told {reps}", flush=True)
        counts += Counter(
            films=1, swings=len(film.impacts), found=found, right=int(reps == len(film.impacts))
        )
    return counts


def _looked_at(pose: PoseSequence, *, phase: int) -> Iterator[PoseSequence]:
    rate = 1 / float(np.median(np.diff(pose.time_s)))
    coarse = rows_of(pose, np.arange(phase, len(pose), max(round(rate / RATE_HZ), 1)))
    tall = stature_px(coarse.xy_px)
    for window in swing_windows(coarse.time_s, coarse.xy_px, stature_px=tall, kind="swing"):
        chosen = frames_to_measure(
            pose.time_s,
            window,
            coarse_time_s=coarse.time_s,
            coarse_speed=hand_speed(coarse.time_s, coarse.xy_px) / tall,
        )
        yield rows_of(pose, chosen)


def figure(name: str, value: float, unit: str) -> None:
    print(f"figure {name} {value:.4f} {unit}", flush=True)


if __name__ == "__main__":
    main()
