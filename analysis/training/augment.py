"""Other cameras, other noise: more swings out of the same ones, with exact truth.

Every landmark is lifted to the depth of the true joint it belongs to and drawn again
through a camera that stands, tilts and zooms a little differently. The network's error
moves with the landmark, as it would.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.core import corrector
from analysis.core.pose import LANDMARKS
from analysis.training.table import COLUMN, EVENT_CODE, OURS, VIEWS, Array, Table, rows_of


@dataclass(frozen=True)
class Ranges:
    """Standard deviations of the changes, one draw per swing unless said otherwise."""

    yaw_deg: float = 5.0
    pitch_deg: float = 1.5
    roll_deg: float = 1.0
    log_distance: float = 0.08
    log_zoom: float = 0.05
    shift_m: float = 0.06
    frame_noise_m: float = 0.006  # per landmark and frame
    swing_noise_m: float = 0.006  # per landmark, the same in all frames
    depth_noise_m: float = 0.01
    no_depth: float = 0.05  # share of swings without the network's depth
    phase: float = 0.015  # per frame
    event: float = 0.02  # of top and impact, in phase


def _anchor_joint(landmark: str) -> int:
    part, _, side = landmark.rpartition("_")
    if part in ("pinky", "index", "thumb"):
        return COLUMN["grip"]
    if part == "ear":
        return COLUMN["head"]
    name = f"{part}_{'lead' if side == 'left' else 'trail'}"
    return COLUMN.get(name, COLUMN["nose"])


_DEPTH_OF = [_anchor_joint(name) for name in LANDMARKS]


@dataclass(frozen=True)
class Inputs:
    """What the network is trained on, one row per frame or swing."""

    tokens: NDArray[np.float32]
    swing: NDArray[np.float32]
    residual: NDArray[np.float32]  # (N, 2 J) corrected joint minus anchor, % of stature
    camera: NDArray[np.float32]  # (S, 2) true yaw and roll of the camera, degrees


class Augmenter:
    """Holds the lifted landmarks of a table and draws them anew."""

    def __init__(self, table: Table) -> None:
        f, s = table.frame, table.swings
        self.table, self.swing = table, f["swing"]
        self.size = np.stack([s["w"], s["h"]], axis=1).astype(float)
        points = f["true_xyz"] * np.array([1.0, -1.0, 1.0])
        self.joints = (
            np.einsum("nij,nkj->nki", s["R"][self.swing], points) + s["t"][self.swing][:, None]
        )
        depth = self.joints[:, _DEPTH_OF, 2]
        plane = (f["mp_xy"] - self.size[self.swing][:, None] / 2) / s["f"][self.swing][
            :, None, None
        ]
        self.lifted = np.concatenate([plane * depth[..., None], depth[..., None]], axis=2)
        rows = rows_of(f, s)
        self.address = [r[f["event"][r] == EVENT_CODE["address"]] for r in rows]
        first = np.array([r[0] for r in self.address])
        hips = [COLUMN["hip_lead"], COLUMN["hip_trail"]]
        self.centre = self.joints[first][:, hips].mean(axis=1)
        self.metre_px = s["f"] / self.centre[:, 2]

    def plain(self) -> Inputs:
        """The table as it is."""
        f, s = self.table.frame, self.table.swings
        camera = np.stack([s["yaw_off"], _roll_deg(s["R"][:, :, 2])], axis=1)
        pixels = (f["mp_xy"], f["depth"], f["mp_world"], f["true_xy"])
        return self._inputs(*pixels, f["phase"], camera, None)

    def drawn(self, rng: np.random.Generator, ranges: Ranges) -> Inputs:
        """The table through other cameras."""
        f, s, swing = self.table.frame, self.table.swings, self.swing
        n = len(self.centre)
        yaw = np.radians(rng.normal(0, ranges.yaw_deg, n))
        turn = _about_x(np.radians(rng.normal(0, ranges.pitch_deg, n))) @ _about(
            s["R"][:, :, 2], yaw
        )
        roll = _about_z(np.radians(rng.normal(0, ranges.roll_deg, n)))
        nearer = np.exp(rng.normal(0, ranges.log_distance, n))
        focal = s["f"] * nearer * np.exp(rng.normal(0, ranges.log_zoom, n))
        place = self.centre * nearer[:, None]
        place[:, :2] += rng.normal(0, ranges.shift_m, (n, 2))

        def draw(points: Array) -> Array:
            turned = np.einsum("nij,nkj->nki", turn[swing], points - self.centre[swing][:, None])
            seen = np.einsum("nij,nkj->nki", roll[swing], turned + place[swing][:, None])
            flat = seen[..., :2] / np.maximum(seen[..., 2:], 0.3)
            return flat * focal[swing][:, None, None] + self.size[swing][:, None] / 2

        metre_px = (focal / place[:, 2])[swing]
        xy = draw(self.lifted)
        noise = rng.normal(0, ranges.frame_noise_m, xy.shape)
        noise += rng.normal(0, ranges.swing_noise_m, (n, *xy.shape[1:]))[swing]
        xy += noise * metre_px[:, None, None]
        depth, world = self._turned_depth(-yaw, rng, ranges)
        phase = f["phase"] + rng.normal(0, ranges.phase, len(swing)) + self._event_slip(rng, ranges)
        # turning the golfer one way is walking with the camera the other way
        walked = np.degrees(yaw) * np.where(s["view"] == VIEWS["down_the_line"], 1, -1)
        up = np.einsum("nij,nj->ni", roll @ turn, s["R"][:, :, 2])
        camera = np.stack([s["yaw_off"] + walked, _roll_deg(up)], axis=1)
        pixels = (xy, depth * metre_px[:, None], world, draw(self.joints))
        return self._inputs(*pixels, phase, camera, rng)

    def _turned_depth(
        self, yaw: Array, rng: np.random.Generator, ranges: Ranges
    ) -> tuple[Array, Array]:
        """The pose network's depth and metric points for the turned camera, roughly."""
        f, scale = self.table.frame, self.metre_px[self.swing][:, None]
        across = (f["mp_xy"] - f["mp_xy"][:, 23:25].mean(axis=1, keepdims=True))[..., 0] / scale
        cos, sin = np.cos(yaw)[self.swing][:, None], np.sin(yaw)[self.swing][:, None]
        depth = f["depth"] / scale * cos + across * sin
        depth += rng.normal(0, ranges.depth_noise_m, depth.shape)
        world = f["mp_world"].copy()
        world[..., 0] = f["mp_world"][..., 0] * cos - f["mp_world"][..., 2] * sin
        world[..., 2] = f["mp_world"][..., 2] * cos + f["mp_world"][..., 0] * sin
        without = (rng.random(len(self.centre)) < ranges.no_depth)[self.swing]
        depth[without], world[without] = 0.0, 0.0
        return depth, world

    def _event_slip(self, rng: np.random.Generator, ranges: Ranges) -> Array:
        """Top and impact found a little early or late shift the phases around them."""
        slip = rng.normal(0, ranges.event, (4, len(self.centre)))[:, self.swing]
        slip[0], slip[3] = 0.0, 4 * slip[3]
        phase = self.table.frame["phase"].clip(0, 3)
        low = np.minimum(phase.astype(int), 2)
        rows = np.arange(len(phase))
        share = phase - low
        return slip[low, rows] * (1 - share) + slip[low + 1, rows] * share

    def _inputs(
        self,
        xy: Array,
        depth: Array,
        world: Array,
        joints_px: Array,
        phase: Array,
        camera: Array,
        rng: np.random.Generator | None,
    ) -> Inputs:
        confidence = self.table.frame["confidence"]
        mean = [self._at_address(v, rng) for v in (xy, depth, world, confidence)]
        origin, scale = corrector.standing_frame(mean[0])
        address = corrector.frame_features(*mean, origin=origin, scale=scale)
        s = self.swing
        frame = corrector.frame_features(
            xy, depth, world, confidence, origin=origin[s], scale=scale[s]
        )
        anchors = np.einsum("jk,nkc->njc", corrector.ANCHOR, xy)
        residual = 100 * (joints_px[:, OURS] - anchors) / scale[s][:, None, None]
        return Inputs(
            tokens=corrector.token_features(frame, address[s], phase).astype(np.float32),
            swing=corrector.swing_features(
                address, origin=origin, scale=scale, size_px=self.size
            ).astype(np.float32),
            residual=residual.reshape(len(s), -1).astype(np.float32),
            camera=camera.astype(np.float32),
        )

    def _at_address(self, values: Array, rng: np.random.Generator | None) -> Array:
        """Mean of a swing's address frames; in training of a random part of them."""
        out = np.empty((len(self.address), *values.shape[1:]))
        for s, rows in enumerate(self.address):
            if rng is not None and len(rows) > 1:
                rows = rng.choice(rows, rng.integers(1, len(rows) + 1), replace=False)
            out[s] = values[rows].mean(axis=0)
        return out


def _roll_deg(up: Array) -> Array:
    """How far the golfer's plumb line leans to the right in the picture."""
    return np.degrees(np.arctan2(up[:, 0], -up[:, 1]))


def _about(axis: Array, angle: Array) -> Array:
    """Rotations about unit axes, shape (N, 3, 3) (Rodrigues)."""
    k = np.zeros((len(axis), 3, 3))
    k[:, 0, 1], k[:, 0, 2], k[:, 1, 2] = -axis[:, 2], axis[:, 1], -axis[:, 0]
    k -= k.transpose(0, 2, 1)
    sin, cos = np.sin(angle)[:, None, None], np.cos(angle)[:, None, None]
    return np.asarray(np.eye(3) + sin * k + (1 - cos) * (k @ k))


def _about_x(angle: Array) -> Array:
    return _about(np.tile([1.0, 0.0, 0.0], (len(angle), 1)), angle)


def _about_z(angle: Array) -> Array:
    return _about(np.tile([0.0, 0.0, 1.0], (len(angle), 1)), angle)
