"""Moments that the shaft and the ball tell."""

from __future__ import annotations

import math

import numpy as np

from analysis.core.hand_events import Signals, impact_of_hands
from analysis.core.motion import crossing_s, gap_at
from analysis.core.pose import Array, Capture, Moment, ShaftTrack
from analysis.core.repetitions import Swing

# A level shaft's end is nearer than the hands by this share of their distance to the
# camera, or farther.
_NEARER, _FARTHER = 0.33, -0.2

# Statures that the far end rises between two readings, between which it was not read.
_JUMP = 0.3


def shaft_up(shaft: ShaftTrack, s: Signals, view: str, toward_camera: bool) -> tuple[Array, Array]:
    """Times and how far the far end of the shaft stands above level, in statures.

    Down-the-line a level shaft points along the view, and its end stands where
    perspective puts it: away from the horizon when it is nearer than the hands.
    """
    seen = np.isfinite(shaft.angle_deg)
    rise = np.sin(np.radians(shaft.angle_deg[seen])) * shaft.length_px[seen]
    if view == "down_the_line":
        part = _NEARER if toward_camera else _FARTHER
        rise = rise + part * (shaft.grip_px[seen, 1] - s.horizon_px)
    return shaft.time_s[seen], rise / s.still_px


def level_at(
    s: Signals, up: tuple[Array, Array] | None, span: tuple[float, float], rising: bool
) -> Moment | None:
    """The shaft passes level inside a span.

    Interpolated between two frames, or led on into the gap in which it is seen from its
    end.
    """
    if up is None:
        return None
    time_s, part = up
    rows = (time_s >= span[0] - 1e-6) & (time_s <= span[1] + 1e-6)
    t, y = time_s[rows], part[rows] if rising else -part[rows]
    if len(t) < 2 or y[0] >= 0:
        return None
    frames = gap_at(s.time_s, t[0])
    wide = np.flatnonzero(np.diff(t) > max(2.6 * frames, 0.03))
    last = int(wide[0]) if len(wide) else len(t) - 1
    above = np.flatnonzero(y[: last + 1] >= 0)
    if len(above):
        i = int(above[0]) - 1
        if t[i + 1] - t[i] > 1.5 * frames and y[i + 1] - y[i] > _JUMP:
            # It went past level unseen; what stood before is as likely a leg or a shadow.
            return _led_on(t, y, i)
        slope = (y[i + 1] - y[i]) / (t[i + 1] - t[i])
        noise = min(0.02 / max(abs(slope), 1e-3), frames)
        return Moment(float(t[i] - y[i] / slope), math.hypot(noise, 0.1 * (t[i + 1] - t[i])))
    return _led_on(t, y, last)


def _led_on(t: Array, y: Array, last: int) -> Moment | None:
    """Where both sides of a gap, in which the shaft is seen from its end, meet zero."""
    end = t[last + 1] if last + 1 < len(t) else t[last] + 0.1
    found = []
    for side in (slice(max(last - 3, 0), last + 1), slice(last + 1, last + 5)):
        if len(t[side]) < 3:
            continue
        rate, level = np.polyfit(t[side] - t[last], y[side], 1)
        when = t[last] - level / rate if rate > 0 else math.nan
        if t[last] <= when <= end:
            found.append((when, min(when - t[last], end - when)))
    if not found:
        return None
    weight = [1 / (0.005 + far) ** 2 for _, far in found]
    when = float(np.average([w for w, _ in found], weights=weight))
    spread = float(np.average([abs(w - when) for w, _ in found], weights=weight))
    return Moment(when, 0.3 * min(far for _, far in found) + 0.5 * spread + 0.003)


def impact_of(
    s: Signals,
    shaft: ShaftTrack | None,
    capture: Capture,
    start_s: float,
    top_s: float,
    swing: Swing,
    *,
    begun: bool = False,
) -> Moment:
    hands = impact_of_hands(s, start_s, top_s, swing, begun=begun)
    if shaft is None or hands.time_s is None:
        return hands
    # where the film begins in the swing nobody saw where the head stood
    found = None if begun else _impact_of_shaft(shaft, capture, start_s, top_s, hands)
    moment = found or hands
    if moment.time_s is not None and np.isfinite(shaft.ball_gone_s):
        gap = gap_at(shaft.time_s, shaft.ball_gone_s)
        late, early = shaft.ball_gone_s, shaft.ball_gone_s - gap
        if abs(moment.time_s - late) < 0.25 * (moment.time_s - top_s):
            inside = float(np.clip(moment.time_s, early, late))
            return Moment(inside, max(gap / 3.5, min(moment.uncertainty_s or gap, gap / 2)))
    return moment


def _impact_of_shaft(
    shaft: ShaftTrack, capture: Capture, start_s: float, top_s: float, hands: Moment
) -> Moment | None:
    """The shaft passes the head's place at address (face-on), or the head is nearest to it."""
    assert hands.time_s is not None
    reach = max(3 * (hands.uncertainty_s or 0.0), 0.06)
    if capture.view == "face_on":
        return _past_address_foot(shaft, start_s, hands.time_s, reach)
    return _head_at_ball(shaft, start_s, hands.time_s, reach)


def _past_address_foot(
    shaft: ShaftTrack, start_s: float, around_s: float, reach_s: float
) -> Moment | None:
    """The shaft's line passes the place on the ground where the head stood at address.

    The place, not the angle: the hands are ahead at impact, so the angle passes later.
    """
    seen = np.isfinite(shaft.angle_deg)
    rest = seen & (shaft.time_s <= start_s + 1e-6) & (shaft.time_s > start_s - 0.3)
    near = np.flatnonzero(seen & (np.abs(shaft.time_s - around_s) <= reach_s))
    if not rest.any() or len(near) < 2:
        return None
    home = np.median(_visible_end(shaft)[rest], axis=0)
    away = (shaft.angle_deg[near] + 90 + 180) % 360 - 180
    near = near[np.abs(away) < 75]
    if len(near) < 2 or not np.isfinite(home).all():
        return None
    t = shaft.time_s[near]
    fine = np.arange(t[0], t[-1], 0.0005)
    angle = np.radians(np.interp(fine, t, shaft.angle_deg[near]))
    grip = np.stack([np.interp(fine, t, shaft.grip_px[near, k]) for k in (0, 1)], axis=1)
    drop = home[1] - grip[:, 1]
    foot = grip[:, 0] - drop / np.tan(angle)
    when = crossing_s(fine, foot - home[0], rising=True)
    if not np.isfinite(when):
        return None
    i = int(np.clip(np.searchsorted(t, when), 1, len(t) - 1))
    return Moment(when, math.hypot(0.0015, 0.12 * (t[i] - t[i - 1])))


def _head_at_ball(
    shaft: ShaftTrack, start_s: float, around_s: float, reach_s: float
) -> Moment | None:
    """Lowest point of the visible end of the shaft, by a parabola through it."""
    rest = (shaft.time_s <= start_s + 1e-6) & (shaft.time_s > start_s - 0.3)
    head = _visible_end(shaft)
    home = np.nanmedian(head[rest], axis=0) if np.isfinite(head[rest]).any() else None
    near = np.isfinite(head).all(axis=1) & (np.abs(shaft.time_s - around_s) <= reach_s)
    if home is None or near.sum() < 3 or not np.isfinite(home).all():
        return None
    t = shaft.time_s[near]
    distance = np.hypot(*(head[near] - home).T)
    i = int(np.argmin(distance))
    if i == 0 or i == len(t) - 1:
        return None
    # near its closest point a passing head makes the squared distance a parabola
    rows = slice(i - 1, i + 2)
    a, b, _ = np.polyfit(t[rows] - t[i], distance[rows] ** 2, 2)
    when = float(np.clip(t[i] - b / (2 * a), t[i - 1], t[i + 1])) if a > 0 else float(t[i])
    return Moment(when, (t[i + 1] - t[i - 1]) / 6)


def _visible_end(shaft: ShaftTrack) -> Array:
    angle = np.radians(shaft.angle_deg)
    reach = np.stack([np.cos(angle), -np.sin(angle)], axis=1) * shaft.length_px[:, None]
    end = shaft.grip_px + reach
    return np.where(np.isfinite(shaft.head_px), shaft.head_px, end)
