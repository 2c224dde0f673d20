"""Which poses the network has seen: main directions of the rendered ones, per event."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.core.corrector import pose_of, strangeness
from analysis.training.table import EVENT_CODE, Array, Table

DIRECTIONS = 16
EDGE = 0.95
Stats = dict[str, NDArray[np.floating]]


def describe(table: Table, tokens: Array) -> Stats:
    """Statistics that `core.corrector.strangeness` reads, edge set on unseen bodies."""
    out: Stats = {}
    for event in EVENT_CODE:
        rows = _rows(table, event)
        out |= _fit(tokens[rows], event)
        out[f"odd/{event}/edge"] = np.float32(
            np.quantile(unseen_scores(table, tokens, event), EDGE)
        )
    return out


def unseen_scores(table: Table, tokens: Array, event: str, *, folds: int = 6) -> Array:
    """Distance (edge 1) of every frame at an event from the poses of other bodies."""
    rows = _rows(table, event)
    body = table.swings["body"][table.frame["swing"][rows]]
    scores = np.empty(len(rows))
    for k in range(folds):
        held = body % folds == k
        stats = _fit(tokens[rows[~held]], event) | {f"odd/{event}/edge": np.float32(1)}
        scores[held] = strangeness(tokens[rows[held]].astype(float), event, stats)
    return scores


def _rows(table: Table, event: str) -> NDArray[np.intp]:
    return np.flatnonzero(table.frame["event"] == EVENT_CODE[event])


def _fit(tokens: Array, event: str) -> Stats:
    pose = pose_of(tokens).astype(float)
    mean = np.median(pose, axis=0)
    centred = np.clip(pose - mean, -0.5, 0.5)  # a collapsed frame must not draw the axes
    _, size, direction = np.linalg.svd(centred, full_matrices=False)
    spread = size[:DIRECTIONS] / np.sqrt(len(pose))
    rest = np.sum(size[DIRECTIONS:] ** 2) / len(pose)
    return {
        f"odd/{event}/mean": mean.astype(np.float32),
        f"odd/{event}/axes": (direction[:DIRECTIONS].T / spread).astype(np.float32),
        f"odd/{event}/rest": np.float32(rest),
    }
