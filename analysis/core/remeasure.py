"""Figures anew after a person moved a joint, a shaft or an event: no video, no fit.

A local update, quick enough to follow the hand: what a correction changes is computed
twice, before and after, and the difference is added to the stored figure. So a figure
keeps whatever the fit knew, and a correction that changes nothing changes no figure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.bar import BarTrack, measure_bar
from analysis.core.body import measure_body
from analysis.core.club import measure_club
from analysis.core.corrector import Weights
from analysis.core.fit import by_hand
from analysis.core.measures import (
    CLUB_MEASURES,
    Reading,
    Readings,
    at,
    body_curves,
    body_value,
    measures_of,
    rate_at,
    repetition,
    tempo_readings,
    withheld,
)
from analysis.core.pose import JOINT, Array, Capture, Moment, PoseSequence, ShaftTrack
from analysis.core.steady import moved, undone

# A joint put right by hand spreads this far in time: further, the fit knows better.
REACH_S = 0.10
# One standard deviation of a person's placing of a point, and of choosing a frame.
POINT_SD_M = 0.008
# Joints whose distance is fixed by the bone between them: when one moves in the
# picture, its depth follows. Both ends of a breadth lie on one bone.
_BONES = tuple((f"{j}_lead", f"{j}_trail") for j in ("hip", "shoulder"))


@dataclass(frozen=True)
class Artifact:
    """What a measuring run leaves behind.

    `meta` is plain JSON: `capture`, `size_px`, `stretched`, `versions`, `quality` and
    for each repetition its `events`, `values` and scalars; `arrays` holds
    `frame_times_s` (N,) and, named `rep{k}/NAME`: `time_s` (T,), `frame` (T,),
    `landmarks_px` (T, 33, 2), `confidence` and `depth_px` (T, 33), `world_m`
    (T, 33, 3), `joints_px` (T, J, 2),
    `joints_m` (T, J, 3), `joints_sd_m` (T, J), `camera/NAME`, and the fields of
    `ShaftTrack` and `BarTrack` as `shaft/NAME` and `bar/NAME`. All of it is of a
    right-hander: a left-hander's is mirrored. Of a camera that moved there is `steady`
    (T, 2, 3), and all pixels are counted in one picture: `in_frames` brings them back.
    """

    meta: Mapping[str, Any]
    arrays: Mapping[str, Array]

    def of(self, rep: int, name: str) -> Array:
        return self.arrays[f"rep{rep}/{name}"]

    @property
    def capture(self) -> Capture:
        return Capture(**self.meta["capture"])

    def in_frames(self, rep: int, points_px: Array) -> Array:
        """Points (T, ..., 2) as they lie in each frame's own picture."""
        steady = self.arrays.get(f"rep{rep}/steady")
        return points_px if steady is None else moved(points_px, undone(steady))

    def in_common(self, rep: int, point_px: Array, when_s: float) -> Array:
        """A point (2,) of the frame shown at a time, where all others are counted."""
        steady = self.arrays.get(f"rep{rep}/steady")
        if steady is None:
            return point_px
        i = int(np.argmin(np.abs(self.of(rep, "time_s") - when_s)))
        return np.asarray(moved(point_px[None], steady[i : i + 1])[0])


@dataclass(frozen=True)
class Scale:
    """What `measure_club` needs of the body, from the archive."""

    scale_m_per_px: float
    time_s: Array
    joints_px: Array
    joints_m: Array
    joints_sd_m: Array
    camera: Mapping[str, Any] = field(default_factory=dict)
    camera_yaw_deg: float = math.nan
    camera_yaw_sd_deg: float = math.nan


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
        _check(correction)
    return [
        _remeasured(artifact, rep, [c for c in corrections if _belongs(artifact, rep, c)])
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
        _check(correction)
    reps = [
        _refitted(artifact, rep, [c for c in corrections if _belongs(artifact, rep, c)], weights)
        for rep in range(len(artifact.meta["reps"]))
    ]
    return Artifact(meta={**artifact.meta, "reps": reps}, arrays=artifact.arrays)


def _refitted(
    artifact: Artifact, rep: int, corrections: Sequence[Mapping[str, Any]], weights: Weights
) -> dict[str, Any]:
    facts = artifact.meta["reps"][rep]
    events = {name: Moment(**moment) for name, moment in facts["events"].items()}
    moved = _moved_events(artifact, events, corrections)
    if moved == events:
        return dict(facts)
    stored = _stored(facts)
    lean = artifact.arrays.get(f"rep{rep}/camera/lean")
    body = measure_body(
        _pose(artifact, rep),
        moved,
        capture=artifact.capture,
        weights=weights,
        lean=None if lean is None else (float(lean[0]), float(lean[1])),
    )
    still = facts["still"] or moved["address"] != events["address"]
    readings = stored | body.values
    readings |= tempo_readings(moved, stretched=artifact.meta["stretched"], still=still)
    shaft = _moved_shaft(artifact, rep, [])
    if shaft is not None:
        scale = replace(_scale(artifact, rep), scale_m_per_px=body.scale_m_per_px)
        readings |= measure_club(shaft, moved, scale, capture=artifact.capture)
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
    """Figures that a hand moved by more than a tenth of their own spread."""

    def moved(old: Reading | None, new: Reading) -> bool:
        if old is None or isinstance(old, str) or isinstance(new, str):
            return old != new
        return abs(new[0] - old[0]) > 0.1 * old[1]

    return [key for key, new in after.items() if moved(before.get(key), new)]


def _pose(artifact: Artifact, rep: int) -> PoseSequence:
    return PoseSequence(
        time_s=artifact.of(rep, "time_s"),
        frame=artifact.of(rep, "frame").astype(np.int64),
        xy_px=artifact.of(rep, "landmarks_px").astype(float),
        confidence=artifact.of(rep, "confidence").astype(float),
        size_px=tuple(artifact.meta["size_px"]),
        depth=artifact.of(rep, "depth_px").astype(float),
        world_m=artifact.of(rep, "world_m").astype(float),
    )


def _remeasured(
    artifact: Artifact, rep: int, corrections: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    capture, facts = artifact.capture, artifact.meta["reps"][rep]
    events = {name: Moment(**moment) for name, moment in facts["events"].items()}
    moved = _moved_events(artifact, events, corrections)
    known = _covariance(artifact, rep)
    joints = artifact.of(rep, "joints_m") if known else _moved_joints(artifact, rep, corrections)
    shaft = _moved_shaft(artifact, rep, corrections)
    stored = _stored(facts)
    readings = dict(stored)
    if moved != events or joints is not artifact.of(rep, "joints_m"):
        readings |= _body_update(artifact, rep, stored, events, moved, joints)
        still = facts["still"] or moved["address"] != events["address"]
        readings |= tempo_readings(moved, stretched=artifact.meta["stretched"], still=still)
    if known:
        steps = _steps_pct(artifact, rep, moved, known, corrections)
        if steps:
            readings = by_hand(readings, steps, covariance=known, stature_cm=capture.stature_cm)
    if shaft is not None and (moved != events or any(c["target"] == "shaft" for c in corrections)):
        readings |= measure_club(shaft, moved, _scale(artifact, rep), capture=capture)
    if moved != events and f"rep{rep}/bar/time_s" in artifact.arrays:
        readings |= measure_bar(
            _bar(artifact, rep),
            moved,
            _scale(artifact, rep),
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


def _check(correction: Mapping[str, Any]) -> None:
    kind, _, name = str(correction.get("target", "")).partition(":")
    value = correction.get("value")
    try:
        if kind == "event" and name:
            numbers = [float(value)]  # type: ignore[arg-type]
        elif kind == "joint" and name in JOINT:
            numbers = [float(value["x"]), float(value["y"])]  # type: ignore[index]
        elif kind == "shaft":
            numbers = [float(v) for end in ("grip", "head") for v in value[end]]  # type: ignore[index]
        else:
            raise ValueError(f"unknown target {correction.get('target')!r}")
    except (TypeError, KeyError) as error:
        raise ValueError(f"value {value!r} does not fit target {correction['target']}") from error
    if not all(map(math.isfinite, [*numbers, float(correction["time_s"])])):
        raise ValueError("a correction holds numbers only")


def _belongs(artifact: Artifact, rep: int, correction: Mapping[str, Any]) -> bool:
    """A correction goes to the repetition whose frames are nearest to its time."""
    when = float(correction["time_s"])

    def distance(k: int) -> float:
        times = artifact.of(k, "time_s")
        return max(float(times[0]) - when, when - float(times[-1]), 0.0)

    return min(range(len(artifact.meta["reps"])), key=distance) == rep


def _moved_events(
    artifact: Artifact, events: Mapping[str, Moment], corrections: Sequence[Mapping[str, Any]]
) -> dict[str, Moment]:
    times = artifact.arrays["frame_times_s"]
    half_gap = float(np.median(np.diff(times))) / 2
    moved = dict(events)
    for c in corrections:
        kind, _, name = c["target"].partition(":")
        if kind == "event":
            moved[name] = Moment(float(c["value"]), half_gap)
    return moved


def _moved_joints(artifact: Artifact, rep: int, corrections: Sequence[Mapping[str, Any]]) -> Array:
    """Joints in metres after hands moved some of them in the picture."""
    joints = artifact.of(rep, "joints_m")
    for c in corrections:
        kind, _, name = c["target"].partition(":")
        if kind == "joint":
            joints = _put(artifact, rep, joints, JOINT[name], c)
    return joints


def _covariance(artifact: Artifact, rep: int) -> dict[str, Array]:
    """How errors of joints and figures hang together, where the archive has it."""
    prefix = f"rep{rep}/covariance/"
    return {k.removeprefix(prefix): v for k, v in artifact.arrays.items() if k.startswith(prefix)}


def _steps_pct(
    artifact: Artifact,
    rep: int,
    events: Mapping[str, Moment],
    known: Mapping[str, Array],
    corrections: Sequence[Mapping[str, Any]],
) -> dict[str, dict[str, Array]]:
    """For each event the joints that were moved near it, as `core.fit` counts."""
    stature_px = float(artifact.of(rep, "camera/drawn_px"))
    steps: dict[str, dict[str, Array]] = {}
    for c in corrections:
        kind, _, name = c["target"].partition(":")
        if kind != "joint":
            continue
        step = 100 * _step_px(artifact, rep, JOINT[name], c) / stature_px
        for event in known:
            when = events[event].time_s if event in events else None
            near = 0.0 if when is None else 1 - abs(when - float(c["time_s"])) / REACH_S
            if near > 0:
                steps.setdefault(event, {})[name] = near * step
    return steps


def _put(
    artifact: Artifact, rep: int, joints_m: Array, joint: int, correction: Mapping[str, Any]
) -> Array:
    time_s, when = artifact.of(rep, "time_s"), float(correction["time_s"])
    step_px = _step_px(artifact, rep, joint, correction)
    step = step_px * artifact.meta["reps"][rep]["scale_m_per_px"]
    weight = np.clip(1 - np.abs(time_s - when) / REACH_S, 0, 1)
    if not weight.any():
        weight[int(np.argmin(np.abs(time_s - when)))] = 1.0
    across = 1 if artifact.capture.view == "down_the_line" else 0
    moved = joints_m.copy()
    moved[:, joint, across] += weight * step[0]
    moved[:, joint, 2] -= weight * step[1]
    _keep_bone(joints_m, moved, joint, 1 - across, weight > 0)
    return moved


def _step_px(artifact: Artifact, rep: int, joint: int, correction: Mapping[str, Any]) -> Array:
    """From where the joint was drawn to where it was put, pixels of the mirrored picture."""
    time_s, px = artifact.of(rep, "time_s"), artifact.of(rep, "joints_px")
    width, height = artifact.meta["size_px"]
    x, y = correction["value"]["x"], correction["value"]["y"]
    if artifact.capture.handedness == "left":
        x = 1 - x
    when = float(correction["time_s"])
    was = np.array([at(time_s, px[:, joint, axis], when) for axis in (0, 1)])
    return np.asarray(artifact.in_common(rep, np.array([x * width, y * height]), when) - was)


def _keep_bone(
    before: Array, after: Array, joint: int, depth: int, rows: NDArray[np.bool_]
) -> None:
    """Change the moved joint's depth so that its bone keeps its length, where it can."""
    for pair in _BONES:
        ends = [JOINT[name] for name in pair]
        if joint not in ends:
            continue
        other = ends[1 - ends.index(joint)]
        length = np.linalg.norm(before[rows, joint] - before[rows, other], axis=1)
        line = after[rows, joint] - after[rows, other]
        seen = np.delete(line, depth, axis=1)
        left = np.sqrt(np.maximum(length**2 - np.sum(seen**2, axis=1), 0.0))
        side = np.where(line[:, depth] < 0, -1.0, 1.0)
        after[rows, joint, depth] = after[rows, other, depth] + side * left


def _body_update(
    artifact: Artifact,
    rep: int,
    stored: Readings,
    events: Mapping[str, Moment],
    moved: Mapping[str, Moment],
    joints: Array,
) -> Readings:
    """Stored figures plus what the correction changes of the closed forms."""
    time_s, old_joints = artifact.of(rep, "time_s"), artifact.of(rep, "joints_m")
    before = _curves(old_joints, time_s, events)
    after = _curves(joints, time_s, moved)
    hand = joints is not old_joints
    readings: Readings = {}
    for m in measures_of(artifact.capture.view, artifact.capture.kind):
        reading = stored.get((m.id, m.event), "not_ready")
        if m.id in CLUB_MEASURES or m.id not in (*after, "pelvis_to_ball_down_cm"):
            continue
        old = body_value(m.id, m.event, before, time_s, events)
        new = body_value(m.id, m.event, after, time_s, moved)
        readings[m.id, m.event] = _updated(
            reading,
            old,
            new,
            _event_spread(m.id, m.event, before, after, time_s, events, moved),
            hand=hand,
            unit=m.unit,
        )
    return readings


def _updated(
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
    name = "pelvis_to_ball_cm" if id == "pelvis_to_ball_down_cm" else id

    def share(curves: Mapping[str, Array], moments: Mapping[str, Moment]) -> float:
        moment = moments.get(event)
        if moment is None or moment.time_s is None or name not in curves:
            return 0.0
        rate = rate_at(time_s, curves[name], moment.time_s)
        return abs(rate) * (moment.uncertainty_s or 0.0) if math.isfinite(rate) else 0.0

    return share(before, events), share(after, moved)


def _curves(joints: Array, time_s: Array, events: Mapping[str, Moment]) -> dict[str, Array]:
    address = events["address"].time_s if "address" in events else None
    return {} if address is None else body_curves(joints, time_s, address_s=address)


def _stored(facts: Mapping[str, Any]) -> Readings:
    return {
        (id, event): reading if isinstance(reading, str) else (reading[0], reading[1])
        for id, event, reading in facts["values"]
    }


def _scale(artifact: Artifact, rep: int) -> Scale:
    facts = artifact.meta["reps"][rep]
    prefix = f"rep{rep}/camera/"
    return Scale(
        scale_m_per_px=facts["scale_m_per_px"],
        time_s=artifact.of(rep, "time_s"),
        joints_px=artifact.of(rep, "joints_px"),
        joints_m=artifact.of(rep, "joints_m"),
        joints_sd_m=artifact.of(rep, "joints_sd_m"),
        camera={k[len(prefix) :]: v for k, v in artifact.arrays.items() if k.startswith(prefix)},
        camera_yaw_deg=_number(facts["camera_yaw_deg"]),
        camera_yaw_sd_deg=_number(facts["camera_yaw_sd_deg"]),
    )


def _bar(artifact: Artifact, rep: int) -> BarTrack:
    parts: dict[str, Any] = {
        name: artifact.of(rep, f"bar/{name}") for name in BarTrack.__dataclass_fields__
    }
    return BarTrack(**parts | {"sd_px": float(parts["sd_px"])})


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _moved_shaft(
    artifact: Artifact, rep: int, corrections: Sequence[Mapping[str, Any]]
) -> ShaftTrack | None:
    """The shaft's track with the lines that people drew put in at their frames."""
    if f"rep{rep}/shaft/time_s" not in artifact.arrays:
        return None
    fields = {name: artifact.of(rep, f"shaft/{name}") for name in ShaftTrack.__dataclass_fields__}
    track: dict[str, Any] = {name: value.copy() for name, value in fields.items()}
    width, height = artifact.meta["size_px"]
    for c in corrections:
        if c["target"] != "shaft":
            continue
        i = int(np.argmin(np.abs(track["time_s"] - float(c["time_s"]))))
        grip, head = (np.array(c["value"][end], float) for end in ("grip", "head"))
        if artifact.capture.handedness == "left":
            grip[0], head[0] = 1 - grip[0], 1 - head[0]
        when = float(c["time_s"])
        grip, head = (artifact.in_common(rep, p * (width, height), when) for p in (grip, head))
        angle = math.degrees(math.atan2(grip[1] - head[1], head[0] - grip[0]))
        known = np.flatnonzero(np.isfinite(track["angle_deg"]))
        if len(known):
            near = track["angle_deg"][known[np.argmin(np.abs(known - i))]]
            angle += 360 * round((near - angle) / 360)
        track["angle_deg"][i], track["sd_deg"][i] = angle, 1.0
        track["grip_px"][i], track["head_px"][i] = grip, head
        track["length_px"][i] = np.linalg.norm(head - grip)
    return ShaftTrack(**track | {"ball_gone_s": float(track["ball_gone_s"])})
