"""Motions without habits, told by members blind to their family: `make bench ONLY=motions`.

The readings are those of `analysis/weights/free_errors.npz`, written by a training. Families
`player` and `same hands` and the pairs of films were never learned from by any member.
"""

from __future__ import annotations

import numpy as np

from analysis import weights
from analysis.core.pose import MEASURED_VIEWS
from analysis.parting import difference_u
from tests.benchmarks.bench_people import Rows, chosen, figure, told_of

TOLD = (
    ("shoulder_turn_deg", "top"),
    ("pelvis_turn_deg", "top"),
    ("pelvis_turn_deg", "impact"),
    ("side_tilt_deg", "top"),
    ("balance_pct", "address"),
)
PAIRS = ("moved hands", "more turn")
TURN = 12.0


def main() -> None:
    rows = weights.free_errors()
    single = ~np.isin(rows["family"], PAIRS)
    swings = {name: column[single] for name, column in rows.items()}
    for family in np.unique(swings["family"]):
        here = chosen(swings, family=family)
        told_of(f"{family}_all".replace(" ", "_"), here)
        for measure, event in TOLD:
            for view in MEASURED_VIEWS:
                some = chosen(here, measure=measure, event=event, view=view)
                name = f"{family}_{measure}_{event}_{view}".replace(" ", "_")
                told_of(name, some, unit=measure.rsplit("_", 1)[1])
    for view in MEASURED_VIEWS:
        leaks(chosen(rows, view=view, family="moved hands"), view)
        changes(chosen(rows, view=view, family="more turn"), view)


def leaks(rows: Rows, view: str) -> None:
    """Degrees of shoulder turn told per degree of hands moved alone."""
    hands, told, true, _ = paired(rows, "shoulder_turn_deg")
    error = told - true
    figure(f"leaks_{view}", float(hands @ error / (hands @ hands)), "deg/deg")
    figure(f"leaks_{view}_pairs", len(hands), "pairs")


def changes(rows: Rows, view: str) -> None:
    """Share of pairs in which a true change of twelve degrees of pelvis turn is told."""
    _, told, true, u = paired(rows, "pelvis_turn_deg")
    spread = np.array([difference_u("pelvis_turn_deg", "top", view, *both) for both in u])
    turned = np.abs(true) > 0.6 * TURN
    seen = np.abs(told[turned]) > 1.96 * spread[turned]
    error = told - true
    figure(f"change_told_{view}", float(np.mean(seen & (told[turned] * true[turned] > 0))), "share")
    figure(f"change_rms_{view}", float(np.sqrt(np.mean(error**2))), "deg")
    figure(f"change_in_2u_{view}", float(np.mean(np.abs(error) <= 2 * spread)), "share")


def paired(rows: Rows, measure: str) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Second film minus first: true move of the hands, told and true figure, both films' u."""
    some = chosen(rows, measure=measure, event="top")
    own = dict(zip(some["clip"].tolist(), range(len(some["clip"])), strict=True))
    hands = chosen(rows, measure="hands_turn_deg", event="top")
    at = dict(zip(hands["clip"].tolist(), hands["truth"].tolist(), strict=True))
    firsts = [c for c in own if c % 2 == 0 and c + 1 in own and c in at and c + 1 in at]
    a, b = ([own[c + k] for c in firsts] for k in (0, 1))
    moved = np.array([(at[c + 1] - at[c] + 180) % 360 - 180 for c in firsts])
    told, true = (some[k][b].astype(float) - some[k][a].astype(float) for k in ("value", "truth"))
    return moved, told, true, np.stack([some["u"][a], some["u"][b]], axis=1).astype(float)
