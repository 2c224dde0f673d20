"""Make the weights of `analysis.weights` anew.

    OMP_NUM_THREADS=1 python -m analysis.training.train --table DIR [--more DIR2] [--work DIR]

`--table` holds the shards of rendered swings by which errors are told; `--more` what
`render.make` adds to them, learned from only. Members are kept in `--work`, so that an
interrupted training goes on where it stopped. Needs PyTorch (`pip install torch==2.13.0`,
CPU), which nothing at run time does. Seeds are fixed: the same table gives the same
weights up to the rounding of the machine's arithmetic.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from analysis.training import crossval, familiar
from analysis.training.augment import Augmenter, Ranges
from analysis.training.network import Recipe, Trainer
from analysis.training.table import VIEWS, Array, load
from analysis.weights import packed, unpacked

WEIGHTS = Path(__file__).resolve().parents[1] / "weights"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--table", type=Path, required=True)
    parser.add_argument("--more", type=Path, nargs="*", default=[])
    parser.add_argument("--work", type=Path, default=Path("training-work"))
    parser.add_argument("--out", type=Path, default=WEIGHTS)
    parser.add_argument("--views", nargs="+", default=list(VIEWS), choices=list(VIEWS))
    parser.add_argument("--partitions", type=int, default=2, help="ways of dealing out the bodies")
    parser.add_argument("--groups", type=int, default=5, help="groups of bodies in each")
    parser.add_argument("--epochs", type=int, default=Recipe.epochs)
    options = parser.parse_args()
    torch.set_num_threads(1)
    options.work.mkdir(parents=True, exist_ok=True)
    rows = [_train_view(view, options) for view in options.views]
    if set(options.views) == set(VIEWS):
        archive = {name: np.concatenate([r[name] for r in rows]) for name in rows[0]}
        np.savez_compressed(options.out / "cv_errors.npz", **archive)


def _train_view(view: str, options: argparse.Namespace) -> dict[str, Array]:
    table, wide = load(view, options.table), load(view, options.table, *options.more)
    trainer = Trainer(wide, Recipe(epochs=options.epochs), Ranges())
    body, augmenter = table.swings["body"], Augmenter(table)
    members, held_out = [], []
    for seed, unseen in enumerate(
        crossval.groups(np.unique(body), options.partitions, options.groups)
    ):
        # nor a motion of an unseen body on another one
        train = ~np.isin(wide.swings["from_body"], unseen)
        path = options.work / f"{view}_{seed}_{options.epochs}.npz"
        members.append(_member(trainer, train, seed, path))
        held_out.append(np.isin(body, unseen))
    weights = stacked(members, trainer.recipe)
    blind = np.array(held_out)
    rows, lines = {}, []
    for level in (False, True):
        inputs = augmenter.plain(level=level)
        value, raw = crossval.predict(table, inputs, weights, blind)
        errors = crossval.event_errors(table, inputs.target, value, raw)
        errors |= crossval.peak_errors(table, value)
        scales = {key: crossval.scale_of(e) for key, e in errors.items()}
        name = "scale_level" if level else "scale"
        weights |= {f"{name}/{id}/{event}": np.float32(s) for (id, event), s in scales.items()}
        lines += [f"### {view}, picture {'upright to half a degree' if level else 'as filmed'}"]
        lines += crossval.report(view, errors, table, scales)
        if not level:
            rows = crossval.rows_for_archive(view, errors, table, scales)
            lines += crossval.joint_report(table, inputs.target, value)
            lines += crossval.click_report(table, inputs.target, value)
            lines += familiar.report(table, inputs.tokens, errors)
            weights |= familiar.describe(wide, trainer.augmenter.plain().tokens)
            weights |= crossval.covariances(table, inputs.target, value)
    (options.work / f"report_{view}.md").write_text("\n".join(lines) + "\n")
    print("\n".join(lines), flush=True)
    np.savez_compressed(options.out / f"body_{view}.npz", **packed(weights))
    return rows


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
