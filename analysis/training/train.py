"""Make the weights of `analysis.weights` anew.

    OMP_NUM_THREADS=1 python -m analysis.training.train --table DIR --free DIR2 [--more DIR3]
        [--repeats DIR4] [--work DIR5]

`--table` holds the shards of rendered swings by which errors are told, `--free` motions
without habits, told by family; `--more` what else `render.make` adds, learned from only;
`--repeats` films of one swing, by which an error is parted. Members are kept in `--work`, so
that an interrupted training goes on where it stopped. Needs PyTorch (`pip install torch==2.13.0`,
CPU), which nothing at run time does. Seeds are fixed: the same table gives the same
weights up to the rounding of the machine's arithmetic.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from analysis.training import crossval
from analysis.training.augment import Ranges
from analysis.training.calibrate import Calibrated, calibrated, save_errors
from analysis.training.network import Recipe, Trainer
from analysis.training.table import OTHER_BODIES, VIEWS, Array, load
from analysis.weights import packed, unpacked

WEIGHTS = Path(__file__).resolve().parents[1] / "weights"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--table", type=Path, required=True)
    parser.add_argument("--more", type=Path, nargs="*", default=[])
    parser.add_argument("--free", type=Path, nargs="*", default=[])
    parser.add_argument("--repeats", type=Path)
    parser.add_argument("--work", type=Path, default=Path("training-work"))
    parser.add_argument("--out", type=Path, default=WEIGHTS)
    parser.add_argument("--views", nargs="+", default=list(VIEWS), choices=list(VIEWS))
    parser.add_argument("--partitions", type=int, default=2, help="ways of dealing out the bodies")
    parser.add_argument("--groups", type=int, default=5, help="groups of bodies in each")
    parser.add_argument("--epochs", type=int, default=Recipe.epochs)
    options = parser.parse_args()
    torch.set_num_threads(1)
    options.work.mkdir(parents=True, exist_ok=True)
    found = [_train_view(view, options) for view in options.views]
    if set(options.views) == set(VIEWS):
        save_errors(found, options.out)


def _train_view(view: str, options: argparse.Namespace) -> Calibrated:
    wide = load(view, options.table, *options.more, *options.free)
    trainer = Trainer(wide, Recipe(epochs=options.epochs), Ranges())
    bodies = np.unique(wide.swings["body"][wide.swings["body"] < OTHER_BODIES])
    members = []
    for seed, unseen in enumerate(crossval.groups(bodies, options.partitions, options.groups)):
        train = crossval.seen_by(wide.swings, unseen, seed % options.groups)
        path = options.work / f"{view}_{seed}_{options.epochs}.npz"
        members.append(_member(trainer, train, seed, path))
    weights = stacked(members, trainer.recipe)
    own = calibrated(view, weights, options)
    (options.work / f"report_{view}.md").write_text("\n".join(own.lines) + "\n")
    print("\n".join(own.lines), flush=True)
    np.savez_compressed(options.out / f"body_{view}.npz", **packed(weights | own.added))
    return own


def _member(trainer: Trainer, train: NDArray[np.bool_], seed: int, path: Path) -> dict[str, Array]:
    if not path.exists():
        np.savez_compressed(path.with_suffix(".part.npz"), **trainer.run(train, seed=seed))
        path.with_suffix(".part.npz").replace(path)
    with np.load(path) as stored:
        return {k: stored[k] for k in stored.files}


def stacked(members: list[dict[str, Array]], recipe: Recipe) -> dict[str, Array]:
    """Members side by side, rounded as they are stored."""
    out = {k: np.stack([m[k] for m in members]).astype(np.float32) for k in members[0]}
    for name in out:
        if name.endswith((".b", ".g")):  # shifts and gains: half precision is plenty
            out[name] = out[name].astype(np.float16)
    out |= {"layers": np.array(recipe.layers), "heads": np.array(recipe.heads)}
    return unpacked(packed(out))


if __name__ == "__main__":
    main()
