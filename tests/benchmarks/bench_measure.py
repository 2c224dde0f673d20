"""Speed and memory of the measuring: `make bench ONLY=measure`.

Clips are made from one of the demo: a 20 s, 1080p, 60 fps
film of one swing between stretches of standing still. Naive is a fresh process that
decodes and runs the heavy network on every frame, one after another.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from analysis import weights
from analysis.core.pose import MEASURED_VIEWS
from tests.analysis.film import encode, pictures, scaled

ROOT = Path(__file__).resolve().parents[2]
CLIP = ROOT / "coaching" / "demo" / "clips" / "baseline_dtl.mp4"
OPTIONS = ["--view", "down_the_line", "--handedness", "right", "--stature-cm", "180"]
RATE = 60

NAIVE = """
import sys, av, mediapipe as mp, numpy as np
from mediapipe.tasks.python import BaseOptions
from mediapipe.tasks.python.vision import PoseLandmarker, PoseLandmarkerOptions, RunningMode
options = PoseLandmarkerOptions(
    base_options=BaseOptions(model_asset_path=sys.argv[2]), running_mode=RunningMode.VIDEO)
with PoseLandmarker.create_from_options(options) as network, av.open(sys.argv[1]) as clip:
    for i, frame in enumerate(clip.decode(video=0)):
        pixels = np.ascontiguousarray(frame.to_ndarray(format="rgb24"))
        image = mp.Image(image_format=mp.ImageFormat.SRGB, data=pixels)
        assert network.detect_for_video(image, i * 17).pose_landmarks
"""

CHECK = """
import resource, sys, time
from analysis.capture import check_video
from analysis.core.pose import Capture
from analysis.estimators import MediaPipeEstimator
import mediapipe, mediapipe.tasks.python.vision
start = time.process_time()
check_video(sys.argv[1], capture=Capture("down_the_line", "swing", "right", 180.0),
            estimator=MediaPipeEstimator())
print(time.process_time() - start)
"""


def unseen_bodies() -> None:
    """What the weights were worth on bodies that the members told with had never seen."""
    rows = weights.errors()
    error = rows["value"] - rows["truth"]
    told = np.isfinite(error) & np.isfinite(rows["u"])
    figure("coverage_2u", np.mean(np.abs(error[told]) <= 2 * rows["u"][told]), "share")
    for measure, event in (
        ("pelvis_turn_deg", "top"),
        ("pelvis_turn_deg", "impact"),
        ("shoulder_turn_deg", "top"),
    ):
        for view in MEASURED_VIEWS:
            chosen = told & (rows["measure"] == measure) & (rows["event"] == event)
            off = error[chosen & (rows["view"] == view)]
            name = f"{measure.removesuffix('_deg')}_{event}_{view}"
            figure(f"unseen_{name}_rms", np.sqrt(np.mean(off**2)), "deg")
            figure(f"unseen_{name}_median", np.median(np.abs(off)), "deg")


def main() -> None:
    unseen_bodies()
    with tempfile.TemporaryDirectory() as folder:
        long = film(Path(folder) / "long.mp4", seconds=20, factor=1.5)
        short = film(Path(folder) / "short.mp4", seconds=3.5, factor=1.5)
        ten = film(Path(folder) / "ten.mp4", seconds=10, factor=1.5)
        naive, (whole, result) = run_naive(long), analyze(long)
        figure("analyze_vs_naive", whole / naive, "ratio")
        figure("analyze_seconds", whole, "s")
        figure("naive_seconds", naive, "s")
        figure("own_stages_s", own_stages(result), "s")
        naive, (whole, _) = run_naive(short), analyze(short)
        figure("analyze_vs_naive_short", whole / naive, "ratio")
        figure("capture_check_cpu_s", check_cpu(ten), "s")
        big = film(Path(folder) / "big.mp4", seconds=6, factor=3.0)
        whole, _ = analyze(big)
        figure("analyze_4k_mb", memory_mb(big), "MB")
        figure("analyze_4k_seconds", whole, "s")
        growth(Path(folder))


def growth(folder: Path) -> None:
    """Seconds of the whole command against length, resolution and rate."""
    for seconds in (5, 10, 40):
        whole, _ = analyze(film(folder / "g.mp4", seconds=seconds, factor=1.0))
        figure(f"analyze_720p_{seconds}s_seconds", whole, "s")
    for factor, name in ((0.5, "360p"), (1.5, "1080p")):
        whole, _ = analyze(film(folder / "g.mp4", seconds=10, factor=factor))
        figure(f"analyze_{name}_10s_seconds", whole, "s")
    whole, _ = analyze(film(folder / "g.mp4", seconds=10, factor=1.0, keep_every=2))
    figure("analyze_720p_10s_30fps_seconds", whole, "s")


def film(path: Path, *, seconds: float, factor: float, keep_every: int = 1) -> Path:
    """One swing in the middle; before and after, its still frames to and fro."""
    return encode(path, _rows(seconds, factor, keep_every), crf=20)


def _rows(seconds: float, factor: float, keep_every: int) -> Iterator[tuple[float, np.ndarray]]:
    images = [image for _, image in pictures(CLIP)]
    total, n = round(seconds * RATE), len(images)
    before = max(0, (total - n) * 2 // 3)
    for k in range(0, total, keep_every):
        i = k - before
        if i < 0:
            i = abs((-i) % 60 - 30)
        elif i >= n:
            i = n - 1 - abs((i - n) % 20 - 10)
        yield k / RATE, scaled(images[i], factor) if factor != 1 else images[i]


def run_naive(clip: Path) -> float:
    model = Path(os.environ.get("VAR_DIR", ROOT / "var")) / "models" / "pose_heavy.task"
    return _seconds([sys.executable, "-c", NAIVE, str(clip), str(model)])


def analyze(clip: Path) -> tuple[float, dict]:
    out = clip.with_suffix(".json")
    seconds = _seconds(
        [sys.executable, "manage.py", "analyze", str(clip), *OPTIONS, "--json", str(out)]
    )
    return seconds, json.loads(out.read_text())


def own_stages(result: dict) -> float:
    seconds = result["seconds"]
    return (seconds["club"] + seconds["measure"]) / max(1, len(result["reps"]))


def check_cpu(clip: Path) -> float:
    done = subprocess.run(
        [sys.executable, "-c", CHECK, str(clip)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return float(done.stdout.strip().splitlines()[-1])


def memory_mb(clip: Path) -> float:
    """Peak resident memory of the command on its own."""
    code = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True,"
        " stderr=subprocess.DEVNULL);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)"
    )
    out = clip.with_suffix(".json")
    command = [sys.executable, "manage.py", "analyze", str(clip), *OPTIONS, "--json", str(out)]
    done = subprocess.run(
        [sys.executable, "-c", code, *command], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return float(done.stdout.strip().splitlines()[-1])


def _seconds(command: list[str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return time.perf_counter() - start


def figure(name: str, value: float, unit: str) -> None:
    print(f"figure {name} {value:.3f} {unit}", flush=True)


if __name__ == "__main__":
    main()
