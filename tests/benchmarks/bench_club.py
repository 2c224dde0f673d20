"""Where a club points, read from drawn films whose club is known in space.

late_back_*: pitch late in the backswing, down the line; lean_*: the handle's lean at impact,
face on, for true leans of −20 to 15°; `lean_slope` is that of told on true. late_back_others_*: the
same of other builds, clubs and cameras, on which nothing was chosen (`OTHERS_SEEN` are those that
were looked at).
"""

from __future__ import annotations

import statistics

import numpy as np

from analysis.core.club import measure_club
from analysis.core.events import find_events
from analysis.core.measures import Reading
from analysis.shaft import track_shaft
from tests.benchmarks.drawn_clubs import ClubFilm, film

FILMS = 24
OTHERS_SEEN = range(100, 124)
ASKED = (
    ("late_back", "down_the_line", "shaft_pitch_deg", "late_back", False),
    ("late_back_others", "down_the_line", "shaft_pitch_deg", "late_back", True),
    ("lean", "face_on", "handle_lean_deg", "impact", False),
)


def main() -> None:
    for name, view, measure, event, others in ASKED:
        told: list[float] = []
        true: list[float] = []
        spread: list[float] = []
        for seed in range(FILMS):
            drawn = film(seed, view, others=others)
            found = readings(drawn)[measure, event]
            if isinstance(found, str):
                print(f"  {name} {seed}: {found} for {drawn.figures[measure, event]:.0f}")
                continue
            told.append(found[0])
            spread.append(found[1])
            true.append(drawn.figures[measure, event])
        # a line that points up and one that points down are the same pitch
        off = [(a - b + 90) % 180 - 90 for a, b in zip(told, true, strict=True)]
        inside = [abs(e) <= 2 * u for e, u in zip(off, spread, strict=True)]
        print(f"figure {name}_seen {len(off) / FILMS:.3f} share")
        print(f"figure {name}_rms {statistics.fmean(e * e for e in off) ** 0.5:.2f} deg")
        print(f"figure {name}_bias {statistics.fmean(off):.2f} deg")
        print(f"figure {name}_in_2u {statistics.fmean(inside):.3f} share")
        print(f"figure {name}_u {statistics.median(spread):.2f} deg")
        slope = np.polyfit(true, np.add(true, off), 1)[0]
        print(f"figure {name}_slope {slope:.2f} ratio")


def readings(drawn: ClubFilm) -> dict[tuple[str, str], Reading]:
    """The figures of the club, read as the pipeline reads them."""
    pose, capture = drawn.pose, drawn.capture
    track = track_shaft(drawn.frames, pose, capture=capture)
    span = (float(pose.time_s[0]), float(pose.time_s[-1]))
    events = find_events(pose, track, capture=capture, window=span, **drawn.in_space)
    return measure_club(track, events, drawn.body, capture=capture)


if __name__ == "__main__":
    main()
