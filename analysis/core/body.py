"""Body measures in the plane of the picture (first version: no turn, no depth)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from analysis.core.measures import (
    CLUB_MEASURES,
    Readings,
    body_curves,
    body_value,
    measures_of,
    rate_at,
)
from analysis.core.pose import JOINT, JOINTS, LANDMARK, Array, Capture, Moment, PoseSequence

_SPREAD = {"deg": 4.0, "cm": 3.0, "%": 20.0, "": 0.15, "m/s": 1.5, "s": 0.05}


@dataclass(frozen=True)
class BodyResult:
    """Readings and the joints they came from; see the archive for shapes."""

    values: Readings
    time_s: Array
    joints_px: Array
    joints_m: Array
    joints_sd_m: Array
    scale_m_per_px: float
    camera: dict[str, Any] = field(default_factory=dict)
    camera_yaw_deg: float = math.nan
    camera_yaw_sd_deg: float = math.nan


def measure_body(
    pose: PoseSequence,
    events: Mapping[str, Moment],
    *,
    capture: Capture,
    weights: Any = None,
) -> BodyResult:
    """Angles and travels that lie in the plane of the picture, straight from landmarks."""
    joints_px = _joints_px(pose)
    scale = _scale(joints_px, capture)
    joints_m = np.full((*joints_px.shape[:2], 3), np.nan)
    joints_m[..., 1 if capture.view == "down_the_line" else 0] = joints_px[..., 0] * scale
    joints_m[..., 2] = -joints_px[..., 1] * scale
    flat = np.nan_to_num(joints_m, nan=0.0) if len(pose) else joints_m
    address = events.get("address", Moment(None, reason="not_seen")).time_s
    curves = {} if address is None else body_curves(flat, pose.time_s, address_s=address)
    return BodyResult(
        values=_readings(curves, pose.time_s, events, capture),
        time_s=pose.time_s,
        joints_px=joints_px,
        joints_m=joints_m,
        joints_sd_m=np.full(joints_px.shape[:2], 0.04),
        scale_m_per_px=scale,
    )


def _readings(
    curves: Mapping[str, Array],
    time_s: Array,
    events: Mapping[str, Moment],
    capture: Capture,
) -> Readings:
    readings: Readings = {}
    for m in measures_of(capture.view, capture.kind):
        if m.id in CLUB_MEASURES or m.id.endswith("_s") or m.id == "tempo_ratio":
            continue
        if m.id in ("pelvis_turn_deg", "shoulder_turn_deg", "separation_deg", "bar_turn_deg"):
            readings[m.id, m.event] = "not_ready"
            continue
        value = body_value(m.id, m.event, curves, time_s, events)
        moment = events.get(m.event)
        if not math.isfinite(value) or moment is None or moment.time_s is None:
            readings[m.id, m.event] = "not_ready" if m.id not in curves else "not_seen"
            continue
        rate = rate_at(time_s, curves[m.id], moment.time_s) if m.id in curves else 0.0
        spread = math.hypot(_SPREAD[m.unit], np.nan_to_num(rate) * (moment.uncertainty_s or 0.0))
        readings[m.id, m.event] = (value, spread)
    return readings


def _joints_px(pose: PoseSequence) -> Array:
    joints = np.full((len(pose), len(JOINTS), 2), np.nan)
    for name, j in JOINT.items():
        limb, _, side = name.rpartition("_")
        mark = f"{limb}_{'left' if side == 'lead' else 'right'}"
        if mark in LANDMARK:
            joints[:, j] = pose.xy_px[:, LANDMARK[mark]]
    ears = [LANDMARK["ear_left"], LANDMARK["ear_right"]]
    joints[:, JOINT["head"]] = pose.xy_px[:, ears].mean(axis=1)
    shoulders = [LANDMARK["shoulder_left"], LANDMARK["shoulder_right"]]
    joints[:, JOINT["neck"]] = pose.xy_px[:, shoulders].mean(axis=1)
    hands = [LANDMARK["index_left"], LANDMARK["index_right"]]
    joints[:, JOINT["grip"]] = pose.xy_px[:, hands].mean(axis=1)
    return joints


def _scale(joints_px: Array, capture: Capture) -> float:
    """Metres per pixel from thigh and shank, 0.491 of stature (Drillis & Contini 1966)."""
    length = 0.0
    for side in ("lead", "trail"):
        hip, knee, ankle = (joints_px[:, JOINT[f"{j}_{side}"]] for j in ("hip", "knee", "ankle"))
        length += np.nanmedian(np.linalg.norm(hip - knee, axis=1))
        length += np.nanmedian(np.linalg.norm(knee - ankle, axis=1))
    return 0.491 * capture.stature_cm / 100 / (length / 2)
