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


def errors() -> dict[str, NDArray[Any]]:
    """Readings on bodies unseen in training, one row per figure of a swing, as columns.

    `measure`, `event`, `view`, `truth`, `value`, `u` (one standard deviation), `body`, `clip`.
    """
    with np.load(FOLDER / "cv_errors.npz", allow_pickle=False) as stored:
        return {name: np.asarray(stored[name]) for name in stored.files}


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
