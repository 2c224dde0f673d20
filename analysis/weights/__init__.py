"""Our own small weights, made by `python -m analysis.training.train`; see README.md here."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.corrector import Weights

FOLDER = Path(__file__).parent


@lru_cache(maxsize=4)
def load(view: str) -> Weights:
    """Weights and calibration of one view, read once per process.

    Raises
    ------
    FileNotFoundError
        For a view that is not measured.
    """
    with np.load(FOLDER / f"body_{view}.npz", allow_pickle=False) as stored:
        return unpacked({name: np.asarray(stored[name]) for name in stored.files})


@lru_cache(maxsize=4)
def covariances(view: str) -> dict[str, NDArray[Any]]:
    """How errors of joints and figures hang together, by event, for `core.fit`; alone, because
    a web process has no use for the network."""
    with np.load(FOLDER / f"body_{view}.npz", allow_pickle=False) as stored:
        own = [name for name in stored.files if name.startswith("covariance/")]
        return {name.removeprefix("covariance/"): np.asarray(stored[name]) for name in own}


def errors() -> dict[str, NDArray[Any]]:
    """Readings on bodies unseen in training, one row per figure of a swing, as columns.

    `measure`, `event`, `view`, `truth`, `value`, `u` (one standard deviation), `told` (false
    where it would be left out as mostly the average), `body`, `clip`.
    """
    with np.load(FOLDER / "cv_errors.npz", allow_pickle=False) as stored:
        return {name: np.asarray(stored[name]) for name in stored.files}


def free_errors() -> dict[str, NDArray[Any]]:
    """The same on motions without habits, each told by members blind to its family.

    One column more, `family`. Of pairs of films, whose clips are numbered 2k and 2k + 1,
    rows `hands_turn_deg` tell where the hands truly were at the top.
    """
    with np.load(FOLDER / "free_errors.npz", allow_pickle=False) as stored:
        return {name: np.asarray(stored[name]) for name in stored.files}


# One standard deviation of what no body network tells, as read on the demonstration clips
# and on drawn films (docs/measurement.md); of angles at an event with the event's own time.
OTHER_SD: dict[tuple[str, str], float] = {
    ("bar_turn_deg", "top"): 3.0,
    ("ball_position_pct", "address"): 7.5,
    ("ball_distance_cm", "address"): 3.0,
    ("handle_lean_deg", "address"): 1.4,
    ("handle_lean_deg", "impact"): 4.4,
    ("shaft_pitch_deg", "address"): 0.9,
    ("shaft_pitch_deg", "lead_arm_back"): 1.2,
    ("shaft_pitch_deg", "late_back"): 8.5,
    ("shaft_pitch_deg", "top"): 3.0,
    ("shaft_pitch_deg", "transition"): 3.0,
    ("shaft_pitch_deg", "lead_arm_down"): 2.8,
    ("steepening_deg", "lead_arm_down"): 3.0,
    ("shaft_aim_deg", "lead_arm_back"): 1.2,
    ("shaft_aim_deg", "late_back"): 8.5,
    ("shaft_aim_deg", "top"): 2.6,
    ("shaft_aim_deg", "transition"): 3.1,
    ("shaft_aim_deg", "lead_arm_down"): 3.0,
    ("shaft_aim_cm", "lead_arm_back"): 2.8,
    ("shaft_aim_cm", "lead_arm_down"): 7.5,
    ("shaft_past_level_deg", "top"): 3.0,
    ("wrist_set_deg", "lead_arm_back"): 5.5,
    ("wrist_set_deg", "top"): 7.0,
    ("wrist_set_deg", "lead_arm_down"): 7.0,
    ("wrist_set_deg", "delivery"): 5.0,
    ("tempo_ratio", "impact"): 0.19,
    ("backswing_s", "top"): 0.03,
    ("downswing_s", "impact"): 0.015,
    ("hand_speed_peak_m_s", "impact"): 0.6,
    ("hand_speed_peak_s", "impact"): 0.03,
    ("finish_held_s", "finish"): 0.17,
}


@lru_cache(maxsize=1)
def usual_sd() -> dict[tuple[str, str, str], float]:
    """How loosely each figure is usually read: median spread by measure, event and view.

    For choosing a target before anything of a student was measured.
    """
    archive = errors()
    found: dict[tuple[str, str, str], float] = {}
    keys = set(zip(*(archive[n].tolist() for n in ("measure", "event", "view")), strict=True))
    for key in keys:
        rows = np.logical_and.reduce(
            [archive[n] == part for n, part in zip(("measure", "event", "view"), key, strict=True)]
        )
        found[key] = float(np.median(archive["u"][rows]))
    for (measure, event), sd in OTHER_SD.items():
        for view in ("down_the_line", "face_on"):
            found[measure, event, view] = sd
    return found


def packed(weights: Weights) -> dict[str, NDArray[Any]]:
    """Matrices as whole numbers of a step per column: a quarter of the bytes."""
    out: dict[str, NDArray[Any]] = {}
    for name, value in weights.items():
        if name.endswith(".w"):
            step = np.abs(value).max(axis=-2, keepdims=True).astype(np.float32) / 127 + 1e-12
            out[name] = np.round(value / step).astype(np.int8)
            out[f"{name}.step"] = step
        else:
            out[name] = np.asarray(value)
    return out


def unpacked(stored: Weights) -> dict[str, NDArray[Any]]:
    """The matrices of `packed` as numbers again."""
    return {
        name: value * stored[f"{name}.step"] if f"{name}.step" in stored else value
        for name, value in stored.items()
        if not name.endswith(".step")
    }
