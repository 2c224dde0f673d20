"""Read the table of landmarks and true joints, and reckon the true figures from it.

A folder holds `shards/w*_*.npz` (keys `f_*` per frame, `s_*` per swing); its own
description, or `render.make`, says how it was drawn. Left-handers are mirrored here, so
that `l` is the lead side for everybody.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.core.cleaning import bridge, collapsed, unswapped_legs
from analysis.core.corrector import FIGURES, MOTION, STANDING
from analysis.core.measures import body_curves
from analysis.core.pose import JOINTS, SIDE_SWAP

Array = NDArray[np.float64]

_LIMB = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "heel", "toe")
COLUMNS = (
    "nose",
    "head",
    "neck",
    *(f"{limb}_{side}" for side in ("lead", "trail") for limb in _LIMB),
    "grip",
    "clubhead",
    "com",
)
COLUMN = {name: i for i, name in enumerate(COLUMNS)}
OURS = [COLUMN[name] for name in JOINTS]
_SWAP = [
    COLUMN[n[:-4] + "trail"]
    if n.endswith("lead")
    else COLUMN[n[:-5] + "lead"]
    if n.endswith("trail")
    else COLUMN[n]
    for n in COLUMNS
]
_SCALE = {"mp_xy": 16, "true_xy": 16, "mp_world": 1e4, "true_xyz": 1e4}
VIEWS = {"down_the_line": 0, "face_on": 1}
# Kinds of motion (`render.free`): the number in the table, and the group of members that
# never see it. 0 are swings of the habitual engine; those without a group are for tests.
FAMILIES: dict[str, tuple[int, int | None]] = {
    "free": (1, 0),
    "loose": (2, 1),
    "arms": (3, 2),
    "turn": (4, 2),
    "slide": (5, 3),
    "short": (6, 3),
    "poses": (7, 4),
    "player": (8, None),
    "same hands": (9, None),
    "moved hands": (10, None),
    "more turn": (11, None),
}
OTHER_BODIES = 1000  # from this number on a body is of another rendering than the table's
FOR_TESTS = 9  # of those, bodies whose number ends in it
EVENT_CODE = {"address": 0, "top": 3, "impact": 6, "follow_through": 8}


@dataclass(frozen=True)
class Table:
    """Swings of one view.

    Parameters
    ----------
    frame : dict of str to ndarray
        Per frame, sorted by swing and time; `swing` is the row of `swings`.
    swings : dict of str to ndarray
        Per swing; `R` (S, 3, 3) and `t` (S, 3) take golfer's-frame points with Y
        negated into the camera.
    truth : ndarray, shape (N, len(FIGURES))
        True figures, lengths in percent of stature.
    """

    frame: dict[str, Array]
    swings: dict[str, Array]
    truth: Array


def load(view: str, *folders: Path) -> Table:
    """Read, mirror, clean and order the swings of one view."""
    frame, swings = motions(*folders)
    frame, swings = _select(frame, swings, view)
    _clean(frame, swings)
    return Table(frame, swings, _truth(frame, swings))


def motions(*folders: Path) -> tuple[dict[str, Array], dict[str, Array]]:
    """All frames and swings of the folders, left-handers mirrored, as they were drawn."""
    frame, swings = _read(folders)
    _mirror(frame, swings)
    return frame, swings


def _read(folders: tuple[Path, ...]) -> tuple[dict[str, Array], dict[str, Array]]:
    paths = [p for folder in folders for p in sorted((folder / "shards").glob("w*[0-9].npz"))]
    if not paths:
        raise FileNotFoundError(f"no shards in {', '.join(map(str, folders))}")
    parts: list[dict[str, Array]] = []
    swing_row, base = [], 0
    for path in paths:
        with np.load(path) as stored:
            shard = {k: stored[k] for k in stored.files}
        shard.setdefault("s_from_body", shard["s_body"])  # whose motion it is
        shard.setdefault("s_family", np.zeros(len(shard["s_sid"]), np.int32))  # habitual
        ids = shard["s_sid"]
        order = np.argsort(ids)
        swing_row.append(base + order[np.searchsorted(ids, shard["f_sid"], sorter=order)])
        base += len(ids)
        parts.append(shard)
    common = set.intersection(*(set(shard) for shard in parts))
    joined = {k: np.concatenate([shard[k] for shard in parts]) for k in sorted(common)}
    frame = {k[2:]: v for k, v in joined.items() if k.startswith("f_")}
    frame["swing"] = np.concatenate(swing_row)
    for key, scale in _SCALE.items():
        frame[key] = frame[key].astype(float) / scale
    frame["depth"] = frame.pop("mp_z").astype(float)
    frame["confidence"] = frame.pop("mp_vis")[..., 0].astype(float)
    return frame, {k[2:]: v for k, v in joined.items() if k.startswith("s_")}


def _mirror(frame: dict[str, Array], swings: dict[str, Array]) -> None:
    left = swings["left"] == 1
    rows = left[frame["swing"]]
    width = swings["w"][frame["swing"]][rows][:, None]
    for key, swap in (("mp_xy", SIDE_SWAP), ("true_xy", _SWAP)):
        turned = frame[key][rows][:, swap]
        turned[..., 0] = width - turned[..., 0]
        frame[key][rows] = turned
    world = frame["mp_world"][rows][:, SIDE_SWAP]
    world[..., 0] *= -1
    frame["mp_world"][rows] = world
    for key, swap in (("depth", SIDE_SWAP), ("confidence", SIDE_SWAP), ("true_xyz", _SWAP)):
        frame[key][rows] = frame[key][rows][:, swap]
    flip = np.diag([-1.0, 1.0, 1.0])
    turn, shift = swings["camR"].astype(float), swings["camt"].astype(float)
    turn[left], shift[left] = flip @ turn[left] @ flip, shift[left] @ flip
    swings["R"], swings["t"] = turn, shift


def _select(
    frame: dict[str, Array], swings: dict[str, Array], view: str
) -> tuple[dict[str, Array], dict[str, Array]]:
    """Frames of this view in which the golfer, not the figure behind, was found."""
    s = frame["swing"]
    metre_px = (swings["f"] / swings["t"][:, 2])[s]
    found = frame["mp_xy"][:, 23:25].mean(axis=1)
    true = frame["true_xy"][:, [COLUMN["hip_lead"], COLUMN["hip_trail"]]].mean(axis=1)
    right_person = np.linalg.norm(found - true, axis=1) < 0.25 * metre_px
    use = frame["detected"] & right_person & (swings["view"][s] == VIEWS[view])
    has_address = np.unique(s[use & (frame["event"] == EVENT_CODE["address"])])
    use &= np.isin(s, has_address)
    rows = np.flatnonzero(use)
    rows = rows[np.lexsort((frame["t"][rows], s[rows]))]
    frame = {k: v[rows] for k, v in frame.items()}
    frame["swing"] = np.searchsorted(has_address, frame["swing"])
    return frame, {k: v[has_address] for k, v in swings.items()}


def _clean(frame: dict[str, Array], swings: dict[str, Array]) -> None:
    """The repair of `core.cleaning`, gaps measured in phase instead of seconds."""
    frame["repaired"] = np.zeros(len(frame["t"]), bool)
    for rows in rows_of(frame, swings):
        phase = frame["phase"][rows]
        planted = phase <= 2.02
        xy = unswapped_legs(frame["mp_xy"][rows], planted)
        frame["mp_xy"][rows] = xy
        bad = collapsed(xy, planted)
        if bad.all() or not bad.any():
            continue
        for key in ("mp_xy", "depth", "confidence", "mp_world"):
            frame[key][rows] = bridge(phase, frame[key][rows], bad, max_gap_s=np.inf)
        frame["repaired"][rows] = bad


def rows_of(frame: dict[str, Array], swings: dict[str, Array]) -> list[NDArray[np.intp]]:
    """Row numbers of each swing's frames."""
    edges = np.searchsorted(frame["swing"], np.arange(len(swings["sid"]) + 1))
    return [np.arange(a, b) for a, b in pairwise(edges)]


def _truth(frame: dict[str, Array], swings: dict[str, Array]) -> Array:
    """True figures by the closed forms of `core.measures`."""
    truth = np.zeros((len(frame["t"]), len(FIGURES)))  # the camera is filled in by `augment`
    for s, rows in enumerate(rows_of(frame, swings)):
        joints = frame["true_xyz"][rows][:, OURS]
        time_s = frame["t"][rows].astype(float) + 1e-6 * np.arange(len(rows))
        still = frame["event"][rows] == EVENT_CODE["address"]
        curves = body_curves(joints, time_s, address_s=float(time_s[still][0]))
        share = 100 / swings["stature"][s]
        for k, name in enumerate((*MOTION, *STANDING)):
            truth[rows, k] = curves[name] * (share if name.endswith("_cm") else 1.0)
    truth[:, FIGURES.index("pelvis_turn_deg")] = frame["hip_yaw"]
    truth[:, FIGURES.index("shoulder_turn_deg")] = frame["sho_yaw"]
    truth[:, FIGURES.index("balance_pct")] = frame["balance"]
    stance = FIGURES.index("stance_ratio")
    truth[:, stance] = np.clip(truth[:, stance], 0.2, 4.0)
    return truth
