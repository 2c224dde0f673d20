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

from analysis.core.geometry import (
    at,
    centre_of_mass_m,
    joint_angle_deg,
    line_azimuth_deg,
    mean_of,
)
from analysis.core.joint_forms import OF_THE_JOINTS
from analysis.core.motion import crossing_s
from analysis.core.pose import EVENTS, JOINT, KINDS, MEASURED_VIEWS, Array, Moment

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
    """One number at one event; `label` is the English word that `coaching` translates.

    In films of the kinds `folded` pages show it only on demand: it says what another figure
    beside it says better, or is rarely sure enough to act on.
    """

    id: str
    event: str
    views: tuple[str, ...]
    kinds: tuple[str, ...]
    unit: str
    label: str
    folded: tuple[str, ...] = ()


def _kinds(event: str) -> tuple[str, ...]:
    if event == "address":
        return STANDING
    return BACKSWINGS if EVENTS.index(event) <= EVENTS.index("top") else SWINGS


def _rows(
    id: str,
    events: str,
    views: tuple[str, ...],
    unit: str,
    label: str,
    *,
    folded: tuple[str, ...] = (),
) -> list[Measure]:
    return [Measure(id, e, views, _kinds(e), unit, label, folded) for e in events.split()]


_TURNED = (*BACKSWINGS, "bar")
_WRIST_EVENTS = "lead_arm_back top lead_arm_down delivery"
_BALANCE_EVENTS = "address top lead_arm_down impact finish"

MEASURES: tuple[Measure, ...] = (
    *_rows("trunk_tilt_deg", "address", (DTL,), "deg", "trunk tilt"),
    *_rows("knee_flex_deg", "address", (DTL,), "deg", "knee flex"),
    *_rows("arm_hang_deg", "address", (DTL,), "deg", "arm hang"),
    *_rows("balance_pct", "address", (DTL,), "%", "balance over the feet"),
    *_rows("pelvis_behind_heel_cm", "address", (DTL,), "cm", "pelvis behind the heels"),
    *_rows("hands_thigh_cm", "address", (DTL,), "cm", "hands from the thighs"),
    *_rows("ball_distance_cm", "address", (DTL,), "cm", "ball from the toes"),
    *_rows("shoulder_to_feet_deg", "address", BOTH, "deg", "shoulders against the feet"),
    *_rows("arm_torso_ratio", "address", BOTH, "", "arm to torso", folded=KINDS),
    *_rows("stance_ratio", "address", (FO,), "", "stance width to shoulders"),
    *_rows("ball_position_pct", "address", (FO,), "%", "ball position"),
    *_rows("balance_side_pct", _BALANCE_EVENTS, (FO,), "%", "balance between the feet"),
    *_rows("side_tilt_deg", "address top impact", (FO,), "deg", "side tilt"),
    Measure("pelvis_turn_deg", "top", BOTH, _TURNED, "deg", "pelvis turn"),
    *_rows("pelvis_turn_deg", "impact", BOTH, "deg", "pelvis turn"),
    Measure("shoulder_turn_deg", "top", BOTH, _TURNED, "deg", "shoulder turn"),
    *_rows("shoulder_turn_deg", "impact", BOTH, "deg", "shoulder turn"),
    Measure("bar_turn_deg", "top", BOTH, ("bar",), "deg", "turn of the held club"),
    *_rows("separation_deg", "top", BOTH, "deg", "separation", folded=KINDS),
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
    *_rows("hands_path_cm", "lead_arm_down", (DTL,), "cm", "path of the hands coming down"),
    *_rows("lead_arm_up_deg", "top", (FO,), "deg", "lead arm above level"),
    *_rows("lead_elbow_deg", "top follow_through", (FO,), "deg", "lead elbow"),
    *_rows("wrist_set_deg", _WRIST_EVENTS, (FO,), "deg", "wrist set"),
    *_rows("shaft_past_level_deg", "top", (FO,), "deg", "shaft past level"),
    *_rows("handle_lean_deg", "address impact", (FO,), "deg", "handle lean"),
    *_rows("shaft_pitch_deg", "address lead_arm_back late_back", (DTL,), "deg", "shaft pitch"),
    *_rows("shaft_pitch_deg", "top", (DTL,), "deg", "shaft pitch", folded=SWINGS),
    *_rows("shaft_pitch_deg", "transition lead_arm_down", (DTL,), "deg", "shaft pitch"),
    *_rows("steepening_deg", "lead_arm_down", (DTL,), "deg", "steepening of the shaft"),
    *_rows("shaft_aim_deg", "lead_arm_back late_back", (DTL,), "deg", "shaft aim"),
    *_rows("shaft_aim_deg", "top", (DTL,), "deg", "shaft aim", folded=SWINGS),
    *_rows("shaft_aim_deg", "transition lead_arm_down", (DTL,), "deg", "shaft aim"),
    *_rows(
        "shaft_aim_cm",
        "lead_arm_back lead_arm_down",
        (DTL,),
        "cm",
        "shaft aim on the ground",
        folded=KINDS,
    ),
    *_rows("backswing_s", "top", BOTH, "s", "backswing"),
    *_rows("downswing_s", "impact", BOTH, "s", "downswing"),
    *_rows("tempo_ratio", "impact", BOTH, "", "tempo"),
    *_rows("hand_speed_peak_m_s", "impact", BOTH, "m/s", "peak hand speed"),
    *_rows(
        "pelvis_speed_peak_s", "impact", BOTH, "s", "pelvis fastest before impact", folded=KINDS
    ),
    *_rows(
        "shoulder_speed_peak_s",
        "impact",
        BOTH,
        "s",
        "shoulders fastest before impact",
        folded=KINDS,
    ),
    *_rows("hand_speed_peak_s", "impact", BOTH, "s", "hands fastest before impact", folded=KINDS),
    *_rows("finish_held_s", "finish", BOTH, "s", "finish held"),
)

# Values of the shaft come from `core.club`, of the bar from the bar film.
CLUB_MEASURES = (
    "handle_lean_deg",
    "shaft_pitch_deg",
    "steepening_deg",
    "shaft_aim_deg",
    "shaft_aim_cm",
    "shaft_past_level_deg",
    "wrist_set_deg",
    "ball_distance_cm",
)


def measures_of(view: str, kind: str) -> tuple[Measure, ...]:
    """The rows that a repetition of this view and kind lists, each once."""
    return tuple(m for m in MEASURES if view in m.views and kind in m.kinds)


def is_folded(id: str, event: str, kind: str) -> bool:
    """Whether pages show a figure of this kind of film only on demand."""
    return any(m.id == id and m.event == event and kind in m.folded for m in MEASURES)


def body_curves(joints_m: Array, time_s: Array, *, address_s: float) -> dict[str, Array]:
    """Closed forms of all body measures over a swing, each of shape (T,).

    Beside the measures: `grip_out_cm` (toward the ball) and `grip_up_cm`, which
    `hands_path_cm` is read from, and `lead_forearm_deg`, the lead forearm's part of
    `wrist_set_deg`, told as `lead_arm_up_deg` is.

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
        **{id: form.curve(joints_m, base) for id, form in OF_THE_JOINTS.items()},
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
    if id == "hands_path_cm":
        return hands_path_cm(curves, time_s, events)
    return at(time_s, curves[id], when) if id in curves else math.nan


def hands_path_cm(
    curves: Mapping[str, Array], time_s: Array, events: Mapping[str, Moment]
) -> float:
    """How far outside their way back the hands come down, read as the lead arm is level.

    The grip's place toward the ball at `lead_arm_down` minus its place at the same height
    between address and top; NaN where the hands never were so high going back.
    """
    start, top, down = (
        events[e].time_s if e in events else None for e in ("address", "top", "lead_arm_down")
    )
    if start is None or top is None or down is None:
        return math.nan
    height = at(time_s, curves["grip_up_cm"], down)
    back = (time_s >= start) & (time_s <= top) & np.isfinite(curves["grip_up_cm"])
    when = crossing_s(time_s[back], curves["grip_up_cm"][back] - height, rising=True)
    if not math.isfinite(when):
        return math.nan
    return at(time_s, curves["grip_out_cm"], down) - at(time_s, curves["grip_out_cm"], when)


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
