"""One new golfer with somebody's motion, filmed by one camera and read by the pose network."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.measures import body_curves
from analysis.core.pose import SIDE_SWAP
from analysis.estimators import Person, PoseEstimator
from analysis.training.render import dress, paint
from analysis.training.render.bodies import Array, Body, Mesh
from analysis.training.render.paint import Camera, Light, Picture
from analysis.training.render.posing import Posed
from analysis.training.table import COLUMN, OURS, VIEWS, motions, rows_of
from analysis.video import Frame

Rows = dict[str, NDArray[Any]]

Y_AWAY = np.array([1.0, -1.0, 1.0])  # from the golfer's frame into the scene


@dataclass(frozen=True)
class Motion:
    """One swing of the table, in order of time: T frames.

    Parameters
    ----------
    time_s, phase, event : ndarray, shape (T,)
        Phase 0 is address, 1 top, 2 impact; `event` as in `table.EVENT_CODE`.
    joints : ndarray, shape (T, len(COLUMNS), 3)
        Metres, golfer's frame.
    body : int
        Whose it is.
    part : float
        Length of the backswing, 1 is a full one.
    """

    time_s: Array
    phase: Array
    event: Array
    joints: Array
    body: int
    part: float


@lru_cache(maxsize=1)
def sources(folder: Path) -> list[Motion]:
    """The whole swings of a table, left-handers mirrored."""
    frame, swings = motions(folder)
    order = np.lexsort((frame["t"], frame["swing"]))
    frame = {k: frame[k][order] for k in ("swing", "t", "phase", "event", "true_xyz")}
    own = rows_of(frame, swings)

    def motion(k: int) -> Motion:
        told = (frame[name][own[k]] for name in ("t", "phase", "event", "true_xyz"))
        return Motion(*told, int(swings["body"][k]), float(swings["part"][k]))

    return [motion(k) for k in np.flatnonzero(swings["setup_only"] == 0).tolist()]


@dataclass(frozen=True)
class Act:
    """What a scene's golfer does in T moments; `time_s`, `phase` and `event` as in `Motion`."""

    time_s: Array
    phase: Array
    event: Array
    posed: Posed


class Scene(ABC):
    """Kinds of scenes say what is done and how the club looks."""

    first_body = 1000  # bodies are numbered from here

    def __init__(
        self, rng: np.random.Generator, motions: list[Motion], mesh: Mesh, people: list[Body]
    ) -> None:
        self.rng, self.mesh = rng, mesh
        self.body_id = int(rng.choice(self._bodies(len(people))))
        self.body = people[self.body_id]
        self.source = motions[rng.integers(len(motions))]
        self.act = self._enact(self.source)
        self.posed = self.act.posed
        self.outfit = dress.dress(self.body, mesh, rng)
        self.view = int(rng.integers(2))
        self.yaw_deg = float(np.clip(rng.normal(0, 5), -12, 12))
        self.camera = self._camera()
        self.left = rng.random() < 0.25

    def _bodies(self, count: int) -> list[int]:
        """Which of the people may play here."""
        return list(range(count))

    @abstractmethod
    def _enact(self, source: Motion) -> Act:
        """The body doing something learned from the source."""

    @abstractmethod
    def _club_behind(self, k: int) -> bool:
        """Whether the club is farther than the body at moment k."""

    @abstractmethod
    def _paint_club(self, picture: Picture, k: int, colour: Array, light: Light) -> None:
        """Draw the club of moment k."""

    def _camera(self) -> Camera:
        rng = self.rng
        tall = rng.random() < 0.88
        size = (720, 1280) if tall else (1280, 720)
        away, height = rng.uniform(2.8, 5.5), rng.uniform(0.5, 1.5)
        yaw = np.radians(self.yaw_deg)
        place = (
            np.array([-np.cos(yaw), np.sin(yaw), 0.0])
            if self.view == VIEWS["down_the_line"]
            else np.array([np.sin(yaw), -np.cos(yaw), 0.0])
        ) * away
        place[2] = height
        aim = np.array([0.0, rng.normal(0, 0.12), 0.93 + rng.normal(0, 0.1)])
        aim[:2] += rng.normal(0, 0.1, 2)
        ahead = (aim - place) / np.linalg.norm(aim - place)
        right = np.cross(ahead, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        turn = np.stack([right, np.cross(ahead, right), ahead])
        self.roll_deg = float(rng.normal(0, 1.5))
        c, s = np.cos(np.radians(self.roll_deg)), np.sin(np.radians(self.roll_deg))
        turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ turn
        share = rng.uniform(0.32, 0.72) if tall else rng.uniform(0.4, 0.8)
        focal = share * size[1] * away / self.body.stature_m
        return Camera(turn, -turn @ place, float(focal), size)

    def filmed(self, network: PoseEstimator) -> Rows | None:
        """Rows of the table, or None when the golfer does not fit the picture."""
        flat, _ = self.camera.see(self.posed.joints * Y_AWAY)
        body = np.delete(flat, [COLUMN["clubhead"]], axis=1)
        if (body < 8).any() or (body > np.array(self.camera.size_px) - 8).any():
            return None
        people = [found for _, found in network.estimate(self.pictures(), quick=False)]
        return self.rows(people)

    def films(self, network: PoseEstimator) -> list[Rows]:
        """What is made of this scene: one film, or none."""
        rows = self.filmed(network)
        return [] if rows is None else [rows]

    def pictures(self) -> Iterator[Frame]:
        rng, camera = self.rng, self.camera
        light = _light(rng)
        empty = paint.surroundings(camera, rng)
        film = paint.random_film(rng, camera.size_px)
        colour = rng.uniform(0.1, 0.8, 3)
        for k in range(len(self.posed.joints)):
            picture, points = empty.copy(), self._skin(k)
            bend = dress.normals(points, self.mesh.faces)
            paint.paint_shadow(picture, points, camera, light)
            behind = self._club_behind(k)
            if behind:
                self._paint_club(picture, k, colour, light)
            args = (self.outfit, self.mesh.faces, points, bend, camera, light)
            paint.paint_body(picture, *args)
            if not behind:
                self._paint_club(picture, k, colour, light)
            shown = film.of(picture, rng)[..., ::-1]
            image = shown[:, ::-1] if self.left else shown
            yield Frame(k, float(k), np.ascontiguousarray(image))

    def _skin(self, k: int) -> Array:
        """Linear blend skinning of the dressed body at moment k."""
        w, b = self.mesh.weights, self.mesh.bones
        bone = np.concatenate([self.posed.turn[k], self.posed.place[k][:, :, None]], axis=2)
        blend = (w[:, None] @ bone.reshape(len(bone), 12)[b])[:, 0].reshape(-1, 3, 4)
        moved = blend[:, :, :3] @ self.outfit.vertices[:, :, None]
        return np.asarray(moved[..., 0] + blend[:, :, 3])

    def rows(self, people: list[list[Person]]) -> Rows:
        """What the table tells of this swing, from the people found in each picture."""
        joints = self.posed.joints
        time_s = self.act.time_s.astype(float) + 1e-6 * np.arange(len(joints))
        curves = body_curves(joints[:, OURS], time_s, address_s=float(time_s[0]))
        flat, _ = self.camera.see(joints * Y_AWAY)
        f4 = np.float32
        return {
            "f_t": self.act.time_s.astype(f4),
            "f_phase": self.act.phase.astype(f4),
            "f_event": self.act.event.astype(np.int8),
            **self._read(people),
            "f_true_xy": np.clip(np.round(flat * 16), -32768, 32767).astype(np.int16),
            "f_true_xyz": np.round(joints * 1e4).astype(np.int16),
            "f_hip_yaw": curves["pelvis_turn_deg"].astype(f4),
            "f_sho_yaw": curves["shoulder_turn_deg"].astype(f4),
            "f_balance": curves["balance_pct"].astype(f4),
            **self._told(),
        }

    def _read(self, people: list[list[Person]]) -> Rows:
        """Landmarks as stored; a mirrored picture's are turned back."""
        n, w = len(people), self.camera.size_px[0]
        xy, depth, sure, world = (
            np.zeros((n, 33, 2)), np.zeros((n, 33)), np.zeros((n, 33, 2)), np.zeros((n, 33, 3))
        )  # fmt: skip
        for k, found in enumerate(people):
            if found:
                one = found[0]
                xy[k], depth[k], world[k] = one.xy_px, one.depth_px, one.world_m
                sure[k, :, 0] = one.confidence
        if self.left:
            xy[..., 0] = w - xy[..., 0]
            world[..., 0] *= -1
            xy, depth, sure, world = (a[:, SIDE_SWAP] for a in (xy, depth, sure, world))
        return {
            "f_detected": np.array([bool(p) for p in people]),
            "f_mp_xy": np.clip(np.round(xy * 16), -32768, 32767).astype(np.int16),
            "f_mp_z": depth.astype(np.float16),
            "f_mp_vis": sure.astype(np.float16),
            "f_mp_world": np.round(world * 1e4).astype(np.int16),
        }

    def _told(self) -> Rows:
        """Who, with whose motion, before which camera: one row."""
        cam, (w, h) = self.camera, self.camera.size_px
        whole = {
            "body": self.first_body + self.body_id, "view": self.view, "left": 0, "w": w, "h": h,
            "setup_only": 0, "from_body": self.source.body,
        }  # fmt: skip
        real = {
            "camR": cam.turn, "camt": cam.shift, "stature": 100 * self.body.stature_m,
            "f": cam.focal_px, "dist": np.linalg.norm(cam.shift),
            "height": (-cam.turn.T @ cam.shift)[2], "yaw_off": self.yaw_deg,
            "roll": self.roll_deg, "part": self.source.part,
        }  # fmt: skip
        rows: Rows = {f"s_{k}": np.array([v], np.int32) for k, v in whole.items()}
        return rows | {f"s_{k}": np.array([v], np.float32) for k, v in real.items()}


def _light(rng: np.random.Generator) -> Light:
    toward = rng.normal(0, 1, 3) * (1, 1, 0.3) + (0, 0, 1.0)
    direct = rng.uniform(0.1, 0.8)
    return Light(
        toward / np.linalg.norm(toward),
        direct,
        1.05 - direct * rng.uniform(0.6, 0.95),
        rng.uniform(0.9, 1.1, 3),
    )
