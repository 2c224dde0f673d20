"""Whether the starter drills teach what they ask for, and how they are written.

perfect_doer_counts: lowest share, over every step that a camera judges, with which a
repetition of somebody who does exactly what the words say counts. typical_fault_counts:
highest share with which the usual fault does. drills_with_pictures: share drawn as a strip.
steps_no_camera_can_judge_but_asked: steps whose figure is read too loosely for either.
ladder_edit_taps: taps for a step with a criterion in the ladder's editor, counted on its page.
"""

from __future__ import annotations

import os
from typing import Any

LEAST, MOST = 0.8, 0.1


def main() -> None:
    # Playwright runs its own event loop in this thread; the live server has its own threads.
    os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    import django

    django.setup()
    for name, value, unit in figures():
        print(f"figure {name} {value} {unit}")
    print(f"figure ladder_edit_taps {ladder_edit_taps()} taps")


def ladder_edit_taps() -> int:
    """Counted in a browser, on the page where a coach writes a drill."""
    from tests.benchmarks.bench_review import room
    from tests.browser.taps import Taps, add_a_step

    with room() as (url, page):
        page.goto(f"{url}/drills/new/")
        return add_a_step(Taps(page, touch=False))


def figures(detail: bool = True) -> Any:
    from analysis.drawings.strips import FOLDER
    from coaching.practice import drills
    from tests.coaching.practice import acted

    played = list(acted.played())
    low = min(played, key=lambda p: p.counts)
    high = max(played, key=lambda p: p.fault)
    if detail:
        print(f"lowest: {low.slug}, step {low.number}; highest: {high.slug}, step {high.number}")
    yield "perfect_doer_counts", f"{low.counts:.3f}", "share"
    yield "typical_fault_counts", f"{high.fault:.3f}", "share"
    slugs = [drill["slug"] for drill in drills.starter()]
    drawn = sum((FOLDER / f"{slug}.svg").exists() for slug in slugs)
    yield "drills_with_pictures", f"{drawn / len(slugs):.3f}", "share"
    blind = [p for p in played if p.counts < LEAST or p.fault > MOST]
    yield "steps_no_camera_can_judge_but_asked", len(blind), "steps"


if __name__ == "__main__":
    main()
