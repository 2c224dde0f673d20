"""Landmarks of rendered clips with known truth, kept in tests/data."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from analysis.core.pose import Capture, Moment, PoseSequence

DATA = Path(__file__).parents[2] / "data"


def pose_of(clip: str) -> tuple[PoseSequence, dict[str, Any]]:
    """Pose and truth of a clip; landmarks are the network's own, uncorrected."""
    with np.load(DATA / f"landmarks_{clip}.npz") as z:
        pose = PoseSequence(
            time_s=z["time_s"],
            frame=z["frame"].astype(np.int64),
            xy_px=z["xy"] / 16,
            confidence=z["confidence"] / 1e4,
            size_px=(int(z["size_px"][0]), int(z["size_px"][1])),
            depth=z["depth"] / 8,
            world_m=z["world"] / 1e4,
        )
        return pose, json.loads(str(z["truth"]))


def capture_of(truth: dict[str, Any]) -> Capture:
    return Capture(truth["view"], truth["kind"], "right", truth["stature_cm"])


def moments_of(truth: dict[str, Any], spread_s: float = 0.008) -> dict[str, Moment]:
    return {name: Moment(t, spread_s) for name, t in truth["events"].items()}


def figures_of(truth: dict[str, Any]) -> dict[tuple[str, str], float]:
    return {(row["id"], row["event"]): row["value"] for row in truth["measures"]}
