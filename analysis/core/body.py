"""Body measures of one repetition: repair, correct, read at the events, say how sure.

Values come from `corrector`, whose raw spread and the pose's strangeness `core.spread`
turns into the error measured on bodies and motions it never saw. To that is added the
event's own time (rate of change x its uncertainty). A pose far from all that was learned,
and a figure that would be mostly the average, are not told.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.cleaning import clean
from analysis.core.corrector import ANCHOR, FIGURES, PAIRS, Weights, correct, strangeness
from analysis.core.corrector import Reading as Corrected
from analysis.core.from_joints import FROM_JOINTS, read
from analysis.core.measures import CLUB_MEASURES, Measure, Reading, Readings, measures_of
from analysis.core.motion import gap_at, local_fit
from analysis.core.pose import JOINT, JOINTS, Array, Capture, Moment, PoseSequence
from analysis.core.spread import mostly_average, spread_of

_PEAKS = {"pelvis_speed_peak_s": "pelvis_turn_deg", "shoulder_speed_peak_s": "shoulder_turn_deg"}
_STILL_S = 0.35  # before address: frames that show the same pose
_LATE_S = 0.012  # after it: the club has hardly moved
_SETUP_S = 0.6  # a set-up's address is the start of its stillness
_READ_WIDTH_S = 0.012
_RATE_WIDTH_S = 0.030
_FINISH_S = 0.6  # after impact, where no finish was found
LEAN_SD_DEG = 0.5
# Strangeness above which every figure is withheld: 1 is the edge of the habitual, motions
# without habits lie about 1.6, poses that are no swing about here.
TOO_STRANGE = 2.5


@dataclass(frozen=True)
class BodyResult:
    """Readings and the joints they came from.

    Parameters
    ----------
    values : dict
        (measure, event) to (value, one standard deviation) or a reason code.
    time_s : ndarray, shape (T,)
    joints_px, joints_sd_px : ndarray, shape (T, J, 2)
        Corrected joints in the working picture; plain landmarks outside the swing.
    joints_m, joints_sd_m : ndarray, shape (T, J, 3) and (T, J)
        Joints in the golfer's frame and their spread; NaN where not seen.
    scale_m_per_px : float
        At the golfer's distance.
    camera : dict
        `size_px`, `roll_deg`, `drawn_px`, the drawn stature that `core.fit` counts in, and
        where it was given `lean`.
    camera_yaw_deg, camera_yaw_sd_deg : float
        How far off the line the camera stands.
    strangeness : dict of str to float
        Per event; above 1 spreads grow, above `TOO_STRANGE` nothing is told.
    covariance : dict of str to ndarray
        Per event, for `core.fit.condition`.
    """

    values: Readings
    time_s: Array
    joints_px: Array
    joints_m: Array
    joints_sd_m: Array
    scale_m_per_px: float
    camera: dict[str, Any] = field(default_factory=dict)
    camera_yaw_deg: float = math.nan
    camera_yaw_sd_deg: float = math.nan
    joints_sd_px: Array | None = None
    strangeness: dict[str, float] = field(default_factory=dict)
    covariance: dict[str, Array] = field(default_factory=dict)


@dataclass(frozen=True)
class _Swing:
    """One repetition, read and ready to be asked."""

    time_s: Array
    corrected: Corrected
    events: Mapping[str, Moment]
    still: NDArray[np.bool_]
    capture: Capture
    weights: Weights
    strangeness: Mapping[str, float]
    turned_deg: float
    level: bool

    def scale(self, name: str, otherwise: float) -> float:
        """Factor from the network's own spread to a true one."""
        for kind in ("scale_level", "scale") if self.level else ("scale",):
            if f"{kind}/{name}" in self.weights:
                return float(self.weights[f"{kind}/{name}"])
        return otherwise


def measure_body(
    pose: PoseSequence,
    events: Mapping[str, Moment],
    *,
    capture: Capture,
    weights: Weights | None,
    lean: tuple[float, float] | None = None,
) -> BodyResult:
    """Every body measure that this view and kind list.

    Parameters
    ----------
    pose : PoseSequence
        One repetition of a right-hander, or of a mirrored left-hander.
    events : mapping of str to Moment
    capture : Capture
    weights : mapping, optional
        From `analysis.weights.load(view)`; without them every measure is `not_ready`.
    lean : tuple of float, optional
        How far upright things lean to the right in the picture, and its standard
        deviation, degrees (`analysis.scene`). Unknown, or known worse than
        `LEAN_SD_DEG`, it stays inside the spread of what stands and hangs.
    """
    listed = [m for m in measures_of(capture.view, capture.kind) if _is_ours(m)]
    address = events.get("address", Moment(None, reason="not_seen"))
    if weights is None or address.time_s is None or not len(pose):
        reason = "not_ready" if weights is None else address.reason or "not_seen"
        return _nothing(pose, {(m.id, m.event): reason for m in listed}, capture)
    until = _time(events, "impact", pose.time_s[-1])
    cleaned = clean(pose, until_s=until).pose
    level = lean is not None and lean[1] <= LEAN_SD_DEG
    turned_deg = lean[0] if lean is not None and level else 0.0
    if level:
        cleaned = replace(cleaned, xy_px=turned(cleaned.xy_px, -turned_deg, pose.size_px))
    still = _still(pose.time_s, address.time_s, capture.kind)
    if not (still & np.isfinite(cleaned.xy_px).all(axis=(1, 2))).any():
        return _nothing(pose, {(m.id, m.event): "not_seen" for m in listed}, capture)
    phase, within = phase_of(pose.time_s, events, still)
    corrected = correct(cleaned, phase, still, within, weights=weights, level=level)
    strange = _strangeness(pose.time_s, corrected, events, still, weights)
    swing = _Swing(
        pose.time_s, corrected, events, still, capture, weights, strange, turned_deg, level
    )
    result = _joints(swing, pose)
    if lean is not None:
        result.camera["lean"] = np.array(lean, float)
    return replace(
        result,
        values={(m.id, m.event): _reading(m, swing) for m in listed},
    )


def phase_of(
    time_s: Array, events: Mapping[str, Moment], still: NDArray[np.bool_]
) -> tuple[Array, NDArray[np.bool_]]:
    """Phase of every frame (0 address, 1 top, 2 impact, 3 finish) and which belong.

    Parameters
    ----------
    time_s : ndarray, shape (T,)
    events : mapping of str to Moment
        Without a top every frame is at address; without an impact the phase stops at 1.
    still : ndarray of bool, shape (T,)
        Frames at address; those before them do not belong to the swing.
    """
    first, last = time_s[still][0], _time(events, "address", time_s[still][-1])
    knots = [(last, 0.0)]
    top, impact = (_time(events, e, math.nan) for e in ("top", "impact"))
    if top > last:
        knots.append((top, 1.0))
        if impact > top:
            knots.append((impact, 2.0))
            finish = _time(events, "finish", impact + _FINISH_S)
            knots.append((max(finish, impact + 0.2), 3.0))
    times, phases = zip(*knots, strict=True)
    within = time_s >= first
    if len(knots) == 1:
        within &= time_s <= time_s[still][-1]
    return np.interp(time_s, times, phases), within


def turned(xy_px: Array, angle_deg: float, size_px: tuple[int, int]) -> Array:
    """Points turned about the middle of the picture, clockwise as one sees it."""
    if not angle_deg:
        return xy_px
    cos, sin = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    middle = np.array(size_px) / 2
    return np.asarray((xy_px - middle) @ np.array([[cos, sin], [-sin, cos]]) + middle)


def _is_ours(m: Measure) -> bool:
    return m.id in (*FIGURES, *PAIRS, *_PEAKS, *FROM_JOINTS)


def _time(events: Mapping[str, Moment], event: str, otherwise: float) -> float:
    moment = events.get(event)
    return otherwise if moment is None or moment.time_s is None else float(moment.time_s)


def _still(time_s: Array, address_s: float, kind: str) -> NDArray[np.bool_]:
    """Frames that show the address; the nearest one if there is none."""
    late = _SETUP_S if kind == "setup" else _LATE_S
    still = (time_s >= address_s - _STILL_S) & (time_s <= address_s + late)
    if not still.any():
        still[int(np.argmin(np.abs(time_s - address_s)))] = True
    return np.asarray(still)


def _reading(m: Measure, swing: _Swing) -> Reading:
    """One measure at its event, or why there is none."""
    moment = swing.events.get(m.event, Moment(None, reason="not_reached"))
    if moment.time_s is None:
        return moment.reason or "not_reached"
    if m.id in _PEAKS:
        return _peak(swing, _PEAKS[m.id], moment.time_s)
    if m.id not in (*FIGURES, *PAIRS):
        return _from_joints(m, swing)
    parts = PAIRS.get(m.id, ((m.id, m.event),))
    read = [_at(swing, name, event) for name, event in parts]
    if any(isinstance(r, str) for r in read):
        return next(r for r in read if isinstance(r, str))
    sign = (1.0, -1.0)
    raw = math.hypot(*(r.raw for r in read if not isinstance(r, str)))
    value = sum(k * r.value for k, r in zip(sign, read, strict=False) if not isinstance(r, str))
    slip = _slip(swing, parts, [r for r in read if not isinstance(r, str)])
    return _spread_out(m, swing, value, raw, slip, [event for _, event in parts])


def _spread_out(
    m: Measure, swing: _Swing, value: float, raw: float, slip: float, events: list[str]
) -> Reading:
    """The value with its whole spread, unless the pose is too strange or little was seen."""
    told_against = ["address", *(_nearest(event) for event in events)]
    strange = max(swing.strangeness.get(event, 0.0) for event in told_against)
    if strange > TOO_STRANGE or not math.isfinite(value):
        return "unfamiliar" if strange > TOO_STRANGE else "not_seen"
    name = f"{m.id}/{m.event}"
    spread = spread_of(raw, strange, swing.weights, name, level=swing.level, otherwise=1.5)
    if mostly_average(spread, swing.weights, name):
        return "mostly_average"
    unit = swing.capture.stature_cm / 100 if m.unit == "cm" else 1.0
    return unit * value, unit * math.hypot(spread, slip)


def _from_joints(m: Measure, swing: _Swing) -> Reading:
    """A figure that the network has no output of its own for."""
    moment = swing.events[m.event]
    when = float(moment.time_s or 0.0)
    nearest = int(np.argmin(np.abs(swing.time_s - when)))
    joints = swing.corrected.joints_pct.copy()
    if not np.isfinite(joints[nearest]).all() and gap_at(swing.time_s, when) > 0.1:
        return "not_seen"
    joints[swing.still] = np.nanmean(joints[swing.still], axis=0)
    found = read(
        m.id,
        m.event,
        time_s=swing.time_s,
        joints=joints,
        joints_sd=swing.corrected.joints_sd_pct,
        events=swing.events,
    )
    slip = found.rate * (moment.uncertainty_s or 0.0)
    return _spread_out(m, swing, found.value, found.raw, slip, [m.event])


@dataclass(frozen=True)
class _Point:
    """A curve at a moment: value, raw spread and rate per second."""

    value: float
    raw: float
    rate: float


def _at(swing: _Swing, name: str, event: str) -> _Point | str:
    moment = swing.events.get(event, Moment(None, reason="not_reached"))
    if moment.time_s is None:
        return moment.reason or "not_reached"
    k = FIGURES.index(name)
    curve, spread = swing.corrected.figures[:, k], swing.corrected.figures_sd[:, k]
    if event == "address":
        return _Point(
            float(np.nanmean(curve[swing.still])), float(np.nanmean(spread[swing.still])), 0.0
        )
    when = np.array([moment.time_s])
    nearest = int(np.argmin(np.abs(swing.time_s - moment.time_s)))
    if not np.isfinite(curve[nearest]) and gap_at(swing.time_s, moment.time_s) > 0.1:
        return "not_seen"
    value, rate = local_fit(swing.time_s, curve, when, width_s=_READ_WIDTH_S, degree=1)
    rate = local_fit(swing.time_s, curve, when, width_s=_RATE_WIDTH_S, degree=1)[1]
    raw = local_fit(swing.time_s, spread, when, width_s=_RATE_WIDTH_S, degree=1)[0]
    if not np.isfinite([value[0], rate[0], raw[0]]).all():
        return "not_seen"
    return _Point(float(value[0]), float(raw[0]), float(rate[0]))


def _slip(swing: _Swing, parts: tuple[tuple[str, str], ...], read: list[_Point]) -> float:
    """What the events' own times add: curves at one event slip together."""
    by_event: dict[str, float] = {}
    for (_, event), point, sign in zip(parts, read, (1.0, -1.0), strict=False):
        by_event[event] = by_event.get(event, 0.0) + sign * point.rate
    shares = [rate * (swing.events[event].uncertainty_s or 0.0) for event, rate in by_event.items()]
    return math.hypot(*shares)


def _nearest(event: str) -> str:
    """The event whose poses stand for this one's in `strangeness`."""
    return event if event in ("address", "top") else "impact"


def _peak(swing: _Swing, name: str, impact_s: float) -> Reading:
    """Seconds before impact at which a line turns fastest toward the target."""
    top_s = _time(swing.events, "top", math.nan)
    curve = swing.corrected.figures[:, FIGURES.index(name)]
    found = fastest_s(swing.time_s, curve, top_s, impact_s)
    if found is None or max(swing.strangeness.values(), default=0.0) > TOO_STRANGE:
        return "not_seen"
    when, spread = found
    scale = swing.scale(f"{name}/peak", 0.3)
    moment = swing.events["impact"].uncertainty_s or 0.0
    frame_s = gap_at(swing.time_s, when)
    return impact_s - when, math.hypot(scale * spread, moment, 0.5 * frame_s)


def fastest_s(
    time_s: Array, angle_deg: Array, top_s: float, impact_s: float
) -> tuple[float, float] | None:
    """When between top and impact an angle falls fastest, and how loosely that is known.

    Returns
    -------
    (time, raw spread) or None
        Seconds. The raw spread is the length of the downswing: how sharp a peak looks
        says little of how right it is, so the share of it comes from unseen swings.
        None with fewer than 6 frames.
    """
    inside = np.isfinite(angle_deg) & (time_s > top_s - 0.1) & (time_s < impact_s + 0.1)
    if not math.isfinite(top_s) or inside.sum() < 6 or impact_s - top_s < 0.05:
        return None
    fine = np.linspace(top_s, impact_s, 101)
    frame_s = float(np.median(np.diff(time_s[inside])))
    width = max(frame_s, 0.12 * (impact_s - top_s))
    speed = -local_fit(time_s[inside], angle_deg[inside], fine, width_s=width)[1]
    if not np.isfinite(speed).any() or np.nanmax(speed) <= 0:
        return None
    return float(fine[int(np.nanargmax(speed))]), impact_s - top_s


def _strangeness(
    time_s: Array,
    corrected: Corrected,
    events: Mapping[str, Moment],
    still: NDArray[np.bool_],
    weights: Weights,
) -> dict[str, float]:
    out = {}
    for event in ("address", "top", "impact"):
        when = _time(events, event, math.nan)
        if not math.isfinite(when) or f"odd/{event}/mean" not in weights:
            continue
        rows = (
            still
            if event == "address"
            else np.arange(len(time_s)) == np.argmin(np.abs(time_s - when))
        )
        score = strangeness(corrected.tokens[rows], event, weights)
        if np.isfinite(score).any():
            out[event] = float(np.nanmedian(score))
    return out


def _joints(swing: _Swing, pose: PoseSequence) -> BodyResult:
    c, stature_m = swing.corrected, swing.capture.stature_cm / 100
    found_px = turned(c.joints_px, swing.turned_deg, pose.size_px)
    joints_px = np.where(np.isfinite(found_px), found_px, _anchors(pose))
    joints_m = c.joints_pct * stature_m / 100
    yaw, roll = FIGURES.index("camera_yaw_deg"), FIGURES.index("camera_roll_deg")
    scale = swing.scale("camera_yaw_deg/address", 1.5)
    return BodyResult(
        values={},
        time_s=pose.time_s,
        joints_px=joints_px,
        joints_m=joints_m,
        joints_sd_m=np.sqrt(np.mean(c.joints_sd_pct**2, axis=2)) * stature_m / 100,
        scale_m_per_px=_scale(joints_px[swing.still], joints_m[swing.still], swing.capture.view),
        camera={
            "size_px": np.array(pose.size_px, float),
            "roll_deg": np.array(swing.turned_deg + np.nanmean(c.figures[swing.still, roll])),
            "drawn_px": np.array(c.stature_px),
        },
        camera_yaw_deg=float(np.nanmean(c.figures[swing.still, yaw])),
        camera_yaw_sd_deg=scale * float(np.nanmean(c.figures_sd[swing.still, yaw])),
        joints_sd_px=c.joints_sd_px,
        strangeness=dict(swing.strangeness),
        covariance={
            name.removeprefix("covariance/"): np.asarray(value)
            for name, value in swing.weights.items()
            if name.startswith("covariance/")
        },
    )


def _scale(px: Array, metres: Array, view: str) -> float:
    """Metres per pixel from the joints' spread in the plane across the view."""
    plane = metres[..., [1, 2] if view == "down_the_line" else [0, 2]]
    flat_px, flat_m = np.nanmean(px, axis=0), np.nanmean(plane, axis=0)
    return float(
        np.sqrt(np.sum((flat_m - flat_m.mean(0)) ** 2) / np.sum((flat_px - flat_px.mean(0)) ** 2))
    )


def _anchors(pose: PoseSequence) -> Array:
    """The landmarks that stand for the joints, uncorrected, shape (T, J, 2)."""
    return np.asarray(np.einsum("jk,tkc->tjc", ANCHOR, pose.xy_px))


def _nothing(pose: PoseSequence, values: Readings, capture: Capture) -> BodyResult:
    joints_px = _anchors(pose)
    leg = [JOINT["hip_lead"], JOINT["ankle_lead"]]
    drawn = np.linalg.norm(joints_px[:, leg[0]] - joints_px[:, leg[1]], axis=-1)
    length = float(np.nanmedian(drawn)) if np.isfinite(drawn).any() else math.nan
    return BodyResult(
        values=values,
        time_s=pose.time_s,
        joints_px=joints_px,
        joints_m=np.full((len(pose), len(JOINTS), 3), np.nan),
        joints_sd_m=np.full((len(pose), len(JOINTS)), np.nan),
        # thigh and shank are 0.491 of stature (Drillis & Contini 1966)
        scale_m_per_px=0.491 * capture.stature_cm / 100 / length,
        camera={"size_px": np.array(pose.size_px, float)},
    )


__all__ = ["CLUB_MEASURES", "TOO_STRANGE", "BodyResult", "measure_body", "phase_of"]
