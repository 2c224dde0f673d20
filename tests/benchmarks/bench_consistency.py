"""Two readings of one moment: `make bench ONLY=consistency`.

self_consistency: share of figures of a clip that stay within two standard deviations of the
difference when the same film is mirrored, cropped, darkened or compressed again. What
all films of a swing share is in both readings alike and is left out of that difference.
"""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.core.pose import Capture
from analysis.estimators import MediaPipeEstimator
from analysis.parting import difference_u
from analysis.pipeline import analyse_video
from tests.analysis.film import changed
from tests.benchmarks.bench_people import figure

CLIPS = Path(__file__).resolve().parents[2] / "coaching" / "demo" / "clips"
SEEN = {"baseline_dtl": "down_the_line", "baseline_face_on": "face_on"}
STATURE_CM = 180.0


def main() -> None:
    agreed: list[bool] = []
    for name, view in SEEN.items():
        capture = Capture(view, "swing", "right", STATURE_CM)
        before = _told(CLIPS / f"{name}.mp4", capture)
        for change, told in _changes(CLIPS / f"{name}.mp4", capture):
            same = [
                abs(told[key][0] - value) <= 2 * difference_u(*key, view, u, told[key][1])
                for key, (value, u) in before.items()
                if key in told
            ]
            figure(f"self_consistency_{change}_{view}", float(np.mean(same)), "share")
            agreed += same
    figure("self_consistency", float(np.mean(agreed)), "share")
    figure("self_consistency_figures", len(agreed), "figures")


def _changes(clip: Path, capture: Capture) -> list[tuple[str, dict[tuple[str, str], Any]]]:
    other = replace(capture, handedness="left")
    with tempfile.TemporaryDirectory() as folder:
        made = {
            "mirrored": (changed(clip, Path(folder) / "m.mp4", lambda i: i[:, ::-1].copy()), other),
            "cropped": (changed(clip, Path(folder) / "c.mp4", _cropped), capture),
            "darkened": (changed(clip, Path(folder) / "d.mp4", _darkened), capture),
            "compressed": (changed(clip, Path(folder) / "r.mp4", crf=33), capture),
        }
        return [(name, _told(path, who)) for name, (path, who) in made.items()]


def _cropped(image: np.ndarray) -> np.ndarray:
    height, width = image.shape[:2]
    rows, columns = 2 * (height // 40), 2 * (width // 40)
    return np.ascontiguousarray(image[rows:, columns : width - columns])


def _darkened(image: np.ndarray) -> np.ndarray:
    return np.asarray(image * 0.6).astype(np.uint8)


def _told(path: Path, capture: Capture) -> dict[tuple[str, str], Any]:
    result = analyse_video(path, capture=capture, estimator=MediaPipeEstimator())
    rows = result["reps"][0]["measures"] if result["reps"] else []
    return {
        (m["id"], m["event"]): (m["value"], m["uncertainty"])
        for m in rows
        if m["value"] is not None
    }
