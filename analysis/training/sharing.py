"""How much of an error comes back in every film of one swing, and how much is the film's.

Forty people never seen, one swing each, were filmed eight times: two outfits, two views, two
cameras, lights and places. An error is the swing's, by which all four films of a view are
alike, plus the film's (one-way analysis of variance by swing).
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.training import crossval
from analysis.training.augment import Augmenter
from analysis.training.crossval import Errors
from analysis.training.table import Array, load

_LEAST_SWINGS = 15


def describe(
    view: str,
    folder: Path,
    learned: Mapping[str, Array],
    unseen: Sequence[NDArray[np.int64]],
    figures: Container[tuple[str, str]],
) -> dict[str, Array]:
    """`film/ID/EVENT`: the film's share of a figure's variance of error in this view.

    Parameters
    ----------
    unseen : sequence of ndarray
        The bodies whose motions each member never saw.
    """
    table = load(view, folder)
    blind = np.array([np.isin(table.swings["from_body"], own) for own in unseen])
    inputs = Augmenter(table).plain()
    value, raw = crossval.predict(table, inputs, learned, blind)
    errors = crossval.event_errors(table, inputs.target.astype(float), value, raw)
    errors |= crossval.joint_errors(view, table, value, raw)
    motion = table.swings["motion"]
    shares = {key: film_share(e, motion[e.swing]) for key, e in errors.items()}
    return {
        f"film/{id}/{event}": np.array(share, np.float32)
        for (id, event), share in shares.items()
        if share is not None and (id, event) in figures
    }


def film_share(errors: Errors, motion: Array) -> float | None:
    """Variance within a swing's films over the whole; None for too few repeated swings."""
    groups = [errors.error[motion == m] for m in np.unique(motion)]
    groups = [g for g in groups if len(g) > 1]
    if len(groups) < _LEAST_SWINGS:
        return None
    count = np.array([len(g) for g in groups])
    within = sum(float(np.sum((g - g.mean()) ** 2)) for g in groups) / float((count - 1).sum())
    whole = float(np.mean(np.concatenate(groups) ** 2))
    return float(np.clip(within / whole, 0.05, 1.0))
