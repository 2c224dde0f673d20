"""Render more swings in the form of the training table.

    python -m analysis.training.render.make --table DIR --out DIR2 [--swings N] [--jobs N]

Takes motions from the table's swings, changes them, gives them to new bodies in other
clothes in front of other cameras, and reads the pictures with the pose network. Needs
`pip install anny==0.6.2 numba` beside PyTorch; nothing at run time does. The folder then
stands beside the table's own shards: `train --table DIR --more DIR2`. Interrupted, it goes
on where it stopped; seeds are fixed per shard.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.core.measures import body_curves, centre_of_mass_m
from analysis.core.pose import JOINTS, SIDE_SWAP
from analysis.estimators import MediaPipeEstimator, Person
from analysis.training.render import bodies, dress, paint, posing
from analysis.training.render.bodies import Array, Body, Mesh
from analysis.training.render.paint import Camera, Light
from analysis.training.table import COLUMN, VIEWS, motions
from analysis.video import Frame

Rows = dict[str, NDArray[Any]]

_Y_AWAY = np.array([1.0, -1.0, 1.0])
PER_SHARD = 10
FRAMES = 20  # of a swing


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--table", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--models", type=Path, help="folder of the pose networks")
    parser.add_argument("--swings", type=int, default=1000)
    parser.add_argument("--bodies", type=int, default=240)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    (options.out / "shards").mkdir(parents=True, exist_ok=True)
    store = options.out / "bodies.npz"
    if not store.exists():
        np.savez(store, **bodies.draw(options.bodies, seed=7))
    todo = [
        (options, k)
        for k in range(options.swings // PER_SHARD)
        if not _shard(options.out, k).exists()
    ]
    with get_context("spawn").Pool(options.jobs, maxtasksperchild=8) as pool:
        for k in pool.imap_unordered(_make, todo):
            print(f"shard {k}", flush=True)


def _shard(out: Path, k: int) -> Path:
    return out / "shards" / f"w9_{k:03d}.npz"


def _make(job: tuple[argparse.Namespace, int]) -> int:
    cv2.setNumThreads(1)
    options, k = job
    rng = np.random.default_rng((11, k))
    frame, swings = _sources(options.table)
    mesh, people = bodies.load(options.out / "bodies.npz")
    found: list[Rows] = []
    with MediaPipeEstimator(options.models) as network:
        while len(found) < PER_SHARD:
            scene = Scene(rng, frame, swings, mesh, people)
            rows = scene.filmed(network)
            if rows is not None:
                sid = 1_000_000 + k * PER_SHARD + len(found)
                rows |= {"s_sid": np.array([sid], np.int32)}
                rows |= {"f_sid": np.full(len(rows["f_t"]), sid, np.int32)}
                found.append(rows)
    part = _shard(options.out, k).with_suffix(".part.npz")
    joined = {key: np.concatenate([f[key] for f in found]) for key in found[0]}
    np.savez_compressed(part, **joined)
    part.replace(_shard(options.out, k))
    return k


@lru_cache(maxsize=1)
def _sources(folder: Path) -> tuple[dict[str, Array], dict[str, Array]]:
    frame, swings = motions(folder)
    keep = ("t", "phase", "event", "swing", "true_xyz")
    return {k: frame[k] for k in keep}, swings


class Scene:
    """One new golfer with somebody's motion, filmed by one camera."""

    def __init__(
        self,
        rng: np.random.Generator,
        frame: dict[str, Array],
        swings: dict[str, Array],
        mesh: Mesh,
        people: list[Body],
    ) -> None:
        self.rng, self.mesh = rng, mesh
        self.body_id = int(rng.integers(len(people)))
        self.body = people[self.body_id]
        self.source = int(rng.choice(np.flatnonzero(swings["setup_only"] == 0)))
        rows = np.flatnonzero(frame["swing"] == self.source)
        rows = rows[np.argsort(frame["t"][rows])]
        rows = rows[_moments(rng, frame["event"][rows], frame["phase"][rows])]
        self.frame = {k: frame[k][rows] for k in ("t", "phase", "event")}
        self.source_body = int(swings["body"][self.source])
        self.part = swings["part"][self.source]
        self.posed = posing.pose(
            self.body,
            mesh,
            frame["true_xyz"][rows],
            self.frame["phase"].astype(float),
            posing.random_changes(rng),
        )
        self.outfit = dress.dress(self.body, mesh, rng)
        self.view = int(rng.integers(2))
        self.yaw_deg = float(np.clip(rng.normal(0, 5), -12, 12))
        self.camera = self._camera()
        self.left = rng.random() < 0.25

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

    def filmed(self, network: MediaPipeEstimator) -> Rows | None:
        """Rows of the table, or None when the golfer does not fit the picture."""
        flat, _ = self.camera.see(self.posed.joints * _Y_AWAY)
        body = np.delete(flat, [COLUMN["clubhead"]], axis=1)
        if (body < 8).any() or (body > np.array(self.camera.size_px) - 8).any():
            return None
        pictures = self._pictures()
        people = [found for _, found in network.estimate(pictures, quick=False)]
        return self._rows(people)

    def _pictures(self) -> Iterator[Frame]:
        rng, camera = self.rng, self.camera
        light = _light(rng)
        empty = paint.surroundings(camera, rng)
        film = paint.random_film(rng, camera.size_px)
        club = rng.uniform(0.1, 0.8, 3)
        for k in range(len(self.posed.joints)):
            points = self._skin(k)
            bend = dress.normals(points, self.mesh.faces)
            picture = empty.copy()
            paint.paint_shadow(picture, points, camera, light)
            grip, head = self.posed.joints[k, [COLUMN["grip"], COLUMN["clubhead"]]] * _Y_AWAY
            behind = camera.see(head[None])[1] > camera.see(grip[None])[1]
            if behind[0]:
                paint.paint_club(picture, grip, head, camera, club, light)
            args = (self.outfit, self.mesh.faces, points, bend, camera, light)
            paint.paint_body(picture, *args)
            if not behind[0]:
                paint.paint_club(picture, grip, head, camera, club, light)
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

    def _rows(self, people: list[list[Person]]) -> Rows:
        n, (w, h) = len(people), self.camera.size_px
        seen = np.array([bool(p) for p in people])
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
        joints = self.posed.joints
        ours = [COLUMN[j] for j in JOINTS]
        time_s = self.frame["t"].astype(float) + 1e-6 * np.arange(n)
        curves = body_curves(joints[:, ours], time_s, address_s=float(time_s[0]))
        joints[:, COLUMN["com"]] = centre_of_mass_m(joints[:, ours])
        cam, f4 = self.camera, np.float32
        flat, _ = cam.see(joints * _Y_AWAY)
        away = np.linalg.norm(cam.shift)
        swing = {
            "body": 1000 + self.body_id, "view": self.view, "left": 0,
            "stature": 100 * self.body.stature_m, "w": w, "h": h, "f": cam.focal_px,
            "dist": away, "height": (-cam.turn.T @ cam.shift)[2], "yaw_off": self.yaw_deg,
            "roll": self.roll_deg, "setup_only": 0, "part": self.part,
            "from_body": self.source_body,
        }  # fmt: skip
        whole = ("body", "view", "left", "w", "h", "setup_only", "from_body")
        return {
            "f_t": self.frame["t"].astype(f4),
            "f_phase": self.frame["phase"].astype(f4),
            "f_event": self.frame["event"].astype(np.int8),
            "f_detected": seen,
            "f_mp_xy": np.clip(np.round(xy * 16), -32768, 32767).astype(np.int16),
            "f_mp_z": depth.astype(np.float16),
            "f_mp_vis": sure.astype(np.float16),
            "f_mp_world": np.round(world * 1e4).astype(np.int16),
            "f_true_xy": np.clip(np.round(flat * 16), -32768, 32767).astype(np.int16),
            "f_true_xyz": np.round(joints * 1e4).astype(np.int16),
            "f_hip_yaw": curves["pelvis_turn_deg"].astype(f4),
            "f_sho_yaw": curves["shoulder_turn_deg"].astype(f4),
            "f_balance": curves["balance_pct"].astype(f4),
            "s_camR": cam.turn[None].astype(f4),
            "s_camt": cam.shift[None].astype(f4),
            **{f"s_{k}": np.array([v], np.int32 if k in whole else f4) for k, v in swing.items()},
        }


def _moments(rng: np.random.Generator, event: Array, phase: Array) -> NDArray[np.intp]:
    """Which moments of the source are drawn: the key ones and some between."""
    key = np.concatenate(
        [np.flatnonzero(event == code)[:2] for code in (0, 3, 6)]
        + [np.flatnonzero(event == code)[:1] for code in (2, 4, 5)]
    )
    rest = np.setdiff1d(np.flatnonzero((phase < 2.6) & (event != 0)), key)
    more = rng.permutation(rest)[: max(FRAMES - len(key), 0)]
    return np.sort(np.concatenate([key, more]))


def _light(rng: np.random.Generator) -> Light:
    toward = rng.normal(0, 1, 3) * (1, 1, 0.3) + (0, 0, 1.0)
    direct = rng.uniform(0.1, 0.8)
    return Light(
        toward / np.linalg.norm(toward),
        direct,
        1.05 - direct * rng.uniform(0.6, 0.95),
        rng.uniform(0.9, 1.1, 3),
    )


if __name__ == "__main__":
    main()
