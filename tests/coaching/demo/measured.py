"""The figures of the demo's own clips, measured once and kept, so that tests need no minutes.

`python -m tests.coaching.demo.measured` measures them anew: after the pipeline has changed.
"""

from __future__ import annotations

import json
from pathlib import Path

KEPT = Path(__file__).with_name("figures.json")
# How each clip is asked for in the demo: kind of film, hand.
CLIPS = {
    "baseline_dtl": ("down_the_line", "swing", "right"),
    "baseline_face_on": ("face_on", "swing", "right"),
    "halfway_dtl": ("down_the_line", "swing", "right"),
    "left_dtl": ("down_the_line", "swing", "left"),
    "setup_heels_dtl": ("down_the_line", "setup", "right"),
    "rehearsal_dtl": ("down_the_line", "rehearsal", "right"),
    "rehearsal_dtl_three": ("down_the_line", "rehearsal", "right"),
}
STATURE_CM = 180.0

Figures = dict[tuple[str, str], tuple[float, float] | str]


def kept() -> dict[str, list[Figures]]:
    """By clip and repetition: (value, one standard deviation) or the reason why not."""
    held = json.loads(KEPT.read_text())["clips"]
    return {clip: [dict(_rows(repetition)) for repetition in reps] for clip, reps in held.items()}


def _rows(repetition: dict[str, list[float] | str]):  # type: ignore[no-untyped-def]
    for figure, reading in repetition.items():
        measure, _, event = figure.partition("@")
        yield (measure, event), reading if isinstance(reading, str) else tuple(reading)


def told(repetition: dict) -> dict[str, list[float] | str]:  # type: ignore[type-arg]
    """A repetition of the pipeline in the kept form."""
    return {
        f"{row['id']}@{row['event']}": row["reason"]
        if row["value"] is None
        else [row["value"], row["uncertainty"]]
        for row in repetition["measures"]
    }


def measure() -> None:
    from analysis import PIPELINE_VERSION
    from analysis.core.pose import Capture
    from analysis.estimators import MediaPipeEstimator
    from analysis.pipeline import analyse_video
    from coaching.demo.acts import CLIPS as FOLDER

    clips = {}
    for clip, (view, kind, hand) in CLIPS.items():
        capture = Capture(view, kind, hand, STATURE_CM, None)
        result = analyse_video(
            FOLDER / f"{clip}.mp4", capture=capture, estimator=MediaPipeEstimator()
        )
        clips[clip] = [told(repetition) for repetition in result["reps"]]
    KEPT.write_text(json.dumps({"pipeline": PIPELINE_VERSION, "clips": clips}, indent=1) + "\n")


if __name__ == "__main__":
    import os

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django

    django.setup()
    measure()
