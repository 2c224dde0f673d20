"""Errors on bodies that a member never saw, and the calibration drawn from them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from analysis.core import corrector
from analysis.core.body import fastest_s
from analysis.core.corrector import FIGURES, MOTION, N_OUT, PAIRS, STANDING
from analysis.core.fit import CLICK_SD_PCT, N_JOINTS, N_TOLD, condition
from analysis.core.from_joints import read
from analysis.core.measures import measures_of
from analysis.core.pose import JOINT, JOINTS, Moment
from analysis.core.spread import mostly_average
from analysis.training.augment import Inputs
from analysis.training.table import (
    COLUMN,
    EVENT_CODE,
    FAMILIES,
    FOR_TESTS,
    OTHER_BODIES,
    OURS,
    Array,
    Table,
    rows_of,
)

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
# The same at moments whose joints nobody puts right by hand: they need no covariance.
LATER_FIGURES: dict[str, tuple[str, ...]] = {"follow_through": ("lead_elbow_deg",)}
# Told from the joints, where the network has no output of its own for it.
JOINT_FIGURES: dict[str, tuple[str, ...]] = {
    "balance_side_pct": ("address", "top", "lead_arm_down", "impact", "finish"),
    "hands_thigh_cm": ("address",),
    "shoulder_to_feet_deg": ("address",),
    "lead_arm_up_deg": ("top",),
    "lead_forearm_deg": ("lead_arm_back", "top", "lead_arm_down", "delivery"),
    "hands_path_cm": ("lead_arm_down",),
}
# Face on says nothing of what lies toward the ball, and down the line of the rest.
_UNSEEN = {
    "down_the_line": ("balance_side_pct", "lead_arm_up_deg", "lead_forearm_deg"),
    "face_on": ("hands_thigh_cm", "hands_path_cm"),
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

    def of(self, rows: NDArray[np.bool_]) -> Errors:
        """The chosen rows."""
        return Errors(self.swing[rows], self.truth[rows], self.value[rows], self.raw[rows])

    @property
    def error(self) -> Array:
        return self.value - self.truth


def groups(bodies: NDArray[np.int64], partitions: int, count: int) -> list[NDArray[np.int64]]:
    """Bodies that each member does not see: every body is unseen once per partition."""
    out = []
    for p in range(partitions):
        shuffled = np.random.default_rng(5 + p).permutation(bodies)
        out += [shuffled[k::count] for k in range(count)]
    return out


def seen_by(
    swings: Mapping[str, Array], unseen: NDArray[np.int64], group: int
) -> NDArray[np.bool_]:
    """Swings that a member may learn from.

    Not a motion of a body in `unseen`, on whatever body; not the families of its group;
    nothing that is for tests.
    """
    blind_to = [n for n, g in FAMILIES.values() if g in (None, group)]
    test = (swings["body"] >= OTHER_BODIES) & (swings["body"] % 10 == FOR_TESTS)
    return ~np.isin(swings["from_body"], unseen) & ~np.isin(swings["family"], blind_to) & ~test


def blind_to(
    swings: Mapping[str, Array], unseen: NDArray[np.int64], group: int
) -> NDArray[np.bool_]:
    """Swings whose errors a member may tell: body, or family and its bodies, never seen."""
    own = [n for n, g in FAMILIES.values() if g in (None, group)]
    habitual = np.isin(swings["body"], unseen) & (swings["family"] == 0)
    test = (swings["body"] >= OTHER_BODIES) & (swings["body"] % 10 == FOR_TESTS)
    return np.asarray(habitual | np.isin(swings["family"], own) | test)


def predict(
    table: Table, inputs: Inputs, weights: Mapping[str, Array], blind: NDArray[np.bool_]
) -> tuple[Array, Array]:
    """Mean and total standard deviation by the members that are blind to each swing's body.

    Parameters
    ----------
    blind : ndarray of bool, shape (members, swings)

    Returns
    -------
    value, raw : ndarray, shape (N, N_OUT)
    """
    phase = table.frame["phase"].astype(float)
    value, raw = np.empty((2, len(phase), N_OUT), np.float32)
    for s, rows in enumerate(rows_of(table.frame, table.swings)):
        context = corrector.context_rows(phase[rows])
        who = np.flatnonzero(blind[:, s])
        own = {k: v[who] if k.startswith("net/") else v for k, v in weights.items()}
        mean, sd = corrector.members(inputs.tokens[rows], inputs.swing[s], context, own)
        value[rows] = mean.mean(axis=0)
        raw[rows] = np.sqrt((sd**2).mean(axis=0) + mean.var(axis=0))
    return value, raw


def event_errors(table: Table, truth: Array, value: Array, sd: Array) -> dict[Key, Errors]:
    """Error of every figure at its events."""
    out: dict[Key, Errors] = {}
    listed = (*EVENT_FIGURES.items(), *LATER_FIGURES.items(), ("impact", ("trunk_tilt_deg",)))
    for event, figures in listed:
        swing, t, v, s = (
            np.array(a) for a in zip(*_at_event(table, event, truth, value, sd), strict=True)
        )
        for name in figures:
            k = FIGURES.index(name)
            out[name, event] = Errors(swing, t[:, k], v[:, k], s[:, k])
    for name, (plus, minus) in PAIRS.items():
        out[name, plus[1]] = _difference(out[plus], out[minus])
    del out["trunk_tilt_deg", "impact"]
    return out


def joint_errors(view: str, table: Table, value: Array, raw: Array) -> dict[Key, Errors]:
    """Error of every figure that is told from the joints, as `core.body` tells it.

    Parameters
    ----------
    value, raw : ndarray, shape (N, N_OUT)
        From `predict`.
    """
    solid = slice(len(FIGURES) + N_JOINTS, None)
    found: dict[Key, list[tuple[float, ...]]] = {}
    for s, rows in enumerate(rows_of(table.frame, table.swings)):
        time_s, events = _moments(table, s, rows)
        share = 100 / table.swings["stature"][s]
        true = 100 * share * table.frame["true_xyz"][rows][:, OURS]
        told, spread = (
            v[rows][:, solid].reshape(len(rows), -1, 3).astype(float) for v in (value, raw)
        )
        still = table.frame["event"][rows] == EVENT_CODE["address"]
        told[still] = told[still].mean(axis=0)
        for name, moments in JOINT_FIGURES.items():
            if name in FIGURES or name in _UNSEEN[view]:
                continue
            for event in moments:
                if event not in events:
                    continue
                here = {"time_s": time_s, "events": events}
                known = read(name, event, joints=true, joints_sd=0 * spread, **here)
                got = read(name, event, joints=told, joints_sd=spread, **here)
                if np.isfinite([known.value, got.value, got.raw]).all():
                    found.setdefault((name, event), []).append((s, known.value, got.value, got.raw))
    return {key: _columns(rows) for key, rows in found.items()}


def _columns(rows: list[tuple[float, ...]]) -> Errors:
    swing, truth, value, raw = (np.array(column) for column in zip(*rows, strict=True))
    return Errors(swing.astype(np.int64), truth, value, raw)


def _moments(table: Table, s: int, rows: NDArray[np.intp]) -> tuple[Array, dict[str, Moment]]:
    """Times of a swing's frames, strictly rising, and of those events that were drawn."""
    f = table.frame
    time_s = f["t"][rows].astype(float) + 1e-6 * np.arange(len(rows))
    codes = EVENT_CODE | {"lead_arm_back": 2, "delivery": 5, "finish": 9}
    if table.swings["setup_only"][s]:
        codes = {"address": 0}
    events = {
        name: Moment(float(time_s[f["event"][rows] == code].mean()), 0.0)
        for name, code in codes.items()
        if (f["event"][rows] == code).any()
    }
    weight = None if len(codes) == 1 else _arm_level(f["true_xyz"][rows], f["phase"][rows])
    if weight is not None:
        events["lead_arm_down"] = Moment(float(weight @ time_s), 0.0)
    return time_s, events


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
    for a, b in pairwise(down):
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


def joint_error_cm(table: Table, truth: Array, value: Array, joint: str) -> Array:
    """Distance in the picture between corrected and true joint at top and impact, cm."""
    rows = np.isin(table.frame["event"], (EVENT_CODE["top"], EVENT_CODE["impact"]))
    k = len(FIGURES) + 2 * JOINT[joint]
    truth = truth[rows, k : k + 2]
    stature = table.swings["stature"][table.frame["swing"][rows]]
    return np.linalg.norm(value[rows, k : k + 2] - truth, axis=1) * stature / 100


def honest_coverage(errors: Errors, body: NDArray[np.int64]) -> float:
    """Share within two spreads whose factor was set on the other half of the bodies."""
    half = np.isin(body[errors.swing], np.unique(body)[::2])
    inside = np.empty(len(half), bool)
    for side in (half, ~half):
        factor = np.quantile(np.abs(errors.error[~side]) / errors.raw[~side], 0.95) / 2
        inside[side] = np.abs(errors.error[side]) <= 2 * factor * errors.raw[side]
    return float(inside.mean())


def peak_errors(table: Table, value: Array) -> dict[Key, Errors]:
    """When the lines turn fastest, in seconds, against the true curve on the same frames."""
    out: dict[Key, Errors] = {}
    for name in ("pelvis_turn_deg", "shoulder_turn_deg"):
        k, found = FIGURES.index(name), []
        for s, rows in enumerate(rows_of(table.frame, table.swings)):
            time_s, phase = table.frame["t"][rows].astype(float), table.frame["phase"][rows]
            if table.swings["setup_only"][s] or not ((phase > 1) & (phase < 2)).any():
                continue
            top, impact = np.interp([1.0, 2.0], phase, time_s)
            true = fastest_s(time_s, table.truth[rows, k], top, impact)
            told = fastest_s(time_s, value[rows, k].astype(float), top, impact)
            if true is not None and told is not None:
                found.append((s, impact - true[0], impact - told[0], told[1]))
        swing, truth, told_s, raw = (np.array(column) for column in zip(*found, strict=True))
        out[name, "peak"] = Errors(swing.astype(np.int64), truth, told_s, raw)
    return out


def told(key: Key) -> Key:
    """Name and event under which a row is shown to people."""
    name, event = key
    return (name.replace("_turn_deg", "_speed_peak_s"), "impact") if event == "peak" else key


def report(view: str, errors: Mapping[Key, Errors], table: Table) -> list[str]:
    """What a training reached: figures that this view shows, and the camera's yaw."""
    shown = {(m.id, m.event) for m in measures_of(view, "swing")} | {("camera_yaw_deg", "address")}
    lines = [
        "| measure | event | n | RMS | median | limits of agreement | slope | u/RMS | in 2u |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for key, e in errors.items():
        if told(key) not in shown:
            continue
        unit = table.swings["stature"][e.swing] / 100 if key[0].endswith("_cm") else 1.0
        error, u = e.error * unit, e.raw * unit
        rms = float(np.sqrt(np.mean(error**2)))
        low, high = limits_of_agreement(error)
        slope = np.polyfit(e.truth, e.value, 1)[0]
        lines.append(
            f"| `{told(key)[0]}` | {told(key)[1]} | {len(error)} | {_digits(rms)} | "
            f"{_digits(np.median(np.abs(error)))} | {_digits(low)} to {_digits(high)} | "
            f"{slope:.2f} | "
            f"{np.sqrt(np.mean(u**2)) / rms:.2f} | "
            f"{100 * honest_coverage(e, table.swings['body']):.1f} % |"
        )
    return lines


def limits_of_agreement(error: Array) -> tuple[float, float]:
    """Mean difference -+ 1.96 standard deviations.

    References
    ----------
    Bland JM, Altman DG. Lancet 1986;327(8476):307-310.
    """
    low, high = error.mean() + np.array([-1.96, 1.96]) * error.std(ddof=1)
    return float(low), float(high)


def _digits(value: float) -> str:
    return f"{value:.2f}" if abs(value) < 3 else f"{value:.1f}"


def rows_for_archive(
    view: str, errors: Mapping[Key, Errors], table: Table, added: Mapping[str, Array]
) -> dict[str, Array]:
    """One row per figure of an unseen swing, in the units shown to people.

    `told` is false where the figure would be left out as mostly the average, by `added`,
    what the weights keep.

    Ratios and times to a thousandth, what is told in whole degrees, centimetres or percent
    to a hundredth.
    """
    shown = {(m.id, m.event) for m in measures_of(view, "swing")}
    columns: dict[str, list[Array]] = {}
    for key, e in errors.items():
        if told(key) not in shown:
            continue
        unit = table.swings["stature"][e.swing] / 100 if key[0].endswith("_cm") else 1.0
        n, places = len(e.swing), 3 if told(key)[0].endswith(("_ratio", "_s")) else 2
        for name, values in {
            "measure": np.full(n, told(key)[0], "U24"),
            "event": np.full(n, told(key)[1], "U14"),
            "view": np.full(n, view, "U13"),
            "truth": np.round(e.truth * unit, places).astype(np.float32),
            "value": np.round(e.value * unit, places).astype(np.float32),
            "u": np.round(e.raw * unit, places).astype(np.float32),
            "told": ~mostly_average(e.raw, added, "/".join(key)),
            "body": table.swings["body"][e.swing].astype(np.int16),
            "clip": table.swings["sid"][e.swing].astype(np.int32),
        }.items():
            columns.setdefault(name, []).append(values)
    return {name: np.concatenate(parts) for name, parts in columns.items()}


def joint_report(table: Table, truth: Array, value: Array) -> list[str]:
    lines = ["| joint | RMS cm | median cm |", "| --- | --- | --- |"]
    for joint in JOINTS:
        d = joint_error_cm(table, truth, value, joint)
        lines.append(f"| {joint} | {np.sqrt(np.mean(d**2)):.2f} | {np.median(d):.2f} |")
    return lines


def covariances(table: Table, truth: Array, value: Array) -> dict[str, Array]:
    """`error_covariance` of every event under the name that `core.fit` reads."""
    return {
        f"covariance/{event}": error_covariance(table, truth, value, event).astype(np.float32)
        for event in EVENT_FIGURES
    }


def error_covariance(table: Table, truth: Array, value: Array, event: str) -> Array:
    """How errors of figures and drawn joints hang together at an event, see `core.fit`.

    Returns
    -------
    ndarray, shape (N, N)
        Errors are clipped at four robust standard deviations, so that single collapsed
        poses do not draw it.
    """
    error = _joint_and_figure_errors(table, truth, value, event)
    rows = sorted(error)
    columns = np.array([error[s] for s in rows])
    if event != "address":
        standing = _joint_and_figure_errors(table, truth, value, "address")
        columns = np.hstack([columns, np.array([standing[s][N_TOLD:] for s in rows])])
    columns -= np.median(columns, axis=0)
    limit = 4 * 1.4826 * np.median(np.abs(columns), axis=0) + 1e-9
    return np.cov(np.clip(columns, -limit, limit), rowvar=False)


def _joint_and_figure_errors(
    table: Table, truth: Array, value: Array, event: str
) -> dict[int, Array]:
    """Error of figures, then joints in the picture, by swing."""
    columns = [*range(N_TOLD), *range(len(FIGURES), len(FIGURES) + N_JOINTS)]
    return {s: (v - t)[columns] for s, t, v, _ in _at_event(table, event, truth, value, value)}


def click_report(table: Table, truth: Array, value: Array) -> list[str]:
    """What is left of the error once a person has put both hips, or shoulders, right.

    The covariance comes from half of the bodies, the swings from the other half.
    """
    lines = [
        "| figure | event | moved | RMS before | RMS after |",
        "| --- | --- | --- | --- | --- |",
    ]
    rng = np.random.default_rng(0)
    for figure, event, joint in (
        ("pelvis_turn_deg", "top", "hip"),
        ("pelvis_turn_deg", "impact", "hip"),
        ("shoulder_turn_deg", "top", "shoulder"),
    ):
        error = _joint_and_figure_errors(table, truth, value, event)
        swings = np.array(sorted(error))
        rows = np.array([error[s] for s in swings])
        even = np.isin(table.swings["body"][swings], np.unique(table.swings["body"])[::2])
        covariance, k = np.cov(rows[even], rowvar=False), FIGURES.index(figure)
        left = []
        for e in rows[~even]:
            steps = {
                f"{joint}_{side}": rng.normal(0, CLICK_SD_PCT, 2)
                - e[N_TOLD + 2 * JOINT[f"{joint}_{side}"] :][:2]
                for side in ("lead", "trail")
            }
            left.append(e[k] + condition(steps, covariance).shift[k])
        lines.append(
            f"| `{figure}` | {event} | both {joint}s | "
            f"{np.sqrt(np.mean(rows[~even][:, k] ** 2)):.1f} | "
            f"{np.sqrt(np.mean(np.square(left))):.1f} |"
        )
    return lines
