"""Errors on bodies and motions that members never saw, and the spreads drawn from them.

    OMP_NUM_THREADS=1 python -m analysis.training.calibrate --table DIR --free DIR2

tells them anew for the weights that are stored; `train` does the same at its end. Habitual
swings are told by members blind to their body, motions without habits by members blind to
their family. Both weigh alike when the spread of a figure is drawn from its errors, so that
it is true for golfers who differ; the families for tests take no part in that.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis import weights
from analysis.core import spread
from analysis.core.corrector import PAIRS
from analysis.training import crossval, familiar, sharing
from analysis.training.augment import Augmenter
from analysis.training.crossval import Errors, Key
from analysis.training.table import (
    COLUMN,
    EVENT_CODE,
    FAMILIES,
    VIEWS,
    Array,
    Table,
    load,
    rows_of,
)

_KNOTS = 8
_LEAST = 25  # readings a knot
_FEWEST_FAMILIES = 3  # fewer do not say how people differ
_POWERS = np.arange(0.0, 1.55, 0.1)
POSES = FAMILIES["poses"][0]
PAIRED = [FAMILIES[name][0] for name in ("moved hands", "more turn")]


@dataclass(frozen=True)
class Calibrated:
    """What one view's members are worth.

    Parameters
    ----------
    added : dict
        For the weights.
    habitual, free : dict of str to ndarray
        Rows for the archives of errors.
    lines : list of str
        A report.
    """

    added: dict[str, Array]
    habitual: dict[str, Array]
    free: dict[str, Array]
    lines: list[str]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--table", type=Path, required=True)
    parser.add_argument("--free", type=Path, nargs="*", default=[])
    parser.add_argument("--repeats", type=Path, help="films of one swing, to part errors by")
    parser.add_argument("--partitions", type=int, default=2)
    parser.add_argument("--groups", type=int, default=5)
    parser.add_argument("--out", type=Path, default=weights.FOLDER)
    parser.add_argument("--views", nargs="+", default=list(VIEWS), choices=list(VIEWS))
    options = parser.parse_args()
    found = []
    for view in options.views:
        learned = dict(weights.load(view))
        own = calibrated(view, learned, options)
        with np.load(weights.FOLDER / f"body_{view}.npz", allow_pickle=False) as packed:
            kept = {name: packed[name] for name in packed.files if name.split("/")[0] in _NET}
        np.savez_compressed(options.out / f"body_{view}.npz", **kept | own.added)
        print("\n".join(own.lines), flush=True)
        found.append(own)
    if set(options.views) == set(VIEWS):
        save_errors(found, options.out)


_NET = ("net", "layers", "heads")


def save_errors(found: list[Calibrated], folder: Path) -> None:
    """The archives of errors on unseen bodies and on unseen motions."""
    for name, rows in (
        ("cv_errors", [f.habitual for f in found]),
        ("free_errors", [f.free for f in found]),
    ):
        if rows[0]:
            joined = {key: np.concatenate([r[key] for r in rows]) for key in rows[0]}
            np.savez_compressed(folder / f"{name}.npz", **joined)


def calibrated(view: str, learned: Mapping[str, Array], options: argparse.Namespace) -> Calibrated:
    """Errors and spreads of one view's stacked members."""
    table = load(view, options.table, *options.free)
    families = table.swings["family"]
    habitual = families == 0
    bodies = np.unique(table.swings["body"][habitual])
    dealt = crossval.groups(bodies, options.partitions, options.groups)
    blind = np.array(
        [
            crossval.blind_to(table.swings, unseen, k % options.groups)
            for k, unseen in enumerate(dealt)
        ]
    )
    augmenter = Augmenter(table)
    plain = augmenter.plain()
    added, strange = familiar.describe(table, plain.tokens)
    free: dict[str, Array] = {}
    told: dict[str, Array] = {}
    lines: list[str] = []
    told_keys: set[Key] = set()
    for level in (False, True):
        inputs = augmenter.plain(level=level) if level else plain
        value, raw = crossval.predict(table, inputs, learned, blind)
        errors = crossval.event_errors(table, inputs.target, value, raw)
        errors |= crossval.joint_errors(view, table, value, raw)
        errors |= {
            key: e.of(np.isin(e.swing, np.flatnonzero(habitual)))
            for key, e in crossval.peak_errors(table, value).items()
        }
        name = "_level" if level else ""
        settled = {}
        for key, e in errors.items():
            fitted, settled[key] = _fitted(key, e, families, strange, level=level)
            added |= {f"{kind}{name}/{key[0]}/{key[1]}": v for kind, v in fitted.items()}
        own, others = _parted(settled, habitual)
        lines += [f"### {view}, picture {'upright to half a degree' if level else 'as filmed'}"]
        lines += crossval.report(view, own, table)
        if level:
            continue
        told = crossval.rows_for_archive(view, own, table, added)
        free = crossval.rows_for_archive(view, others, table, added)
        if free:
            free = _with_families(free, others, table, view)
        lines += crossval.joint_report(table, inputs.target, value)
        lines += crossval.click_report(table, inputs.target, value)
        lines += familiar.report(own, strange)
        added |= crossval.covariances(table, inputs.target, value)
        told_keys = set(own)
    if options.repeats:
        added |= sharing.describe(view, options.repeats, learned, dealt, told_keys)
    return Calibrated(added, told, free, lines)


def _fitted(
    key: Key, e: Errors, families: NDArray[np.int64], strange: Mapping[str, Array], *, level: bool
) -> tuple[dict[str, Array], Errors]:
    """What the weights keep of one figure, and its errors with their settled spread."""
    family = families[e.swing]
    plain = e.of(family == 0)
    if key[1] == "peak" or key[0].startswith("camera"):
        scale = crossval.scale_of(plain)
        return {"scale": np.array(scale, np.float32)}, replace(e, raw=e.raw * scale)
    odd = _strange_at(key, strange)[e.swing]
    learned = (family == 0) | np.isin(family, [n for n, g in FAMILIES.values() if g is not None])
    weight = np.where(family == 0, 1 / max((family == 0).sum(), 1), 0.0)
    others = learned & (family > 0)
    weight[others] = 1 / max(others.sum(), 1)
    raw = np.maximum(e.raw, 1e-9)
    power, knots = _best(e.error[learned], raw[learned], odd[learned], weight[learned])
    settled = replace(e, raw=spread.along(spread.evidence(raw, odd, power), knots))
    kept: dict[str, Array] = {"spread": knots.astype(np.float32)}
    if not level:
        kept["power"] = np.array(power, np.float32)
        if len(np.unique(family[others])) >= _FEWEST_FAMILIES:
            kind = learned & (family != POSES)
            mean = np.average(e.truth[kind], weights=weight[kind])
            sd = np.sqrt(np.average((e.truth[kind] - mean) ** 2, weights=weight[kind]))
            kept["most"] = np.array(spread.OPEN_SHARE * sd, np.float32)
    return kept, settled


def _strange_at(key: Key, strange: Mapping[str, Array]) -> Array:
    """Strangeness of each swing at the events that a figure hangs on."""
    name, event = key
    events = ["address", *(e for _, e in PAIRS.get(name, ((name, event),)))]
    near = {e if e in ("address", "top") else "impact" for e in events}
    return np.asarray(np.max([strange[e] for e in near], axis=0))


def _best(error: Array, raw: Array, odd: Array, weight: Array) -> tuple[float, Array]:
    """The power and the knots under which the errors are likeliest."""
    found = []
    for power in _POWERS if np.ptp(np.maximum(odd, 1)) > 0 else [0.0]:
        x = spread.evidence(raw, odd, power)
        knots = _knots(x, error, weight)
        u = spread.along(x, knots)
        found.append((np.average(np.log(u) + 0.5 * (error / u) ** 2, weights=weight), power, knots))
    _, power, knots = min(found, key=lambda f: f[0])
    return float(power), knots


def _knots(x: Array, error: Array, weight: Array) -> Array:
    """Middle and ln of the RMS error of as many equal shares of the readings, rising."""
    order = np.argsort(x, kind="stable")
    share = np.cumsum(weight[order]) / weight.sum()
    count = int(np.clip(len(x) // _LEAST, 1, _KNOTS))
    part = np.minimum((share * count - 1e-9).astype(int), count - 1)
    middle, size, mass = [], [], []
    for k in range(count):
        rows = order[part == k]
        if len(rows):
            w = weight[rows]
            middle.append(np.average(x[rows], weights=w))
            size.append(np.average(error[rows] ** 2, weights=w))
            mass.append(w.sum())
    return np.array([middle, 0.5 * np.log(_rising(np.array(size), np.array(mass)))])


def _rising(values: Array, mass: Array) -> Array:
    """The nearest rising values (pool adjacent violators)."""
    pools: list[list[float]] = []
    for v, w in zip(values, mass, strict=True):
        pools.append([float(v), float(w), 1])
        while len(pools) > 1 and pools[-2][0] >= pools[-1][0]:
            v2, w2, n2 = pools.pop()
            v1, w1, n1 = pools.pop()
            pools.append([(v1 * w1 + v2 * w2) / (w1 + w2), w1 + w2, n1 + n2])
    return np.concatenate([np.full(int(n), v) for v, _, n in pools])


def _parted(
    errors: Mapping[Key, Errors], habitual: NDArray[np.bool_]
) -> tuple[dict[Key, Errors], dict[Key, Errors]]:
    own = {key: e.of(habitual[e.swing]) for key, e in errors.items()}
    others = {key: e.of(~habitual[e.swing]) for key, e in errors.items()}
    return own, {key: e for key, e in others.items() if len(e.swing)}


def _with_families(
    rows: dict[str, Array], errors: Mapping[Key, Errors], table: Table, view: str
) -> dict[str, Array]:
    """The rows with the family of each, and those of the hands of pairs of films."""
    names = {number: name for name, (number, _) in FAMILIES.items()}
    clips = dict(zip(table.swings["sid"].tolist(), table.swings["family"].tolist(), strict=True))
    rows = rows | {"family": np.array([names[clips[c]] for c in rows["clip"].tolist()], "U11")}
    pairs = np.flatnonzero(np.isin(table.swings["family"], PAIRED))
    hands = np.array([_hands_turn(table, rows_of(table.frame, table.swings)[s]) for s in pairs])
    n = len(pairs)
    more = {
        "measure": np.full(n, "hands_turn_deg", "U24"),
        "event": np.full(n, "top", "U14"),
        "view": np.full(n, view, "U13"),
        "truth": hands.astype(np.float32),
        "value": hands.astype(np.float32),
        "u": np.zeros(n, np.float32),
        "told": np.zeros(n, bool),
        "body": table.swings["body"][pairs].astype(np.int16),
        "clip": table.swings["sid"][pairs].astype(np.int32),
        "family": np.array([names[k] for k in table.swings["family"][pairs].tolist()], "U11"),
    }
    return {key: np.concatenate([rows[key], more[key]]) for key in rows}


def _hands_turn(table: Table, rows: NDArray[np.intp]) -> float:
    """True direction from mid shoulder to the hands at the top, seen from above, degrees."""
    top = rows[table.frame["event"][rows] == EVENT_CODE["top"]]
    xyz = table.frame["true_xyz"][top].mean(axis=0)
    middle = xyz[[COLUMN["shoulder_lead"], COLUMN["shoulder_trail"]]].mean(axis=0)
    x, y, _ = xyz[COLUMN["grip"]] - middle
    return float(np.degrees(np.arctan2(-x, y)))


if __name__ == "__main__":
    main()
