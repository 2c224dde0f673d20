"""One line through the hands, frame by frame: vote, fit, and the path through time.

Everything here is in *ray coordinates*: a candidate is a ray that leaves near the grip
at `angle_deg` (0 right, 90 up in the picture, as `ShaftTrack`), passing the grip at a
signed distance `offset_px`. Lengths are in pixels along the ray.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.pose import Array

ANGLE_BIN_DEG = 1.5
_BINS = round(360 / ANGLE_BIN_DEG)
_KEPT = 6
# Physics of a swung club: how fast its turn rate changes, degrees per second squared.
_ALPHA_DEG_S2 = 15_000.0
_JUMP_COST = 3.0
_RESTART_COST = 2.0
_LONGEST_GAP_S = 0.4
_MOST_EDGES = 128


@dataclass(frozen=True)
class Ridge:
    """Thin bright or dark pixels around one grip.

    Parameters
    ----------
    right_px, up_px : ndarray, shape (P,)
        Position against the grip, y up.
    along_deg : ndarray, shape (P,)
        Direction of the thin line through the pixel, modulo 180.
    weight : ndarray, shape (P,)
        0 to 1.
    outside : ndarray of bool, shape (P,)
        Not over the body.
    """

    right_px: Array
    up_px: Array
    along_deg: Array
    weight: Array
    outside: NDArray[np.bool_]


@dataclass(frozen=True)
class Candidate:
    """One possible shaft in one frame; lengths in pixels along the ray."""

    angle_deg: float
    sd_deg: float
    offset_px: float
    end_px: float
    seen_px: float
    score: float


def vote(ridge: Ridge, *, stature: float) -> list[Candidate]:
    """The best rays through the hands, fitted, best first.

    Parameters
    ----------
    ridge : Ridge
    stature : float
        Standing height in pixels: sets how far the handle may pass the grip, the
        bins along the ray and the shortest line that counts.
    """
    distance = np.hypot(ridge.right_px, ridge.up_px)
    if len(distance) < 6:
        return []
    bearing = np.degrees(np.arctan2(ridge.up_px, ridge.right_px))
    offsets = np.linspace(-0.05, 0.05, 11) * stature
    turn = np.degrees(np.arcsin(np.clip(offsets[None, :] / distance[:, None], -1, 1)))
    angle = bearing[:, None] + turn
    tilt = np.abs((angle - ridge.along_deg[:, None] + 90) % 180 - 90)
    # a grip off by a hand's breadth is common, an offset line is not: prefer near ones
    near = 1 - 0.3 * np.abs(offsets) / np.abs(offsets).max()
    weight = np.where(tilt < 14, ridge.weight[:, None], 0.0) * near[None, :]
    column = np.floor((angle % 360) / ANGLE_BIN_DEG).astype(int) % _BINS
    row = np.broadcast_to(np.arange(len(offsets)), column.shape)
    counts = np.bincount(
        (row * _BINS + column).ravel(), weights=weight.ravel(), minlength=_BINS * len(offsets)
    ).reshape(len(offsets), _BINS)
    counts = counts + 0.5 * (np.roll(counts, 1, axis=1) + np.roll(counts, -1, axis=1))
    found: list[Candidate] = []
    for o, a in _peaks(counts):
        fitted = _fit(ridge, (a + 0.5) * ANGLE_BIN_DEG, offsets[o], stature)
        if fitted is not None and all(_apart(fitted, other) for other in found):
            found.append(fitted)
    return sorted(found, key=lambda c: -c.score)


def _apart(a: Candidate, b: Candidate) -> bool:
    return abs((a.angle_deg - b.angle_deg + 180) % 360 - 180) > 2.5


def _peaks(counts: NDArray[Any]) -> list[tuple[int, int]]:
    left = counts.copy()
    out = []
    for _ in range(_KEPT):
        flat = int(np.argmax(left))
        o, a = divmod(flat, _BINS)
        if left[o, a] < 4:
            break
        out.append((o, a))
        span = round(6 / ANGLE_BIN_DEG)
        left[:, np.arange(a - span, a + span + 1) % _BINS] = 0
    return out


def _fit(ridge: Ridge, angle_deg: float, offset: float, stature: float) -> Candidate | None:
    """Weighted least squares through the pixels near a voted ray, three rounds."""
    width = max(2.5, 0.008 * stature)
    sd = np.nan
    for _ in range(3):
        c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
        along = ridge.right_px * c + ridge.up_px * s
        across = -ridge.right_px * s + ridge.up_px * c + offset
        tilt = np.abs((angle_deg - ridge.along_deg + 90) % 180 - 90)
        rows = (np.abs(across) < width) & (along > 0) & (tilt < 16)
        if rows.sum() < 6:
            return None
        w, x, y = ridge.weight[rows], along[rows], across[rows]
        mean = np.average(x, weights=w)
        spread = np.sum(w * (x - mean) ** 2)
        slope = np.sum(w * (x - mean) * y) / max(spread, 1e-9)
        level = np.average(y, weights=w) - slope * mean
        angle_deg += float(np.degrees(np.arctan(slope)))
        offset -= float(level)
        residual = np.sqrt(np.average((y - level - slope * x) ** 2, weights=w))
        # neighbouring pixels across a line share its noise
        sd = np.degrees(2 * residual / np.sqrt(max(spread, 1e-9)))
        width = max(2.0, 0.006 * stature)
    if abs(offset) > 0.07 * stature:
        return None
    return _with_extent(ridge, rows, along, angle_deg, offset, float(sd), stature)


def _with_extent(
    ridge: Ridge,
    rows: NDArray[np.bool_],
    along: Array,
    angle_deg: float,
    offset: float,
    sd: float,
    stature: float,
) -> Candidate | None:
    """How far the line reaches: bins along it that hold ridge, with short holes bridged."""
    step = 0.02 * stature
    bins = np.floor(along[rows] / step).astype(int)
    count = max(int(bins.max()) + 1, 1)
    filled = np.bincount(bins, weights=ridge.weight[rows], minlength=count) > 0.25 * step * 0.5
    free = np.bincount(bins, weights=ridge.outside[rows], minlength=count) > 0
    where = np.flatnonzero(filled)
    if not len(where):
        return None
    # a shaft starts at the hands: far specks that happen to lie on the ray do not count
    runs = np.split(where, np.flatnonzero(np.diff(where) > 4) + 1)
    best = max(runs, key=len)
    solid, open_ = len(best), int(free[best].sum())
    score = (open_ + (solid - open_) / 3) / 5
    score *= 1 - min(max(best[0] * step / stature - 0.12, 0.0) / 0.25, 0.9)
    return Candidate(
        angle_deg=float((angle_deg + 180) % 360 - 180),
        sd_deg=sd,
        offset_px=offset,
        end_px=float(along[rows][bins == best[-1]].max()),
        seen_px=float(open_ * step),
        score=score,
    )


def choose_path(time_s: Array, candidates: list[list[Candidate]]) -> list[int]:
    """The sequence of candidates that a turning club could have drawn.

    Parameters
    ----------
    time_s : ndarray, shape (N,)
    candidates : list of N lists
        Possible rays of each frame, possibly none.

    Returns
    -------
    list of N int
        Index into the frame's list, -1 where no ray fits.

    Notes
    -----
    Second-order dynamic programming over edges between candidates up to `_LONGEST_GAP_S`
    apart: each ray earns its score, each change of turn rate costs its square against
    what a club can do, at most `_JUMP_COST`. A ray seen short points toward the camera,
    where a smooth turn looks sudden: there the allowance grows with the inverse square
    of its length. A path may start anew after any gap at the cost of `_RESTART_COST`.
    """
    nodes = [(i, k) for i, row in enumerate(candidates) for k in range(len(row))]
    if not nodes:
        return [-1] * len(candidates)
    flat = [candidates[i][k] for i, k in nodes]
    frame = np.array([i for i, _ in nodes])
    t = time_s[frame]
    angle = np.array([c.angle_deg for c in flat])
    score = np.array([c.score for c in flat])
    reach = np.array([c.end_px for c in flat])
    reach = np.clip(reach / np.percentile(reach, 95), 0.15, 1.0)
    n_nodes = len(nodes)
    before = np.full((n_nodes, _MOST_EDGES), -1)
    rate = np.zeros((n_nodes, _MOST_EDGES))
    start = np.zeros((n_nodes, _MOST_EDGES))
    value = np.full((n_nodes, _MOST_EDGES), -np.inf)
    via = np.full((n_nodes, _MOST_EDGES), -1)
    alone = score.copy()  # best sum of a path in which the node begins a stretch
    alone_from = np.full(n_nodes, -1)
    total = np.zeros(n_nodes)
    for n in range(n_nodes):
        earlier = int(np.searchsorted(frame, frame[n]))
        if earlier:
            m = int(np.argmax(total[:earlier]))
            if total[m] - _RESTART_COST > 0:
                alone[n], alone_from[n] = score[n] + total[m] - _RESTART_COST, m
        low = max(int(np.searchsorted(t, t[n] - _LONGEST_GAP_S)), earlier - _MOST_EDGES)
        p = np.arange(low, earlier)
        if len(p):
            dt = t[n] - t[p]
            omega = ((angle[n] - angle[p] + 180) % 360 - 180) / dt
            span = 0.5 * (dt[:, None] + start[p])
            allowed = _ALPHA_DEG_S2 * span / reach[p][:, None] ** 2 + 2.0 / dt[:, None]
            cost = np.minimum(((omega[:, None] - rate[p]) / allowed) ** 2, _JUMP_COST)
            gain = value[p] - cost
            j = np.argmax(gain, axis=1)
            best = gain[np.arange(len(p)), j]
            fresh = alone[p] >= best
            e = len(p)
            before[n, :e], rate[n, :e], start[n, :e] = p, omega, dt
            value[n, :e] = np.where(fresh, alone[p], best) + score[n]
            via[n, :e] = np.where(fresh, -1, j)
        total[n] = max(alone[n], float(value[n].max()))
    return _walk_back(nodes, len(candidates), total, alone, alone_from, before, value, via)


def _walk_back(
    nodes: list[tuple[int, int]],
    frames: int,
    total: Array,
    alone: Array,
    alone_from: NDArray[np.int64],
    before: NDArray[np.int64],
    value: Array,
    via: NDArray[np.int64],
) -> list[int]:
    chosen = [-1] * frames
    n = int(np.argmax(total))
    edge = -1 if alone[n] >= value[n].max() else int(np.argmax(value[n]))
    while n >= 0:
        i, k = nodes[n]
        chosen[i] = k
        if edge >= 0:
            n, edge = int(before[n, edge]), int(via[n, edge])
        else:
            n = int(alone_from[n])
            if n >= 0:
                edge = -1 if alone[n] >= value[n].max() else int(np.argmax(value[n]))
    return chosen


def keep_stretches(time_s: Array, candidates: list[list[Candidate]], path: list[int]) -> list[int]:
    """Drop rays that stand alone: a shadow or an edge that met the hands for a moment.

    A stretch goes on while the next ray is near in time and turns on as the last ones
    did; one of fewer than three rays is no club.
    """
    rows = [i for i, k in enumerate(path) if k >= 0]
    rays = {i: candidates[i][path[i]] for i in rows}
    whole = np.percentile([rays[i].end_px for i in rows], 95) if rows else 1.0
    frame_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0
    kept = list(path)
    stretch: list[int] = []
    rate = 0.0
    for i in [*rows, -1]:
        if i >= 0 and stretch:
            last = stretch[-1]
            dt = time_s[i] - time_s[last]
            turn = (rays[i].angle_deg - rays[last].angle_deg + 180) % 360 - 180
            reach = min(max(min(rays[i].end_px, rays[last].end_px) / whole, 0.15), 1.0)
            allowed = 2.5 * _ALPHA_DEG_S2 * dt / reach**2 + 3.0 / dt
            steady = len(stretch) < 2 or abs(turn / dt - rate) < allowed
            if dt < max(3.5 * frame_s, 0.07) and steady:
                stretch.append(i)
                rate = turn / dt
                continue
        if len(stretch) < 3:
            for j in stretch:
                kept[j] = -1
        stretch, rate = ([i] if i >= 0 else []), 0.0
    return kept
