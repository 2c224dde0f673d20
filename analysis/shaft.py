"""The club shaft in the picture, frame by frame.

Thin lines in the difference to the scene without the golfer (`plate`); the ray through
the hands that most of them agree on; the sequence of rays that a turning club could have
drawn (`core.line`).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.background_plate import REACH, Grey, Scene, scene_with_ball
from analysis.ball import Spot, could_be, left_at_s, nearest, struck
from analysis.core.events import find_events
from analysis.core.line import Candidate, Ridge, choose_path, keep_stretches, vote
from analysis.core.motion import hands_px, stature_px
from analysis.core.pose import LANDMARK, Array, Capture, Moment, PoseSequence, ShaftTrack
from analysis.estimators import threads
from analysis.video import Frame

_NOISE_FLOOR = 5.0
_SEEN_SHARE = 0.10  # of stature outside the body before a line is called the shaft
_STRIKE_S = 0.45  # how far around the expected strike the ball is watched

_CAPSULES = (  # body parts as thick lines: two landmarks, radius in statures
    ("shoulder_left", "elbow_left", 0.040),
    ("shoulder_right", "elbow_right", 0.040),
    ("elbow_left", "wrist_left", 0.034),
    ("elbow_right", "wrist_right", 0.034),
    ("hip_left", "knee_left", 0.055),
    ("hip_right", "knee_right", 0.055),
    ("knee_left", "ankle_left", 0.040),
    ("knee_right", "ankle_right", 0.040),
    ("heel_left", "toe_left", 0.035),
    ("heel_right", "toe_right", 0.035),
    ("shoulder_left", "shoulder_right", 0.045),
    ("hip_left", "hip_right", 0.060),
    ("ear_left", "ear_right", 0.065),
    ("nose", "ear_left", 0.055),
)
_ARMS = (
    ("wrist_left", "elbow_left", "shoulder_left"),
    ("wrist_right", "elbow_right", "shoulder_right"),
)


def track_shaft(frames: Iterable[Frame], pose: PoseSequence, *, capture: Capture) -> ShaftTrack:
    """Follow the shaft through one repetition.

    Parameters
    ----------
    frames : iterable of Frame
        The frames of `pose` in order, in the pixels of `pose.size_px`; iterated twice,
        so either a list or an object that decodes anew.
    pose : PoseSequence
        Of a right-hander, or mirrored together with the frames.
    capture : Capture

    Returns
    -------
    ShaftTrack
        One row for each row of `pose`; NaN where the shaft was not seen.
    """
    hands = hands_px(pose)
    tall = stature_px(pose, view=capture.view)
    if not np.isfinite(tall) or np.isfinite(hands[:, 0]).sum() < 2:
        return _unseen(pose, hands)
    span = (float(pose.time_s[0]), float(pose.time_s[-1]))
    rough = find_events(pose, None, capture=capture, window=span)
    scene = scene_with_ball(frames, pose, hands, tall, rough, capture)
    candidates: list[list[Candidate]] = [[] for _ in range(len(pose))]
    levels = np.full((len(pose), len(scene.spots)), np.nan)
    strike = rough.get("impact", Moment(None)).time_s
    row_of = {int(f): i for i, f in enumerate(pose.frame)}

    def read(i: int, frame: Frame) -> None:
        grey = scene.cut(frame.image)
        candidates[i] = _candidates(scene, grey, pose.xy_px[i], hands[i])
        if strike is not None and abs(frame.time_s - strike) < _STRIKE_S:
            levels[i] = [_level(grey, spot) for spot in scene.spots]

    at_once = threads()
    with ThreadPoolExecutor(at_once) as pool:
        waiting: deque[Future[None]] = deque()
        for frame in frames:
            i = row_of.get(frame.index)
            if i is not None and np.isfinite(hands[i]).all():
                waiting.append(pool.submit(read, i, frame))
            if len(waiting) > 2 * at_once:
                waiting.popleft().result()
        for done in waiting:
            done.result()
    path = choose_path(pose.time_s, candidates)
    track = _track(scene, pose, hands, candidates, path)
    return _with_ball(track, scene, levels, rough)


def _unseen(pose: PoseSequence, hands: Array) -> ShaftTrack:
    nothing = np.full(len(pose), np.nan)
    return ShaftTrack(
        time_s=pose.time_s,
        frame=pose.frame,
        angle_deg=nothing,
        sd_deg=nothing.copy(),
        grip_px=hands,
        length_px=nothing.copy(),
        head_px=np.full((len(pose), 2), np.nan),
        ball_px=np.full(2, np.nan),
        ball_gone_s=float("nan"),
    )


def _level(grey: Grey, spot: Spot) -> float:
    x0, y0, x1, y1 = spot.box
    return float(grey[y0:y1, x0:x1][spot.inside].mean())


def _with_ball(
    track: ShaftTrack, scene: Scene, levels: Array, rough: dict[str, Moment]
) -> ShaftTrack:
    """Choose the spot by the club head at address and read when it left."""
    address = rough.get("address", Moment(None)).time_s
    until = track.time_s[0] + 0.5 if address is None else address + 0.05
    resting = track.head_px[(track.time_s <= until) & np.isfinite(track.head_px[:, 0])]
    head = np.median(resting, axis=0) if len(resting) else np.full(2, np.nan)
    strike = rough.get("impact", Moment(None)).time_s
    left = [
        float("nan")
        if strike is None
        else left_at_s(track.time_s, levels[:, k], other, around_s=strike)
        for k, other in enumerate(scene.spots)
    ]
    place = scene.to_working(head)
    likely = [
        spot
        for spot, when in zip(scene.spots, left, strict=True)
        if could_be(spot, when, strike, place, stature=scene.stature)
    ]
    spot = nearest(likely, place, stature=scene.stature)
    if spot is None:
        spot = struck(list(scene.spots), left, strike)
    if spot is None:
        return track
    gone = left[scene.spots.index(spot)]
    return replace(track, ball_px=scene.to_picture(spot.centre), ball_gone_s=gone)


# --- one frame -----------------------------------------------------------------------


def _candidates(scene: Scene, grey: Grey, xy_px: Array, hands: Array) -> list[Candidate]:
    grip = scene.to_working(hands)
    ridge = thin_lines(scene, grey, xy_px, grip, REACH, 0.05)
    joints = scene.to_working(xy_px) - grip
    rays = [c for c in vote(ridge, stature=scene.stature) if not _is_arm(c, joints, scene.stature)]
    return [c for c in rays if c.seen_px > 0.5 * _SEEN_SHARE * scene.stature][:5]


def thin_lines(
    scene: Scene, grey: Grey, xy_px: Array, grip: Array, reach: float, inner: float
) -> Ridge:
    """Thin pixels around a point, against that point.

    Parameters
    ----------
    grey : ndarray
        The scene's cut of the frame.
    xy_px : ndarray, shape (33, 2)
        Landmarks in picture pixels.
    grip : ndarray, shape (2,)
        The point, in working pixels.
    reach, inner : float
        Farthest and nearest distance from it, in statures.
    """
    x0, y0, x1, y1 = _square(grip, reach * scene.stature, grey.shape)
    if x1 - x0 < 16 or y1 - y0 < 16:
        nothing = np.empty(0)
        return Ridge(nothing, nothing, nothing, nothing, np.empty(0, bool))
    part = grey[y0:y1, x0:x1].astype(np.float32)
    change = part if scene.plate is None else part - scene.plate[y0:y1, x0:x1]
    body = body_mask(scene.to_working(xy_px) - (x0, y0), part.shape, scene.stature)
    near_far = (inner * scene.stature, reach * scene.stature)
    return _ridge(part, change, body, grip - (x0, y0), scene.stature, near_far)


def _square(grip: Array, reach: float, shape: tuple[int, ...]) -> tuple[int, int, int, int]:
    return (
        int(max(grip[0] - reach, 0)),
        int(max(grip[1] - reach, 0)),
        int(min(grip[0] + reach, shape[1])),
        int(min(grip[1] + reach, shape[0])),
    )


def body_mask(xy: Array, shape: tuple[int, ...], stature: float) -> Grey:
    mask = np.zeros(shape[:2], np.uint8)
    if not np.isfinite(xy).all():
        return mask
    for a, b, radius in _CAPSULES:
        p, q = (tuple(np.round(xy[LANDMARK[n]]).astype(int).tolist()) for n in (a, b))
        cv2.line(mask, p, q, 1, max(2 * round(radius * stature), 1))
    trunk = xy[[LANDMARK[n] for n in ("shoulder_left", "shoulder_right", "hip_right", "hip_left")]]
    cv2.fillConvexPoly(mask, cv2.convexHull(np.round(trunk).astype(np.int32)), 1)
    return mask


def _ridge(
    part: NDArray[np.float32],
    change: NDArray[np.float32],
    body: Grey,
    grip: Array,
    stature: float,
    near_far: tuple[float, float],
) -> Ridge:
    """Pixels of thin lines: both flanks differ from the middle the same way.

    In the change against the plate, where a net behind the golfer is gone, *and* in the
    picture itself, where the sliver that a moved silhouette leaves is only a step.
    """
    sigma = max(1.0, 0.0026 * stature)
    blurred = cv2.GaussianBlur(change, (0, 0), sigma)
    plain = blurred if part is change else cv2.GaussianBlur(part, (0, 0), sigma)
    noise = max(_NOISE_FLOOR, 3.0 * 1.48 * float(np.median(np.abs(blurred[::4, ::4]))))
    noise = min(noise, 14.0)
    ys, xs = np.nonzero(np.abs(blurred) > 0.6 * noise)
    inner = np.hypot(xs - grip[0], ys - grip[1])
    margin = 5
    ok = (
        (inner > near_far[0])
        & (inner < near_far[1])
        & (xs > margin)
        & (ys > margin)
        & (xs < part.shape[1] - margin - 1)
        & (ys < part.shape[0] - margin - 1)
    )
    ys, xs = ys[ok], xs[ok]
    b = blurred
    dxx = b[ys, xs - 1] + b[ys, xs + 1] - 2 * b[ys, xs]
    dyy = b[ys - 1, xs] + b[ys + 1, xs] - 2 * b[ys, xs]
    dxy = 0.25 * (b[ys + 1, xs + 1] + b[ys - 1, xs - 1] - b[ys + 1, xs - 1] - b[ys - 1, xs + 1])
    # larger eigenvalue of the second derivatives and its direction, the normal
    half, mean = 0.5 * (dxx - dyy), 0.5 * (dxx + dyy)
    root = np.hypot(half, dxy)
    bright = mean < 0
    curve = np.where(bright, mean - root, mean + root)
    other = np.where(bright, mean + root, mean - root)
    normal = 0.5 * np.arctan2(2 * dxy, dxx - dyy)
    normal = np.where(bright, normal + np.pi / 2, normal)
    keep = (np.abs(curve) > 0.12 * noise) & (np.abs(other) < 0.5 * np.abs(curve))
    ys, xs, normal, bright = ys[keep], xs[keep], normal[keep], bright[keep]
    nx, ny = np.cos(normal), np.sin(normal)
    flank = 1.6 * sigma + 1.0
    sides = [
        (np.round(ys + k * flank * ny).astype(int), np.round(xs + k * flank * nx).astype(int))
        for k in (-1, 1)
    ]
    sign = np.where(bright, 1.0, -1.0)
    contrast = np.minimum(*(sign * (b[ys, xs] - b[side]) for side in sides))
    visible = np.minimum(*(sign * (plain[ys, xs] - plain[side]) for side in sides))
    keep = (contrast > 0.5 * noise) & (visible > 0.25 * noise)
    ys, xs, normal, contrast = ys[keep], xs[keep], normal[keep], contrast[keep]
    outside = body[ys, xs] == 0
    weight = np.clip(contrast / (2.5 * noise), 0.2, 1.0) * np.where(outside, 1.0, 1 / 3)
    return Ridge(
        right_px=xs - grip[0],
        up_px=grip[1] - ys,
        along_deg=(90 - np.degrees(normal)) % 180,
        weight=weight.astype(np.float64),
        outside=outside,
    )


def _is_arm(ray: Candidate, joints: Array, stature: float) -> bool:
    """Whether a ray runs along an arm and ends with it."""
    for wrist, elbow, shoulder in _ARMS:
        for near, far in ((wrist, elbow), (elbow, shoulder), (wrist, shoulder)):
            a, b = joints[LANDMARK[near]], joints[LANDMARK[far]]
            if not (np.isfinite(a).all() and np.isfinite(b).all()):
                continue
            limb = np.degrees(np.arctan2(-(b - a)[1], (b - a)[0]))
            tilt = abs((ray.angle_deg - limb + 180) % 360 - 180)
            end = float(np.hypot(*b))
            if tilt < 10 and ray.end_px < end + 0.06 * stature and end > 0.08 * stature:
                return True
    return False


# --- the swing -----------------------------------------------------------------------


def _track(
    scene: Scene,
    pose: PoseSequence,
    hands: Array,
    candidates: list[list[Candidate]],
    path: list[int],
) -> ShaftTrack:
    n = len(pose)
    angle, sd, length = np.full(n, np.nan), np.full(n, np.nan), np.full(n, np.nan)
    grip, head = hands.copy(), np.full((n, 2), np.nan)
    path = keep_stretches(pose.time_s, candidates, path)
    for i, k in enumerate(path):
        if k < 0 or candidates[i][k].seen_px < _SEEN_SHARE * scene.stature:
            continue
        ray = candidates[i][k]
        u = np.radians(ray.angle_deg)
        along, across = np.array([np.cos(u), -np.sin(u)]), np.array([-np.sin(u), -np.cos(u)])
        angle[i], sd[i] = ray.angle_deg, ray.sd_deg
        grip[i] = hands[i] - ray.offset_px * across / scene.scale
        length[i] = ray.end_px / scene.scale
        head[i] = grip[i] + length[i] * along
    seen = np.isfinite(angle)
    angle[seen] = np.degrees(np.unwrap(np.radians(angle[seen])))
    rate = np.zeros(n)
    if seen.sum() > 2:
        rate[seen] = np.gradient(angle[seen], pose.time_s[seen])
    frame_s = float(np.median(np.diff(pose.time_s)))
    sd = np.hypot(np.hypot(0.3, 2 * sd), 0.04 * rate * frame_s)
    return ShaftTrack(
        time_s=pose.time_s,
        frame=pose.frame,
        angle_deg=angle,
        sd_deg=np.where(seen, sd, np.nan),
        grip_px=grip,
        length_px=length,
        head_px=head,
        ball_px=np.full(2, np.nan),
        ball_gone_s=float("nan"),
    )
