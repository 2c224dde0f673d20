"""The shaft as it is seen at one moment, between frames."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analysis.core.motion import gap_at
from analysis.core.pose import Array, Moment, ShaftTrack

# Of stature in the picture: less is a shaft seen from its end. The lower hand covers the
# first part of what is counted from the middle of the hands.
_SHORT, _UNDER_HANDS = 0.10, 0.05
# What 5 and 6 cm of the head's place turn a shaft of 0.9 m by: on drawn films, whose true
# leans are -20 to 15, told on true has a slope of 0.7 to 1 and the error is 3.5 to 4.7 in all.
_WITH_BALL_DEG, _WITHOUT_BALL_DEG = 3.0, 4.0


@dataclass(frozen=True)
class Sighting:
    """The shaft at one moment: angle, its rate and spread, a point on it, seen length."""

    angle_deg: float
    rate_deg_s: float
    sd_deg: float
    grip_px: Array
    grip_rate_px_s: Array
    length_px: float
    frame_s: float


def seen_at(shaft: ShaftTrack, moment: Moment, stature_px: float) -> Sighting | str:
    """Interpolated between neighbouring sightings, never across a gap."""
    when = moment.time_s
    assert when is not None
    rows = np.flatnonzero(np.isfinite(shaft.angle_deg))
    t = shaft.time_s[rows]
    frame_s = gap_at(shaft.time_s, when)
    k = int(np.searchsorted(t, when))
    before, after = max(k - 1, 0), min(k, len(t) - 1)
    reach = max(1.6 * frame_s, 0.025)
    if when - t[before] > reach or t[after] - when > reach:
        return "shaft_end_on"
    near = rows[np.abs(t - when) < max(2.6 * frame_s, 0.04)]
    later = shaft.time_s[near] - when

    def at(values: Array) -> float:
        return float(np.interp(0.0, later, values[near]))

    def slope(values: Array) -> float:
        return float(np.polyfit(later, values[near], 1)[0]) if np.ptp(later) > 0 else 0.0

    length = at(shaft.length_px)
    # so short that it may have been less: a tenth within the doubt of the event's time
    shrinks = abs(slope(shaft.length_px)) * event_sd(moment, frame_s)
    if length - shrinks < (_SHORT + _UNDER_HANDS) * stature_px:
        return "shaft_end_on"
    grip = shaft.grip_px.T
    return Sighting(
        angle_deg=at(shaft.angle_deg),
        rate_deg_s=slope(shaft.angle_deg),
        sd_deg=at(shaft.sd_deg),
        grip_px=np.array([at(axis) for axis in grip]),
        grip_rate_px_s=np.array([slope(axis) for axis in grip]),
        length_px=length,
        frame_s=frame_s,
    )


def event_sd(moment: Moment, frame_s: float) -> float:
    """One standard deviation of the moment; half a gap is a bound of what interpolates."""
    told = moment.uncertainty_s or 0.0
    return told if told > 0.525 * frame_s else 0.6 * told


def at_rest(shaft: ShaftTrack, moment: Moment) -> Sighting | str:
    """The middle of what was seen in the last part of the stillness."""
    when = moment.time_s or 0.0
    frame_s = gap_at(shaft.time_s, when)
    inside = (shaft.time_s <= when + 0.6 * frame_s) & (shaft.time_s > when - 0.3)
    rows = np.flatnonzero(inside & np.isfinite(shaft.angle_deg))
    if not len(rows):  # a set-up's address is the start of its stillness
        after = (shaft.time_s >= when) & (shaft.time_s < when + 0.6)
        rows = np.flatnonzero(after & np.isfinite(shaft.angle_deg))
    if not len(rows):
        return "not_seen"
    return Sighting(
        angle_deg=float(np.median(shaft.angle_deg[rows])),
        rate_deg_s=0.0,
        sd_deg=float(np.median(shaft.sd_deg[rows])),
        grip_px=np.asarray(np.median(shaft.grip_px[rows], axis=0)),
        grip_rate_px_s=np.zeros(2),
        length_px=float(np.median(shaft.length_px[rows])),
        frame_s=frame_s,
    )


def told_by_the_club(impact: Moment, events: Mapping[str, Moment], frame_s: float) -> bool:
    """Whether shaft or ball tell when impact was, and not hands that are back where they were.

    Hands at their place at address make the shaft lean as it did there, whatever it does.
    """
    top = events.get("top", Moment(None)).time_s
    if impact.time_s is None or top is None:
        return False
    hands = max(0.02, 0.08 * (impact.time_s - top), frame_s / 2)
    return (impact.uncertainty_s or 0.0) < 0.9 * hands


def through_the_ball(
    seen: Sighting, head_px: Array, moment: Moment, *, ball: Array
) -> Sighting | str:
    """At impact the head is where it stood: only the grip moves with the event's time.

    The shaft turns by 2000 degrees a second then, the line from the ball to the grip by
    a quarter of that. The shaft as it is seen must agree, or one of the two is not what it
    is taken for: then the figure is absent.
    """
    step = head_px - seen.grip_px
    if not np.isfinite(step).all():
        return "not_seen"
    angle = math.degrees(math.atan2(-step[1], step[0]))
    doubt = math.hypot(seen.sd_deg, abs(seen.rate_deg_s) * event_sd(moment, seen.frame_s), 3.0)
    if abs((angle - seen.angle_deg + 180) % 360 - 180) > min(2 * doubt, 30):
        return "not_seen"
    later = step - 0.001 * seen.grip_rate_px_s
    rate = (math.degrees(math.atan2(-later[1], later[0])) - angle) / 0.001
    # a ball marks the place; without one the head is only about where it stood
    place = _WITH_BALL_DEG if np.isfinite(ball).all() else _WITHOUT_BALL_DEG
    return replace(seen, angle_deg=angle, rate_deg_s=rate, sd_deg=max(seen.sd_deg, place))


def head_at_address(shaft: ShaftTrack, events: Mapping[str, Moment]) -> Array:
    address = events.get("address", Moment(None)).time_s
    if address is None:
        return np.full(2, np.nan)
    rows = (shaft.time_s <= address + 1e-3) & (shaft.time_s > address - 0.4)
    heads = shaft.head_px[rows & np.isfinite(shaft.head_px[:, 0])]
    return np.median(heads, axis=0) if len(heads) else np.full(2, np.nan)
