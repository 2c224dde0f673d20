"""Which poses the network has seen: main directions of the rendered ones, per event."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analysis.core.corrector import pose_of, strangeness
from analysis.training.crossval import Errors
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


def report(table: Table, tokens: Array, errors: Mapping[tuple[str, str], Errors]) -> list[str]:
    """Error of unseen swings by how strange their address and event look."""
    lines = [
        "| strangeness | swings | pelvis top RMS | shoulder top RMS | raw spread |",
        "| --- | --- | --- | --- | --- |",
    ]
    worst = np.zeros(len(table.swings["sid"]))
    for event in ("address", "top"):
        edge = np.quantile(scores := unseen_scores(table, tokens, event), EDGE)
        np.maximum.at(worst, table.frame["swing"][_rows(table, event)], scores / edge)
    pelvis, shoulder = errors["pelvis_turn_deg", "top"], errors["shoulder_turn_deg", "top"]
    for low, high in ((0, 0.5), (0.5, 0.75), (0.75, 1), (1, 1.5), (1.5, 2), (2, np.inf)):
        p, q = ((worst[e.swing] >= low) & (worst[e.swing] < high) for e in (pelvis, shoulder))
        if p.any():
            lines.append(
                f"| {low} to {high} | {p.sum()} | {_rms(pelvis.error[p]):.1f} | "
                f"{_rms(shoulder.error[q]):.1f} | {_rms(pelvis.raw[p]):.1f} |"
            )
    return lines


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(values**2)))


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
