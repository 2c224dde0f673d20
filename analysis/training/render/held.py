"""People who turn with a club held across hips or chest, as a first film to learn a body by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.training.render import paint, posing
from analysis.training.render.bodies import Array
from analysis.training.render.paint import Light, Picture
from analysis.training.render.scene import Y_AWAY, Act, Motion, Scene
from analysis.training.table import COLUMN, EVENT_CODE

# Still, turning (counted as the backswing), and the turn held, where others have the top.
PHASE = np.array([0, 0, 0, 0.15, 0.35, 0.5, 0.65, 0.85, 1, 1, 1, 1])
EVENT = np.array([EVENT_CODE["address"]] * 2 + [1] * 6 + [EVENT_CODE["top"]] * 4)
_LENGTH_S = 2.4
_WRISTS = [COLUMN["wrist_lead"], COLUMN["wrist_trail"]]
_HANDS = ("wrist_lead", "wrist_trail", "grip", "clubhead")


@dataclass(frozen=True)
class Turn:
    """Turns away from the target (T,), degrees; the club turns with what it lies on."""

    hips_deg: Array
    shoulders_deg: Array
    head_deg: Array
    at_chest: bool

    @property
    def club_deg(self) -> Array:
        return self.shoulders_deg if self.at_chest else self.hips_deg


class HeldScene(Scene):
    """Somebody's stance at address, then a slow turn; what the club lies on turns as asked."""

    def _enact(self, source: Motion) -> Act:
        rng, still = self.rng, np.zeros(len(PHASE))
        turn = random_turn(rng)
        posed = posing.pose(
            self.body,
            self.mesh,
            turned(_holding(source.joints[0], turn.at_chest, rng), turn),
            still,
            posing.Changes(
                (0, 0),
                (0, 0),
                float(rng.normal(0, 6)),
                float(rng.uniform(0.85, 1.15)),
                np.zeros(3),
                rng.normal(0, 0.012, (2, 2)),
            ),
            hands=_ahead(turn.club_deg) - (0, 0, 0.25),
        )
        self.ends = _club(posed.joints[:, _WRISTS], turn.club_deg, rng)
        return Act(np.linspace(0, _LENGTH_S, len(PHASE)), PHASE, EVENT, posed)

    def _club_behind(self, k: int) -> bool:
        return False

    def _paint_club(self, picture: Picture, k: int, colour: Array, light: Light) -> None:
        hands = self.posed.joints[k, _WRISTS] * Y_AWAY
        paint.paint_bar(picture, self.ends[k] * Y_AWAY, hands, self.camera, colour, light)


def random_turn(rng: np.random.Generator) -> Turn:
    """The chest turns farther than the hips, whichever of them holds the club."""
    at_chest = bool(rng.random() < 0.4)
    share = 3 * PHASE**2 - 2 * PHASE**3
    held = rng.uniform(35, 95) if at_chest else rng.uniform(20, 60)
    other = held * (rng.uniform(0.3, 0.7) if at_chest else rng.uniform(1.0, 1.5))
    hips, shoulders = np.outer((other, held) if at_chest else (held, other), share)
    return Turn(hips, shoulders, shoulders * rng.uniform(0.1, 0.6), at_chest)


def _holding(one: Array, at_chest: bool, rng: np.random.Generator) -> Array:
    """Joints of one moment with the hands brought to a club before hips or chest."""
    p = one.astype(float)
    size = posing.stature_of({n: p[None, i] for n, i in COLUMN.items()}) / 1.75
    if at_chest:
        reach = (0, rng.uniform(0.12, 0.18), rng.uniform(-0.16, -0.05))
    else:
        reach = (0, rng.uniform(0.11, 0.17), rng.uniform(0, 0.07))
    centre = _middle(p, "shoulder" if at_chest else "hip") + np.array(reach) * size
    apart = (rng.uniform(0.06, 0.16) if at_chest else rng.uniform(0.14, 0.26)) * size
    crossed = at_chest and rng.random() < 0.8
    for side, sign in (("lead", 1), ("trail", -1)):
        wrist = centre + np.array([-sign if crossed else sign, 0, 0]) * apart
        middle = (p[COLUMN[f"shoulder_{side}"]] + wrist) / 2
        p[COLUMN[f"wrist_{side}"]] = wrist
        p[COLUMN[f"elbow_{side}"]] = middle + np.array([0.18 * sign, -0.05, -0.02])
    p[COLUMN["grip"]] = centre + np.array([0, 0.05, -0.02])
    p[COLUMN["clubhead"]] = centre + np.array([0, 0.15, -0.52])
    return p


def turned(one: Array, turn: Turn) -> Array:
    """Joints (T, len(COLUMNS), 3) turned about the middle of the hips, each with its part."""
    out = np.repeat(one[None], len(PHASE), axis=0)
    centre = _middle(one, "hip")
    for name, column in COLUMN.items():
        if name in _HANDS:
            angle = turn.club_deg
        elif name.startswith("hip"):
            angle = turn.hips_deg
        elif name.startswith(("shoulder", "elbow", "neck")):
            angle = turn.shoulders_deg
        elif name in ("head", "nose"):
            angle = turn.head_deg
        else:
            continue
        x, y, z = one[column] - centre
        along, ahead = _along(angle), _ahead(angle) * Y_AWAY
        out[:, column] = centre + x * along + y * ahead + (0, 0, z)
    return out


def _middle(one: Array, limb: str) -> Array:
    return np.asarray((one[COLUMN[f"{limb}_lead"]] + one[COLUMN[f"{limb}_trail"]]) / 2)


def _along(turn_deg: Array) -> Array:
    """The turned line from trail to lead side (T, 3), golfer's frame."""
    a = np.radians(turn_deg)
    return np.stack([np.cos(a), np.sin(a), 0 * a], axis=1)


def _ahead(turn_deg: Array) -> Array:
    """Where a person so turned looks (T, 3), in the scene."""
    a = np.radians(turn_deg)
    return np.stack([-np.sin(a), -np.cos(a), 0 * a], axis=1)


def _club(wrists: Array, turn_deg: Array, rng: np.random.Generator) -> Array:
    """Ends (T, 2, 3) of a club in front of the wrists (T, 2, 3), a little off level and middle."""
    rise = (0, 0, np.tan(np.radians(rng.normal(0, 2))))
    along, ahead = _along(turn_deg) + rise, _ahead(turn_deg) * Y_AWAY
    centre = wrists.mean(axis=1) + 0.085 * ahead + rng.normal(0, 0.04) * along
    half = rng.uniform(0.88, 1.15) / 2 * along
    return np.stack([centre + half, centre - half], axis=1)
