"""The two ends of a club that is held across hips or chest with both hands."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.core.bar import BarTrack
from analysis.core.line import Ridge
from analysis.core.motion import HAND, stature_px
from analysis.core.pose import Array, Capture, PoseSequence
from analysis.plate import scene_of
from analysis.shaft import thin_lines
from analysis.video import Frame

_REACH = 0.62  # statures from the middle of the hands to the end of any club
_BIN = 0.008
_HOLE = 0.045  # statures of plain background that end a bar
_RUN = 0.03  # and as much of it on the far side of a hole makes it go on
_STEEP_DEG = 40.0  # people hold a bar about level
_OFFSET = 0.07


def track_bar(frames: Iterable[Frame], pose: PoseSequence, *, capture: Capture) -> BarTrack:
    """Follow both ends of the held club.

    Parameters
    ----------
    frames : iterable of Frame
        The frames of `pose` in order, iterated twice.
    pose : PoseSequence
        Of a right-hander, or mirrored together with the frames.
    """
    tall = stature_px(pose, view=capture.view)
    lead, trail = np.full((len(pose), 2), np.nan), np.full((len(pose), 2), np.nan)
    hands = {side: pose.xy_px[:, HAND[side]].mean(axis=1) for side in HAND}
    middle = 0.5 * (hands["left"] + hands["right"])
    if np.isfinite(tall) and np.isfinite(middle[:, 0]).sum() >= 2:
        scene = scene_of(frames, pose, middle, tall)
        if capture.view == "face_on":
            # a level bar turns within its own line of the picture: it is part of the plate
            scene = replace(scene, plate=None)
        row_of = {int(f): i for i, f in enumerate(pose.frame)}
        for frame in frames:
            i = row_of.get(frame.index)
            if i is None or not np.isfinite(middle[i]).all():
                continue
            grip = scene.to_working(middle[i])
            part = thin_lines(scene, scene.cut(frame.image), pose.xy_px[i], grip, _REACH, 0.0)
            sides = [(scene.to_working(hands[s][i]) - grip) * (1, -1) for s in ("left", "right")]
            ends = fit_bar(part, sides[0], sides[1], stature=scene.stature)
            if ends is not None:
                lead[i], trail[i] = (scene.to_picture(grip + e * (1, -1)) for e in ends)
    sd = 1.0 if not np.isfinite(tall) else max(0.8, 0.003 * tall)
    both = np.stack([hands["left"], hands["right"]], axis=1)
    return BarTrack(pose.time_s, pose.frame, lead, trail, both, sd)


def fit_bar(
    ridge: Ridge, lead: Array, trail: Array, *, stature: float
) -> tuple[Array, Array] | None:
    """Ends of the straight line that passes both hands.

    Parameters
    ----------
    ridge : Ridge
        Around the middle of the hands.
    lead, trail : ndarray, shape (2,)
        The hands against that middle, y up.

    Returns
    -------
    (lead_end, trail_end) or None
    """
    if len(ridge.weight) < 12:
        return None
    found = _vote(ridge, lead, trail, stature)
    if found is None:
        return None
    angle, offset = found
    for width in (0.012, 0.008, 0.006):
        along, across, rows = _near(ridge, angle, offset, width * stature)
        if rows.sum() < 10:
            return None
        w, x, y = ridge.weight[rows], along[rows], across[rows]
        mean = np.average(x, weights=w)
        slope = np.sum(w * (x - mean) * y) / max(np.sum(w * (x - mean) ** 2), 1e-9)
        angle += float(np.degrees(np.arctan(slope)))
        offset += float(np.average(y, weights=w) - slope * mean)
    along, across, rows = _near(ridge, angle, offset, 0.006 * stature)
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    hands = sorted(float(h @ (c, s)) for h in (lead, trail))
    span = _extent(along[rows], hands, stature)
    if span is None:
        return None
    base = offset * np.array([-s, c])
    ends = [base + k * np.array([c, s]) for k in span]
    if (lead - trail) @ (c, s) < 0:
        ends.reverse()
    return ends[1], ends[0]


def _near(ridge: Ridge, angle: float, offset: float, width: float) -> tuple[Array, Array, Array]:
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    along = ridge.right_px * c + ridge.up_px * s
    across = -ridge.right_px * s + ridge.up_px * c - offset
    tilt = np.abs((angle - ridge.along_deg + 90) % 180 - 90)
    return along, across, (np.abs(across) < width) & (tilt < 16)


def _vote(ridge: Ridge, lead: Array, trail: Array, stature: float) -> tuple[float, float] | None:
    """Angle and offset with the most thin pixels, among lines that pass both hands."""
    step = 0.006 * stature
    edges = np.arange(-_OFFSET * stature, _OFFSET * stature + step, step)
    best, out = 6.0, None
    for angle in np.arange(-_STEEP_DEG, _STEEP_DEG + 0.5, 1.0):
        c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        pass_by = [-h[0] * s + h[1] * c for h in (lead, trail)]
        if abs(pass_by[0] - pass_by[1]) > 0.09 * stature:
            continue
        tilt = np.abs((angle - ridge.along_deg + 90) % 180 - 90)
        rows = tilt < 12
        across = -ridge.right_px[rows] * s + ridge.up_px[rows] * c
        counts = np.histogram(across, bins=edges, weights=ridge.weight[rows])[0]
        counts = counts[:-1] + counts[1:]
        k = int(np.argmax(counts))
        if counts[k] > best:
            best, out = float(counts[k]), (float(angle), float(edges[k + 1]))
    return out


def _extent(along: Array, hands: list[float], stature: float) -> tuple[float, float] | None:
    """From the hands outward until plain background shows that the bar has ended."""
    step = _BIN * stature
    reach = round(_REACH / _BIN)
    bins = np.clip(np.floor(along / step).astype(int) + reach, 0, 2 * reach)
    filled = np.bincount(bins, minlength=2 * reach + 1) > 0
    ends = []
    for hand, way in ((hands[0], -1), (hands[1], 1)):
        start = int(np.clip(np.floor(hand / step) + reach, 0, 2 * reach))
        outward = filled[start::way] if way > 0 else filled[: start + 1][::-1]
        last = _last_of_run(outward)
        if last is None:
            return None
        inside = along[bins == start + way * last]
        ends.append(float(inside.max() if way > 0 else inside.min()))
    return (ends[0], ends[1]) if ends[1] > ends[0] else None


def _last_of_run(filled: NDArray[np.bool_]) -> int | None:
    """Last filled bin that can be reached over holes; hand and forearm hide more."""
    where = np.flatnonzero(filled)
    if not len(where) or where[0] * _BIN > 0.14:
        return None
    last = int(where[0])
    for k in where[1:]:
        hole = (k - last - 1) * _BIN
        ahead = filled[k : k + round(_RUN / _BIN) + 1]
        hidden = 0.14 if last * _BIN < 0.06 else _HOLE
        if hole > hidden or (hole > 2 * _BIN and ahead.mean() < 0.7):
            break
        last = int(k)
    return last
