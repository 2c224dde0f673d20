"""A lesson film of a rendered swing: what a worker spends on it, and whether its length is right.

lesson_film_cpu_s_per_min: processor seconds for one minute of film with two overlays, a caption
and most of it played at a quarter of the speed. lesson_film_peak_mib: the most memory of the
process. lesson_film_length_off_ms: the file's own length against what was spoken.
lesson_film_mb_per_min: its size.
"""

from __future__ import annotations

import os
import resource
import tempfile
import time
from pathlib import Path
from typing import Any

MINUTES = 1
SPOKEN_S = 60.0 * MINUTES


def main() -> None:
    import django

    django.setup()
    import av
    from django.conf import settings

    from analysis import video
    from coaching.review.film import making
    from coaching.review.film.screen import Clip

    source = settings.BASE_DIR / "coaching" / "demo" / "clips" / "baseline_dtl.mp4"
    with tempfile.TemporaryDirectory() as folder:
        copy, film = Path(folder) / "copy.mp4", Path(folder) / "film.mp4"
        times = video.make_copy(source, copy)["frame_times_s"]
        plan = making.Plan(
            clips={1: Clip(copy, golfer(times))},
            first=1,
            events=walk(len(times)),
            captions="WEBVTT\n\n00:00.000 --> 00:59.000\nLook at the line behind the seat.\n",
            sound=None,
            length_s=SPOKEN_S,
            by_eye="",
        )
        begun = time.process_time()
        making.make(plan, film)
        spent = time.process_time() - begun
        with av.open(str(film)) as container:
            length_s = float((container.duration or 0) / av.time_base)
        size = film.stat().st_size
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"figure lesson_film_cpu_s_per_min {spent / MINUTES:.1f} s")
    print(f"figure lesson_film_peak_mib {peak:.0f} MiB")
    print(f"figure lesson_film_length_off_ms {1000 * abs(length_s - SPOKEN_S):.0f} ms")
    print(f"figure lesson_film_mb_per_min {size / 1e6 / MINUTES:.1f} MB")


def walk(frames: int) -> list[dict[str, Any]]:
    """Every ten seconds: two of standing, eight of slow motion."""
    events: list[dict[str, Any]] = [
        {"t": 0, "do": "overlay", "id": "seat", "on": True},
        {"t": 0, "do": "overlay", "id": "balance", "on": True},
        {"t": 0, "do": "speed", "value": 0.25},
    ]
    for start in range(0, int(SPOKEN_S), 10):
        events += [
            {"t": start, "do": "play", "on": False, "frame": 0},
            {"t": start + 2, "do": "play", "on": True, "frame": 0},
        ]
    assert frames > 1
    return events


def golfer(times: list[float]) -> dict[str, Any]:
    """What the player knows of a clip, with a few joints that stand still: only the work counts."""
    count = len(times)
    places = {"hip": (0.45, 0.5), "heel": (0.42, 0.7), "toe": (0.5, 0.7), "com": (0.46, 0.5)}
    joints = {
        name: [list(place)] * count
        for part, place in places.items()
        for name in (part, f"{part}_lead", f"{part}_trail")
    }
    return {
        "view": "down_the_line", "handedness": "right", "frame_times_s": times,
        "corrections": [], "stature_cm": 178.0, "stature_share": {"x": 0.8, "y": 0.6},
        "repetitions": [{"events": {"address": {"time_s": times[0]}}}],
        "curves": {"frames": list(range(count)), "joints": joints, "shaft": None, "ball": None},
    }  # fmt: skip


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    main()
