"""Render more swings in the form of the training table.

    python -m analysis.training.render.make --table DIR --out DIR2 [--swings N] [--key-only N]
        [--held N] [--jobs N]

Takes motions from the table's swings, changes them, gives them to new bodies in other
clothes in front of other cameras, and reads the pictures with the pose network. Needs
`pip install anny==0.6.2 numba` beside PyTorch; nothing at run time does. The folder then
stands beside the table's own shards: `train --table DIR --more DIR2`. Interrupted, it goes
on where it stopped; seeds are fixed per shard, and numbers are rounded up to whole shards.
"""

from __future__ import annotations

import argparse
import os
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

from analysis.estimators import MediaPipeEstimator
from analysis.training.render import bodies
from analysis.training.render.free import (
    FREE_SCENES,
    LooseScene,
    MoreTurnPair,
    MovedHandsPair,
    SameHandsScene,
)
from analysis.training.render.held import HeldScene
from analysis.training.render.scene import Rows, Scene, sources
from analysis.training.render.swing import KeyScene, SwingScene

PER_SHARD = 10


@dataclass(frozen=True)
class Kind:
    """A kind of scenes: its option, the start of its files' names, numbers and seeds."""

    option: str
    default: int
    words: str
    scene: type[Scene]
    file: str
    first_sid: int
    seed: int


KINDS = (
    Kind("swings", 840, "swings of 20 moments", SwingScene, "w9", 1_000_000, 11),
    Kind("key-only", 900, "swings of 5: address, top, impact", KeyScene, "w8", 2_000_000, 13),
    Kind("held", 120, "turns with a held club", HeldScene, "w7", 3_000_000, 17),
)

# Motions without habits, by family; the last four are for tests alone.
FREE_KINDS = (
    *(
        Kind(name, count, words, FREE_SCENES[name], f"w5{scene}", 4_000_000 + 100_000 * k, 31 + k)
        for k, (name, count, words, scene) in enumerate(
            (
                ("free", 760, "swings drawn part by part", "a"),
                ("arms", 280, "the arms do what the body does not", "b"),
                ("turn", 280, "much turn, little arms", "c"),
                ("slide", 320, "sway, lifted heels, tilted bodies", "d"),
                ("short", 240, "part swings and slow ones", "e"),
                ("poses", 320, "poses that are no swing", "f"),
            )
        )
    ),
    Kind("loose", 480, "chest and arms apart", LooseScene, "w5g", 4_600_000, 37),
    Kind("player", 120, "other strong habits", FREE_SCENES["player"], "w4a", 4_700_000, 38),
    Kind("same-hands", 120, "usual hands, unusual chest", SameHandsScene, "w4b", 4_800_000, 39),
    Kind("moved-hands", 120, "pairs: the hands alone", MovedHandsPair, "w4c", 4_900_000, 40),
    Kind("more-turn", 120, "pairs: 12 degrees more turn", MoreTurnPair, "w4d", 5_000_000, 41),
)  # fmt: skip


@dataclass(frozen=True)
class Job:
    """One shard to make."""

    table: Path
    out: Path
    models: Path | None
    kind: Kind
    number: int

    @property
    def path(self) -> Path:
        return self.out / "shards" / f"{self.kind.file}_{self.number:03d}.npz"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--table", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--models", type=Path, help="folder of the pose networks")
    for kind in (*KINDS, *FREE_KINDS):
        parser.add_argument(f"--{kind.option}", type=int, default=kind.default, help=kind.words)
    parser.add_argument("--bodies", type=int, default=240)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    (options.out / "shards").mkdir(parents=True, exist_ok=True)
    store = options.out / "bodies.npz"
    if not store.exists():
        np.savez(store, **bodies.draw(options.bodies, seed=7))
    todo = [job for job in _jobs(options) if not job.path.exists()]
    with get_context("spawn").Pool(options.jobs, maxtasksperchild=8) as pool:
        for path in pool.imap_unordered(_make, todo):
            print(path.name, flush=True)


def _jobs(options: argparse.Namespace) -> list[Job]:
    return [
        Job(options.table, options.out, options.models, kind, k)
        for kind in (*KINDS, *FREE_KINDS)
        for k in range(-(-getattr(options, kind.option.replace("-", "_")) // PER_SHARD))
    ]


def _make(job: Job) -> Path:
    cv2.setNumThreads(1)
    rng = np.random.default_rng((job.kind.seed, job.number))
    mesh, people = bodies.load(job.out / "bodies.npz")
    found: list[Rows] = []
    with MediaPipeEstimator(job.models) as network:
        while len(found) < PER_SHARD:
            for rows in job.kind.scene(rng, sources(job.table), mesh, people).films(network):
                sid = job.kind.first_sid + job.number * PER_SHARD + len(found)
                rows |= {"s_sid": np.array([sid], np.int32)}
                rows |= {"f_sid": np.full(len(rows["f_t"]), sid, np.int32)}
                found.append(rows)
    part = job.path.with_suffix(".part.npz")
    np.savez_compressed(part, **{k: np.concatenate([f[k] for f in found]) for k in found[0]})
    part.replace(job.path)
    return job.path


if __name__ == "__main__":
    main()
