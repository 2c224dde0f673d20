"""The two ends of a club that is held across hips or chest with both hands."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.background_plate import Scene, scene_of
from analysis.bar_ends import Evidence, evidence
from analysis.core.bar import NEARER, BarTrack
from analysis.core.line import Ridge
from analysis.core.motion import HAND, stature_px
from analysis.core.pose import LANDMARK, Array, Capture, PoseSequence
from analysis.shaft import thin_lines
from analysis.video import Frame

_REACH = 0.62  # statures from the middle of the hands to the end of any club
_STEEP_DEG = 40.0  # people hold a bar about level
_OFFSET = 0.07
_PASS_SD = 0.035  # statures from the middle of a hand's landmarks to the bar
_END_ON = 0.08  # statures that hands and shoulders look apart, below which it points at us
_END_ON_REACH = 0.12  # that far from the hands its ends can be seen, 12 degrees off
_END_ON_LEAST = 4.0
_TOGETHER_S = 0.3  # frames of this time are looked at as one picture, where he stands still
_STILL = 0.006  # statures
_LENGTH_SD = 0.06  # of the scale that stature alone gives, and of hands along the bar
_LONGEST = 1.15  # of that length, nearer to the camera than the body
_OFF_MIDDLE = 0.10  # of its length: how much more of a bar juts out on one side
_HAND_SD = 0.006  # statures by which a hand is placed wrong along the bar
_WIDE = 0.5  # of the widest: hands less far apart tell no shares
_UNSEEN = 4.0  # log likelihood against a bar that reaches to where it should end


@dataclass(frozen=True)
class _Look:
    """The bar's line in one picture, working pixels."""

    rows: NDArray[np.int64]
    grip: Array
    line: tuple[float, float]
    hands: Array  # along the line, lead and trail
    evidence: Evidence

    @property
    def between(self) -> float:
        return float(abs(self.hands[0] - self.hands[1]))

    def point(self, along: float) -> Array:
        a = np.radians(self.line[0])
        across = np.array([-np.sin(a), -np.cos(a)])
        return self.grip + along * np.array([np.cos(a), -np.sin(a)]) + self.line[1] * across


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
    both = _by_end(np.stack([pose.xy_px[:, HAND[side]].mean(axis=1) for side in HAND], axis=1))
    middle = both.mean(axis=1)
    if np.isfinite(tall) and np.isfinite(middle[:, 0]).sum() >= 2:
        scene = scene_of(frames, pose, middle, tall)
        if capture.view == "face_on":
            # a level bar turns within its own line of the picture: it is part of the plate
            scene = replace(scene, plate=None)
        looks = []
        for rows, picture in _pictures(frames, pose, middle, scene, tall):
            found = _look(scene, picture, pose, both, rows, capture)
            if found is not None:
                looks.append(found)
        whole = None
        if capture.club_cm is not None:
            whole = capture.club_cm / capture.stature_cm * scene.stature
        chosen = choose_ends(looks, whole, view=capture.view, stature=scene.stature)
        for look, ends in zip(looks, chosen, strict=True):
            lead[look.rows], trail[look.rows] = (scene.to_picture(look.point(e)) for e in ends)
            if look.between == 0:
                both[look.rows] = middle[look.rows, None]
    sd = 1.0 if not np.isfinite(tall) else max(0.8, 0.005 * tall)
    return BarTrack(pose.time_s, pose.frame, lead, trail, both, sd)


def _by_end(hands: Array) -> Array:
    """Hands as those at the lead and at the trail end: crossed on the chest they change over.

    Square to the camera or turned away from the target, the lead end is on the right.
    """
    apart = hands[:, 0, 0] - hands[:, 1, 0]
    wide = np.abs(apart) > 0.6 * np.nanmax(np.abs(apart), initial=0.0)
    return hands[:, ::-1] if np.nanmedian(apart[wide], axis=0) < 0 else hands


def _pictures(
    frames: Iterable[Frame], pose: PoseSequence, middle: Array, scene: Scene, tall: float
) -> Iterator[tuple[NDArray[np.int64], Array]]:
    """Means over stretches of `_TOGETHER_S`; of a moving bar only single frames."""
    row_of = {int(f): i for i, f in enumerate(pose.frame)}
    rows: list[int] = []
    cuts: list[Array] = []
    for frame in frames:
        i = row_of.get(frame.index)
        if i is None or not np.isfinite(middle[i]).all():
            continue
        if rows and pose.time_s[i] - pose.time_s[rows[0]] > _TOGETHER_S:
            yield from _together(rows, cuts, middle, tall)
            rows, cuts = [], []
        rows.append(i)
        cuts.append(scene.cut(frame.image).astype(np.float32))
    if rows:
        yield from _together(rows, cuts, middle, tall)


def _together(
    rows: list[int], cuts: list[Array], middle: Array, tall: float
) -> Iterator[tuple[NDArray[np.int64], Array]]:
    index = np.array(rows)
    half = max(len(rows) // 2, 1)
    moved = np.median(middle[index[:half]], axis=0) - np.median(
        middle[index[half:] if len(rows) > 1 else index], axis=0
    )
    if np.linalg.norm(moved) < _STILL * tall:
        yield index, np.asarray(np.mean(cuts, axis=0))
    else:
        yield index[half : half + 1], cuts[half]


def _look(
    scene: Scene,
    picture: Array,
    pose: PoseSequence,
    both: Array,
    rows: NDArray[np.int64],
    capture: Capture,
) -> _Look | None:
    hands = scene.to_working(np.median(both[rows], axis=0))
    grip = hands.mean(axis=0)
    joints = np.median(pose.xy_px[rows], axis=0)
    shoulders = scene.to_working(joints[[LANDMARK["shoulder_left"], LANDMARK["shoulder_right"]]])
    # shoulders are nearer together than hands at the hips, crossed hands nearer still
    apart = max(abs(hands[0, 0] - hands[1, 0]), 1.5 * abs(shoulders[0, 0] - shoulders[1, 0]))
    if capture.view == "down_the_line" and apart < _END_ON * scene.stature:
        return _end_on(picture, grip, rows, scene.stature)
    reach = _REACH
    if capture.club_cm is not None:  # held anywhere near its middle
        reach = min(reach, 0.75 * capture.club_cm / capture.stature_cm)
    ridge = thin_lines(scene, picture.astype(np.uint8), joints, grip, reach, 0.0)
    sides = [(h - grip) * (1, -1) for h in hands]
    line = fit_line(ridge, sides[0], sides[1], stature=scene.stature)
    if line is None:
        return None
    a = np.radians(line[0])
    along = np.array([float(s @ (np.cos(a), np.sin(a))) for s in sides])
    found = evidence(picture, grip, line, along, stature=scene.stature)
    return None if found is None else _Look(rows, grip, line, along, found)


def _end_on(picture: Array, grip: Array, rows: NDArray[np.int64], tall: float) -> _Look | None:
    """A bar seen nearly from its end: a short line of any slope out of the hands."""
    best, out = _END_ON_LEAST, None
    for angle in np.arange(-90.0, 90.0, 5.0):
        for offset in (-0.015, 0.0, 0.015):
            line = (float(angle), offset * tall)
            found = evidence(
                picture,
                grip,
                line,
                np.zeros(2),
                stature=tall,
                near=(0.02, 0.045),
                reach=_END_ON_REACH,
            )
            if found is not None:
                score = sum(float(total.max()) for total in found.total)
                if score > best:
                    best, out = score, _Look(rows, grip, line, np.zeros(2), found)
    return out


def choose_ends(
    looks: list[_Look], whole_px: float | None, *, view: str, stature: float
) -> list[tuple[float, float]]:
    """Lead and trail end of every look, pixels along its line; NaN where one is hidden.

    Hands do not slide: face on, what juts out beyond them is the same share of what lies
    between them in all pictures, but for perspective. The bar never looks longer than it
    is, and is seen whole face on where it looks longest.
    """
    shares = _shares(looks, whole_px) if view == "face_on" and looks else None
    longest = math.inf if whole_px is None else _LONGEST * whole_px
    wide = float(np.percentile([look.between for look in looks] or [0.0], 90))
    return [_ends(look, shares, wide, longest, stature) for look in looks]


def _ends(
    look: _Look,
    shares: tuple[float, float] | None,
    wide_px: float,
    longest_px: float,
    stature: float,
) -> tuple[float, float]:
    between = look.between
    grid = np.arange(0.0, 0.62 * stature, 2.0)
    sums = [look.evidence.at(k, grid) for k in (0, 1)]
    for k, (share, way) in enumerate(zip(shares or (), (1, -1), strict=False)):
        # the lead part is nearer to the camera, the further round the more
        nearer = NEARER / 2 * math.sqrt(max(1 - (between / wide_px) ** 2, 0.0))
        expected = share * between * math.exp(way * nearer)
        off = expected * math.hypot(0.03, 1.4 * _HAND_SD * stature / max(between, 1.0))
        sums[k] = sums[k] - 0.5 * ((grid - expected) / (off + 3)) ** 2
    joint = sums[0][:, None] + sums[1][None, :]
    length = between + grid[:, None] + grid[None, :]
    if shares is None:
        joint = joint - 0.5 * ((grid[:, None] - grid[None, :]) / (_OFF_MIDDLE * length + 1)) ** 2
    joint[length > longest_px] = -np.inf
    if not np.isfinite(joint).any():
        return math.nan, math.nan
    coarse = np.unravel_index(int(np.argmax(joint)), joint.shape)
    out = []
    for k in (0, 1):
        curve, far = look.evidence.total[k], int(grid[coarse[k]])
        near = look.evidence.at(k, np.arange(max(far - 2, 0), far + 3.0))
        far = max(far - 2, 0) + int(np.argmax(near)) if far else far
        lost = float(curve.max()) - float(look.evidence.at(k, np.array(far)))
        hidden = lost > _UNSEEN and far > int(np.argmax(curve))
        out.append(math.nan if hidden else look.hands[k] + look.evidence.way[k] * far)
    return out[0], out[1]


def _shares(looks: list[_Look], whole_px: float | None) -> tuple[float, float]:
    """What juts out on both sides, as a share of what lies between the hands."""
    grid = np.arange(0.05, 3.0, 0.02)
    spans = np.array([look.between for look in looks])
    wide = float(np.percentile(spans, 90))
    sums = np.zeros((2, len(grid)))
    for look, between in zip(looks, spans, strict=True):
        if between < _WIDE * wide:
            continue
        for k in (0, 1):
            near = [look.evidence.at(k, grid * between * f) for f in (0.96, 1.0, 1.04)]
            sums[k] += np.mean(near, axis=0)
    joint = sums[0][:, None] + sums[1][None, :]
    whole = 1 + grid[:, None] + grid[None, :]
    joint = joint - 0.5 * ((grid[:, None] - grid[None, :]) / (_OFF_MIDDLE * whole)) ** 2
    if whole_px is not None:
        off = wide * whole / whole_px - 1.0
        joint = joint - 0.5 * (off / _LENGTH_SD) ** 2
        joint[(np.abs(off) > 3 * _LENGTH_SD)] = -np.inf
    if not np.isfinite(joint).any():
        return 1.0, 1.0
    a, b = np.unravel_index(int(np.argmax(joint)), joint.shape)
    return float(grid[a]), float(grid[b])


def fit_line(
    ridge: Ridge, lead: Array, trail: Array, *, stature: float
) -> tuple[float, float] | None:
    """Angle in degrees and offset of the straight line that passes both hands.

    Parameters
    ----------
    ridge : Ridge
        Around the middle of the hands.
    lead, trail : ndarray, shape (2,)
        The hands against that middle, y up.
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
    return angle, offset


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
        off = np.array([edges[1:-1] - p for p in pass_by]) / (_PASS_SD * stature)
        counts = counts * np.exp(-0.5 * np.sum(off**2, axis=0))
        k = int(np.argmax(counts))
        if counts[k] > best:
            best, out = float(counts[k]), (float(angle), float(edges[k + 1]))
    return out
