"""Where the shaft points while it swings past the camera, from when it was seen.

A shaft that swings past the camera keeps its length in space, so what is seen of it, as an
arrow in the picture from hands to head, shrinks through nothing and grows again. The arrow's
two components move smoothly all the while, though its angle leaps: they are interpolated, about
the course that arrows usually take.
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

# The usual course of the arrow, right and up in statures, over time counted from the lead arm's
# level (0) to the top (1): robust means of 560 rendered training swings down the line.
_USUAL_AT = (-0.2, 0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6)
_USUAL_RIGHT = (-0.31, -0.32, -0.29, -0.21, -0.11, -0.03, 0.01, -0.29, -0.40, -0.28)
_USUAL_UP = (0.49, 0.50, 0.45, 0.27, 0.07, -0.05, -0.09, 0.16, 0.43, 0.41)
# A Gaussian process about it, by the same swings: how long an arrow stays off the usual course,
# how far off it is (statures). One sighting: how well its end is found along it (statures, a
# share of its length), and across it beside what its angle says of itself.
_COURSE, _AMPLITUDE, _END, _SHARE, _ACROSS = 0.40, 0.14, 0.015, 0.03, 0.005
_WITHIN, _NEAREST = 0.8, 0.5  # sightings of this much of that time on either side, one so near
_FEWEST = 4
# Half of the variance between golfers, who differ by 30 degrees; by 38 (rendered swings) where
# less than 0.15 of stature of the arrow is seen.
_WORTH_DEG, _WORTH_END_ON_DEG, _END_ON = 21.0, 27.0, 0.15
_LENGTH_SD = 0.06  # of the shaft's length in space, a share
_LATER = [NormalDist().inv_cdf((k + 0.5) / 9) for k in range(9)]
_AROUND = math.sqrt(3.0) * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
_WEIGHT = np.array([1 / 3, 1 / 6, 1 / 6, 1 / 6, 1 / 6])


@dataclass(frozen=True)
class _Arrows:
    """The arrow at nine moments around the one that is meant: pixels, up positive."""

    arrow_px: Array  # (9, 2)
    spread_px: Array  # (9, 2, 2), a root of its covariance
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
    length = float(np.hypot(*arrows.arrow_px[len(_LATER) // 2])) / setting.stature_px
    if found is None or found[1] > (_WORTH_END_ON_DEG if length < _END_ON else _WORTH_DEG):
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
    way = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    arrow = length[:, None] * way
    across = np.hypot(_ACROSS, np.radians(shaft.sd_deg[rows]) * length)
    noise = _noise(way, np.hypot(_END, _SHARE * length), across)
    later = np.array(_LATER) * event_sd(moment, gap_at(shaft.time_s, when))
    at, asked = (shaft.time_s[rows] - start) / span, (when + later - start) / span
    course, spread = _course(at, arrow - _usual(at), noise, asked)
    course = course + _usual(asked)
    grip, _ = local_fit(shaft.time_s[rows], shaft.grip_px[rows], when + later, width_s=span / 4)
    return _Arrows(course * stature_px, spread * stature_px, grip)


def _usual(at: Array) -> Array:
    """The usual arrow (N, 2) at these shares of the way from the lead arm's level to the top."""
    return np.column_stack([np.interp(at, _USUAL_AT, v) for v in (_USUAL_RIGHT, _USUAL_UP)])


def _noise(way: Array, along: Array, across: Array) -> Array:
    """Covariance (N, 2, 2) of points known differently along a direction (N, 2) and across it."""
    aside = way[:, ::-1] * np.array([-1.0, 1.0])
    parts = ((way, along), (aside, across))
    return np.asarray(sum((sd**2)[:, None, None] * u[:, :, None] * u[:, None] for u, sd in parts))


def _course(at: Array, values: Array, noise: Array, asked: Array) -> tuple[Array, Array]:
    """Mean (Q, 2) and a root of the covariance (Q, 2, 2) of a smooth course through values (N, 2).

    A Matérn process that can be differentiated twice; `noise` (N, 2, 2) is each value's.
    """

    def alike(a: Array, b: Array) -> Array:
        apart = math.sqrt(5.0) * np.abs(a[:, None] - b[None]) / _COURSE
        one = _AMPLITUDE**2 * (1 + apart + apart**2 / 3) * np.exp(-apart)
        return np.asarray(np.kron(one, np.eye(2)), float)

    known = alike(at, at)
    for i, each in enumerate(noise):
        known[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] += each
    across = alike(asked, at)
    weight = np.linalg.solve(known, across.T).T
    mean = (weight @ values.ravel()).reshape(-1, 2)
    left = [
        _AMPLITUDE**2 * np.eye(2) - weight[k : k + 2] @ across[k : k + 2].T
        for k in range(0, len(across), 2)
    ]
    root = np.linalg.cholesky(np.array(left) + 1e-6 * np.eye(2))
    return mean, np.asarray(root, float)


def _pitch(arrows: _Arrows, setting: Setting) -> tuple[float, float] | None:
    depth, depth_sd = (v * setting.stature_m for v in USUAL["late_back"].grip_x)
    camera, shaft_m = setting.camera, setting.shaft_m
    found: list[tuple[float, float]] = []
    for arrow, root, grip in zip(arrows.arrow_px, arrows.spread_px, arrows.grip_px, strict=True):
        for step, weight in zip(_AROUND, _WEIGHT, strict=True):
            for pitch, likely in _pitches(camera, grip, arrow + root @ step, depth, shaft_m):
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
