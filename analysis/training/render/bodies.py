"""Bodies of every build from the parametric model `anny` (code Apache-2.0, assets CC0 1.0)."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Mesh:
    """What all bodies share.

    Parameters
    ----------
    faces : ndarray of int, shape (F, 3)
    weights, bones : ndarray, shape (V, K)
        How much each vertex follows which bones.
    parents : ndarray of int, shape (B,)
    labels : tuple of str
    """

    faces: NDArray[np.int32]
    weights: Array
    bones: NDArray[np.int32]
    parents: NDArray[np.int64]
    labels: tuple[str, ...]

    def bone(self, name: str) -> int:
        return self.labels.index(name)


@dataclass(frozen=True)
class Body:
    """One person standing with arms held off: metres, X to the person's left, Y back, Z up."""

    vertices: Array
    heads: Array
    tails: Array
    stature_m: float


def draw(count: int, seed: int) -> dict[str, NDArray[np.generic]]:
    """Random bodies, 1.45 to 2.02 m tall, as arrays for `save`; needs `anny` and PyTorch."""
    import anny
    import torch

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = anny.create_fullbody_model(all_phenotypes=True)
    rng = np.random.default_rng(seed)
    found: list[tuple[Array, Array, Array]] = []
    while len(found) < count:
        with torch.no_grad():
            shape = model.get_phenotype_blendshape_coefficients(**_build(rng))
            rest = model.get_rest_model(shape)
        vertices, heads, tails = (
            rest[f"rest_{part}"][0].numpy().astype(np.float32)
            for part in ("vertices", "bone_heads", "bone_tails")
        )
        if 1.45 < np.ptp(vertices[:, 2]) < 2.02:
            found.append((vertices, heads, tails))
    return {
        "vertices": np.stack([f[0] for f in found]),
        "heads": np.stack([f[1] for f in found]),
        "tails": np.stack([f[2] for f in found]),
        "faces": model.get_triangular_faces().numpy().astype(np.int32),
        "weights": model.vertex_bone_weights.numpy().astype(np.float32),
        "bones": model.vertex_bone_indices.numpy().astype(np.int32),
        "parents": np.array(model.bone_parents),
        "labels": np.array(model.bone_labels),
    }


def _build(rng: np.random.Generator) -> dict[str, float]:
    kind = rng.random()
    if kind < 0.5:
        gender = rng.uniform(0, 0.15)
    else:
        gender = rng.uniform(0.85, 1) if kind < 0.88 else rng.uniform(0.2, 0.8)
    teenager = rng.random() < 0.12
    return {
        "gender": float(gender),
        "age": float(rng.uniform(0.45, 0.58) if teenager else rng.uniform(0.62, 0.95)),
        "muscle": float(rng.uniform(0.2, 0.8)),
        "weight": float(np.clip(rng.normal(0.54, 0.18), 0.1, 0.95)),
        "height": float(rng.uniform(0.2, 0.7)),
        "proportions": float(rng.uniform(0.2, 0.9)),
        **{name: float(rng.uniform(0.2, 0.8)) for name in ("cupsize", "firmness")},
        **{name: float(rng.random()) for name in ("african", "asian", "caucasian")},
    }


def load(path: Path) -> tuple[Mesh, list[Body]]:
    with np.load(path) as z:
        mesh = Mesh(
            z["faces"],
            z["weights"].astype(float),
            z["bones"],
            z["parents"],
            tuple(str(n) for n in z["labels"]),
        )
        return mesh, [
            Body(v.astype(float), h.astype(float), t.astype(float), float(np.ptp(v[:, 2])))
            for v, h, t in zip(z["vertices"], z["heads"], z["tails"], strict=True)
        ]
