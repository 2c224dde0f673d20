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
from analysis.core.corrector import CAMERA, FIGURES
from analysis.core.geometry import joint_angle_deg
from analysis.core.pose import LANDMARK, LANDMARKS
from analysis.training import rotations
from analysis.training.table import COLUMN, EVENT_CODE, OURS, VIEWS, Array, Table, rows_of


@dataclass(frozen=True)
class Ranges:
    """Standard deviations of the changes, one draw per swing unless said otherwise."""

    yaw_deg: float = 5.0
    pitch_deg: float = 1.5
    roll_deg: float = 1.0
    level: float = 0.5  # share of swings whose picture was turned upright, to LEVEL_SD_DEG
    log_distance: float = 0.08
    log_zoom: float = 0.05
    shift_m: float = 0.06
    frame_noise_m: float = 0.006  # per landmark and frame
    swing_noise_m: float = 0.006  # per landmark, the same in all frames
    depth_noise_m: float = 0.01
    no_depth: float = 0.05  # share of swings without the network's depth
    phase: float = 0.015  # per frame
    event: float = 0.02  # of top and impact, in phase
    hip_twist_deg: float = 14.0  # of the hip line, one draw at top and one at impact
    shoulder_twist_deg: float = 16.0
    arm_turn_deg: float = 18.0  # of both arms about the plumb line through the chest
    arm_lift_deg: float = 9.0
    borrow: float = 0.5  # share of swings that get the landmark errors of a similar one
    log_width: float = 0.05  # of hips and shoulders


def _anchor_joint(landmark: str) -> int:
    part, _, side = landmark.rpartition("_")
    if part in ("pinky", "index", "thumb"):
        return COLUMN["grip"]
    if part == "ear":
        return COLUMN["head"]
    name = f"{part}_{'lead' if side == 'left' else 'trail'}"
    return COLUMN.get(name, COLUMN["nose"])


_ARMS = tuple(f"{part}_{side}" for part in ("elbow", "wrist") for side in ("lead", "trail"))
_ARM_MARKS = tuple(
    f"{part}_{side}"
    for part in ("elbow", "wrist", "pinky", "index", "thumb")
    for side in ("left", "right")
)
_Y_AWAY = np.array([1.0, -1.0, 1.0])  # the golfer's triple is left-handed, the camera's is not
_DEPTH_OF = [_anchor_joint(name) for name in LANDMARKS]


LEVEL_SD_DEG = 0.4
_SIMILAR = 12  # nearest swings to borrow from


@dataclass(frozen=True)
class Inputs:
    """What the network is trained on, one row per frame or swing."""

    tokens: NDArray[np.float32]
    swing: NDArray[np.float32]
    target: NDArray[np.float32]  # (N, N_OUT): figures, joints minus anchors, joints in space


class Augmenter:
    """Holds the lifted landmarks of a table and draws them anew."""

    def __init__(self, table: Table) -> None:
        f, s = table.frame, table.swings
        self.table, self.swing = table, f["swing"]
        self.size = np.stack([s["w"], s["h"]], axis=1).astype(float)
        points = f["true_xyz"] * _Y_AWAY
        self.joints = (
            np.einsum("nij,nkj->nki", s["R"][self.swing], points) + s["t"][self.swing][:, None]
        )
        depth = self.joints[:, _DEPTH_OF, 2]
        centred = f["mp_xy"] - self.size[self.swing][:, None] / 2
        plane = centred / s["f"][self.swing][:, None, None]
        self.lifted = np.concatenate([plane * depth[..., None], depth[..., None]], axis=2)
        rows = rows_of(f, s)
        self.address = [r[f["event"][r] == EVENT_CODE["address"]] for r in rows]
        first = np.array([r[0] for r in self.address])
        hips = [COLUMN["hip_lead"], COLUMN["hip_trail"]]
        self.centre = self.joints[first][:, hips].mean(axis=1)
        self.metre_px = s["f"] / self.centre[:, 2]
        self.manner = self._manner()

    def plain(self, *, level: bool = False) -> Inputs:
        """The table as it is, or with its pictures turned upright as the surroundings allow."""
        f, s = self.table.frame, self.table.swings
        roll = _roll_deg(s["R"][:, :, 2])
        xy, joints = f["mp_xy"], f["true_xy"]
        if level:
            left = np.random.default_rng(3).normal(0, LEVEL_SD_DEG, len(roll))
            turn = rotations.about(rotations.Z, np.radians(left - roll))[:, :2, :2][self.swing]
            middle = self.size[self.swing][:, None] / 2
            xy, joints = (
                np.einsum("nij,nkj->nki", turn, p - middle) + middle for p in (xy, joints)
            )
            roll = left
        figures = self._figures(self.table.truth, np.stack([s["yaw_off"], roll], axis=1))
        pixels = (xy, f["depth"], f["mp_world"], joints)
        known = np.full(len(roll), level)
        return self._inputs(*pixels, f["phase"], figures, f["true_xyz"], known, None)

    def drawn(
        self,
        rng: np.random.Generator,
        ranges: Ranges,
        donors: NDArray[np.bool_] | None = None,
    ) -> Inputs:
        """Other bodies turning a little differently, through other cameras.

        Parameters
        ----------
        donors : ndarray of bool, shape (S,), optional
            Swings whose landmark errors may be borrowed: those of the training.
        """
        f, s, swing = self.table.frame, self.table.swings, self.swing
        n = len(self.centre)
        lifted, joints, twist = self._deformed(self._borrowed(rng, ranges, donors), rng, ranges)
        yaw = np.radians(rng.normal(0, ranges.yaw_deg, n))
        tilt = rotations.about(rotations.X, np.radians(rng.normal(0, ranges.pitch_deg, n)))
        turn = tilt @ rotations.about(s["R"][:, :, 2], yaw)
        level = rng.random(n) < ranges.level
        own = _roll_deg(np.einsum("nij,nj->ni", turn, s["R"][:, :, 2]))
        upright = rng.normal(0, LEVEL_SD_DEG, n) - own
        lean = np.where(level, upright, rng.normal(0, ranges.roll_deg, n))
        roll = rotations.about(rotations.Z, np.radians(lean))
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
        xy = draw(lifted)
        noise = rng.normal(0, ranges.frame_noise_m, xy.shape)
        noise += rng.normal(0, ranges.swing_noise_m, (n, *xy.shape[1:]))[swing]
        xy += noise * metre_px[:, None, None]
        depth, world = self._turned_depth(-yaw, rng, ranges)
        phase = f["phase"] + rng.normal(0, ranges.phase, len(swing)) + self._event_slip(rng, ranges)
        # turning the golfer one way is walking with the camera the other way
        walked = np.degrees(yaw) * np.where(s["view"] == VIEWS["down_the_line"], 1, -1)
        up = np.einsum("nij,nj->ni", roll @ turn, s["R"][:, :, 2])
        camera = np.stack([s["yaw_off"] + walked, _roll_deg(up)], axis=1)
        space = np.einsum("nji,nkj->nki", s["R"][swing], joints - s["t"][swing][:, None]) * _Y_AWAY
        figures = self._figures(self._retold(space, twist), camera)
        pixels = (xy, depth * metre_px[:, None], world, draw(joints))
        return self._inputs(*pixels, phase, figures, space, level, rng)

    def _borrowed(
        self, rng: np.random.Generator, ranges: Ranges, donors: NDArray[np.bool_] | None
    ) -> Array:
        """Lifted landmarks, for some swings with the errors made on a similar swing."""
        if donors is None or not ranges.borrow:
            return self.lifted
        lenders = np.flatnonzero(donors)
        apart = np.linalg.norm(self.manner[:, None] - self.manner[lenders][None], axis=2)
        near = lenders[np.argsort(apart, axis=1)[:, 1 : 1 + _SIMILAR]]
        lender = near[np.arange(len(near)), rng.integers(0, _SIMILAR, len(near))]
        phase = np.minimum(self.table.frame["phase"], 3.0)
        key = self.swing * 10 + phase
        wanted = lender[self.swing] * 10 + phase
        first, last = (
            np.searchsorted(self.swing, lender),
            np.searchsorted(self.swing, lender, "right") - 1,
        )
        right = np.clip(np.searchsorted(key, wanted), first[self.swing], last[self.swing])
        left = np.maximum(right - 1, first[self.swing])
        nearest = np.where(np.abs(key[left] - wanted) < np.abs(key[right] - wanted), left, right)
        error = self.lifted - self.joints[:, _DEPTH_OF]
        take = (rng.random(len(near)) < ranges.borrow)[self.swing]
        lifted = self.lifted.copy()
        lifted[take] = self.joints[take][:, _DEPTH_OF] + error[nearest[take]]
        return lifted

    def _manner(self) -> Array:
        """How a swing goes, in standard units: turns at top and impact, elbow, camera."""
        f = self.table.frame
        told = [
            FIGURES.index(n) for n in ("pelvis_turn_deg", "shoulder_turn_deg", "lead_elbow_deg")
        ]
        columns = [self.table.swings["yaw_off"]]
        for event in ("top", "impact"):
            for k in told:
                mean = [
                    self.table.truth[r[f["event"][r] == EVENT_CODE[event]], k]
                    for r in rows_of(f, self.table.swings)
                ]
                columns.append(np.array([v.mean() if len(v) else 0.0 for v in mean]))
        table = np.stack(columns, axis=1)
        return np.asarray((table - table.mean(axis=0)) / (table.std(axis=0) + 1e-9))

    def _deformed(
        self, lifted: Array, rng: np.random.Generator, ranges: Ranges
    ) -> tuple[Array, Array, dict[str, Array]]:
        """Arms, hip and shoulder lines turned on their own, the lines widened.

        Otherwise the network learns that whoever turns the shoulders far turns the
        pelvis so much and carries the hands so far, and reads the one off the other.
        """
        lifted, joints = lifted.copy(), self.joints.copy()
        self._move_arms(lifted, joints, rng, ranges)
        n = len(self.centre)
        axis = self.table.swings["R"][:, :, 2][self.swing]
        twist = {}
        for line, follower, share, spread in (
            ("hip", "knee", 0.35, ranges.hip_twist_deg),
            ("shoulder", "elbow", 0.5, ranges.shoulder_twist_deg),
        ):
            angle = self._growing(rng.normal(0, spread, (2, n)))
            turned = rotations.about(axis, angle)
            width = np.exp(rng.normal(0, ranges.log_width, n))[self.swing][:, None, None]
            pair = [COLUMN[f"{line}_{side}"] for side in ("lead", "trail")]
            middle = self.joints[:, pair].mean(axis=1, keepdims=True)
            for side, mark in (("lead", "left"), ("trail", "right")):
                for points, own, next_one in (
                    (joints, COLUMN[f"{line}_{side}"], COLUMN[f"{follower}_{side}"]),
                    (lifted, LANDMARK[f"{line}_{mark}"], LANDMARK[f"{follower}_{mark}"]),
                ):
                    arm = points[:, [own]] - middle
                    moved = width * np.einsum("nij,nkj->nki", turned, arm) - arm
                    points[:, [own]] += moved
                    points[:, [next_one]] += share * moved
            # about the camera's own axes the golfer's up turns the other way round
            twist[line] = -np.degrees(angle)
        return lifted, joints, twist

    def _growing(self, ends_deg: Array) -> Array:
        """Radians per frame of what is nothing at address and so many degrees at top and
        impact, `ends_deg` of shape (2, S)."""
        phase = self.table.frame["phase"]
        at_top, at_impact = np.radians(ends_deg)[:, self.swing]
        later = at_top + (at_impact - at_top) * np.clip(phase - 1, 0, 1)
        return np.asarray(np.where(phase > 0, np.where(phase < 1, phase * at_top, later), 0.0))

    def _move_arms(
        self, lifted: Array, joints: Array, rng: np.random.Generator, ranges: Ranges
    ) -> None:
        """Both arms with the club turned and lifted about the middle of the shoulders."""
        n, up = len(self.centre), self.table.swings["R"][:, :, 2][self.swing]
        shoulders = [COLUMN["shoulder_lead"], COLUMN["shoulder_trail"]]
        middle = self.joints[:, shoulders].mean(axis=1)
        aside = np.cross(up, self.joints[:, COLUMN["grip"]] - middle)
        aside /= np.maximum(np.linalg.norm(aside, axis=1, keepdims=True), 1e-6)
        turn = rotations.about(up, self._growing(rng.normal(0, ranges.arm_turn_deg, (2, n))))
        lift = rotations.about(aside, self._growing(rng.normal(0, ranges.arm_lift_deg, (2, n))))
        for points, columns in (
            (joints, [COLUMN[name] for name in (*_ARMS, "grip", "clubhead")]),
            (lifted, [LANDMARK[name] for name in _ARM_MARKS]),
        ):
            arm = points[:, columns] - middle[:, None]
            points[:, columns] = middle[:, None] + np.einsum("nij,nkj->nki", turn @ lift, arm)

    def _retold(self, space: Array, twist: dict[str, Array]) -> Array:
        """The true figures of the deformed bodies."""
        truth = self.table.truth.copy()
        truth[:, FIGURES.index("pelvis_turn_deg")] += twist["hip"]
        truth[:, FIGURES.index("shoulder_turn_deg")] += twist["shoulder"]
        lead, trail = (space[:, COLUMN[f"hip_{side}"]] for side in ("lead", "trail"))
        slope = np.degrees(np.arctan2(trail[:, 2] - lead[:, 2], np.abs(trail[:, 0] - lead[:, 0])))
        base_slope, base_y = self._mean_at_address(slope), self._mean_at_address(trail[:, 1])
        stature_m = self.table.swings["stature"][self.swing] / 100
        heel = self._mean_at_address(space[:, COLUMN["heel_trail"], 1])
        truth[:, FIGURES.index("hand_depth_cm")] = (
            100 * (heel[self.swing] - space[:, COLUMN["grip"], 1]) / stature_m
        )
        arm = [space[:, COLUMN[f"{j}_lead"]] for j in ("shoulder", "elbow", "wrist")]
        truth[:, FIGURES.index("hip_line_tilt_deg")] = slope - base_slope[self.swing]
        truth[:, FIGURES.index("trail_hip_depth_cm")] = (
            100 * (base_y[self.swing] - trail[:, 1]) / stature_m
        )
        truth[:, FIGURES.index("lead_elbow_deg")] = 180 - joint_angle_deg(*arm)
        ankles, shoulders = (_across_m(space, joint) for joint in ("ankle", "shoulder"))
        truth[:, FIGURES.index("stance_ratio")] = np.clip(
            ankles / np.maximum(shoulders, 0.05), 0.2, 4.0
        )
        return truth

    def _mean_at_address(self, values: Array) -> Array:
        return np.array([values[rows].mean() for rows in self.address])

    def _figures(self, truth: Array, camera: Array) -> Array:
        figures = truth.copy()
        figures[:, len(FIGURES) - len(CAMERA) :] = camera[self.swing]
        return figures

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
        figures: Array,
        space: Array,
        level: NDArray[np.bool_],
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
        stature_m = self.table.swings["stature"][s][:, None, None] / 100
        parts = (figures, residual.reshape(len(s), -1), (100 * space[:, OURS] / stature_m))
        swing = corrector.swing_features(
            address, origin=origin, scale=scale, size_px=self.size, level=level
        )
        return Inputs(
            tokens=corrector.token_features(frame, address[s], phase).astype(np.float32),
            swing=swing.astype(np.float32),
            target=np.concatenate([p.reshape(len(s), -1) for p in parts], axis=1).astype(
                np.float32
            ),
        )

    def _at_address(self, values: Array, rng: np.random.Generator | None) -> Array:
        """Mean of a swing's address frames; in training of a random part of them."""
        out = np.empty((len(self.address), *values.shape[1:]))
        for s, rows in enumerate(self.address):
            if rng is not None and len(rows) > 1:
                rows = rng.choice(rows, rng.integers(1, len(rows) + 1), replace=False)
            out[s] = values[rows].mean(axis=0)
        return out


def _across_m(space: Array, joint: str) -> Array:
    """Distance of the two `joint` along the target line."""
    return np.abs(space[:, COLUMN[f"{joint}_lead"], 0] - space[:, COLUMN[f"{joint}_trail"], 0])


def _roll_deg(up: Array) -> Array:
    """How far the golfer's plumb line leans to the right in the picture."""
    return np.degrees(np.arctan2(up[:, 0], -up[:, 1]))
