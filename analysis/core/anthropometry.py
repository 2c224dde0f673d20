"""Published proportions of the body: segment lengths, masses and centres of mass.

References
----------
de Leva P. Adjustments to Zatsiorsky-Seluyanov's segment inertia parameters.
J Biomech 1996;29(9):1223-1230.
Winter DA. Biomechanics and Motor Control of Human Movement, 4th ed., Wiley 2009,
Table 4.1 (after Dempster 1955) and Figure 4.1 (after Drillis & Contini 1966).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.pose import JOINT, Array


@dataclass(frozen=True)
class Segment:
    """One segment between two joints, or pair of joints written ``mid_JOINT``.

    Parameters
    ----------
    start, end : str
        Joint names without side; paired segments exist for lead and trail.
    mass : float
        Share of the body's mass, of one side.
    centre : float
        Centre of mass as a share of the way from `start` to `end`.
    """

    start: str
    end: str
    mass: float
    centre: float

    @property
    def paired(self) -> bool:
        return self.start not in ("head", "mid_shoulder", "mid_hip")


# Trunk: the source's third definition (mid-shoulder to mid-hip). Head: vertex to
# mid-gonion has its centre near the ear canal, so the ears' midpoint stands for it.
# Hand: wrist to third metacarpal head; the middle of the grip lies about there.
DE_LEVA_MALE = (
    Segment("head", "head", 0.0694, 0.0),
    Segment("mid_shoulder", "mid_hip", 0.4346, 0.4310),
    Segment("shoulder", "elbow", 0.0271, 0.5772),
    Segment("elbow", "wrist", 0.0162, 0.4574),
    Segment("wrist", "grip", 0.0061, 0.7900),
    Segment("hip", "knee", 0.1416, 0.4095),
    Segment("knee", "ankle", 0.0433, 0.4395),
    Segment("heel", "toe", 0.0137, 0.4415),
)
DE_LEVA_FEMALE = (
    Segment("head", "head", 0.0668, 0.0),
    Segment("mid_shoulder", "mid_hip", 0.4257, 0.3782),
    Segment("shoulder", "elbow", 0.0255, 0.5754),
    Segment("elbow", "wrist", 0.0138, 0.4559),
    Segment("wrist", "grip", 0.0056, 0.7474),
    Segment("hip", "knee", 0.1478, 0.3612),
    Segment("knee", "ankle", 0.0481, 0.4352),
    Segment("heel", "toe", 0.0129, 0.4014),
)
# Foot from the ankle to the second metatarsal head, here the toe.
WINTER = (
    Segment("head", "head", 0.081, 0.0),
    Segment("mid_hip", "mid_shoulder", 0.497, 0.500),
    Segment("shoulder", "elbow", 0.028, 0.436),
    Segment("elbow", "wrist", 0.016, 0.430),
    Segment("wrist", "grip", 0.006, 0.506),
    Segment("hip", "knee", 0.100, 0.433),
    Segment("knee", "ankle", 0.0465, 0.433),
    Segment("ankle", "toe", 0.0145, 0.500),
)

# Lengths as a share of stature (Winter 2009, Figure 4.1).
LENGTH = {
    "upper_arm": 0.186,
    "forearm": 0.146,
    "thigh": 0.245,
    "shank": 0.246,
    "trunk": 0.288,
    "foot": 0.152,
}


def total_mass(table: tuple[Segment, ...]) -> float:
    """Sum of the shares of a table, both sides counted."""
    return sum(s.mass * (2 if s.paired else 1) for s in table)


def centre_of_mass(joints: Array, table: tuple[Segment, ...] = DE_LEVA_MALE) -> Array:
    """Whole-body centre of mass, the club left out.

    Parameters
    ----------
    joints : ndarray, shape (T, len(JOINTS), D)
        Any unit and number of axes.
    table : tuple of Segment

    Returns
    -------
    ndarray, shape (T, D)
        Divided by the table's own sum, which is 0.9999 in one of the sources.
    """
    total = np.zeros_like(joints[:, 0])
    for segment in table:
        for side in ("lead", "trail") if segment.paired else ("",):
            start, end = _point(joints, segment.start, side), _point(joints, segment.end, side)
            total = total + segment.mass * (start + segment.centre * (end - start))
    return np.asarray(total / total_mass(table))


def _point(joints: Array, name: str, side: str) -> Array:
    if name.startswith("mid_"):
        pair = [JOINT[f"{name[4:]}_{s}"] for s in ("lead", "trail")]
        return np.asarray(joints[:, pair].mean(axis=1))
    return joints[:, JOINT[name if name in JOINT else f"{name}_{side}"]]
