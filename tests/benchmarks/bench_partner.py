"""The phone as a practice partner: does what it says agree with what the worker measures?

Each rendered clip is looked at as the phone does (small network, ten looks a second) and
measured as the worker does. For every figure that the phone may speak about, limits are laid
over the range that golfers have, above and below, and each judgement said aloud is held
against the worker's own figure.

practice_agrees: of the judgements said, the share that the worker's figure shares.
practice_said_share: of all judgements asked for, how many were said; the rest were only counted.
"""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

import numpy as np

from analysis.core.pose import Capture
from tests.benchmarks import bench_film

# Limits from the tenth to the ninetieth of a hundred rendered golfers.
RANGES = {
    "pelvis_sway_cm@top": ("face_on", -1.7, 6.8),
    "head_sway_cm@top": ("face_on", -3.7, 6.9),
    "hand_depth_cm@top": ("down_the_line", -30.0, 1.1),
    "knee_flex_deg@address": ("down_the_line", 15.1, 30.8),
    "trunk_tilt_deg@address": ("down_the_line", 25.9, 40.9),
}
STEPS = 15


def main() -> None:
    films, told = [], []
    for path in sorted(bench_film.CLIPS.glob("*.mp4")):
        truth = path.with_suffix(".truth.json")
        asked = bench_film._asked(path.stem)
        if not truth.exists() or asked["kind"] not in ("swing", "rehearsal", "setup"):
            continue
        stature = json.loads(truth.read_text())["stature_cm"]
        figures = _worker(path, asked, stature)
        frames = list(bench_film._frames(path))
        rows = [look["row"] for look in bench_film._looks(frames, lambda f, n: f)]
        looks = [rows[0]] * 15 + rows + [rows[-1]] * 8 + [rows[0]] * 25
        for name, (view, low, high) in RANGES.items():
            if view != asked["view"] or name not in figures:
                continue
            for limit in np.linspace(low, high, STEPS):
                for comparison in ("at_least", "at_most"):
                    films.append(_film(asked, stature, name, comparison, float(limit), looks))
                    over = figures[name] >= limit
                    told.append(over if comparison == "at_least" else not over)
    said = _say(films)
    spoken = [(one == "there") == worker for one, worker in zip(said, told, strict=True) if one]
    print(f"figure practice_judgements {len(said)} judgements")
    print(f"figure practice_agrees {np.mean(spoken):.3f} share")
    print(f"figure practice_said_share {len(spoken) / len(said):.3f} share")


def _film(
    asked: dict[str, Any], stature: float, name: str, comparison: str, limit: float, looks: Any
) -> dict[str, Any]:
    measure, event = name.split("@")
    criterion: dict[str, Any] = {"measure": measure, "event": event, "comparison": comparison}
    criterion |= {"low": limit, "high": None} if comparison == "at_least" else {"low": None}
    criterion.setdefault("high", limit)
    practised = {"stature": stature, "left": 30, "take": 3, "criteria": [criterion]}
    return {"asked": asked | practised, "looks": looks}


def _worker(path: Path, asked: dict[str, Any], stature: float) -> dict[str, float]:
    """What the worker measures of the first repetition."""
    from analysis.estimators import MediaPipeEstimator
    from analysis.pipeline import analyse_video

    result = analyse_video(
        path,
        capture=Capture(asked["view"], asked["kind"], asked["hand"], stature),
        estimator=MediaPipeEstimator(),
    )
    rows = result["reps"][0]["measures"] if result["reps"] else []
    return {f"{r['id']}@{r['event']}": r["value"] for r in rows if r["value"] is not None}


def _say(films: list[dict[str, Any]]) -> list[str]:
    done = subprocess.run(
        ["node", str(Path(__file__).with_name("partner_judge.mjs"))],  # noqa: S607  as for films
        input=json.dumps(films),
        capture_output=True,
        text=True,
        check=True,
    )
    return list(json.loads(done.stdout))
