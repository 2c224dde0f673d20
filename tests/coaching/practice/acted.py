"""Every starter drill acted: by somebody who does what its words say, and by a typical fault.

Figures are the closed forms of the posed golfer who is drawn in the drill's strip. Each is
read with the errors of bodies never seen (`analysis/weights/cv_errors.npz`); what the body
network does not tell takes the errors documented in `analysis.weights.OTHER_SD`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from analysis import weights
from analysis.drawings.acting import Act, figures
from analysis.drawings.moves import MOVES
from coaching.lessons.estimates import Band, Estimate, Standing, band_of
from coaching.practice import drills
from coaching.practice.models import Criterion

DRAWS = 1000
Truth = dict[tuple[str, str], float]

# What the person does who has not got it yet: the sound swing changed to a usual size.
FAULTS: dict[str, Mapping[str, Mapping[str, Any]]] = {
    "turn-with-a-club-on-the-hips": {"top": {"pelvis_turn": 24}},
    "turn-with-a-club-on-the-chest": {"top": {"shoulder_turn": 62}},
    "turn-with-an-open-foot": {"top": {"pelvis_turn": 24}},
    "turn-in-a-doorway": {"top": {"hips": (-0.08, -0.12, 0.92), "pelvis_turn": 30}},
    "lean-with-the-trail-hip": {"top": {"side": -4, "shoulder_turn": 70}},
    "head-beside-the-wall": {"top": {"head": (0.02, 0.31, 1.49)}},
    "shaft-past-the-ball": {"lead_arm_back": {"shaft": (-0.05, -0.28, 0.88)}},
    "turn-and-lay-it-down": {
        "lead_arm_back": {"shaft": (-0.05, -0.28, 0.88)}, "top": {"pelvis_turn": 24}},
    "shaft-not-too-flat": {"lead_arm_back": {"shaft": (-0.05, -0.78, 0.50)}},
    "shaft-on-line-at-arm-level": {"lead_arm_back": {"shaft": (-0.05, -0.28, 0.88)}},
    "hands-behind-the-heel": {"top": {"arm": (-0.50, -0.26, 0.36)}},
    "let-it-fall-behind": {"lead_arm_down": {"shaft": (-0.10, -0.30, 0.90)}},
    "lead-arm-across": {"top": {"reach": 0.56}},
    "seat-on-the-wall": {"impact": {"hips": (0.07, -0.06, 0.93)}},
    "chest-over-the-ball": {"impact": {"tilt": 22}},
    "belt-buckle-through": {"impact": {"pelvis_turn": -14}},
    "brush-past-the-line": {"impact": {"shaft": (0.08, 0.45, -0.83)}},
    "stand-tall-then-fold": {"address": {"tilt": 18}},
    "seat-back-over-the-heels": {"address": {"hips": (0, -0.20, 0.92)}},
    "soft-knees": {"address": {"hips": (0, -0.09, 0.955)}},
    "let-the-arms-hang": {"address": {"arm": (-0.14, -0.02, -0.62)}},
    "fist-from-the-thigh": {"address": {"arm": (-0.14, 0.34, -0.52)}},
    "feet-under-shoulders": {"address": {"half_stance": 0.12}},
    "handle-to-the-lead-thigh": {"address": {"shaft": (0.10, 0.50, -0.74)}},
    "even-feet-a-little-lean": {"address": {
        "side": -4, "arm": (-0.26, 0.13, -0.60), "reach": 0.56}},
    "hip-past-the-stick": {"impact": {"hips": (0.15, -0.12, 0.90)}},
    "stand-on-the-lead-leg": {"impact": {
        "hips": (0.0, -0.125, 0.93), "side": 14, "head": (-0.12, 0.31, 1.49)}},
    "stop-at-level": {"top": {"shaft": (0.90, -0.24, -0.34)}},
    "angle-past-the-leg": {"lead_arm_down": {"shaft": (-0.40, -0.50, 0.70)}},
    "set-then-turn": {"lead_arm_back": {"shaft": (-0.42, -0.45, 0.72)}},
    "hands-down-the-inside": {"lead_arm_down": {"arm": (-0.60, -0.10, 0.0)}},
    "head-at-one-height": {
        "top": {"head": (-0.05, 0.31, 1.41)}, "impact": {"head": (-0.04, 0.31, 1.42)}},
}  # fmt: skip
# Faults of the clock and of the ball, which no pose shows.
_CLOCK = {"count-to-three": {"top_s": 0.60, "impact_s": 0.90}, "hold-the-finish": {"held_s": 0.6}}
_BALL = {
    "ball-and-two-tees": (-0.16, 0.80),
    "ball-for-the-club": (-0.03, 0.80),
    "arm-and-club-from-the-ball": (0.03, 1.02),
}
_SOUND_BALL = Act({}).ball


@dataclass(frozen=True)
class Played:
    """How often a step's mark counts for the perfect doer and for the typical fault."""

    slug: str
    number: int
    counts: float
    fault: float


def played() -> Iterator[Played]:
    """Every step of the starter library that a camera judges."""
    for drill in drills.starter():
        doer, fault = doer_of(drill["slug"]), fault_of(drill["slug"])
        for number, step in enumerate(drill["ladder"], start=1):
            if measured(step):
                yield Played(
                    drill["slug"],
                    number,
                    chance(step, told(drill["slug"], step, doer, aims=True)),
                    chance(step, told(drill["slug"], step, fault, aims=False)),
                )


def measured(step: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    return [c for c in step["criteria"] if c["comparison"] not in Criterion.BY_EYE]


@cache
def _doer(slug: str) -> Truth:
    move = MOVES[slug]
    return figures(Act(move.changes, move.ball or _SOUND_BALL, **move.clock))


def doer_of(slug: str) -> Truth:
    """True figures of somebody who does exactly what the drill says."""
    return _doer(slug)


def fault_of(slug: str) -> Truth:
    return figures(Act(FAULTS.get(slug, {}), _BALL.get(slug, _SOUND_BALL), **_CLOCK.get(slug, {})))


def told(slug: str, step: Mapping[str, Any], truth: Truth, *, aims: bool) -> Truth:
    """What is true of this step's figures: of the film's kind, and, of the doer, as asked.

    Later steps ask for a little less; their doer does what they ask.
    """
    found: Truth = {}
    for c in measured(step):
        key = (c["measure"], c["event"])
        found[key] = truth[acted_key(slug, step, *key)]
        if aims and step["effort"] not in ("still", "slow"):
            found[key] = c["aim"]
    return found


def acted_key(slug: str, step: Mapping[str, Any], measure: str, event: str) -> tuple[str, str]:
    """Where the posed golfer shows a figure of this kind of film."""
    if measure == "bar_turn_deg":
        line = "shoulder" if step.get("bar_across") == "chest" else "pelvis"
        return f"{line}_turn_deg", "top"
    if step["film_kind"] == "hold" and event == "top":
        return measure, MOVES[slug].held
    return measure, event


def chance(step: Mapping[str, Any], truth: Truth) -> float:
    """Share of readings of one repetition in which every figure counts."""
    return _chance(
        tuple(
            (c["measure"], c["event"], step["view"], c["comparison"], c.get("low"), c.get("high"),
             round(truth[c["measure"], c["event"]], 3))
            for c in measured(step)
        )
    )  # fmt: skip


@cache
def _chance(asked: tuple[tuple[Any, ...], ...]) -> float:
    rng = np.random.default_rng(7)
    counted = np.ones(DRAWS, bool)
    for measure, event, view, comparison, low, high, true in asked:
        errors, u = errors_of(measure, event, view)
        band = band_of(comparison, low=low, high=high)
        assert band is not None
        rows = rng.integers(0, len(errors), DRAWS)
        counted &= np.array([_counts(band, true + errors[i], u[i]) for i in rows])
    return float(counted.mean())


def _counts(band: Band, value: float, u: float) -> bool:
    return band.standing(Estimate(float(value), float(u))) is Standing.COUNTS


@cache
def errors_of(measure: str, event: str, view: str) -> tuple[np.ndarray, np.ndarray]:
    """Errors with their told spread, as documented; normal where they are a number only."""
    archive = weights.errors()
    here = (archive["measure"] == measure) & (archive["event"] == event) & (archive["view"] == view)
    if here.any():
        value, truth, u = (archive[name][here].astype(float) for name in ("value", "truth", "u"))
        return value - truth, u
    sd = weights.OTHER_SD[measure, event]
    return np.random.default_rng(3).normal(0, sd, DRAWS), np.full(DRAWS, sd)
