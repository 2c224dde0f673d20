"""Motions without habits: whatever an anatomy does not tie is drawn on its own.

In a swing of the table the hands tell how far the chest has turned, because one engine
made them all. Here chest, pelvis, arms, feet, head and posture are drawn widely and
independently at seven moments and joined smoothly, each part with its own timing. The
motions come in named families, so that a whole family can be kept from a member of the
network and its errors told on motions of a kind that it never saw.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.estimators import PoseEstimator
from analysis.training.render import dress, posing
from analysis.training.render.bodies import Array
from analysis.training.render.course import joints_of, moved_arms, random_course
from analysis.training.render.habits import ARMS, FREE, PLAYER, POSES, SHORT, SLIDE, TURN, Family
from analysis.training.render.scene import Act, Motion, Rows
from analysis.training.render.swing import SwingScene
from analysis.training.table import EVENT_CODE, FAMILIES

FRAMES = 16


def moments(rng: np.random.Generator) -> tuple[Array, Array]:
    """Phases and events: two each of address, top and impact and some between."""
    between = rng.uniform(0.04, 2.5, FRAMES - 6)
    named = [(0.0, "address"), (1.0, "top"), (2.0, "impact")]
    phase = np.concatenate([[p, p + 0.0] for p, _ in named] + [between])
    phase[[3, 5]] += rng.normal(0, 0.01, 2)
    event = np.full(FRAMES, -1)
    for k, (_, name) in enumerate(named):
        event[2 * k : 2 * k + 2] = EVENT_CODE[name]
    order = np.argsort(phase, kind="stable")
    return phase[order], event[order]


def times_s(rng: np.random.Generator, phase: Array, slow: float) -> Array:
    """Seconds of the phases: hurried to slow, back and down on their own."""
    back, down = rng.uniform(0.45, 1.3) * rng.uniform(1, slow), rng.uniform(0.18, 0.45)
    down *= rng.uniform(1, slow)
    after = rng.uniform(0.35, 0.9)
    return np.asarray(np.interp(phase, [0, 1, 2, 3], np.cumsum([0, back, down, after])))


class _Unhabitual(SwingScene):
    """Scenes whose motion belongs to a family; each group of families has its own bodies."""

    number: int  # of the family in the table
    group: int | None  # kept from one member of the network; None for tests
    first_body = 10_000

    def _bodies(self, count: int) -> list[int]:
        last = (9,) if self.group is None else (2 * self.group, 2 * self.group + 1)
        return [k for k in range(count) if k % 10 in last and (self.group is None or k % 10 != 9)]

    def _told(self) -> Rows:
        return super()._told() | {"s_family": np.array([self.number], np.int32)}


class FreeScene(_Unhabitual):
    """A motion drawn part by part; whose body it is nobody else's motion."""

    family: Family

    def _enact(self, source: Motion) -> Act:
        phase, event = moments(self.rng)
        joints, up = joints_of(random_course(self.rng, self.family, phase))
        shrug = self.rng.normal(0, 0.018, (2, 2))
        changes = posing.Changes((0, 0), (0, 0), 0.0, 1.0, np.zeros(3), shrug)
        posed = posing.pose(self.body, self.mesh, joints, phase, changes, pelvis_up=up)
        self.source = replace(source, body=self.first_body + self.body_id, part=1.0)
        return Act(times_s(self.rng, phase, self.family.slow), phase, event, posed)


class LooseScene(_Unhabitual):
    """A swing of the table whose chest, pelvis and arms turn apart from one another."""

    number, group = FAMILIES["loose"]

    def _drawn(self) -> tuple[posing.Changes, Array, Array]:
        """Changes of the trunk, and of the arms about the chest at top and impact, degrees."""
        rng = self.rng
        turn = rng.normal(0, 1, 4) * (14, 14, 20, 14)
        changes = replace(
            posing.random_changes(rng),
            hip_turn_deg=(turn[0], turn[1]),
            chest_turn_deg=(turn[2], turn[3]),
        )
        stay = turn[2:] if rng.random() < 0.5 else np.zeros(2)  # the hands do not follow
        return changes, rng.normal(0, (18, 12)) - stay, rng.normal(0, (14, 8))

    def _enact(self, source: Motion) -> Act:
        rows = self._moments(source)
        changes, turn, lift = self._drawn()
        return self._act(source, rows, changes, turn, lift)

    def _act(
        self,
        source: Motion,
        rows: NDArray[np.intp],
        changes: posing.Changes,
        turn: Array,
        lift: Array,
    ) -> Act:
        phase = source.phase[rows].astype(float)
        joints = moved_arms(source.joints[rows].astype(float), phase, turn, lift)
        posed = posing.pose(self.body, self.mesh, joints, phase, changes)
        return Act(source.time_s[rows], source.phase[rows], source.event[rows], posed)


class SameHandsScene(LooseScene):
    """For tests: the hands go where the table's go, the chest turns 15 to 40 degrees off it."""

    number, group = FAMILIES["same hands"]

    def _drawn(self) -> tuple[posing.Changes, Array, Array]:
        changes, *_ = super()._drawn()
        off = self.rng.uniform(15, 40) * self.rng.choice([-1, 1])
        changes = replace(changes, chest_turn_deg=(off, off / 2))
        return changes, np.array([-off, -off / 2]), np.zeros(2)


class MovedHandsPair(LooseScene):
    """For tests, two films: in the second the hands alone have moved at the top."""

    number, group = FAMILIES["moved hands"]

    def films(self, network: PoseEstimator) -> list[Rows]:
        """The same golfer, clothes, light and camera twice."""
        state, first = self.rng.bit_generator.state, self.filmed(network)
        if first is None:
            return []
        self.act = self._other()
        self.posed = self.act.posed
        self.rng.bit_generator.state = state
        second = self.filmed(network)
        return [] if second is None else [first, second]

    def _enact(self, source: Motion) -> Act:
        rows = self._moments(source)
        self._recipe = (source, rows, *self._drawn())
        return self._act(*self._recipe)

    def _other(self) -> Act:
        source, rows, changes, turn, lift = self._recipe
        more = self.rng.uniform(12, 25) * self.rng.choice([-1, 1])
        return self._act(source, rows, changes, turn + np.array([more, 0.0]), lift)


class MoreTurnPair(MovedHandsPair):
    """For tests, two films: in the second chest and pelvis turn 12 degrees more at the top,
    in other clothes and before another camera."""

    number, group = FAMILIES["more turn"]
    MORE_DEG = 12.0

    def _drawn(self) -> tuple[posing.Changes, Array, Array]:
        return posing.random_changes(self.rng), np.zeros(2), np.zeros(2)

    def _other(self) -> Act:
        source, rows, changes, turn, lift = self._recipe
        hips, chest = changes.hip_turn_deg, changes.chest_turn_deg
        changes = replace(
            changes,
            hip_turn_deg=(hips[0] + self.MORE_DEG, hips[1]),
            chest_turn_deg=(chest[0] + self.MORE_DEG, chest[1]),
        )
        self.rng = np.random.default_rng(self.rng.integers(2**32))
        self.outfit = dress.dress(self.body, self.mesh, self.rng)
        self.yaw_deg = float(np.clip(self.rng.normal(0, 5), -12, 12))
        self.camera = self._camera()
        return self._act(source, rows, changes, turn, lift)


class FreeSwing(FreeScene):
    family = FREE
    number, group = FAMILIES["free"]


class ArmsSwing(FreeScene):
    family = ARMS
    number, group = FAMILIES["arms"]


class TurnSwing(FreeScene):
    family = TURN
    number, group = FAMILIES["turn"]


class SlideSwing(FreeScene):
    family = SLIDE
    number, group = FAMILIES["slide"]


class ShortSwing(FreeScene):
    family = SHORT
    number, group = FAMILIES["short"]


class Poses(FreeScene):
    family = POSES
    number, group = FAMILIES["poses"]


class PlayerSwing(FreeScene):
    """For tests alone."""

    family = PLAYER
    number, group = FAMILIES["player"]


FREE_SCENES: dict[str, type[FreeScene]] = {
    scene.family.name: scene
    for scene in (FreeSwing, ArmsSwing, TurnSwing, SlideSwing, ShortSwing, Poses, PlayerSwing)
}
