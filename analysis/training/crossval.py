"""Errors on bodies that a member never saw, and the calibration drawn from them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.core import corrector
from analysis.core.corrector import FIGURES, MOTION, N_OUT, STANDING
from analysis.core.pose import JOINT, JOINTS
from analysis.training.network import Trainer
from analysis.training.table import COLUMN, EVENT_CODE, Array, Table, rows_of

# Told at an event: which of the network's figures, and against which other reading.
EVENT_FIGURES: dict[str, tuple[str, ...]] = {
    "address": (*STANDING, "trunk_tilt_deg", "side_tilt_deg", "camera_yaw_deg"),
    "top": tuple(m for m in MOTION if m != "trunk_tilt_deg"),
    "lead_arm_down": ("pelvis_to_ball_cm",),
    "impact": (
        "pelvis_turn_deg",
        "shoulder_turn_deg",
        "pelvis_to_ball_cm",
        "pelvis_rise_cm",
        "pelvis_sway_cm",
        "head_sway_cm",
        "head_rise_cm",
        "side_tilt_deg",
    ),
}
# Differences of two readings: (name, event) = plus - minus.
PAIRS: dict[tuple[str, str], tuple[tuple[str, str], tuple[str, str]]] = {
    ("separation_deg", "top"): (("shoulder_turn_deg", "top"), ("pelvis_turn_deg", "top")),
    ("pelvis_to_ball_down_cm", "impact"): (
        ("pelvis_to_ball_cm", "impact"),
        ("pelvis_to_ball_cm", "top"),
    ),
    ("trunk_tilt_change_deg", "impact"): (
        ("trunk_tilt_deg", "impact"),
        ("trunk_tilt_deg", "address"),
    ),
}
Key = tuple[str, str]


@dataclass(frozen=True)
class Errors:
    """Readings on unseen bodies, one row per swing that has the event.

    Parameters
    ----------
    swing : ndarray of int, shape (N,)
    truth, value, raw : ndarray, shape (N,)
        `raw` is the network's own standard deviation.
    """

    swing: NDArray[np.int64]
    truth: Array
    value: Array
    raw: Array

    @property
    def error(self) -> Array:
        return self.value - self.truth


def predict(
    trainer: Trainer, weights: Mapping[str, Array], swings: NDArray[np.int64]
) -> tuple[Array, Array]:
    """Means and standard deviations of all members, shape (E, N, N_OUT), other swings NaN."""
    inputs, rows = trainer.augmenter.plain(), rows_of(trainer.table.frame, trainer.table.swings)
    phase = trainer.table.frame["phase"].astype(float)
    n_members = len(weights["net/x.mean"])
    mean = np.full((n_members, len(phase), N_OUT), np.nan, np.float32)
    sd = mean.copy()
    for s in swings:
        r = rows[s]
        context = corrector.context_rows(phase[r])
        mean[:, r], sd[:, r] = corrector.members(
            inputs.tokens[r], inputs.swing[s], context, weights
        )
    return mean, sd


def pool(mean: Array, sd: Array) -> tuple[Array, Array]:
    """One mean and total standard deviation out of the members that answered."""
    centre = np.nanmean(mean, axis=0)
    return centre, np.sqrt(np.nanmean(sd**2, axis=0) + np.nanvar(mean, axis=0))


def event_errors(table: Table, trainer: Trainer, value: Array, sd: Array) -> dict[Key, Errors]:
    """Error of every figure at its events."""
    truth = trainer.augmenter.plain().target
    out: dict[Key, Errors] = {}
    for event, figures in (*EVENT_FIGURES.items(), ("impact", ("trunk_tilt_deg",))):
        swing, t, v, s = (
            np.array(a) for a in zip(*_at_event(table, event, truth, value, sd), strict=True)
        )
        for name in figures:
            k = FIGURES.index(name)
            out[name, event] = Errors(swing, t[:, k], v[:, k], s[:, k])
    for key, (plus, minus) in PAIRS.items():
        out[key] = _difference(out[plus], out[minus])
    del out["trunk_tilt_deg", "impact"]
    return out


def _at_event(
    table: Table, event: str, truth: Array, value: Array, sd: Array
) -> Iterator[tuple[int, Array, Array, Array]]:
    f = table.frame
    for s, rows in enumerate(rows_of(table.frame, table.swings)):
        if event != "address" and table.swings["setup_only"][s]:
            continue
        if event == "lead_arm_down":
            weight = _arm_level(f["true_xyz"][rows], f["phase"][rows])
        else:
            here = f["event"][rows] == EVENT_CODE[event]
            weight = here / max(here.sum(), 1)
        if weight is None or weight.sum() == 0:
            continue
        yield s, weight @ truth[rows], weight @ value[rows], weight @ sd[rows]


def _arm_level(xyz: Array, phase: Array) -> Array | None:
    """Weights of the two frames around the lead arm's level moment coming down."""
    height = xyz[:, COLUMN["wrist_lead"], 2] - xyz[:, COLUMN["shoulder_lead"], 2]
    down = np.flatnonzero((phase >= 1) & (phase <= 2))
    for a, b in zip(down[:-1], down[1:], strict=True):
        if height[a] > 0 >= height[b]:
            weight = np.zeros(len(phase))
            weight[a], weight[b] = -height[b], height[a]
            return weight / weight.sum()
    return None


def _difference(plus: Errors, minus: Errors) -> Errors:
    common, a, b = np.intersect1d(plus.swing, minus.swing, return_indices=True)
    return Errors(
        common,
        plus.truth[a] - minus.truth[b],
        plus.value[a] - minus.value[b],
        np.hypot(plus.raw[a], minus.raw[b]),
    )


def scale_of(errors: Errors) -> float:
    """Factor on the raw spread after which 95 % of unseen errors lie within two of it."""
    return float(np.quantile(np.abs(errors.error) / errors.raw, 0.95) / 2)


def joint_error_cm(table: Table, trainer: Trainer, value: Array, joint: str) -> Array:
    """Distance in the picture between corrected and true joint at top and impact, cm."""
    rows = np.isin(table.frame["event"], (EVENT_CODE["top"], EVENT_CODE["impact"]))
    k = len(FIGURES) + 2 * JOINT[joint]
    truth = trainer.augmenter.plain().target[rows, k : k + 2]
    stature = table.swings["stature"][table.frame["swing"][rows]]
    return np.linalg.norm(value[rows, k : k + 2] - truth, axis=1) * stature / 100


def report(
    view: str, errors: Mapping[Key, Errors], table: Table, scales: Mapping[Key, float]
) -> list[str]:
    """The table of errors of docs/measurement.md."""
    lines = ["measure | event | n | RMS | median | bias | slope | u/RMS | within 2u"]
    for (name, event), e in errors.items():
        unit = table.swings["stature"][e.swing] / 100 if name.endswith("_cm") else 1.0
        error, u = e.error * unit, e.raw * scales[name, event] * unit
        rms = float(np.sqrt(np.mean(error**2)))
        slope = np.polyfit(e.truth, e.value, 1)[0]
        lines.append(
            f"{name} | {event} | {len(error)} | {rms:.2f} | {np.median(np.abs(error)):.2f} | "
            f"{error.mean():+.2f} | {slope:.2f} | {np.sqrt(np.mean(u**2)) / rms:.2f} | "
            f"{100 * np.mean(np.abs(error) <= 2 * u):.1f} %"
        )
    return lines


def joint_report(table: Table, trainer: Trainer, value: Array) -> list[str]:
    lines = ["joint | RMS cm | median cm"]
    for joint in JOINTS:
        d = joint_error_cm(table, trainer, value, joint)
        lines.append(f"{joint} | {np.sqrt(np.mean(d**2)):.2f} | {np.median(d):.2f}")
    return lines
