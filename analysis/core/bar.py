"""Turn of a straight bar of known length held across hips or chest: no body model.

With X toward the target, Y toward the ball and the bar's lead end turned by t toward the
ball, hands and bar circle an axis behind them:

    hands(t) = radius (-sin t, cos t),   end(t) = hands(t) + reach (cos t, sin t)

A camera at distance D sees `f X / (D - Y)` face on and `f Y / (D + X)` down the line (the
pinhole, Hartley & Zisserman 2004, ch. 6). Both are one picture with the bar at
`psi = t` or `psi = t - 90` from square to the camera: across cos psi, nearer sin psi.

Face on the length falls with cos psi: flat near square, so small turns are read coarsely,
and the turn is counted from how square to the *camera* the address was, which its length
does not tell: camera yaw and stance enter one to one. Down the line it grows with sin t:
the address itself shows where it points, but an error of the scale grows with tan t.

So it reads best down the line with the phone on the line through the hands, at hip height,
on turns of 30 to 55 degrees; both ends in sight against something plain, the club held near
its middle with straight wrists apart, still for two seconds before the turn and after it.

What is not known is drawn many times over from its spread (`_draws`), the turn solved
for each, and the results weighted by how well they agree with what is seen (importance
sampling, Geweke 1989, doi 10.2307/1913710). The spread of the turn is theirs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.measures import Readings
from analysis.core.pose import JOINT, Array, Capture, Moment

_RADIUS, _RADIUS_SD = 0.095, 0.025  # statures from the turning axis to the held bar
_USUAL_F, _F_SD = 0.78, 0.08  # picture heights away, as in `core.camera`; share of it
_SQUARE_SD_DEG = 1.5  # how square to the target line people stand at address
_YAW_SD_DEG = 3.5  # where nothing tells it
_SCALE_SD = 0.02  # share: of a scale taken from the person
_SWAY_SD = 0.012  # share: nearer or farther at the hold than at address
_ROLL_SD_DEG = 0.8
_HIDDEN_M, _HIDDEN_SD_M = 0.006, 0.008  # of the length, under the club head's outline
_HOLD_SD = 0.03
_WRONG = 0.5  # share of wrong sights of a bar from its end
_SIGHT_SD_DEG, _SIGHT_WRONG_DEG = 1.5, 50.0  # of a bar seen from its end; width of wrong ones
_HAND_SLIP = 0.011  # statures by which two hands move along the bar, or seem to
_TOO_CLOSE = 0.3  # known no better than that, nobody can tell whether an end is hidden
_CUT = 2.5  # times that and an end was not seen
_JUTS = 0.02  # statures that either end of a held club shows beyond its hand
NEARER = 0.25  # logarithm by which the lead part outgrows the other when it points at us
_MOST_SD_DEG = 12.0  # a turn known worse than that is not told
_DRAWS = 512
_USUAL_M = 0.94


@dataclass(frozen=True)
class BarTrack:
    """The two ends of the held club, frame by frame.

    Parameters
    ----------
    time_s, frame : ndarray, shape (N,)
    lead_px, trail_px : ndarray, shape (N, 2)
        Ends on the side of the lead and the trail hip, NaN where not seen.
    hands_px : ndarray, shape (N, 2, 2)
        The hands nearer to the lead and to the trail end; the same place twice where
        the bar points at the camera.
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
class Film:
    """Camera and bar of one film.

    Parameters
    ----------
    per_m : float
        Pixels of a metre at the golfer.
    f_px, centre_px, feet_px : float
        Focal length, and where the optical axis and the golfer's feet are, across.
    bar_m : float or None
        None where nobody told.
    square_deg, square_sd_deg : float
        Where the camera would see a bar held square to the target line point.
    """

    view: str
    per_m: float
    f_px: float
    centre_px: float
    feet_px: float
    bar_m: float | None
    stature_m: float
    square_deg: float
    square_sd_deg: float


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
        With `scale_m_per_px` and, where known, `camera_yaw_deg`, `camera_yaw_sd_deg`,
        `joints_px`.
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
    if held is None or (start is None and capture.view == "face_on"):
        return {key: "not_seen"}
    stature_px = capture.stature_cm / 100 / body.scale_m_per_px
    if np.array_equal(held[2], held[3]):
        return {key: "shaft_end_on"}
    if _juts(held).min() < _JUTS * stature_px or (
        start is not None
        and capture.view == "face_on"
        and _cut_short(start, held, stature_px=stature_px)
    ):
        return {key: "bar_end_hidden"}
    film = _film(body, capture, size_px)
    told = turn_with_spread(film, start, held, end_sd_px=track.sd_px)
    if told is None:
        return {key: "bar_end_hidden"}
    return {key: told if told[1] <= _MOST_SD_DEG else "not_seen"}


def _film(body: Any, capture: Capture, size_px: tuple[int, int]) -> Film:
    yaw = float(getattr(body, "camera_yaw_deg", math.nan))
    sd = float(getattr(body, "camera_yaw_sd_deg", math.nan))
    yaw, sd = (yaw, sd) if math.isfinite(yaw) and math.isfinite(sd) else (0.0, _YAW_SD_DEG)
    # from a pose unlike those learned from: the rest is what cameras usually are
    strange = max(getattr(body, "strangeness", {}).get("address", 0.0), 1.0)
    usual = _YAW_SD_DEG**2 / (_YAW_SD_DEG**2 + (strange**2 - 1) * sd**2)
    yaw, sd = usual * yaw, math.sqrt(usual) * strange * sd
    f = _USUAL_F * max(size_px)
    ankles = getattr(body, "joints_px", np.full((1, len(JOINT), 2), np.nan))
    feet = ankles[:, [JOINT["ankle_lead"], JOINT["ankle_trail"]], 0]
    feet_px = float(np.nanmedian(feet)) if np.isfinite(feet).any() else size_px[0] / 2
    return Film(
        view=capture.view,
        per_m=1 / body.scale_m_per_px,
        f_px=f,
        centre_px=size_px[0] / 2,
        feet_px=feet_px,
        bar_m=None if capture.club_cm is None else capture.club_cm / 100,
        stature_m=capture.stature_cm / 100,
        square_deg=yaw if capture.view == "face_on" else -90.0 - yaw,
        square_sd_deg=math.hypot(sd, _SQUARE_SD_DEG),
    )


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
    return np.concatenate([middle, hands]) if stray < 8 * track.sd_px else None


def _juts(ends: Array) -> Array:
    """How far each end shows beyond its hand, lead and trail; negative inside of it."""
    along = (ends[0] - ends[1]) / max(float(np.linalg.norm(ends[0] - ends[1])), 1.0)
    return np.array([(ends[0] - ends[2]) @ along, (ends[3] - ends[1]) @ along])


def _cut_short(start: Array, held: Array, *, stature_px: float) -> bool:
    """Whether an end went unseen: hands do not slide, so what juts out beyond each shrinks
    as what lies between them does, the nearer side less, as far as hands are told apart."""
    between = np.array([max(float(np.linalg.norm(e[2] - e[3])), 1.0) for e in (start, held)])
    ratio = between[1] / between[0]
    nearer = NEARER / 2 * math.sqrt(1 - min(ratio, 1.0) ** 2)
    expected = _juts(start) * ratio * np.exp([nearer, -nearer])
    slip = _HAND_SLIP * stature_px
    share = slip * float(np.sum(1 / between))
    off = np.abs(_juts(held) - expected) / np.hypot(slip, expected * share)
    return bool(share > _TOO_CLOSE or (off > _CUT).any())


@dataclass(frozen=True)
class _Draws:
    """What is not known, drawn `_DRAWS` times: columns of one value a draw."""

    per_m: Array
    f_px: Array
    radius_m: Array
    bar_m: Array
    hold: Array  # error of where along the bar the hands' middle is seen, share
    nearer: Array  # factor on the scale at the hold
    roll: Array
    square_deg: Array
    noise: Array  # (draws, 4) standard normal: lead, trail at address; at the hold


def turn_with_spread(
    film: Film, start: Array | None, held: Array, *, end_sd_px: float
) -> tuple[float, float] | None:
    """The turn between two sightings and its standard deviation, degrees.

    Parameters
    ----------
    start, held : ndarray, shape (4, 2)
        Lead end, trail end, lead hand, trail hand in pixels; a start of None is unseen.
    end_sd_px : float

    Returns
    -------
    (value, sd) or None
        None where hardly a draw could have shown what is seen.
    """
    d = _draws(film)
    weight = np.ones(_DRAWS)
    if film.view == "face_on":
        assert start is not None
        seen = _across(film, d, start, end_sd_px * d.noise[:, :2])
        # square to the line within its spread: the length at address gives the scale
        model = _length_px(film, d, start, d.square_deg[:, None])[:, 0]
        ratio = seen / model
        if film.bar_m is not None:
            sd = math.hypot(_SCALE_SD, _HIDDEN_SD_M / film.bar_m) + 0.01
            weight *= np.exp(-0.5 * np.minimum((np.log(ratio) / sd) ** 2, 30))
        began, scale = d.square_deg, ratio
    else:
        began, scale = _began(film, d, start, end_sd_px, weight), np.ones(_DRAWS)
    seen = _across(film, d, held, end_sd_px * d.noise[:, 2:])
    ended, fits = _solve(film, d, held, seen, scale * d.nearer, end_sd_px)
    weight *= fits
    turn = ended - began
    weight *= np.where((turn > -10) & (turn < 115), 1.0, 0.0)
    if weight.sum() < 0.02 * _DRAWS * weight.max(initial=1e-9) or weight.max() < 1e-6:
        return None
    value = float(np.average(turn, weights=weight))
    sd = math.sqrt(float(np.average((turn - value) ** 2, weights=weight)))
    return value, math.hypot(sd, 0.5)


def _draws(film: Film) -> _Draws:
    """Normal draws, the same every time: an additive recurrence, then Box & Muller 1958."""
    size = 12
    root = 2.0
    for _ in range(60):
        root = (1 + root) ** (1 / (size + 1))
    steps = root ** -np.arange(1.0, size + 1)
    uniform = (0.5 + np.arange(1, _DRAWS + 1)[:, None] * steps) % 1.0
    far = np.sqrt(-2 * np.log(np.maximum(uniform[:, ::2], 1e-4)))
    way = 2 * np.pi * uniform[:, 1::2]
    z = np.concatenate([far * np.cos(way), far * np.sin(way)], axis=1)
    bar = (_USUAL_M if film.bar_m is None else film.bar_m) - _HIDDEN_M
    return _Draws(
        per_m=film.per_m * np.exp(_SCALE_SD * z[:, 0]),
        f_px=film.f_px * np.exp(_F_SD * z[:, 1]),
        radius_m=film.stature_m * np.maximum(_RADIUS + _RADIUS_SD * z[:, 2], 0.03),
        bar_m=bar + _HIDDEN_SD_M * z[:, 3],
        hold=_HOLD_SD * z[:, 4],
        nearer=np.exp(_SWAY_SD * z[:, 5]),
        roll=np.radians(_ROLL_SD_DEG * z[:, 6]),
        square_deg=film.square_deg + film.square_sd_deg * z[:, 7],
        noise=z[:, 8:12],
    )


def _across(film: Film, d: _Draws, ends: Array, noise_px: Array) -> Array:
    """Signed length across the picture had the bar been level, pixels, one a draw."""
    along = ends[0] - ends[1]
    length = max(float(np.hypot(*along)), 1.0)
    longer = 1 + (noise_px[:, 0] - noise_px[:, 1]) / length
    across = longer * (along[0] - d.roll * along[1])
    rise = longer * (along[1] + d.roll * along[0])
    # cos of the tilt: the rise is not foreshortened by the turn
    level = np.sqrt(1 - np.minimum(np.abs(rise) / (d.bar_m * d.per_m), 0.7) ** 2)
    return np.asarray(across / level)


def _length_px(film: Film, d: _Draws, ends: Array, psi_deg: Array) -> Array:
    """Length across the picture of a level bar at angles to the camera, (draws, angles).

    The golfer's feet are where the optical axis would be, were the camera turned to them.
    """
    psi = np.radians(psi_deg)
    c, s = np.cos(psi), np.sin(psi)
    f, distance = d.f_px[:, None], (d.f_px / d.per_m)[:, None]
    radius, bar = d.radius_m[:, None], d.bar_m[:, None]
    # square is (right, nearer) = (1, 0); hands stand a quarter turn ahead of the bar
    depth = distance - radius * c
    pan = np.arctan((film.feet_px - film.centre_px) / f)
    middle = np.arctan((ends[2:, 0].mean() - film.centre_px) / f) - pan
    right = np.tan(middle) * depth
    seen = np.clip(_share(ends) + d.hold[:, None], 0.2, 0.8)
    # the nearer part looks longer: weigh the shares by their ends' depths
    trail = -bar * seen / (seen + (1 - seen) * (depth - bar / 2 * s) / (depth + bar / 2 * s))
    lead = bar + trail
    out = [np.arctan((right + k * c) / (depth - k * s)) + pan for k in (lead, trail)]
    return np.asarray(f * (np.tan(out[0]) - np.tan(out[1])))


def _share(ends: Array) -> float:
    """Where between trail and lead end the hands' middle is seen; end-on nobody can tell."""
    along = ends[0] - ends[1]
    between = float(np.linalg.norm(ends[2] - ends[3]))
    if float(np.linalg.norm(along)) < 1.2 * between or between < 0.15 * np.linalg.norm(along):
        return 0.5
    return float((ends[2:].mean(axis=0) - ends[1]) @ along / (along @ along))


def _solve(
    film: Film, d: _Draws, ends: Array, seen: Array, scale: Array, sd_px: float
) -> tuple[Array, Array]:
    """Angle to the camera at which each draw shows what is seen, and how well it can.

    Past square the length falls face on and, before it, grows down the line.
    """
    grid = np.arange(0.0, 121.0, 0.5) if film.view == "face_on" else np.arange(0.0, -131.0, -0.5)
    lengths = scale[:, None] * _length_px(film, d, ends, grid[None, :])
    peak = lengths.argmax(axis=1)
    found, fits = np.empty(_DRAWS), np.ones(_DRAWS)
    for i in range(_DRAWS):
        falling = slice(peak[i], None)
        found[i] = np.interp(-seen[i], -lengths[i, falling], grid[falling])
        over = seen[i] - lengths[i, peak[i]]
        if over > 0:
            fits[i] = math.exp(-0.5 * min((over / (2 * sd_px)) ** 2, 30))
    return found, fits


def _began(film: Film, d: _Draws, start: Array | None, sd_px: float, weight: Array) -> Array:
    """Where the bar pointed at address, down the line: as it stood, and as it is seen.

    Seen from its end a bar is short, its ends are not told apart and it is easily taken
    for a hand or a crease: either end may be the lead one, or the sight is worth nothing.
    """
    if start is None:
        return d.square_deg
    likely = np.full(_DRAWS, _WRONG / _SIGHT_WRONG_DEG)
    for ends in (start, start[[1, 0, 2, 3]]):
        seen = _across(film, d, ends, sd_px * d.noise[:, :2])
        found, fits = _solve(film, d, ends, seen, np.ones(_DRAWS), sd_px)
        off = (found - d.square_deg) / _SIGHT_SD_DEG
        likely += (1 - _WRONG) / 2 * fits * np.exp(-0.5 * off**2) / (2.5 * _SIGHT_SD_DEG)
    weight *= likely
    return d.square_deg
