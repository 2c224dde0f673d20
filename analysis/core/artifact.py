"""What a measured swing left: the arrays and facts that figures are made from again."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from analysis.core.bar import BarTrack
from analysis.core.held import Afterwards, finish_held
from analysis.core.measures import Readings, body_curves
from analysis.core.pose import Array, Capture, Moment, PoseSequence
from analysis.core.steady import moved, undone


@dataclass(frozen=True)
class Artifact:
    """What a measuring run leaves behind.

    `meta` is plain JSON: `capture`, `size_px`, `stretched`, `versions`, `quality` and
    for each repetition its `events`, `values` and scalars; `arrays` holds
    `frame_times_s` (N,) and, named `rep{k}/NAME`: `time_s` (T,), `frame` (T,),
    `landmarks_px` (T, 33, 2), `confidence` and `depth_px` (T, 33), `world_m`
    (T, 33, 3), `joints_px` (T, J, 2),
    `joints_m` (T, J, 3), `joints_sd_m` (T, J), `camera/NAME`, and the fields of
    `ShaftTrack`, `BarTrack` and `Afterwards` as `shaft/NAME`, `bar/NAME` and
    `after/NAME`. All of it is of a
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


def pose_of(artifact: Artifact, rep: int) -> PoseSequence:
    return PoseSequence(
        time_s=artifact.of(rep, "time_s"),
        frame=artifact.of(rep, "frame").astype(np.int64),
        xy_px=artifact.of(rep, "landmarks_px").astype(float),
        confidence=artifact.of(rep, "confidence").astype(float),
        size_px=tuple(artifact.meta["size_px"]),
        depth=artifact.of(rep, "depth_px").astype(float),
        world_m=artifact.of(rep, "world_m").astype(float),
    )


def curves_of(joints: Array, time_s: Array, events: Mapping[str, Moment]) -> dict[str, Array]:
    address = events["address"].time_s if "address" in events else None
    return {} if address is None else body_curves(joints, time_s, address_s=address)


def stored_of(facts: Mapping[str, Any]) -> Readings:
    return {
        (id, event): reading if isinstance(reading, str) else (reading[0], reading[1])
        for id, event, reading in facts["values"]
    }


def scale_of(artifact: Artifact, rep: int) -> Scale:
    facts = artifact.meta["reps"][rep]
    prefix = f"rep{rep}/camera/"
    return Scale(
        scale_m_per_px=facts["scale_m_per_px"],
        time_s=artifact.of(rep, "time_s"),
        joints_px=artifact.of(rep, "joints_px"),
        joints_m=artifact.of(rep, "joints_m"),
        joints_sd_m=artifact.of(rep, "joints_sd_m"),
        camera={k[len(prefix) :]: v for k, v in artifact.arrays.items() if k.startswith(prefix)},
        camera_yaw_deg=number_of(facts["camera_yaw_deg"]),
        camera_yaw_sd_deg=number_of(facts["camera_yaw_sd_deg"]),
    )


def held_of(artifact: Artifact, rep: int, events: Mapping[str, Moment]) -> Readings:
    if f"rep{rep}/after/time_s" not in artifact.arrays:
        return {}
    after = Afterwards(artifact.of(rep, "after/time_s"), artifact.of(rep, "after/points_px"))
    scale = artifact.meta["reps"][rep]["scale_m_per_px"]
    return finish_held(after, events, scale_m_per_px=scale)


def bar_of(artifact: Artifact, rep: int) -> BarTrack:
    parts: dict[str, Any] = {
        name: artifact.of(rep, f"bar/{name}") for name in BarTrack.__dataclass_fields__
    }
    return BarTrack(**parts | {"sd_px": float(parts["sd_px"])})


def number_of(value: float | None) -> float:
    return math.nan if value is None else float(value)
