"""What the weights are worth on bodies never seen, habitual swings: `make bench ONLY=people`.

The readings are those of `analysis/weights/cv_errors.npz`, written by a training.
"""

from __future__ import annotations

import numpy as np

from analysis import weights
from analysis.core.pose import MEASURED_VIEWS

Rows = dict[str, np.ndarray]
TOLD = (
    ("pelvis_turn_deg", "top"),
    ("pelvis_turn_deg", "impact"),
    ("shoulder_turn_deg", "top"),
    ("side_tilt_deg", "top"),
    ("balance_pct", "address"),
    ("pelvis_rise_cm", "impact"),
    ("trunk_tilt_deg", "address"),
)


def main() -> None:
    rows = weights.errors()
    told_of("people_all", rows)
    for measure, event in TOLD:
        for view in MEASURED_VIEWS:
            some = chosen(rows, measure=measure, event=event, view=view)
            told_of(f"{measure}_{event}_{view}", some, unit=measure.rsplit("_", 1)[1], slope=True)


def chosen(rows: Rows, **wanted: str) -> Rows:
    """The rows in which every named column has its value."""
    kept = np.ones(len(rows["value"]), bool)
    for name, value in wanted.items():
        kept &= rows[name] == value
    return {name: column[kept] for name, column in rows.items()}


def told_of(name: str, rows: Rows, *, unit: str = "", slope: bool = False) -> None:
    """RMS, share within two u, u over RMS as a whole and in the least and most sure fifth."""
    truth, value, u = (rows[k].astype(float) for k in ("truth", "value", "u"))
    good = np.isfinite(truth + value + u) & (u > 0)
    truth, value, u = truth[good], value[good], u[good]
    if len(u) < 10:
        return
    error = value - truth
    figure(f"{name}_in_2u", float(np.mean(np.abs(error) <= 2 * u)), "share")
    if unit:
        figure(f"{name}_rms", _rms(error), unit)
        figure(f"{name}_u_over_rms", _rms(u) / _rms(error), "ratio")
        if slope:
            figure(f"{name}_slope", float(np.polyfit(truth, value, 1)[0]), "ratio")
            fifths = np.array_split(np.argsort(u, kind="stable"), 5)
            ratios = [_rms(u[rows]) / _rms(error[rows]) for rows in fifths]
            figure(f"{name}_u_over_rms_lowest_fifth", min(ratios), "ratio")
            figure(f"{name}_u_over_rms_highest_fifth", max(ratios), "ratio")


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def figure(name: str, value: float, unit: str) -> None:
    print(f"figure {name} {value:.3f} {unit}", flush=True)
