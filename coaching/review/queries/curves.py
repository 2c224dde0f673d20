"""Joints and shaft of a measured clip, frame by frame, in shares of the picture."""

from __future__ import annotations

import logging
import math
from typing import Any

import numpy as np

from analysis import artifact
from analysis.core.artifact import Artifact
from analysis.core.geometry import centre_of_mass_m
from analysis.core.pose import JOINTS
from analysis.errors import MediaMissing
from analysis.files import local_path
from analysis.models import Run

logger = logging.getLogger(__name__)

# A joint's curve is kept to a ten-thousandth of the picture: a tenth of a pixel.
_DIGITS = 4

NO_CURVES: dict[str, Any] = {"frames": [], "joints": {}, "shaft": None, "ball": None}


def archive(run: Run | None) -> Artifact | None:
    """What a measuring run left, or None when there is none to be read."""
    if run is None or not run.artifact:
        return None
    try:
        with local_path(run.artifact) as path:
            return artifact.load(path)
    except (MediaMissing, ValueError):
        logger.warning("The archive of run %s cannot be read.", run.pk)
        return None


def curves(held: Artifact) -> dict[str, Any]:
    """All repetitions' curves in one table, by frame, as filmed."""
    parts = [_part(held, k) for k in range(len(held.meta["reps"]))]
    if not parts:
        return NO_CURVES
    frames = np.concatenate([part["frames"] for part in parts])
    frames, first = np.unique(frames, return_index=True)
    joined = {
        name: np.concatenate([part["points"][name] for part in parts])[first]
        for name in parts[0]["points"]
    }
    shaft = {end: _listed(joined.pop(f"shaft_{end}")) for end in ("grip", "head")}
    balls = [part["ball"] for part in parts if np.isfinite(part["ball"]).all()]
    return {
        "frames": frames.tolist(),
        "joints": {name: _listed(curve) for name, curve in joined.items()},
        "shaft": shaft,
        "ball": [round(float(v), _DIGITS) for v in balls[0]] if balls else None,
    }


def _part(held: Artifact, k: int) -> dict[str, Any]:
    px = held.of(k, "joints_px")
    points = dict(zip(JOINTS, np.moveaxis(px, 1, 0), strict=True))
    points["com"] = centre_of_mass_m(px)
    points["shaft_grip"], points["shaft_head"] = _shaft(held, k, len(px))
    ball = (
        held.of(k, "shaft/ball_px")
        if f"rep{k}/shaft/ball_px" in held.arrays
        else np.full(2, np.nan)
    )
    return {
        "frames": held.of(k, "frame"),
        "points": {name: _shares(held, held.in_frames(k, curve)) for name, curve in points.items()},
        "ball": _shares(held, ball),
    }


def _shaft(held: Artifact, k: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Grip and club head by frame; NaN where the shaft was not seen."""
    nothing = np.full((count, 2), np.nan)
    if f"rep{k}/shaft/frame" not in held.arrays:
        return nothing, nothing.copy()
    angle = np.radians(held.of(k, "shaft/angle_deg"))
    way = np.stack([np.cos(angle), -np.sin(angle)], axis=1)
    grip = held.of(k, "shaft/grip_px")
    far = grip + held.of(k, "shaft/length_px")[:, None] * way
    seen = np.isfinite(far).all(axis=1)
    rows, found = np.searchsorted(held.of(k, "frame"), held.of(k, "shaft/frame")), nothing
    head = nothing.copy()
    keep = seen & (rows < count)
    found[rows[keep]], head[rows[keep]] = grip[keep], far[keep]
    return found, head


def _shares(held: Artifact, points_px: np.ndarray) -> np.ndarray:
    """Pixels of the working picture as 0..1 of the picture as filmed."""
    shares: np.ndarray = points_px / np.array(held.meta["size_px"], float)
    if held.capture.handedness == "left":
        shares = shares.copy()
        shares[..., 0] = 1 - shares[..., 0]
    return shares


def _listed(curve: np.ndarray) -> list[list[float] | None]:
    rounded = np.round(curve, _DIGITS)
    return [point if math.isfinite(sum(point)) else None for point in rounded.tolist()]


def stature_share(held: Artifact) -> dict[str, float] | None:
    scales = [rep.get("scale_m_per_px") for rep in held.meta["reps"]]
    if not scales or not scales[0]:
        return None
    width, height = held.meta["size_px"]
    pixels = held.capture.stature_cm / 100 / scales[0]
    return {"x": round(pixels / width, _DIGITS), "y": round(pixels / height, _DIGITS)}
