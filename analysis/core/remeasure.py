"""Figures anew after a person moved a joint, a shaft or an event: no video, no fit.

A local update, quick enough to follow the hand: what a correction changes is computed
twice, before and after, and the difference is added to the stored figure. So a figure
keeps whatever the fit knew, and a correction that changes nothing changes no figure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

import numpy as np

from analysis.core.artifact import (
    Artifact,
    bar_of,
    curves_of,
    held_of,
    pose_of,
    scale_of,
    stored_of,
)
from analysis.core.bar import measure_bar
from analysis.core.body import measure_body
from analysis.core.club import measure_club
from analysis.core.corrector import Weights
from analysis.core.fit import by_hand
from analysis.core.from_joints import FROM_JOINTS
from analysis.core.geometry import RATE_S
from analysis.core.measures import (
    CLUB_MEASURES,
    Reading,
    Readings,
    body_value,
    measures_of,
    repetition,
    tempo_readings,
    withheld,
)
from analysis.core.pose import Array, Moment
from analysis.core.put_right import (
    POINT_SD_M,
    belongs,
    check_correction,
    covariance_of,
    moved_events,
    moved_joints,
    moved_shaft,
    moves_club,
    steps_pct,
)

_OF_TWO_MOMENTS = ("pelvis_to_ball_down_cm", "hands_path_cm")


def remeasure(artifact: Artifact, corrections: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The contract's `reps` with people's corrections taken in.

    Parameters
    ----------
    corrections : sequence of dict
        `time_s`, presentation time at which the correction holds; `target`:
        `event:NAME` with `value` the new time in seconds, `joint:NAME` (a name of
        `JOINTS`) with `value` {"x", "y"}, or `shaft` with `value`
        {"grip": [x, y], "head": [x, y]}; positions as shares of the width and height
        of the upright picture. Later ones win.

    Raises
    ------
    ValueError
        For a target or value that is not understood.
    """
    for correction in corrections:
        check_correction(correction)
    return [
        _remeasured(artifact, rep, [c for c in corrections if belongs(artifact, rep, c)])
        for rep in range(len(artifact.meta["reps"]))
    ]


def refit(
    artifact: Artifact, corrections: Sequence[Mapping[str, Any]], *, weights: Weights
) -> Artifact:
    """The archive as if the corrected events had been found: every figure read anew.

    Slower and truer than `remeasure`, which adds differences: the corrector sees the
    whole swing again. Joints and shafts put right by hand are not the network's
    landmarks, so they stay with `remeasure`, which goes on from what this returns:
    ``remeasure(refit(artifact, corrections, weights=weights), corrections)``.

    Parameters
    ----------
    corrections : sequence of dict
        As for `remeasure`; only the events count here.
    weights : mapping
        `analysis.weights.load(view)`.
    """
    for correction in corrections:
        check_correction(correction)
    reps = [
        _refitted(artifact, rep, [c for c in corrections if belongs(artifact, rep, c)], weights)
        for rep in range(len(artifact.meta["reps"]))
    ]
    return Artifact(meta={**artifact.meta, "reps": reps}, arrays=artifact.arrays)


def _refitted(
    artifact: Artifact, rep: int, corrections: Sequence[Mapping[str, Any]], weights: Weights
) -> dict[str, Any]:
    facts = artifact.meta["reps"][rep]
    events = {name: Moment(**moment) for name, moment in facts["events"].items()}
    moved = moved_events(artifact, events, corrections)
    if moved == events:
        return dict(facts)
    stored = stored_of(facts)
    lean = artifact.arrays.get(f"rep{rep}/camera/lean")
    body = measure_body(
        pose_of(artifact, rep),
        moved,
        capture=artifact.capture,
        weights=weights,
        lean=None if lean is None else (float(lean[0]), float(lean[1])),
    )
    still = facts["still"] or moved["address"] != events["address"]
    readings = stored | body.values
    readings |= tempo_readings(moved, stretched=artifact.meta["stretched"], still=still)
    shaft = moved_shaft(artifact, rep, [])
    if shaft is not None:
        scale = replace(scale_of(artifact, rep), scale_m_per_px=body.scale_m_per_px)
        readings |= measure_club(shaft, moved, scale, capture=artifact.capture)
    readings |= held_of(artifact, rep, moved)
    if artifact.meta["stretched"]:
        readings |= withheld(readings)
    changed = [list(key) for key in _changed(stored, readings)]
    return {
        **facts,
        "events": {name: asdict(moment) for name, moment in moved.items()},
        "values": [[id, event, reading] for (id, event), reading in readings.items()],
        "still": still,
        "corrected": changed,
        "corrected_events": [name for name in moved if moved[name] != events.get(name)],
    }


def _changed(before: Readings, after: Readings) -> list[tuple[str, str]]:
    """Figures whose value or spread a hand moved by more than a tenth of the spread."""

    def moved(old: Reading | None, new: Reading) -> bool:
        if old is None or isinstance(old, str) or isinstance(new, str):
            return old != new
        return max(abs(new[0] - old[0]), abs(new[1] - old[1])) > 0.1 * old[1]

    return [key for key, new in after.items() if moved(before.get(key), new)]


def _remeasured(
    artifact: Artifact, rep: int, corrections: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    capture, facts = artifact.capture, artifact.meta["reps"][rep]
    events = {name: Moment(**moment) for name, moment in facts["events"].items()}
    moved = moved_events(artifact, events, corrections)
    known = covariance_of(artifact, rep)
    joints = artifact.of(rep, "joints_m") if known else moved_joints(artifact, rep, corrections)
    shaft = moved_shaft(artifact, rep, corrections)
    stored = stored_of(facts)
    readings = dict(stored)
    if moved != events or joints is not artifact.of(rep, "joints_m"):
        readings |= body_update(artifact, rep, stored, events, moved, joints)
        still = facts["still"] or moved["address"] != events["address"]
        readings |= tempo_readings(moved, stretched=artifact.meta["stretched"], still=still)
    if known:
        steps = steps_pct(artifact, rep, moved, known, corrections)
        if steps:
            readings = by_hand(readings, steps, covariance=known, stature_cm=capture.stature_cm)
        put = moved_joints(artifact, rep, corrections)
        if put is not joints:
            # what the covariance does not know follows the joints themselves
            follows = body_update(artifact, rep, readings, moved, moved, put)
            readings |= {key: r for key, r in follows.items() if key[0] in FROM_JOINTS}
    if shaft is not None and (moved != events or any(moves_club(c) for c in corrections)):
        scale = replace(scale_of(artifact, rep), joints_m=moved_joints(artifact, rep, corrections))
        readings |= measure_club(shaft, moved, scale, capture=capture)
    if moved != events:
        readings |= held_of(artifact, rep, moved)
    if moved != events and f"rep{rep}/bar/time_s" in artifact.arrays:
        readings |= measure_bar(
            bar_of(artifact, rep),
            moved,
            scale_of(artifact, rep),
            capture=capture,
            size_px=tuple(artifact.meta["size_px"]),
        )
    if artifact.meta["stretched"]:
        readings |= withheld(readings)
    changed = frozenset(_changed(stored, readings))
    changed |= {(id, event) for id, event in facts.get("corrected", ())}
    out = repetition(
        view=capture.view,
        kind=capture.kind,
        events=moved,
        readings=readings,
        frame_times_s=artifact.arrays["frame_times_s"],
        corrected=changed,
    )
    for name in moved:
        placed = moved[name] != events.get(name) or name in facts.get("corrected_events", ())
        if name in out["events"] and placed:
            out["events"][name]["source"] = "corrected"
    return out


def body_update(
    artifact: Artifact,
    rep: int,
    stored: Readings,
    events: Mapping[str, Moment],
    moved: Mapping[str, Moment],
    joints: Array,
) -> Readings:
    """Stored figures plus what the correction changes of the closed forms."""
    time_s, old_joints = artifact.of(rep, "time_s"), artifact.of(rep, "joints_m")
    before = curves_of(old_joints, time_s, events)
    after = curves_of(joints, time_s, moved)
    hand = joints is not old_joints
    readings: Readings = {}
    for m in measures_of(artifact.capture.view, artifact.capture.kind):
        reading = stored.get((m.id, m.event), "not_ready")
        if m.id in CLUB_MEASURES or m.id not in (*after, *_OF_TWO_MOMENTS):
            continue
        old = body_value(m.id, m.event, before, time_s, events)
        new = body_value(m.id, m.event, after, time_s, moved)
        readings[m.id, m.event] = updated(
            reading,
            old,
            new,
            _event_spread(m.id, m.event, before, after, time_s, events, moved),
            hand=hand,
            unit=m.unit,
        )
    return readings


def updated(
    reading: Reading, old: float, new: float, spread: tuple[float, float], *, hand: bool, unit: str
) -> Reading:
    if isinstance(reading, str):
        # an event put in by hand opens a figure, but only one that the joints can give
        opened = math.isfinite(new) and not math.isfinite(old) and reading != "not_ready"
        return (new, math.hypot(_UNCHECKED[unit], spread[1])) if opened else reading
    if not (math.isfinite(old) and math.isfinite(new)):
        return reading
    value, sd = reading
    if new == old and spread[0] == spread[1]:
        return reading
    base = math.sqrt(max(sd**2 - spread[0] ** 2, (sd / 2) ** 2))
    if hand and new != old:
        base = math.hypot(base, 100 * POINT_SD_M if unit == "cm" else 0.0)
    return value + new - old, math.hypot(base, spread[1])


# Without a calibrated spread: as wide as the uncorrected network's, see docs/measurement.md.
_UNCHECKED = {"deg": 12.0, "cm": 4.0, "%": 20.0, "": 0.2, "m/s": 1.5, "s": 0.05}


def _event_spread(
    id: str,
    event: str,
    before: Mapping[str, Array],
    after: Mapping[str, Array],
    time_s: Array,
    events: Mapping[str, Moment],
    moved: Mapping[str, Moment],
) -> tuple[float, float]:
    """The share of the spread that comes from the event's time, before and after."""

    def share(curves: Mapping[str, Array], moments: Mapping[str, Moment]) -> float:
        moment = moments.get(event)
        if moment is None or moment.time_s is None or not curves:
            return 0.0
        gap = float(np.median(np.diff(time_s))) if len(time_s) > 1 else RATE_S
        half = max(RATE_S, gap)
        ends = [
            body_value(id, event, curves, time_s, {**moments, event: Moment(moment.time_s + step)})
            for step in (-half, half)
        ]
        rate = (ends[1] - ends[0]) / (2 * half)
        return abs(rate) * (moment.uncertainty_s or 0.0) if math.isfinite(rate) else 0.0

    return share(before, events), share(after, moved)
