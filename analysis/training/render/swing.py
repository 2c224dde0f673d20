"""Swings of the table on other bodies."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.training.render import paint, posing
from analysis.training.render.bodies import Array
from analysis.training.render.paint import Light, Picture
from analysis.training.render.scene import Y_AWAY, Act, Motion, Scene
from analysis.training.table import COLUMN, EVENT_CODE

FRAMES = 20  # of a swing
_CLUB = [COLUMN["grip"], COLUMN["clubhead"]]


class SwingScene(Scene):
    """A whole swing: the moments that have a name and some between."""

    def _moments(self, source: Motion) -> NDArray[np.intp]:
        return moments(self.rng, source.event, source.phase)

    def _enact(self, source: Motion) -> Act:
        rows = self._moments(source)
        phase = source.phase[rows]
        posed = posing.pose(
            self.body,
            self.mesh,
            source.joints[rows],
            phase.astype(float),
            posing.random_changes(self.rng),
        )
        return Act(source.time_s[rows], phase, source.event[rows], posed)

    def _club_behind(self, k: int) -> bool:
        grip, head = self.camera.see(self.posed.joints[k, _CLUB] * Y_AWAY)[1]
        return bool(head > grip)

    def _paint_club(self, picture: Picture, k: int, colour: Array, light: Light) -> None:
        grip, head = self.posed.joints[k, _CLUB] * Y_AWAY
        paint.paint_club(picture, grip, head, self.camera, colour, light)


class KeyScene(SwingScene):
    """The moments by which a swing is judged alone: more swings for the same time."""

    def _moments(self, source: Motion) -> NDArray[np.intp]:
        return key_moments(source.event)


def moments(rng: np.random.Generator, event: Array, phase: Array) -> NDArray[np.intp]:
    """Which moments of a swing are drawn: those that have a name and some between."""
    key = np.concatenate(
        [np.flatnonzero(event == code)[:2] for code in EVENT_CODE.values()]
        + [np.flatnonzero(event == code)[:1] for code in (2, 4, 5)]
    )
    rest = np.setdiff1d(np.flatnonzero((phase < 2.6) & (event != EVENT_CODE["address"])), key)
    more = rng.permutation(rest)[: max(FRAMES - len(key), 0)]
    return np.sort(np.concatenate([key, more]))


def key_moments(event: Array) -> NDArray[np.intp]:
    """One address, two moments at the top and two at impact."""
    count = {"address": 1, "top": 2, "impact": 2}
    return np.sort(
        np.concatenate(
            [
                np.flatnonzero(event == code)[: count[name]]
                for name, code in EVENT_CODE.items()
                if name in count
            ]
        )
    )
