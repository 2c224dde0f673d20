"""Odd but honest films through the whole pipeline: `make bench ONLY=odd`.

One line each: what was said, how many figures lie further than two spreads of their difference
from the film unchanged, and the event that moved most. ODD_ONLY names some, by a part of theirs.
"""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.artifact import load
from analysis.core.pose import Capture
from analysis.estimators import MediaPipeEstimator, default_models_dir
from analysis.pipeline import analyse_video
from tests.analysis.film import Image, encode, pictures
from tests.benchmarks.odd_films import ODD, Clip, later_start, made

CLIPS = Path(__file__).resolve().parents[2] / "coaching" / "demo" / "clips"
CAPTURE = {
    "down_the_line": Capture("down_the_line", "swing", "right", 180.0),
    "face_on": Capture("face_on", "swing", "right", 180.0),
}
OTHER = {"down_the_line": "left_dtl", "face_on": "baseline_face_on"}
OWN = {"down_the_line": "baseline_dtl", "face_on": "baseline_face_on"}


def main() -> None:
    views = os.environ.get("ODD_VIEWS", "face_on").split(",")
    wanted = os.environ.get("ODD_ONLY", "").split(",")
    store = os.environ.get("ODD_STORE")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(store or folder)
        for view in views:
            before, clip = _unchanged(view, place)
            for name in [*ODD, "edit list"]:
                if any(part in name for part in wanted):
                    film = place / f"{view}_{name.replace(' ', '_')}.mp4"
                    if not film.exists():
                        _film(clip, name, film)
                    print(f"  {view}, {name}: {_told(film, view, before)}", flush=True)


def _film(clip: Clip, name: str, target: Path) -> None:
    if name != "edit list":
        made(clip, name, target)
        return
    whole = encode(target.with_suffix(".whole.mp4"), clip.rows, gop=30, crf=22)
    later_start(whole, target, 0.73)


def _unchanged(view: str, place: Path) -> tuple[dict[str, Any], Clip]:
    path = CLIPS / f"{OWN[view]}.mp4"
    stored, archive = place / f"{view}.json", place / f"{view}.npz"
    if not stored.exists():
        result = analyse_video(
            path, capture=CAPTURE[view], estimator=MediaPipeEstimator(), artifact_path=archive
        )
        stored.write_text(json.dumps(result))
    before = json.loads(stored.read_text())
    track = load(archive).arrays
    rows = list(pictures(path))
    shrunk = rows[0][1].shape[1] / load(archive).meta["size_px"][0]
    events = _events(before)
    return before, Clip(
        rows,
        events["top"],
        events["impact"],
        np.asarray(track["rep0/shaft/ball_px"]) * shrunk,
        _cut_out(),
        list(pictures(CLIPS / f"{OTHER[view]}.mp4")),
    )


def _cut_out() -> Any:
    """Which pixels are a golfer's, by the segmentation of the pose network."""
    import mediapipe as mp
    from mediapipe.tasks.python import BaseOptions
    from mediapipe.tasks.python.vision import PoseLandmarker, PoseLandmarkerOptions

    network = PoseLandmarker.create_from_options(
        PoseLandmarkerOptions(
            base_options=BaseOptions(str(default_models_dir() / "pose_heavy.task")),
            output_segmentation_masks=True,
        )
    )

    def mask(image: Image) -> NDArray[np.float32]:
        found = network.detect(mp.Image(image_format=mp.ImageFormat.SRGB, data=image))
        return np.asarray(found.segmentation_masks[0].numpy_view()).reshape(image.shape[:2])

    return mask


def _events(result: dict[str, Any]) -> dict[str, float]:
    told = result["reps"][-1]["events"] if result["reps"] else {}
    return {name: e["time_s"] for name, e in told.items() if e["time_s"] is not None}


def _told(film: Path, view: str, before: dict[str, Any]) -> str:
    result = analyse_video(film, capture=CAPTURE[view], estimator=MediaPipeEstimator())
    film.with_suffix(".json").write_text(json.dumps(result))
    codes = " ".join(f"{q['code']}:{q['level']}" for q in result["quality"])
    if not result["reps"]:
        return f"no repetition; {codes}"
    known = {(m["id"], m["event"]): m for m in before["reps"][0]["measures"]}
    told = [m for m in result["reps"][-1]["measures"] if m["value"] is not None]
    pairs = [(m, known[m["id"], m["event"]]) for m in told]
    off = [
        f"{m['id']}@{m['event']} {m['value'] - k['value']:+.1f}"
        for m, k in pairs
        if k["value"] is not None
        and abs(m["value"] - k["value"]) > 2 * np.hypot(m["uncertainty"], k["uncertainty"])
    ]
    mine, theirs = _events(result), _events(before)
    shift = mine.get("impact", 0.0) - theirs["impact"]
    moved = {e: mine[e] - theirs[e] - shift for e in mine if e in theirs}
    worst = max(moved, key=lambda e: abs(moved[e]), default="")
    absent = sorted(set(theirs) - set(mine))
    asked = sum(k["value"] is not None for k in known.values())
    return (
        f"{len(result['reps'])} repetition(s), {len(told)} of {asked} figures, {len(off)} off "
        f"{off}; {worst} {1000 * moved.get(worst, 0):+.0f} ms; without {absent}; {codes}"
    )


if __name__ == "__main__":
    main()
