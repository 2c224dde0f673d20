"""Our own small weights, made by `python -m analysis.training.train`; see README.md here."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

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
        return {name: np.asarray(stored[name]) for name in stored.files}
