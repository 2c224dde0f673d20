"""What a person put right, laid over what was read: events, joints and the shaft."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.artifact import Artifact
from analysis.core.geometry import at
from analysis.core.pose import JOINT, Array, Moment, ShaftTrack

# A joint put right by hand spreads this far in time: further, the fit knows better.
REACH_S = 0.10

# One standard deviation of a person's placing of a point, and of choosing a frame.
POINT_SD_M = 0.008

# Joints whose distance is fixed by the bone between them: when one moves in the
# picture, its depth follows. Both ends of a breadth lie on one bone.
_BONES = tuple((f"{j}_lead", f"{j}_trail") for j in ("hip", "shoulder"))


def moves_club(correction: Mapping[str, Any]) -> bool:
    """The shaft itself, or the lead forearm, against which the set of the wrists is told."""
    return correction["target"] in ("shaft", "joint:elbow_lead", "joint:wrist_lead")


def check_correction(correction: Mapping[str, Any]) -> None:
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


def belongs(artifact: Artifact, rep: int, correction: Mapping[str, Any]) -> bool:
    """A correction goes to the repetition whose frames are nearest to its time."""
    when = float(correction["time_s"])

    def distance(k: int) -> float:
        times = artifact.of(k, "time_s")
        return max(float(times[0]) - when, when - float(times[-1]), 0.0)

    return min(range(len(artifact.meta["reps"])), key=distance) == rep


def moved_events(
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


def moved_joints(artifact: Artifact, rep: int, corrections: Sequence[Mapping[str, Any]]) -> Array:
    """Joints in metres after hands moved some of them in the picture."""
    joints = artifact.of(rep, "joints_m")
    for c in corrections:
        kind, _, name = c["target"].partition(":")
        if kind == "joint":
            joints = _put(artifact, rep, joints, JOINT[name], c)
    return joints


def covariance_of(artifact: Artifact, rep: int) -> dict[str, Array]:
    """How errors of joints and figures hang together, where the archive has it."""
    prefix = f"rep{rep}/covariance/"
    return {k.removeprefix(prefix): v for k, v in artifact.arrays.items() if k.startswith(prefix)}


def steps_pct(
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


def moved_shaft(
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
