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


EVENTS = ("address", "top", "impact")


def describe(table: Table, tokens: Array) -> tuple[Stats, dict[str, Array]]:
    """What habitual poses look like, and how strange every swing's are.

    Returns
    -------
    stats : dict
        What `core.corrector.strangeness` reads, edge set on unseen bodies.
    strange : dict of str to ndarray of shape (S,)
        Per event; a habitual swing's by the poses of other bodies. 0 where the event was
        not drawn.
    """
    habitual = table.swings["family"] == 0
    stats: Stats = {}
    strange = {}
    for event in EVENTS:
        rows = _rows(table, event)
        usual = habitual[table.frame["swing"][rows]]
        stats |= _fit(tokens[rows[usual]], event)
        unseen = unseen_scores(table, tokens, event)
        edge = np.quantile(unseen, EDGE)
        stats[f"odd/{event}/edge"] = np.float32(edge)
        scores = strangeness(tokens[rows].astype(float), event, stats)
        scores[usual] = unseen / edge
        strange[event] = _by_swing(table, rows, scores)
    return stats, strange


def _by_swing(table: Table, rows: NDArray[np.intp], scores: Array) -> Array:
    swing, n = table.frame["swing"][rows], len(table.swings["sid"])
    count = np.bincount(swing, minlength=n)
    return np.asarray(np.bincount(swing, scores, n) / np.maximum(count, 1))


def unseen_scores(table: Table, tokens: Array, event: str, *, folds: int = 6) -> Array:
    """Distance (edge 1) of every habitual frame at an event from the poses of other bodies."""
    rows = _rows(table, event)
    rows = rows[table.swings["family"][table.frame["swing"][rows]] == 0]
    body = table.swings["body"][table.frame["swing"][rows]]
    scores = np.empty(len(rows))
    for k in range(folds):
        held = body % folds == k
        if held.any():
            stats = _fit(tokens[rows[~held]], event) | {f"odd/{event}/edge": np.float32(1)}
            scores[held] = strangeness(tokens[rows[held]].astype(float), event, stats)
    return scores


def report(errors: Mapping[tuple[str, str], Errors], strange: Mapping[str, Array]) -> list[str]:
    """Error of unseen swings by how strange their address and top look."""
    lines = [
        "| strangeness | swings | pelvis top RMS | shoulder top RMS | told spread |",
        "| --- | --- | --- | --- | --- |",
    ]
    worst = np.maximum(strange["address"], strange["top"])
    pelvis, shoulder = errors["pelvis_turn_deg", "top"], errors["shoulder_turn_deg", "top"]
    for low, high in ((0, 0.5), (0.5, 0.75), (0.75, 1), (1, 1.5), (1.5, 2), (2, np.inf)):
        p, q = ((worst[e.swing] >= low) & (worst[e.swing] < high) for e in (pelvis, shoulder))
        if p.any() and q.any():
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
