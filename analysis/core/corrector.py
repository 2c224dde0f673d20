"""Landmarks of a whole swing to truer joints and figures, each with its own spread.

A small attention network reads all frames of a swing together: which way a hip line
turns is ambiguous in one picture and rarely in forty. It was trained on rendered golfers
whose true joints are known (`analysis.training`); this module is its inference, NumPy
only. Several members, each blind to other bodies, are run side by side: where they
disagree the spread grows.

Lengths are in percent of stature, so the person's stature sets the scale; angles in
degrees. Everybody is a right-hander here (see `pose`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.cleaning import CHAIN_SHARE, chain_px
from analysis.core.pose import JOINTS, LANDMARK, Array, PoseSequence

Weights = Mapping[str, NDArray[Any]]
Half = NDArray[np.float32]

# Read at every frame, relative to address where METRICS says so.
MOTION = (
    "pelvis_turn_deg",
    "shoulder_turn_deg",
    "pelvis_sway_cm",
    "pelvis_to_ball_cm",
    "pelvis_rise_cm",
    "head_sway_cm",
    "head_rise_cm",
    "trunk_tilt_deg",
    "side_tilt_deg",
    "hip_line_tilt_deg",
    "trail_hip_depth_cm",
    "hand_depth_cm",
    "lead_elbow_deg",
)
# Read while standing at address only.
STANDING = (
    "knee_flex_deg",
    "arm_hang_deg",
    "balance_pct",
    "pelvis_behind_heel_cm",
    "arm_torso_ratio",
    "stance_ratio",
)
# Told as the first reading minus the second.
PAIRS: dict[str, tuple[tuple[str, str], tuple[str, str]]] = {
    "separation_deg": (("shoulder_turn_deg", "top"), ("pelvis_turn_deg", "top")),
    "pelvis_to_ball_down_cm": (("pelvis_to_ball_cm", "impact"), ("pelvis_to_ball_cm", "top")),
    "trunk_tilt_change_deg": (("trunk_tilt_deg", "impact"), ("trunk_tilt_deg", "address")),
}
CAMERA = ("camera_yaw_deg", "camera_roll_deg")
FIGURES = (*MOTION, *STANDING, *CAMERA)
N_OUT = len(FIGURES) + 5 * len(JOINTS)

_CHAIN = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "heel", "toe")
# Landmarks read: no mouth, no inner eyes, no little fingers.
_READ = [
    LANDMARK[name]
    for name in (
        "nose",
        *(
            f"{part}_{side}"
            for part in ("ear", *_CHAIN[:3], "index", *_CHAIN[3:])
            for side in ("left", "right")
        ),
    )
]
_SURE = [
    LANDMARK[f"{part}_{side}"]
    for part in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")
    for side in ("left", "right")
]
_LINES = [
    (LANDMARK[f"{p}_left"], LANDMARK[f"{p}_right"]) for p in ("hip", "shoulder", "knee", "ankle")
]
_FOOT = [LANDMARK[f"{p}_{s}"] for p in ("ankle", "heel", "toe") for s in ("left", "right")]
_PHASE_CENTRES = np.linspace(0.0, 2.6, 9)
_PHASE_WIDTH = 0.22
N_XY = 2 * len(_READ)


def _anchor_table() -> Array:
    """Weights (J, 33) of the landmarks that stand for each joint before correction."""
    table = np.zeros((len(JOINTS), len(LANDMARK)))
    special = {
        "head": ("ear_left", "ear_right"),
        "neck": ("shoulder_left", "shoulder_right"),
        "grip": ("wrist_left", "wrist_right", "index_left", "index_right"),
    }
    for row, joint in enumerate(JOINTS):
        limb, _, side = joint.rpartition("_")
        names = special.get(joint, (f"{limb}_{'left' if side == 'lead' else 'right'}",))
        for name in names:
            table[row, LANDMARK[name]] = 1 / len(names)
    return table


ANCHOR = _anchor_table()

# Phases (0 address, 1 top, 2 impact, 3 finish) whose frames the others may look at: as
# dense as in training, so that 30 and 240 frames a second read the same swing.
CONTEXT_PHASES = np.array(
    [
        *[0.0, 0.0, 0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.0, 1.0],
        *[1.1, 1.25, 1.4, 1.5, 1.65, 1.75, 1.9, 2.0, 2.0, 2.0, 2.1, 2.25, 2.4, 2.7, 3.0],
    ]
)


@dataclass(frozen=True)
class Reading:
    """What the network says of every frame.

    Parameters
    ----------
    figures, figures_sd : ndarray, shape (T, len(FIGURES))
        Mean and raw (uncalibrated) standard deviation; lengths in percent of stature.
    joints_px, joints_sd_px : ndarray, shape (T, J, 2)
        Corrected joints in the picture.
    joints_pct, joints_sd_pct : ndarray, shape (T, J, 3)
        Joints in the golfer's frame, percent of stature, origin between the ankles.
    tokens : ndarray, shape (T, F)
        What the network read, for `strangeness`.
    stature_px : float
        Thigh, shank and trunk at address as a share of stature, in pixels.
    """

    figures: Array
    figures_sd: Array
    joints_px: Array
    joints_sd_px: Array
    joints_pct: Array
    joints_sd_pct: Array
    tokens: Array
    stature_px: float


def phase_code(phase: Array) -> Array:
    """Phase as smooth bumps, shape (T, 10)."""
    bumps = np.exp(-(((phase[:, None] - _PHASE_CENTRES) / _PHASE_WIDTH) ** 2))
    return np.concatenate([phase[:, None], bumps], axis=1)


def standing_frame(xy_px: Array) -> tuple[Array, Array]:
    """Where the person stands and how large: mean of the feet, stature in pixels.

    Parameters
    ----------
    xy_px : ndarray, shape (N, 33, 2)
        Landmarks at address.

    Returns
    -------
    origin : ndarray, shape (N, 2)
    stature_px : ndarray, shape (N,)
    """
    return xy_px[:, _FOOT].mean(axis=1), chain_px(xy_px) / CHAIN_SHARE


def frame_features(
    xy_px: Array, depth: Array, world_m: Array, confidence: Array, *, origin: Array, scale: Array
) -> Array:
    """What the network reads of single frames, shape (N, F).

    Parameters
    ----------
    xy_px : ndarray, shape (N, 33, 2)
    depth : ndarray, shape (N, 33)
        The pose network's own depth, a hint among others.
    world_m : ndarray, shape (N, 33, 3)
    confidence : ndarray, shape (N, 33)
    origin : ndarray, shape (N, 2) or (1, 2)
    scale : ndarray, shape (N,) or (1,)
        From `standing_frame` of the address.
    """
    place = (xy_px[:, _READ] - origin[:, None]) / scale[:, None, None]
    lines = [world_m[:, b][:, [0, 2]] - world_m[:, a][:, [0, 2]] for a, b in _LINES]
    return np.concatenate(
        [
            place.reshape(len(place), -1),
            depth[:, _READ] / scale[:, None],
            *lines,
            confidence[:, _SURE],
        ],
        axis=1,
    )


def swing_features(
    address: Array, *, origin: Array, scale: Array, size_px: Array, level: Array
) -> Array:
    """What is the same for all frames of a swing, shape (N, F + 6).

    Parameters
    ----------
    level : ndarray of bool, shape (N,)
        The picture was turned upright by the surroundings; otherwise the camera may
        lean by a degree or three.
    """
    off_centre = (origin - size_px / 2) / scale[:, None]
    seen = np.log(scale / size_px.min(axis=1) * 720 / 400)
    rest = [size_px / scale[:, None], seen[:, None], level[:, None].astype(float)]
    return np.concatenate([address, off_centre, *rest], axis=1)


def token_features(frame: Array, address: Array, phase: Array) -> Array:
    """Inputs of every frame: itself, its change against address, its phase."""
    return np.concatenate([frame, frame[:, :N_XY] - address[:, :N_XY], phase_code(phase)], axis=1)


def correct(
    pose: PoseSequence,
    phase: Array,
    address: NDArray[np.bool_],
    within: NDArray[np.bool_],
    *,
    weights: Weights,
    level: bool = False,
) -> Reading:
    """Run the network over a swing.

    Parameters
    ----------
    pose : PoseSequence
        Cleaned; rows with NaN come back as NaN.
    phase : ndarray, shape (T,)
        0 address, 1 top, 2 impact, 3 finish, linear in time between.
    address : ndarray of bool, shape (T,)
        Still frames at address, at least one of them seen.
    within : ndarray of bool, shape (T,)
        Frames of this swing, which the others may look at.
    weights : mapping of str to ndarray
        From `analysis.weights.load(view)`.
    level : bool
        The picture stands upright to half a degree.

    Raises
    ------
    ValueError
        When no address frame is seen.
    """
    seen = np.isfinite(pose.xy_px).all(axis=(1, 2))
    if not (seen & address).any():
        raise ValueError("no landmarks at address")
    rows = np.flatnonzero(seen)
    xy, depth, world, sure = _inputs(pose, rows)
    still = address[rows]
    mean = [np.mean(v[still], axis=0, keepdims=True) for v in (xy, depth, world, sure)]
    origin, scale = standing_frame(mean[0])
    size = np.array([pose.size_px], float)
    at_address = frame_features(*mean, origin=origin, scale=scale)
    frames = frame_features(xy, depth, world, sure, origin=origin, scale=scale)
    tokens = token_features(frames, at_address, phase[rows])
    swing = swing_features(
        at_address, origin=origin, scale=scale, size_px=size, level=np.array([level])
    )
    inside = np.flatnonzero(within[rows])
    context = inside[context_rows(phase[rows][inside])]
    value, spread = _ensemble(tokens, swing[0], context, weights)
    return _reading(len(pose), rows, xy, value, spread, tokens, float(scale[0]))


def _inputs(pose: PoseSequence, rows: NDArray[np.intp]) -> tuple[Array, Array, Array, Array]:
    n = len(rows)
    depth = np.zeros((n, len(LANDMARK))) if pose.depth is None else pose.depth[rows]
    world = np.zeros((n, len(LANDMARK), 3)) if pose.world_m is None else pose.world_m[rows]
    return pose.xy_px[rows], np.nan_to_num(depth), np.nan_to_num(world), pose.confidence[rows]


def context_rows(phase: Array) -> NDArray[np.intp]:
    """Frames that the others look at: for each wanted phase the nearest one, each once."""
    reach = phase.max() + 0.06
    wanted = CONTEXT_PHASES[(reach >= CONTEXT_PHASES) & (phase.min() - 0.06 <= CONTEXT_PHASES)]
    picked: list[int] = []
    for p in wanted:
        away = np.round(np.abs(phase - p), 6)  # ties must not hang on the last bit
        order = np.argsort(away, kind="stable")[: len(picked) + 1]
        free = [int(i) for i in order if int(i) not in picked]
        if free and abs(phase[free[0]] - p) < 0.2:
            picked.append(free[0])
    return np.array(sorted(picked) if picked else [0], np.intp)


def _ensemble(
    tokens: Array, swing: Array, context: NDArray[np.intp], weights: Weights
) -> tuple[Array, Array]:
    """Mean over the members and total standard deviation, shape (T, N_OUT)."""
    mean, sd = members(tokens, swing, context, weights)
    total = np.mean(sd**2, axis=0) + np.var(mean, axis=0)
    return mean.mean(axis=0), np.sqrt(total)


def members(
    tokens: Array, swing: Array, context: NDArray[np.intp], weights: Weights
) -> tuple[Array, Array]:
    """Mean and standard deviation told by each member, shape (E, T, N_OUT) each."""
    w = {k: np.asarray(v, np.float32) for k, v in weights.items() if k.startswith("net/")}

    def part(name: str) -> Half:
        return w[f"net/{name}"]

    def linear(x: Half, name: str) -> Half:
        return np.asarray(x @ part(f"{name}.w") + part(f"{name}.b")[:, None])

    x = _standard(tokens[None], part("x.mean"), part("x.sd"))
    s = _standard(swing[None, None], part("s.mean"), part("s.sd"))
    h = linear(x, "token") + linear(s, "swing")
    h = h + linear(_gelu(h), "mix")
    for k in range(int(weights["layers"])):
        h = _block(h, context, f"block{k}", linear, part, int(weights["heads"]))
    h = _norm(h, part("last.g"), part("last.b"))
    mean = linear(h, "mean") + x @ part("skip.w")
    log_sd = np.clip(linear(h, "log_sd"), -4.0, 2.0)
    y_mean, y_sd = part("y.mean")[:, None], part("y.sd")[:, None]
    return (
        np.asarray(mean * y_sd + y_mean, dtype=float),
        np.asarray(np.exp(log_sd) * y_sd, dtype=float),
    )


def _standard(x: Array, mean: Half, sd: Half) -> Half:
    return np.asarray(np.clip((x.astype(np.float32) - mean[:, None]) / sd[:, None], -6.0, 6.0))


def _block(
    h: Half,
    context: NDArray[np.intp],
    name: str,
    linear: Callable[[Half, str], Half],
    part: Callable[[str], Half],
    heads: int,
) -> Half:
    """One layer: every frame looks at the context frames, then thinks for itself."""
    e, t, d = h.shape
    normed = _norm(h, part(f"{name}.n1.g"), part(f"{name}.n1.b"))
    q = linear(normed, f"{name}.q").reshape(e, t, heads, -1).transpose(0, 2, 1, 3)
    k, v = (
        linear(normed[:, context], f"{name}.{p}")
        .reshape(e, len(context), heads, -1)
        .transpose(0, 2, 1, 3)
        for p in ("k", "v")
    )
    look = q @ k.transpose(0, 1, 3, 2) / np.sqrt(d // heads)
    look = np.exp(look - look.max(axis=-1, keepdims=True))
    look /= look.sum(axis=-1, keepdims=True)
    h = h + linear((look @ v).transpose(0, 2, 1, 3).reshape(e, t, d), f"{name}.o")
    normed = _norm(h, part(f"{name}.n2.g"), part(f"{name}.n2.b"))
    return np.asarray(h + linear(_gelu(linear(normed, f"{name}.f1")), f"{name}.f2"))


def _norm(h: Half, gain: Half, shift: Half) -> Half:
    centred = h - h.mean(axis=-1, keepdims=True)
    scaled = centred / np.sqrt(np.mean(centred**2, axis=-1, keepdims=True) + 1e-5)
    return np.asarray(scaled * gain[:, None] + shift[:, None])


def _gelu(x: Half) -> Half:
    return np.asarray(0.5 * x * (1 + np.tanh(0.7978845608 * (x + 0.044715 * x**3))))


def strangeness(tokens: Array, event: str, weights: Weights) -> Array:
    """How far poses lie from those the network learned on, shape (N,).

    Parameters
    ----------
    tokens : ndarray, shape (N, F)
        `Reading.tokens` at the event.
    event : str
        `address`, `top` or `impact`.

    Returns
    -------
    ndarray, shape (N,)
        Mahalanobis distance in the main directions of the pose and the rest beside
        them, divided by what 95 % of unseen rendered golfers stay below: 1 is the edge
        of the ordinary. NaN where nothing was seen.
    """
    centred = pose_of(tokens) - weights[f"odd/{event}/mean"]
    axes = np.asarray(weights[f"odd/{event}/axes"], float)
    scores = centred @ axes
    rest = centred - scores @ np.linalg.pinv(axes)
    beside = np.sum(rest**2, axis=1) / float(weights[f"odd/{event}/rest"])
    distance = np.sqrt((np.sum(scores**2, axis=1) + beside) / (axes.shape[1] + 1))
    return np.asarray(distance / float(weights[f"odd/{event}/edge"]))


def pose_of(tokens: Array) -> Array:
    """The part of the inputs that is the pose in the picture, shape (N, N_XY)."""
    return tokens[:, :N_XY]


def _reading(
    n: int,
    rows: NDArray[np.intp],
    xy: Array,
    value: Array,
    spread: Array,
    tokens: Array,
    stature: float,
) -> Reading:
    joints, f = len(JOINTS), len(FIGURES)

    def spread_out(values: Array, shape: tuple[int, ...]) -> Array:
        out = np.full((n, *shape), np.nan)
        out[rows] = values.reshape(len(rows), *shape)
        return out

    flat, solid = slice(f, f + 2 * joints), slice(f + 2 * joints, N_OUT)
    anchors = np.einsum("jk,nkc->njc", ANCHOR, xy).reshape(len(rows), -1)
    return Reading(
        figures=spread_out(value[:, :f], (f,)),
        figures_sd=spread_out(spread[:, :f], (f,)),
        joints_px=spread_out(anchors + value[:, flat] * stature / 100, (joints, 2)),
        joints_sd_px=spread_out(spread[:, flat] * stature / 100, (joints, 2)),
        joints_pct=spread_out(value[:, solid], (joints, 3)),
        joints_sd_pct=spread_out(spread[:, solid], (joints, 3)),
        tokens=spread_out(tokens, (tokens.shape[1],)),
        stature_px=stature,
    )
