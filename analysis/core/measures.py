"""Every number shown to people: which there are, their closed forms, and their rows.

Joint positions `joints_m` have shape (T, len(JOINTS), 3) in the golfer's frame: metres,
X toward the target, Y toward the ball, Z up. Curves are (T,) over the same frames. NaN
in a joint makes that frame of the curve NaN; a NaN never reaches a row: there it is a
reason.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.core.pose import EVENTS, JOINT, MEASURED_VIEWS, Array, Moment

DTL, FO = MEASURED_VIEWS
BOTH = MEASURED_VIEWS
SWINGS = ("swing", "rehearsal")
BACKSWINGS = ("hold", *SWINGS)
STANDING = ("setup", *BACKSWINGS)

# A value with one standard deviation in the same unit, or the code of why there is none.
Reading = tuple[float, float] | str
Readings = dict[tuple[str, str], Reading]


@dataclass(frozen=True)
class Measure:
    """One number at one event; `label` is the English word that `coaching` translates."""

    id: str
    event: str
    views: tuple[str, ...]
    kinds: tuple[str, ...]
    unit: str
    label: str


def _kinds(event: str) -> tuple[str, ...]:
    if event == "address":
        return STANDING
    return BACKSWINGS if EVENTS.index(event) <= EVENTS.index("top") else SWINGS


def _rows(id: str, events: str, views: tuple[str, ...], unit: str, label: str) -> list[Measure]:
    return [Measure(id, e, views, _kinds(e), unit, label) for e in events.split()]


_TURNED = (*BACKSWINGS, "bar")
_SHAFT_EVENTS = "lead_arm_back late_back top transition lead_arm_down"

MEASURES: tuple[Measure, ...] = (
    *_rows("trunk_tilt_deg", "address", (DTL,), "deg", "trunk tilt"),
    *_rows("knee_flex_deg", "address", (DTL,), "deg", "knee flex"),
    *_rows("arm_hang_deg", "address", (DTL,), "deg", "arm hang"),
    *_rows("balance_pct", "address", (DTL,), "%", "balance over the feet"),
    *_rows("pelvis_behind_heel_cm", "address", (DTL,), "cm", "pelvis behind the heels"),
    *_rows("arm_torso_ratio", "address", BOTH, "", "arm to torso"),
    *_rows("stance_ratio", "address", (FO,), "", "stance width to shoulders"),
    *_rows("ball_position_pct", "address", (FO,), "%", "ball position"),
    *_rows("side_tilt_deg", "address top impact", (FO,), "deg", "side tilt"),
    Measure("pelvis_turn_deg", "top", BOTH, _TURNED, "deg", "pelvis turn"),
    *_rows("pelvis_turn_deg", "impact", BOTH, "deg", "pelvis turn"),
    Measure("shoulder_turn_deg", "top", BOTH, _TURNED, "deg", "shoulder turn"),
    *_rows("shoulder_turn_deg", "impact", BOTH, "deg", "shoulder turn"),
    Measure("bar_turn_deg", "top", BOTH, ("bar",), "deg", "turn of the held club"),
    *_rows("separation_deg", "top", BOTH, "deg", "separation"),
    *_rows("hip_line_tilt_deg", "top", (FO,), "deg", "hip line tilt"),
    *_rows("trail_hip_depth_cm", "top", (DTL,), "cm", "trail hip depth"),
    *_rows("pelvis_to_ball_cm", "top lead_arm_down impact", (DTL,), "cm", "pelvis toward the ball"),
    *_rows(
        "pelvis_to_ball_down_cm", "impact", (DTL,), "cm", "pelvis toward the ball in the downswing"
    ),
    *_rows("pelvis_rise_cm", "top impact", BOTH, "cm", "pelvis rise"),
    *_rows("pelvis_sway_cm", "top impact", (FO,), "cm", "pelvis sway"),
    *_rows("head_sway_cm", "top impact", (FO,), "cm", "head sway"),
    *_rows("head_rise_cm", "top impact", BOTH, "cm", "head rise"),
    *_rows("trunk_tilt_change_deg", "impact", (DTL,), "deg", "change of trunk tilt"),
    *_rows("hand_depth_cm", "top", (DTL,), "cm", "hand depth"),
    *_rows("lead_elbow_deg", "top", (FO,), "deg", "lead elbow"),
    *_rows("handle_lean_deg", "address impact", (FO,), "deg", "handle lean"),
    *_rows("shaft_pitch_deg", f"address {_SHAFT_EVENTS}", (DTL,), "deg", "shaft pitch"),
    *_rows("shaft_aim_deg", _SHAFT_EVENTS, (DTL,), "deg", "shaft aim"),
    *_rows("shaft_aim_cm", "lead_arm_back lead_arm_down", (DTL,), "cm", "shaft aim on the ground"),
    *_rows("backswing_s", "top", BOTH, "s", "backswing"),
    *_rows("downswing_s", "impact", BOTH, "s", "downswing"),
    *_rows("tempo_ratio", "impact", BOTH, "", "tempo"),
    *_rows("hand_speed_peak_m_s", "impact", BOTH, "m/s", "peak hand speed"),
    *_rows("pelvis_speed_peak_s", "impact", BOTH, "s", "pelvis fastest before impact"),
    *_rows("shoulder_speed_peak_s", "impact", BOTH, "s", "shoulders fastest before impact"),
    *_rows("hand_speed_peak_s", "impact", BOTH, "s", "hands fastest before impact"),
)

# Values of the shaft come from `core.club`, of the bar from the bar film.
CLUB_MEASURES = ("handle_lean_deg", "shaft_pitch_deg", "shaft_aim_deg", "shaft_aim_cm")

# Segment masses (share of the body) and centres of mass (from the first end point),
# mean of the male and female columns of de Leva, J Biomech 1996;29(9):1223-1230; the
# trunk runs mid-hip to mid-shoulder (his third definition, given from the shoulder).
_SEGMENTS = (
    ("head", "head", 0.0681, 0.0),
    ("mid_shoulder", "mid_hip", 0.43015, 0.4046),
    ("shoulder", "elbow", 0.0263, 0.5763),
    ("elbow", "wrist", 0.0150, 0.45665),
    ("wrist", "grip", 0.00585, 0.76870),
    ("hip", "knee", 0.1447, 0.38535),
    ("knee", "ankle", 0.0457, 0.43735),
    ("heel", "toe", 0.0133, 0.42145),
)


def measures_of(view: str, kind: str) -> tuple[Measure, ...]:
    """The rows that a repetition of this view and kind lists, each once."""
    return tuple(m for m in MEASURES if view in m.views and kind in m.kinds)


def mean_of(joints_m: Array, joint: str) -> Array:
    """Mean of the lead and the trail `joint`, shape (T, 3)."""
    return (joints_m[:, JOINT[f"{joint}_lead"]] + joints_m[:, JOINT[f"{joint}_trail"]]) / 2


def joint_angle_deg(proximal: Array, joint: Array, distal: Array) -> Array:
    """Angle at `joint` between the two segments that meet there.

    Parameters
    ----------
    proximal, joint, distal : ndarray, shape (T, D)
        Positions in any unit. A NaN in any of them makes that frame NaN.

    Returns
    -------
    ndarray, shape (T,)
        Degrees in [0, 180]; 180 is a straight limb.
    """
    a, b = proximal - joint, distal - joint
    cosine = np.sum(a * b, axis=1) / (np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1))
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def line_azimuth_deg(joints_m: Array, joint: str) -> Array:
    """Direction on the ground of the line from the lead to the trail `joint`, unwrapped.

    Grows in a backswing: away from the target is positive.
    """
    line = joints_m[:, JOINT[f"{joint}_trail"]] - joints_m[:, JOINT[f"{joint}_lead"]]
    angle = np.arctan2(line[:, 1], line[:, 0])
    seen = np.isfinite(angle)
    unwrapped = np.full_like(angle, np.nan)
    unwrapped[seen] = np.unwrap(angle[seen])
    return np.degrees(unwrapped)


def centre_of_mass_m(joints_m: Array) -> Array:
    """Whole-body centre of mass, shape (T, 3).

    Notes
    -----
    The club is left out. Sex is not asked, so the two columns of the source are averaged:
    the difference moves the centre by less than 1 % of foot length at address.

    References
    ----------
    de Leva P. J Biomech 1996;29(9):1223-1230.
    """
    total = np.zeros_like(joints_m[:, 0])
    mass = 0.0
    for first, second, share, along in _SEGMENTS:
        for side in ("",) if first in ("head", "mid_shoulder") else ("lead", "trail"):
            a, b = _end(joints_m, first, side), _end(joints_m, second, side)
            total = total + share * (a + along * (b - a))
            mass += share
    return total / mass


def _end(joints_m: Array, name: str, side: str) -> Array:
    if name.startswith("mid_"):
        return mean_of(joints_m, name[4:])
    return joints_m[:, JOINT[name if name in JOINT else f"{name}_{side}"]]


def at(time_s: Array, curve: Array, when_s: float) -> float:
    """Value of a curve at a moment between frames; NaN where it was not seen."""
    seen = np.isfinite(curve)
    if not seen.any() or not time_s[seen][0] - 0.05 <= when_s <= time_s[seen][-1] + 0.05:
        return math.nan
    return float(np.interp(when_s, time_s[seen], curve[seen]))


def rate_at(time_s: Array, curve: Array, when_s: float, *, over_s: float = 0.02) -> float:
    """Rate of change around a moment, per second, over at least two frames."""
    gap = float(np.median(np.diff(time_s))) if len(time_s) > 1 else over_s
    half = max(over_s, gap)
    before, after = at(time_s, curve, when_s - half), at(time_s, curve, when_s + half)
    return (after - before) / (2 * half)


def body_curves(joints_m: Array, time_s: Array, *, address_s: float) -> dict[str, Array]:
    """Closed forms of all body measures over a swing, each of shape (T,).

    Parameters
    ----------
    joints_m : ndarray, shape (T, len(JOINTS), 3)
    time_s : ndarray, shape (T,)
    address_s : float
        The moment that changes are told against.
    """
    base = np.array(
        [
            [at(time_s, joints_m[:, j, axis], address_s) for axis in range(3)]
            for j in range(joints_m.shape[1])
        ]
    )[None]
    hip, shoulder, wrist = (mean_of(joints_m, j) for j in ("hip", "shoulder", "wrist"))
    heel, toe = mean_of(joints_m, "heel"), mean_of(joints_m, "toe")
    trunk, arms = shoulder - hip, wrist - shoulder
    head, grip = joints_m[:, JOINT["head"]], joints_m[:, JOINT["grip"]]
    travel = 100 * (hip - mean_of(base, "hip"))
    head_travel = 100 * (head - base[:, JOINT["head"]])
    com = centre_of_mass_m(joints_m)
    tilt = np.degrees(np.arctan2(trunk[:, 1], trunk[:, 2]))
    pelvis, shoulders = (_turn(joints_m, time_s, j, address_s) for j in ("hip", "shoulder"))
    slope = _slope_deg(joints_m)
    return {
        "trunk_tilt_deg": tilt,
        "knee_flex_deg": 180 - _both(joints_m, "hip", "knee", "ankle"),
        "arm_hang_deg": np.degrees(np.arctan2(arms[:, 1], -arms[:, 2])),
        "balance_pct": 100 * (com[:, 1] - heel[:, 1]) / (toe[:, 1] - heel[:, 1]),
        "pelvis_behind_heel_cm": 100 * (heel[:, 1] - hip[:, 1]),
        "arm_torso_ratio": _arm_m(joints_m) / np.linalg.norm(trunk, axis=1),
        "stance_ratio": _width(joints_m, "ankle") / np.maximum(_width(joints_m, "shoulder"), 1e-6),
        "side_tilt_deg": np.degrees(np.arctan2(-trunk[:, 0], trunk[:, 2])),
        "pelvis_turn_deg": pelvis,
        "shoulder_turn_deg": shoulders,
        "separation_deg": shoulders - pelvis,
        "hip_line_tilt_deg": slope - at(time_s, slope, address_s),
        "trail_hip_depth_cm": 100
        * (base[:, JOINT["hip_trail"], 1] - joints_m[:, JOINT["hip_trail"], 1]),
        "pelvis_to_ball_cm": travel[:, 1],
        "pelvis_rise_cm": travel[:, 2],
        "pelvis_sway_cm": -travel[:, 0],
        "head_sway_cm": -head_travel[:, 0],
        "head_rise_cm": head_travel[:, 2],
        "trunk_tilt_change_deg": tilt - at(time_s, tilt, address_s),
        "hand_depth_cm": 100 * (base[:, JOINT["heel_trail"], 1] - grip[:, 1]),
        "lead_elbow_deg": 180
        - joint_angle_deg(
            *(joints_m[:, JOINT[f"{j}_lead"]] for j in ("shoulder", "elbow", "wrist"))
        ),
    }


def ball_position_pct(heel_lead_x: float, heel_trail_x: float, ball_x: float) -> float:
    """Where the ball lies between the heels along the target line: 0 lead, 100 trail."""
    return 100 * (heel_lead_x - ball_x) / (heel_lead_x - heel_trail_x)


def body_value(
    id: str, event: str, curves: Mapping[str, Array], time_s: Array, events: Mapping[str, Moment]
) -> float:
    """One body measure at one event, NaN where the curve or the event is missing."""
    when = events[event].time_s if event in events else None
    if when is None:
        return math.nan
    if id == "pelvis_to_ball_down_cm":
        top = events["top"].time_s
        travel = curves.get("pelvis_to_ball_cm", np.full(len(time_s), math.nan))
        return at(time_s, travel, when) - (math.nan if top is None else at(time_s, travel, top))
    return at(time_s, curves[id], when) if id in curves else math.nan


def tempo_readings(
    events: Mapping[str, Moment], *, stretched: bool, still: bool = True
) -> Readings:
    """Backswing, downswing and their ratio from the events, with first-order spread.

    Parameters
    ----------
    stretched : bool
        The clip was exported in slow motion: its seconds are not seconds.
    still : bool
        The golfer stood still before this repetition; else there is no backswing time.
    """
    rows = (
        ("backswing_s", "top", "address", "top"),
        ("downswing_s", "impact", "top", "impact"),
    )
    readings: Readings = {}
    for id, event, start, end in rows:
        readings[id, event] = "slow_motion" if stretched else _span(events, start, end)
    if not still and not stretched:
        readings["backswing_s", "top"] = "no_still_address"
    back, down = readings["backswing_s", "top"], readings["downswing_s", "impact"]
    readings["tempo_ratio", "impact"] = _ratio(events, back, down)
    return readings


def withheld(readings: Readings) -> Readings:
    """The readings in seconds or per second, all of them wrong in slow motion."""
    return {key: "slow_motion" for key in readings if key[0].endswith(("_s", "_m_s"))}


def _span(events: Mapping[str, Moment], start: str, end: str) -> Reading:
    a, b = events.get(start), events.get(end)
    if a is None or b is None or a.time_s is None or b.time_s is None:
        return "not_reached"
    if b.time_s <= a.time_s:
        return "not_seen"
    return b.time_s - a.time_s, math.hypot(a.uncertainty_s or 0.0, b.uncertainty_s or 0.0)


def _ratio(events: Mapping[str, Moment], back: Reading, down: Reading) -> Reading:
    if isinstance(back, str):
        return back
    if isinstance(down, str):
        return down
    ratio = back[0] / down[0]
    sd = {e: events[e].uncertainty_s or 0.0 for e in ("address", "top", "impact")}
    # top moves both spans, in opposite directions
    spread = math.hypot(sd["address"], (1 + ratio) * sd["top"], ratio * sd["impact"]) / down[0]
    return ratio, spread


def repetition(
    *,
    view: str,
    kind: str,
    events: Mapping[str, Moment],
    readings: Readings,
    frame_times_s: Array,
    corrected: frozenset[tuple[str, str]] = frozenset(),
) -> dict[str, Any]:
    """The contract's object of one repetition: every event and every measure once."""
    return {
        "events": {
            e: event_row(events.get(e, Moment(None, reason="not_reached")), frame_times_s)
            for e in expected_events(kind)
        },
        "measures": [
            _measure_row(m, view, events, readings, frame_times_s, (m.id, m.event) in corrected)
            for m in measures_of(view, kind)
        ],
    }


def expected_events(kind: str) -> tuple[str, ...]:
    """The events that a film of this kind lists, in order."""
    if kind == "setup":
        return ("address",)
    if kind == "bar":
        return ("address", "top")
    return EVENTS[: EVENTS.index("top") + 1] if kind == "hold" else EVENTS


def nearest_frame(frame_times_s: Array, time_s: float) -> int:
    """Index of the frame whose presentation time is nearest."""
    return int(np.argmin(np.abs(frame_times_s - time_s)))


def event_row(moment: Moment, frame_times_s: Array) -> dict[str, Any]:
    """One event in the contract's form."""
    if moment.time_s is None or not math.isfinite(moment.time_s):
        return {"time_s": None, "reason": moment.reason or "not_seen"}
    frame = nearest_frame(frame_times_s, moment.time_s)
    return {
        "time_s": round(moment.time_s, 4),
        "frame": frame,
        "uncertainty_s": round(max(moment.uncertainty_s or 0.0, _half_gap(frame_times_s)), 4),
    }


def _measure_row(
    measure: Measure,
    view: str,
    events: Mapping[str, Moment],
    readings: Readings,
    frame_times_s: Array,
    corrected: bool,
) -> dict[str, Any]:
    row: dict[str, Any] = {"id": measure.id, "event": measure.event, "view": view}
    moment = events.get(measure.event, Moment(None, reason="not_reached"))
    if moment.time_s is None:
        return row | {"value": None, "reason": moment.reason or "not_reached"}
    reading = readings.get((measure.id, measure.event), "not_ready")
    if isinstance(reading, str):
        return row | {"value": None, "reason": reading}
    value, spread = reading
    if not (math.isfinite(value) and math.isfinite(spread)):
        return row | {"value": None, "reason": "not_seen"}
    return row | {
        "value": round(float(value), 3),
        "uncertainty": max(round(float(spread), 3), 0.001),
        "unit": measure.unit,
        "source": "corrected" if corrected else "measured",
        "frame": nearest_frame(frame_times_s, moment.time_s),
        "time_s": round(moment.time_s, 4),
    }


def _half_gap(frame_times_s: Array) -> float:
    return float(np.median(np.diff(frame_times_s))) / 2 if len(frame_times_s) > 1 else 0.0


def _turn(joints_m: Array, time_s: Array, joint: str, address_s: float) -> Array:
    azimuth = line_azimuth_deg(joints_m, joint)
    return azimuth - at(time_s, azimuth, address_s)


def _slope_deg(joints_m: Array) -> Array:
    line = joints_m[:, JOINT["hip_trail"]] - joints_m[:, JOINT["hip_lead"]]
    return np.degrees(np.arctan2(line[:, 2], np.abs(line[:, 0])))


def _both(joints_m: Array, proximal: str, joint: str, distal: str) -> Array:
    sides = [
        joint_angle_deg(*(joints_m[:, JOINT[f"{j}_{side}"]] for j in (proximal, joint, distal)))
        for side in ("lead", "trail")
    ]
    return (sides[0] + sides[1]) / 2


def _arm_m(joints_m: Array) -> Array:
    length = np.zeros(len(joints_m))
    for side in ("lead", "trail"):
        shoulder, elbow, wrist = (
            joints_m[:, JOINT[f"{j}_{side}"]] for j in ("shoulder", "elbow", "wrist")
        )
        length += np.linalg.norm(elbow - shoulder, axis=1) + np.linalg.norm(wrist - elbow, axis=1)
    return length / 2


def _width(joints_m: Array, joint: str) -> Array:
    lead, trail = (joints_m[:, JOINT[f"{joint}_{side}"], 0] for side in ("lead", "trail"))
    return np.abs(lead - trail)
