"""Clothes: the skin blown up here and there, and a colour for every vertex."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.training.render.bodies import Array, Body, Mesh

SKIN, SHIRT, LEGS, SHOE, HAIR, GLOVE, EYE, MOUTH = range(8)
PLAIN, STRIPES, HOOPS, CHECKS, MOTTLED = range(5)


@dataclass(frozen=True)
class Outfit:
    """What is worn.

    Parameters
    ----------
    vertices : ndarray, shape (V, 3)
        The dressed body, standing.
    part : ndarray of int, shape (V,)
    colours : ndarray, shape (8, 2, 3)
        Two colours a part, 0 to 1, BGR.
    pattern, scale : ndarray, shape (8,)
        Kind and spacing (m) of what is printed on it.
    """

    vertices: Array
    part: NDArray[np.int32]
    colours: Array
    pattern: NDArray[np.int32]
    scale: Array


def dress(body: Body, mesh: Mesh, rng: np.random.Generator) -> Outfit:
    part = _parts(body, mesh, rng)
    thick = _smoothed(_thickness(body, part, rng), mesh.faces)
    vertices = body.vertices + thick[:, None] * normals(body.vertices, mesh.faces)
    colours = rng.uniform(0.03, 0.95, (8, 2, 3))
    grey = rng.random(8) < 0.45
    colours[grey] = colours[grey].mean(axis=2, keepdims=True)
    tone = rng.uniform(0.18, 0.85)
    colours[SKIN] = np.array([0.52, 0.66, 0.88]) * tone * rng.uniform(0.9, 1.1, 3)
    colours[EYE] = [[0.9, 0.9, 0.9], [0.1, 0.1, 0.1]]
    colours[MOUTH] = colours[SKIN] * (0.8, 0.7, 0.95)
    if rng.random() < 0.5:
        colours[GLOVE] = rng.uniform(0.75, 0.95)
    else:
        colours[GLOVE] = colours[SKIN]
    pattern = np.zeros(8, np.int32)
    pattern[SHIRT] = rng.choice(5, p=(0.5, 0.12, 0.14, 0.1, 0.14))
    pattern[LEGS] = rng.choice(5, p=(0.72, 0.03, 0.03, 0.12, 0.1))
    return Outfit(vertices, part, colours, pattern, rng.uniform(0.02, 0.09, 8))


def _parts(body: Body, mesh: Mesh, rng: np.random.Generator) -> NDArray[np.int32]:
    strong = np.take_along_axis(mesh.bones, mesh.weights.argmax(axis=1)[:, None], 1)[:, 0]
    name = np.array(mesh.labels)[strong]

    def on(*starts: str) -> NDArray[np.bool_]:
        return np.array([n.startswith(starts) for n in name])

    v = body.vertices
    part = np.full(len(v), SKIN, np.int32)
    waist = body.heads[mesh.bone("spine04"), 2] + rng.normal(0, 0.02)
    torso = on("spine", "breast", "clavicle", "shoulder", "pelvis", "root", "upperleg01")
    part[torso & (v[:, 2] >= waist)] = SHIRT
    part[on("upperarm", "shoulder", "lowerarm") & (_along_arm(body, mesh) < _sleeve(rng))] = SHIRT
    hem = _trouser_hem(rng)
    legs = on("upperleg", "lowerleg", "pelvis", "root", "spine") & (v[:, 2] < waist)
    part[legs & (_along_leg(body, mesh) < hem)] = LEGS
    part[on("foot", "toe")] = SHOE
    part[on("wrist", "finger", "metacarpal") & (v[:, 0] > 0)] = GLOVE
    part[on("eye.")] = EYE
    part[on("oris")] = MOUTH
    skull = on("head", "temporalis", "oculi", "special", "neck03")
    brow = body.heads[mesh.bone("eye.L"), 2] + rng.uniform(0.025, 0.05)
    behind = v[:, 1] > body.heads[mesh.bone("eye.L"), 1] + rng.uniform(0.06, 0.1)
    long = body.heads[mesh.bone("head"), 2] + rng.uniform(-0.03, 0.06)
    part[skull & ((v[:, 2] > brow) | (behind & (v[:, 2] > long)))] = HAIR
    return part


def _sleeve(rng: np.random.Generator) -> float:
    """Where the sleeve ends: 1 elbow, 2 wrist."""
    return float(rng.choice([rng.uniform(0.35, 0.95), 1.97], p=(0.68, 0.32)))


def _trouser_hem(rng: np.random.Generator) -> float:
    """Where the trousers end: 1 knee, 2 ankle."""
    return float(rng.choice([rng.uniform(0.7, 1.0), 2.0], p=(0.3, 0.7)))


def _along_arm(body: Body, mesh: Mesh) -> Array:
    x = np.abs(body.vertices[:, 0])
    shoulder, elbow, wrist = (
        body.heads[mesh.bone(n), 0] for n in ("upperarm01.L", "lowerarm01.L", "wrist.L")
    )
    return np.interp(x, [shoulder, elbow, wrist, wrist + 0.3], [0, 1, 2, 3])


def _along_leg(body: Body, mesh: Mesh) -> Array:
    hip, knee, ankle = (
        body.heads[mesh.bone(n), 2] for n in ("upperleg01.L", "lowerleg01.L", "foot.L")
    )
    return np.interp(-body.vertices[:, 2], [-hip, -knee, -ankle], [0, 1, 2])


def _thickness(body: Body, part: NDArray[np.int32], rng: np.random.Generator) -> Array:
    """Metres of cloth, hair or sole over the skin, with soft bulges."""
    v = body.vertices
    base = np.zeros(8)
    base[SHIRT] = rng.gamma(2.0, 0.007)
    base[LEGS] = rng.gamma(2.0, 0.006)
    base[SHOE], base[HAIR], base[GLOVE] = 0.011, rng.gamma(2.0, 0.009), 0.002
    bulge = np.zeros(len(v))
    for _ in range(5):
        wave = rng.normal(0, 1, 3)
        wave *= 2 * np.pi / rng.uniform(0.08, 0.4) / np.linalg.norm(wave)
        bulge += np.sin(v @ wave + rng.uniform(0, 6.3))
    thick = base[part] * np.clip(1 + 0.35 * bulge, 0.1, 2.5)
    hang = rng.gamma(1.5, 0.008)  # the shirt falls from chest and shoulders
    low = np.clip((body.heads[0, 2] + 0.42 - v[:, 2]) / 0.4, 0, 1)
    thick += np.where(part == SHIRT, hang * low, 0)
    flare = rng.gamma(1.5, 0.006)
    down = np.clip((body.heads[0, 2] - v[:, 2]) / (0.45 * body.stature_m), 0, 1)
    return np.asarray(thick + np.where(part == LEGS, flare * down, 0))


def _smoothed(values: Array, faces: NDArray[np.int32], times: int = 2) -> Array:
    """No steps at the edges of the cloth."""
    count = np.bincount(faces.ravel(), minlength=len(values)).astype(float)
    for _ in range(times):
        share = np.repeat(values[faces].mean(axis=1), 3)
        values = np.bincount(faces.ravel(), share, len(values)) / np.maximum(count, 1)
    return values


def normals(vertices: Array, faces: NDArray[np.int32]) -> Array:
    """Unit normals at vertices, shape (V, 3)."""
    corner = vertices[faces]
    flat = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    out = np.zeros_like(vertices)
    for axis in range(3):
        share = np.repeat(flat[:, axis], 3)
        out[:, axis] = np.bincount(faces.ravel(), share, len(vertices))
    return np.asarray(out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12))
