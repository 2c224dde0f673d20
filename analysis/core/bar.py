"""Turn of a straight bar of known length held across hips or chest: no body model.

With X toward the target, Y toward the ball and the bar's lead end turned by t toward the
ball, bar and hands circle an axis `_RADIUS` behind them:

    centre(t) = radius (-sin t, cos t),   end(t) = centre(t) +- L/2 (cos t, sin t)

A camera at distance D sees X / (D - Y) face-on and Y / (D + X) down-the-line. Face-on
the address shows the bar's whole length and so gives the scale; down-the-line it shows
next to none and the scale is the person's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.measures import Readings
from analysis.core.pose import Array, Capture, Moment

_RADIUS = 0.11  # statures from the turning axis to a bar held against the body
_RADIUS_SD = 0.05
_USUAL_F = 0.78  # picture heights away, as in `core.club`
_SQUARE_SD_DEG = 2.0  # how square to the target line people stand at address
_SQUARE_LIMIT_DEG = 12.0  # a line at address further round than that is not the bar
_SCALE_SD = 0.03
_SAME_SHARE = 0.3  # perspective alone changes the logarithm by up to 0.25


@dataclass(frozen=True)
class BarTrack:
    """The two ends of the held club, frame by frame.

    Parameters
    ----------
    time_s, frame : ndarray, shape (N,)
    lead_px, trail_px : ndarray, shape (N, 2)
        Ends on the side of the lead and the trail hand, NaN where not seen.
    hands_px : ndarray, shape (N, 2, 2)
        Lead and trail hand.
    sd_px : float
        One standard deviation of an end along the bar.
    """

    time_s: Array
    frame: NDArray[np.int64]
    lead_px: Array
    trail_px: Array
    hands_px: Array
    sd_px: float


@dataclass(frozen=True)
class _Film:
    """Camera and bar of one film; lengths in metres, scale in pixels a metre."""

    view: str
    per_m: float
    distance_m: float
    bar_m: float
    radius_m: float
    centre_px: float


def measure_bar(
    track: BarTrack | None,
    events: Mapping[str, Moment],
    body: Any,
    *,
    capture: Capture,
    size_px: tuple[int, int],
) -> Readings:
    """`bar_turn_deg` at the held end, or why there is none.

    Parameters
    ----------
    body : object
        With `scale_m_per_px` and, where known, `camera_yaw_deg`, `camera_yaw_sd_deg`.
    """
    key = ("bar_turn_deg", "top")
    moments = [events.get(e, Moment(None, reason="not_reached")) for e in ("address", "top")]
    missing = [m.reason or "not_reached" for m in moments if m.time_s is None]
    if missing:
        return {key: missing[0]}
    if track is None or capture.view not in ("down_the_line", "face_on"):
        return {key: "not_seen"}
    if capture.club_cm is None and capture.view == "down_the_line":
        return {key: "no_club_length"}
    start = _ends_at(track, moments[0].time_s or 0.0, before=True)
    held = _ends_at(track, moments[1].time_s or 0.0, before=False)
    if start is None and capture.view == "down_the_line":
        start = np.full((4, 2), np.nan)  # seen from its end: as good as square
    if start is None or held is None:
        return {key: "not_seen"}
    if capture.view == "face_on" and _cut_short(start, held):
        return {key: "bar_end_hidden"}
    start, held = start[:2], held[:2]
    yaw = float(getattr(body, "camera_yaw_deg", math.nan))
    yaw_sd = float(getattr(body, "camera_yaw_sd_deg", math.nan))
    film = _Film(
        view=capture.view,
        per_m=1 / body.scale_m_per_px,
        distance_m=_USUAL_F * max(size_px) * body.scale_m_per_px,
        bar_m=(capture.club_cm or 94.0) / 100,
        radius_m=_RADIUS * capture.stature_cm / 100,
        centre_px=size_px[0] / 2,
    )
    return {
        key: turn_with_spread(
            film,
            start,
            held,
            end_sd_px=track.sd_px,
            yaw_deg=yaw if math.isfinite(yaw) else 0.0,
            yaw_sd_deg=yaw_sd if math.isfinite(yaw_sd) else 3.5,
        )
    }


def _ends_at(track: BarTrack, when: float, *, before: bool) -> Array | None:
    """Median ends and hands in the rest around a moment; None when frames disagree.

    Rows: lead end, trail end, lead hand, trail hand.
    """
    low, high = (when - 0.6, when - 0.04) if before else (when - 0.3, when + 0.3)
    rows = (track.time_s >= low) & (track.time_s <= high) & np.isfinite(track.lead_px[:, 0])
    if rows.sum() < 1:
        return None
    both = np.stack([track.lead_px[rows], track.trail_px[rows]], axis=1)
    middle = np.median(both, axis=0)
    stray = np.median(np.abs(both - middle).max(axis=(1, 2)))
    hands = np.median(track.hands_px[rows], axis=0)
    return np.concatenate([middle, hands]) if stray < 6 * track.sd_px else None


def _cut_short(start: Array, held: Array) -> bool:
    """Whether an end went unseen: hands do not slide, so what juts out beyond them stays
    the same share of what lies between them, whichever way the bar is turned."""
    shares = []
    for ends in (start, held):
        between = float(np.linalg.norm(ends[2] - ends[3]))
        out = [float(np.linalg.norm(ends[k] - ends[k + 2])) for k in (0, 1)]
        shares.append(np.array(out) / max(between, 1.0))
    ratio = np.log(np.maximum(shares[1], 0.01) / np.maximum(shares[0], 0.01))
    return bool(np.abs(ratio).max() > _SAME_SHARE)


def turn_with_spread(
    film: _Film,
    start: Array,
    held: Array,
    *,
    end_sd_px: float,
    yaw_deg: float,
    yaw_sd_deg: float,
) -> tuple[float, float]:
    """The turn between two sightings and its standard deviation.

    Parameters
    ----------
    start, held : ndarray, shape (2, 2)
        Lead and trail end in pixels.
    """

    def turn(**changes: Any) -> float:
        values: dict[str, Any] = {"film": film, "start": start, "held": held, "yaw": yaw_deg}
        values |= changes
        return _turn(values["film"], values["start"], values["held"], values["yaw"])

    value = turn()
    push = np.array([[1.0, 0.0], [-1.0, 0.0]]) * math.sqrt(0.5) * end_sd_px

    def moved(**ways: Any) -> float:
        """The larger of both ways: near the ends of its range the sight is one-sided."""
        return max(abs(turn(**{k: v[i] for k, v in ways.items()}) - value) for i in (0, 1))

    def films(**factors: float) -> list[_Film]:
        both = ({k: f**s for k, f in factors.items()} for s in (1, -1))
        return [replace(film, **{k: getattr(film, k) * f for k, f in w.items()}) for w in both]

    steps = [
        moved(held=[held + push, held - push]),
        moved(film=films(radius_m=1 + _RADIUS_SD / _RADIUS)),
        moved(film=films(distance_m=1.15)),
    ]
    if film.view == "face_on":
        steps += [moved(start=[start + push, start - push]), math.hypot(yaw_sd_deg, _SQUARE_SD_DEG)]
    else:
        steps.append(math.hypot(yaw_sd_deg, _SQUARE_SD_DEG, _began(film, start, yaw_deg) + yaw_deg))
        steps.append(moved(film=films(per_m=1 + _SCALE_SD, distance_m=1 / (1 + _SCALE_SD))))
    return value, math.sqrt(sum(min(abs(s), 30.0) ** 2 for s in steps) + 0.3**2)


def _turn(film: _Film, start: Array, held: Array, yaw_deg: float) -> float:
    if film.view == "face_on":
        # the whole length at address gives the scale; square to the line, not to the camera
        shown = _shown(start, film.bar_m, film.per_m)
        per_m = film.per_m
        for _ in range(3):
            predicted = _across_px(film, per_m, math.radians(yaw_deg), start)
            per_m *= shown / predicted
        return _solve(film, per_m, held) - yaw_deg
    return _solve(film, film.per_m, held) - _began(film, start, yaw_deg)


def _began(film: _Film, start: Array, yaw_deg: float) -> float:
    """Down-the-line angle at address, half from the sighting, half from standing square.

    Seen almost from its end a bar is hard to tell from an edge of the clothes.
    """
    angle = _solve(film, film.per_m, start) if np.isfinite(start).all() else math.inf
    return 0.5 * (angle - yaw_deg) if abs(angle) < _SQUARE_LIMIT_DEG else -yaw_deg


def _shown(ends: Array, bar_m: float, per_m: float) -> float:
    """Horizontal length in pixels, had the bar been held level."""
    across, rise = np.abs(ends[0] - ends[1])
    whole = bar_m * per_m
    level = math.sqrt(max(1 - min(rise / whole, 0.7) ** 2, 0.5))
    return float(across / level)


def _across_px(film: _Film, per_m: float, turn: float, ends: Array) -> float:
    """Signed horizontal length in pixels of a level bar turned by `turn` radians."""
    f = per_m * film.distance_m
    middle = (float(np.mean(ends[:, 0])) - film.centre_px) / f
    c, s = math.cos(turn), math.sin(turn)
    half = film.bar_m / 2
    x = np.array([-film.radius_m * s + half * c, -film.radius_m * s - half * c])
    y = np.array([film.radius_m * c + half * s, film.radius_m * c - half * s])
    # the axis stands where the middle of the bar is seen
    if film.view == "face_on":
        depth = film.distance_m - y
        x = x + middle * film.distance_m + film.radius_m * s
        seen = f * x / depth
    else:
        depth = film.distance_m + x
        y = y + middle * film.distance_m - film.radius_m * c
        seen = f * y / depth
    return float(seen[0] - seen[1])


def _solve(film: _Film, per_m: float, ends: Array) -> float:
    """Turn in degrees at which the model shows the seen length, by a fine search."""
    seen = math.copysign(_shown(ends, film.bar_m, per_m), ends[0, 0] - ends[1, 0])
    # face-on the length falls with the turn from 0, down-the-line it grows
    turns = np.radians(
        np.arange(0.0, 120.0, 0.25) if film.view == "face_on" else np.arange(-60.0, 100.0, 0.25)
    )
    lengths = np.array([_across_px(film, per_m, float(t), ends) for t in turns])
    if film.view == "face_on":
        peak = int(np.argmax(lengths))
        turns, lengths = turns[peak:], lengths[peak:]
        return float(np.degrees(np.interp(-seen, -lengths, turns)))
    low, high = int(np.argmin(lengths)), int(np.argmax(lengths))
    rising = slice(low, high + 1)
    return float(np.degrees(np.interp(seen, lengths[rising], turns[rising])))
