"""Moments in time: the eleven events of a swing, from the hands and the shaft.

Eight of them are the events of McNally et al., "GolfDB", CVPR Workshops 2019
(arXiv 1903.06528): address, toe-up (here takeaway), mid-backswing (lead arm back), top,
mid-downswing (lead arm down), impact, mid-follow-through (follow through), finish.
Times lie between frames where a signal crosses its level there.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from analysis.core.bar_events import bar_events
from analysis.core.hand_events import (
    Mask,
    Signals,
    address_of,
    arm_level,
    begun_before,
    finish_of,
    late_back_of,
    settled_at,
    signals_of,
    start_of_backswing,
    top_of,
    transition_of,
)
from analysis.core.motion import gap_at, stature_px
from analysis.core.pose import (
    EVENTS,
    JOINT,
    Array,
    Capture,
    Moment,
    PoseSequence,
    ShaftTrack,
)
from analysis.core.repetitions import Swing, find_swings
from analysis.core.shaft_events import impact_of, level_at, shaft_up
from analysis.core.stillness import longest_rest

# Share of backswing or downswing at which the shaft is level, where it was not seen:
# median and standard deviation over the rendered training swings, widened by half.
_TAKEAWAY_SHARE = (0.40, 0.06)
_DELIVERY_SHARE = (0.24, 0.05)
_FOLLOW_SHARE = (0.24, 0.10)
_JOINT_ARM_SD_DEG = 4.5
_HANDS = [JOINT[name] for name in ("grip", "wrist_lead", "wrist_trail")]


def find_events(
    pose: PoseSequence,
    shaft: ShaftTrack | None,
    *,
    capture: Capture,
    window: tuple[float, float],
    reference_address: Moment | None = None,
    arm_deg: tuple[Array, float] | None = None,
    hands_in_space_m: Array | None = None,
) -> dict[str, Moment]:
    """When each event of one repetition happened.

    Parameters
    ----------
    pose : PoseSequence
        A right-hander, or a mirrored left-hander.
    shaft : ShaftTrack, optional
        Without it the events of the shaft come from the hands, far less certain.
    capture : Capture
        Kind decides which events are looked for.
    window : tuple of float
        Start and end of the repetition in seconds.
    reference_address : Moment, optional
        Address of the first repetition, taken over when this one starts without
        standing still.
    arm_deg : (ndarray of shape (T,), float), optional
        Elevation of the lead shoulder-wrist line on the frames of `pose` with its
        standard deviation, from better joints than the landmarks.
    hands_in_space_m : ndarray, shape (T, 3), optional
        The hands on the frames of `pose`; without them their place in the picture
        serves, in which nearer hands look higher and no motion along the view is seen.

    Returns
    -------
    dict of str to Moment
        The events of the kind, each once; what is never reached has a reason.
    """
    inside = (pose.time_s >= window[0] - 1e-6) & (pose.time_s <= window[1] + 1e-6)
    signals = signals_of(pose, inside, capture, arm_deg, hands_in_space_m)
    if signals is None:
        return _none(capture.kind, "not_seen")
    if capture.kind == "setup":
        return {"address": settled_at(signals)}
    if capture.kind == "bar":
        return bar_events(pose, inside)
    if capture.kind == "hold":
        return _hold_events(signals, shaft, capture.view, reference_address)
    swing = _main_swing(pose, inside, capture)
    if swing is None:
        return _none(capture.kind, "no_swing") | {"address": settled_at(signals)}
    return _swing_events(signals, shaft, swing, capture, reference_address)


def joint_signals(joints_m: Array, *, view: str) -> dict[str, Any]:
    """What `find_events` reads better from joints in space than from the picture.

    Parameters
    ----------
    joints_m : ndarray, shape (T, J, 3)
        In the golfer's frame, on the frames of the pose.

    Returns
    -------
    dict
        `hands_in_space_m`, and down-the-line, where the lead arm points along the view,
        `arm_deg`; empty without joints.
    """
    arm = joints_m[:, JOINT["wrist_lead"]] - joints_m[:, JOINT["shoulder_lead"]]
    hands = joints_m[:, _HANDS].mean(axis=1)
    if not (np.isfinite(hands).all() and np.isfinite(arm).all()):
        return {}
    signals: dict[str, Any] = {"hands_in_space_m": hands}
    if view == "down_the_line":
        level = np.degrees(np.arcsin(arm[:, 2] / np.linalg.norm(arm, axis=1)))
        signals["arm_deg"] = (level, _JOINT_ARM_SD_DEG)
    return signals


def _none(kind: str, reason: str) -> dict[str, Moment]:
    if kind == "setup":
        return {"address": Moment(None, reason=reason)}
    names: tuple[str, ...] = ("address", "top") if kind == "bar" else EVENTS
    if kind == "hold":
        names = EVENTS[: EVENTS.index("top") + 1]
    return {name: Moment(None, reason=reason) for name in names}


def _main_swing(pose: PoseSequence, inside: Mask, capture: Capture) -> Swing | None:
    part = PoseSequence(
        pose.time_s[inside],
        pose.frame[inside],
        pose.xy_px[inside],
        pose.confidence[inside],
        pose.size_px,
    )
    swings = find_swings(part, stature_px=stature_px(part, view=capture.view))
    return swings[-1] if swings else None


# --- one swing -----------------------------------------------------------------------


def _swing_events(
    s: Signals,
    shaft: ShaftTrack | None,
    swing: Swing,
    capture: Capture,
    reference: Moment | None,
) -> dict[str, Moment]:
    events: dict[str, Moment] = {}
    top = top_of(s, swing)
    events["top"] = top
    assert top.time_s is not None
    events["address"] = address_of(s, shaft, top.time_s, reference)
    start = start_of_backswing(s, events["address"], top.time_s)
    begun = begun_before(s, start, swing)
    if begun and events["address"].time_s == start:
        events["address"] = Moment(None, reason="no_still_address")
    events["impact"] = impact_of(s, shaft, capture, start, top.time_s, swing, begun=begun)
    impact = events["impact"].time_s or swing.low_s
    events["lead_arm_back"] = arm_level(s, start, top.time_s, rising=True)
    events["late_back"] = late_back_of(s, events["lead_arm_back"], top)
    events["transition"] = transition_of(s, top.time_s, impact)
    events["lead_arm_down"] = arm_level(s, top.time_s, impact, rising=False)
    back, down = top.time_s - start, impact - top.time_s
    near, far = (
        None if shaft is None else shaft_up(shaft, s, capture.view, toward)
        for toward in (True, False)
    )
    events["takeaway"] = (
        Moment(None, reason="not_seen")
        if begun
        else level_at(s, near, (start, top.time_s), True)
        or Moment(start + _TAKEAWAY_SHARE[0] * back, _TAKEAWAY_SHARE[1] * back)
    )
    events["delivery"] = level_at(s, near, (top.time_s + 0.3 * down, impact), False) or Moment(
        impact - _DELIVERY_SHARE[0] * down, max(_DELIVERY_SHARE[1] * down, 0.01)
    )
    events["follow_through"] = level_at(s, far, (impact, impact + 0.8 * down), True) or Moment(
        impact + _FOLLOW_SHARE[0] * down, _FOLLOW_SHARE[1] * down
    )
    events["finish"] = finish_of(s, impact)
    return {name: _within(s.time_s, events[name]) for name in EVENTS}


def _within(time_s: Array, moment: Moment) -> Moment:
    """A moment as sure as the frames allow; none where the film had ended before it."""
    if moment.time_s is not None and moment.time_s > time_s[-1] + 1e-6:
        return Moment(None, reason="not_reached")
    return _at_least_half_a_gap(time_s, moment)


def _at_least_half_a_gap(time_s: Array, moment: Moment) -> Moment:
    if moment.time_s is None:
        return moment
    floor = gap_at(time_s, moment.time_s) / 2
    return replace(moment, uncertainty_s=max(moment.uncertainty_s or 0.0, floor))


def _hold_events(
    s: Signals, shaft: ShaftTrack | None, view: str, reference: Moment | None
) -> dict[str, Moment]:
    """Backswing held at the top: its middle is the top."""
    names = EVENTS[: EVENTS.index("top") + 1]
    up = s.hands_m[:, 1]
    low, high = np.percentile(up, [2, 98])
    if high - low < 0.15:
        return _none("hold", "not_reached") | {"address": settled_at(s)}
    above = np.flatnonzero(up > low + 0.5 * (high - low))
    span = longest_rest(s.time_s[above[0] :], s.hands_m[above[0] :], since_s=-math.inf)
    if span is None:
        return _none("hold", "not_seen")
    held = 0.5 * (span[0] + span[1])
    address = address_of(s, shaft, span[0], reference)
    start = start_of_backswing(s, address, span[0])
    top = Moment(held, max((span[1] - span[0]) / 8, 0.02))
    lead = arm_level(s, start, span[0], rising=True)
    sign = None if shaft is None else shaft_up(shaft, s, view, True)
    back = span[0] - start
    events = {
        "address": address,
        "takeaway": level_at(s, sign, (start, span[0]), True)
        or Moment(start + _TAKEAWAY_SHARE[0] * back, _TAKEAWAY_SHARE[1] * back),
        "lead_arm_back": lead,
        "late_back": late_back_of(s, lead, Moment(span[0], 0.02)),
        "top": top,
    }
    return {name: _at_least_half_a_gap(s.time_s, events[name]) for name in names}
