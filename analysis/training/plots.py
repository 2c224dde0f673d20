"""Draw the errors on unseen bodies: `python -m analysis.training.plots --out docs`.

Needs matplotlib, which nothing at run time does.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis import weights
from analysis.training.crossval import limits_of_agreement

PICKED = {
    "down_the_line": (
        ("pelvis_turn_deg", "top"),
        ("pelvis_turn_deg", "impact"),
        ("shoulder_turn_deg", "top"),
        ("pelvis_to_ball_cm", "impact"),
        ("trunk_tilt_deg", "address"),
        ("balance_pct", "address"),
    ),
    "face_on": (
        ("pelvis_turn_deg", "top"),
        ("pelvis_turn_deg", "impact"),
        ("shoulder_turn_deg", "top"),
        ("pelvis_sway_cm", "impact"),
        ("side_tilt_deg", "impact"),
        ("stance_ratio", "address"),
    ),
}


def main() -> None:
    parser = argparse.ArgumentParser(description="Draw told against true on unseen bodies.")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    errors = weights.errors()
    for view, keys in PICKED.items():
        draw(errors, view, keys, options.out / f"errors_{view}.png")


def draw(
    errors: dict[str, NDArray[np.generic]], view: str, keys: tuple[tuple[str, str], ...], path: Path
) -> None:
    """Difference against the mean of told and true (Bland & Altman 1986), with its limits."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(2, 3, figsize=(11, 6.2), layout="constrained")
    for axis, (measure, event) in zip(axes.flat, keys, strict=True):
        rows = (errors["view"] == view) & (errors["measure"] == measure)
        rows &= errors["event"] == event
        value, truth = (errors[k][rows].astype(float) for k in ("value", "truth"))
        off = value - truth
        axis.plot((value + truth) / 2, off, ".", ms=3, color="#2b6777", alpha=0.5)
        axis.axhline(off.mean(), color="#c8553d", lw=1)
        for line in limits_of_agreement(off):
            axis.axhline(line, color="#c8553d", lw=1, ls="--")
        axis.set_title(f"{measure} @ {event}", fontsize=9)
        axis.set_xlabel("mean of told and true", fontsize=8)
        axis.set_ylabel("told - true", fontsize=8)
    figure.suptitle(f"{view}: unseen rendered bodies, limits of agreement", fontsize=10)
    figure.savefig(path, dpi=80)


if __name__ == "__main__":
    main()
