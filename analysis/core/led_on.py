"""Where the shaft points while it swings past the camera, from when it was seen.

A shaft that swings past the camera keeps its length in space, so what is seen of it, as an
arrow in the picture from hands to head, shrinks through nothing and grows again. The arrow's
two components move smoothly all the while, though its angle leaps: they are interpolated.
In space even an arrow of no length points somewhere: along the line of sight to the hands.
So arrows as they may have been, at moments that may have been meant, are each taken to where
a shaft of this length would point, and the pitch is their middle.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from analysis.core.camera import Camera, at_depth, turned
from analysis.core.measures import Reading
from analysis.core.motion import gap_at, local_fit
from analysis.core.pose import Array, Moment, ShaftTrack
from analysis.core.shaft_figures import (
    BALL_X,
    LEVEL_DEG,
    USUAL,
    Setting,
)
from analysis.core.sighting import event_sd

# A Gaussian process over time, in the time from the lead arm's level to the top: how long an
# arrow keeps its course, how long it is at most, and what one sighting is worth (statures, and a
# share of its length).
_COURSE, _AMPLITUDE, _END, _SHARE = 0.35, 0.35, 0.015, 0.03
_WITHIN, _NEAREST = 0.8, 0.3  # sightings of this much of that time on either side, one so near
_FEWEST = 4
_WORTH_DEG = 21.0  # half of the variance between all golfers, who differ by 30
_LENGTH_SD = 0.06  # of the shaft's length in space, a share
_LATER = [NormalDist().inv_cdf((k + 0.5) / 9) for k in range(9)]
_AROUND = math.sqrt(3.0) * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
_WEIGHT = np.array([1 / 3, 1 / 6, 1 / 6, 1 / 6, 1 / 6])


@dataclass(frozen=True)
class _Arrows:
    """The arrow at nine moments around the one that is meant: pixels, up positive."""

    arrow_px: Array  # (9, 2)
    sd_px: Array  # (9,)
    grip_px: Array  # (9, 2)


def late_in_backswing(
    id: str, shaft: ShaftTrack, moment: Moment, events: Mapping[str, Moment], setting: Setting
) -> Reading | None:
    """Pitch or aim of the shaft late in the backswing, down-the-line.

    Parameters
    ----------
    id : str
        `shaft_pitch_deg` or `shaft_aim_deg`.

    Returns
    -------
    tuple, str or None
        Degrees and one standard deviation; `shaft_end_on` where that says no more than the
        average of all golfers; None where too little is seen around the moment.
    """
    arrows = _arrows(shaft, moment, events, setting.stature_px)
    if arrows is None:
        return None
    found = _pitch(arrows, setting)
    if found is None or found[1] > _WORTH_DEG:
        return "shaft_end_on"
    if id == "shaft_pitch_deg":
        return found
    if min(found[0], 180 - found[0]) < LEVEL_DEG:
        return "shaft_level"
    if not np.isfinite(setting.ball_px).all():
        return "no_ball"
    depth = USUAL["late_back"].grip_x[0] * setting.stature_m
    grip = at_depth(setting.camera, arrows.grip_px[len(_LATER) // 2], depth, 0)
    ball, off = (
        at_depth(setting.camera, setting.ball_px, x * setting.stature_m, 0)
        for x in (BALL_X[0], BALL_X[0] + BALL_X[1])
    )
    to_ball, other = (math.degrees(math.atan2(b[1] - grip[1], grip[2] - b[2])) for b in (ball, off))
    return 90.0 - found[0] - to_ball, math.hypot(found[1], other - to_ball)


def _arrows(
    shaft: ShaftTrack, moment: Moment, events: Mapping[str, Moment], stature_px: float
) -> _Arrows | None:
    start, top = (events.get(e, Moment(None)).time_s for e in ("lead_arm_back", "top"))
    when = moment.time_s
    if when is None or start is None or top is None or top - start < 0.03:
        return None
    span = top - start
    seen = np.flatnonzero(np.isfinite(shaft.angle_deg) & np.isfinite(shaft.length_px))
    rows = seen[np.abs(shaft.time_s[seen] - when) < _WITHIN * span]
    far = np.abs(shaft.time_s[rows] - when)
    if len(rows) < _FEWEST or far.min() > _NEAREST * span:
        return None
    angle = np.radians(shaft.angle_deg[rows])
    length = shaft.length_px[rows] / stature_px
    arrow = length[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    later = np.array(_LATER) * event_sd(moment, gap_at(shaft.time_s, when))
    at = (shaft.time_s[rows] - when) / span
    course, sd = _course(at, arrow, np.hypot(_END, _SHARE * length), later / span)
    grip, _ = local_fit(shaft.time_s[rows], shaft.grip_px[rows], when + later, width_s=span / 4)
    return _Arrows(course * stature_px, sd * stature_px, grip)


def _course(at: Array, values: Array, noise: Array, asked: Array) -> tuple[Array, Array]:
    """Mean (Q, 2) and standard deviation (Q,) of a smooth course through noisy values (N, 2)."""

    def alike(a: Array, b: Array) -> Array:
        return _AMPLITUDE**2 * np.exp(-0.5 * ((a[:, None] - b[None]) / _COURSE) ** 2)

    known = alike(at, at) + np.diag(noise**2)
    weight = np.linalg.solve(known, alike(at, asked)).T
    left = _AMPLITUDE**2 - np.sum(weight * alike(asked, at), axis=1)
    return weight @ values, np.sqrt(np.maximum(left, 1e-6))


def _pitch(arrows: _Arrows, setting: Setting) -> tuple[float, float] | None:
    depth, depth_sd = (v * setting.stature_m for v in USUAL["late_back"].grip_x)
    camera, shaft_m = setting.camera, setting.shaft_m
    found: list[tuple[float, float]] = []
    for arrow, sd, grip in zip(arrows.arrow_px, arrows.sd_px, arrows.grip_px, strict=True):
        for step, weight in zip(_AROUND, _WEIGHT, strict=True):
            for pitch, likely in _pitches(camera, grip, arrow + sd * step, depth, shaft_m):
                found.append((pitch, weight * likely))
    pitch, weight = np.array(found).T
    if not weight.sum() > 1e-6:
        return None
    weight /= weight.sum()
    # a line that points up and one that points down have the same pitch
    turn = np.sum(weight * np.exp(2j * np.radians(pitch)))
    value = math.degrees(float(np.angle(turn))) / 2 % 180
    variance = float(np.sum(weight * _apart(pitch, value) ** 2))
    grip, arrow = arrows.grip_px[len(_LATER) // 2], arrows.arrow_px[len(_LATER) // 2]

    def likeliest(seen_by: Camera, depth_m: float, long_m: float) -> float:
        return max(_pitches(seen_by, grip, arrow, depth_m, long_m), key=lambda row: row[1])[0]

    usual = likeliest(camera, depth, shaft_m)
    for other in (
        likeliest(turned(camera, yaw=camera.yaw_sd_deg), depth, shaft_m),
        likeliest(turned(camera, pitch=camera.pitch_sd_deg), depth, shaft_m),
        likeliest(turned(camera, roll=camera.roll_sd_deg), depth, shaft_m),
        likeliest(camera, depth + depth_sd, shaft_m),
        likeliest(camera, depth, shaft_m * (1 + _LENGTH_SD)),
    ):
        variance += float(_apart(np.array(other), usual)) ** 2
    return value, math.sqrt(variance)


def _pitches(
    camera: Camera, grip_px: Array, arrow_px: Array, depth_m: float, shaft_m: float
) -> Iterator[tuple[float, float]]:
    """Both ways in which a shaft of this length looks like this arrow, and how usual each is."""
    mean, sd = USUAL["late_back"].along_x
    grip = at_depth(camera, grip_px, depth_m, 0)
    ray = camera.ray(grip_px + arrow_px * np.array([1.0, -1.0]))
    ray = ray / np.linalg.norm(ray)
    away = grip - camera.position_m
    near = float(ray @ away)
    root = math.sqrt(max(near**2 - float(away @ away) + shaft_m**2, 0.0))
    for reach in (near + root, near - root):
        way = reach * ray - away
        way = way / np.linalg.norm(way)
        pitch = math.degrees(math.atan2(way[2], -way[1])) % 180
        yield pitch, math.exp(-0.5 * ((float(way[0]) - mean) / sd) ** 2)


def _apart(pitch: Array, other: float) -> Array:
    return np.asarray((pitch - other + 90) % 180 - 90)
