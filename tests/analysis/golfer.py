"""A golfer in the training table's columns, and a body of few bones to take over the motion."""

from __future__ import annotations

import numpy as np

from analysis.training import table
from analysis.training.render.bodies import Body, Mesh


def figure(turn: float) -> np.ndarray:
    """Hips and shoulders have turned by radians; the table's columns in metres, shape (22, 3)."""
    place = {
        "nose": (0, 0.3, 1.5), "head": (0, 0.2, 1.55), "neck": (0, 0.22, 1.42),
        "grip": (0, 0.35, 0.75), "clubhead": (0, 0.8, 0.02), "com": (0, 0.07, 0.93),
        "shoulder": (0.18, 0.22, 1.36), "elbow": (0.16, 0.27, 1.07), "wrist": (0.05, 0.33, 0.83),
        "hip": (0.09, -0.10, 0.92), "knee": (0.14, 0.08, 0.50), "ankle": (0.16, 0.0, 0.07),
        "heel": (0.16, -0.07, 0.03), "toe": (0.16, 0.20, 0.0),
    }  # fmt: skip
    xyz = np.zeros((len(table.COLUMNS), 3))
    for name, k in table.COLUMN.items():
        limb, _, side = name.rpartition("_")
        x, y, z = place[limb or name]
        half = -x if side == "trail" else x
        if limb in ("hip", "shoulder"):  # a backswing takes the lead side toward the ball
            xyz[k] = (half * np.cos(turn), y + half * np.sin(turn), z)
        else:
            xyz[k] = (half, y, z)
    return xyz


_TRUNK = {  # bone: what it hangs on, metres left, back and up
    "root": (None, (0, 0, 1.0)),
    "spine05": ("root", (0, 0, 1.06)),
    "spine04": ("spine05", (0, 0, 1.12)),
    "spine03": ("spine04", (0, 0.01, 1.2)),
    "spine02": ("spine03", (0, 0.01, 1.28)),
    "spine01": ("spine02", (0, 0, 1.36)),
    "neck01": ("spine01", (0, 0, 1.48)),
    "neck02": ("neck01", (0, -0.01, 1.51)),
    "neck03": ("neck02", (0, -0.02, 1.54)),
    "head": ("neck03", (0, -0.02, 1.58)),
}
_SIDE = {
    "upperleg01": ("root", (0.1, 0, 0.92)),
    "lowerleg01": ("upperleg01", (0.11, -0.01, 0.5)),
    "foot": ("lowerleg01", (0.11, 0.02, 0.07)),
    "shoulder01": ("spine01", (0.06, 0, 1.42)),
    "upperarm01": ("shoulder01", (0.18, 0, 1.42)),
    "lowerarm01": ("upperarm01", (0.46, 0.02, 1.4)),
    "wrist": ("lowerarm01", (0.7, 0, 1.38)),
    "finger1-3": ("wrist", (0.76, -0.06, 1.36)),
    **{
        f"finger{f}-{j}": (
            f"finger{f}-{j - 1}" if j > 1 else "wrist",
            (0.77 + 0.03 * j, 0.02 * (f - 3), 1.37),
        )
        for f in range(2, 6)
        for j in range(1, 4)
    },
    "eye": ("head", (0.03, -0.1, 1.65)),
}


def small_body() -> tuple[Mesh, Body]:
    """A body with the bones that posing and clothes name, a small octahedron around each."""
    bones = dict(_TRUNK)
    for letter, sign in (("L", 1), ("R", -1)):
        for name, (parent, (x, y, z)) in _SIDE.items():
            hung = parent if parent in _TRUNK else f"{parent}.{letter}"
            bones[f"{name}.{letter}"] = (hung, (sign * x, y, z))
    labels = tuple(bones)
    heads = np.array([xyz for _, xyz in bones.values()], float)
    parents = np.array([labels.index(p) if p else -1 for p, _ in bones.values()])
    corners = 0.03 * np.concatenate([np.eye(3), -np.eye(3)])
    vertices = (heads[:, None] + corners).reshape(-1, 3)
    belt = ((0, 1), (1, 3), (3, 4), (4, 0))
    one = np.array([(a, b, 2) for a, b in belt] + [(b, a, 5) for a, b in belt])
    faces = (6 * np.arange(len(heads))[:, None, None] + one).reshape(-1, 3).astype(np.int32)
    follow = np.repeat(np.arange(len(heads)), 6)[:, None].astype(np.int32)
    mesh = Mesh(faces, np.ones((len(vertices), 1)), follow, parents, labels)
    return mesh, Body(vertices, heads, heads, 1.75)
