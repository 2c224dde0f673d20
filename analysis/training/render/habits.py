"""Families of golfers: how far each part of a body may go at each moment of a swing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

Range = tuple[float, float]

# Degrees or metres (of a person of 1.75 m) at address, top, impact and finish; turns are
# away from the target, `lean` toward the ball, `side` and `sway` away from the target.
WIDE: dict[str, tuple[Range, Range, Range, Range]] = {
    "chest": ((-14, 14), (20, 122), (-65, 25), (-140, -40)),
    "apart": ((-8, 8), (10, 70), (-25, 35), (-20, 35)),  # chest minus pelvis
    "lean": ((10, 52), (2, 55), (0, 55), (-15, 40)),
    "side": ((-9, 15), (-20, 18), (-8, 34), (-18, 28)),
    "list": ((-5, 5), (-17, 15), (-17, 17), (-15, 15)),  # of the hips, lead side up
    "tuck": ((-14, 14), (-16, 16), (-20, 16), (-20, 16)),  # of the pelvis against the trunk
    "slope": ((-12, 2), (-10, 10), (-14, 6), (-10, 10)),  # of the shoulders against the trunk
    "sway": ((-0.07, 0.07), (-0.12, 0.21), (-0.22, 0.10), (-0.28, 0.0)),
    "behind": ((-0.10, 0.17), (-0.12, 0.19), (-0.16, 0.16), (-0.16, 0.12)),  # the heels
    "knees": ((2, 46), (2, 50), (0, 48), (0, 30)),
    "across": ((-5, 40), (10, 85), (-20, 42), (-85, -10)),  # lead arm over the chest
    "up": ((-12, 38), (-15, 60), (-8, 45), (0, 65)),  # of it; from hanging at address, impact
    "elbow": ((0, 28), (0, 75), (0, 45), (10, 120)),
    "head": ((-14, 14), (-25, 55), (-28, 32), (-100, 5)),
    "nod": ((5, 60), (0, 60), (0, 65), (-25, 40)),
    "cock": ((-14, 14), (-18, 18), (-20, 20), (-20, 20)),  # the head to the side
    "lead_heel": ((0, 0), (0, 0), (0, 0), (0, 0)),
    "trail_heel": ((0, 0), (0, 0), (0, 0.13), (0.02, 0.17)),
}

# Halfway between two moments, and how far off: a share of the larger range.
WANDER = 0.16

PARTS = {
    "trunk": ("chest", "lean", "side", "slope"),
    "pelvis": ("apart", "list", "tuck", "sway", "behind", "knees", "lead_heel", "trail_heel"),
    "arms": ("across", "up", "elbow"),
    "head": ("head", "nod", "cock"),
}

CLUB = np.array(
    [
        [-0.05, 0.62, -0.78],
        [-0.9, 0.2, 0.25],
        [0.6, 0.0, 0.1],
        [-0.7, 0.1, 0.5],
        [0.0, 0.62, -0.78],
        [0.9, 0.2, 0.2],
        [-0.4, -0.6, 0.3],
    ]
)


@dataclass(frozen=True)
class Family:
    """A kind of motions.

    Parameters
    ----------
    name : str
    ranges : mapping
        Which of `WIDE` are drawn otherwise.
    lead_heel : float
        Share of players who lift it in the backswing.
    joined : bool
        Both hands on the club; else each arm goes its own way.
    slow : float
        Seconds are longer by so much at most.
    """

    name: str
    ranges: Mapping[str, tuple[Range, Range, Range, Range]] = field(default_factory=dict)
    lead_heel: float = 0.3
    joined: bool = True
    slow: float = 1.6


def _with(**top: Range) -> dict[str, tuple[Range, Range, Range, Range]]:
    return {k: (WIDE[k][0], v, WIDE[k][2], WIDE[k][3]) for k, v in top.items()}


FREE = Family("free")

ARMS = Family("arms", _with(chest=(5, 58), apart=(0, 45), across=(42, 85), up=(10, 60)))

TURN = Family("turn", _with(chest=(75, 128), apart=(10, 75), across=(2, 38), up=(-25, 25)))

SLIDE = Family(
    "slide",
    _with(sway=(-0.14, 0.26), side=(-26, 22), behind=(-0.16, 0.22), knees=(0, 58), list=(-22, 20)),
    lead_heel=0.9,
)

SHORT = Family(
    "short",
    _with(chest=(5, 62), apart=(0, 40), across=(0, 55), up=(-60, 5), elbow=(0, 40))
    | {"chest": ((-14, 14), (5, 62), (-40, 25), (-80, -5))},
    slow=3.0,
)

POSES = Family(
    "poses",
    {
        "chest": ((-20, 20), (-60, 100), (-80, 70), (-120, 60)),
        "apart": ((-12, 12), (-35, 70), (-45, 45), (-45, 45)),
        "lean": ((-5, 55), (-18, 75), (-18, 75), (-18, 60)),
        "side": ((-14, 16), (-30, 30), (-30, 34), (-30, 30)),
        "across": ((-30, 40), (-80, 80), (-80, 80), (-80, 80)),
        "up": ((-10, 60), (-70, 75), (-10, 120), (-70, 75)),
        "elbow": ((0, 90), (0, 120), (0, 120), (0, 120)),
        "head": ((-30, 30), (-70, 80), (-80, 70), (-100, 60)),
    },
    joined=False,
    slow=4.0,
)

# For tests alone: a golfer of strong habits that are not the table's.
PLAYER = Family(
    "player",
    {
        "chest": ((-8, 8), (60, 100), (-50, 0), (-120, -60)),
        "apart": ((-5, 5), (25, 55), (-15, 20), (-20, 30)),
        "side": ((-6, 1), (-8, 8), (5, 22), (-10, 20)),
        "sway": ((-0.03, 0.03), (0.08, 0.20), (-0.10, 0.05), (-0.2, -0.05)),
        "behind": ((-0.10, -0.03), (-0.10, 0.02), (-0.08, 0.06), (-0.1, 0.05)),
        "knees": ((28, 42), (20, 42), (8, 35), (0, 20)),
        "across": ((5, 35), (50, 75), (-10, 35), (-80, -30)),
        "up": ((0, 30), (20, 45), (0, 35), (10, 55)),
        "elbow": ((0, 15), (0, 30), (0, 20), (10, 100)),
    },
    lead_heel=0.8,
)
