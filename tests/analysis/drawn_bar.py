"""Drawn films of a bar held across the hips: a known camera, textures, hands over the bar."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

import cv2
import numpy as np

from analysis.core.pose import JOINT, JOINTS, LANDMARK, PoseSequence
from analysis.video import Frame

SIZE = (720, 1280)
# RMS of the yaw that `analysis.core.body` tells, on bodies it never saw.
YAW_SD = {"down_the_line": 3.0, "face_on": 2.1}
SCALE_SD = 0.02
_FINE = 4  # bits of a pixel in which lines are drawn


@dataclass(frozen=True)
class Bar:
    """One drawn film; lengths in metres, angles in degrees, light and noise in grey levels."""

    view: str
    turn: float
    seed: int
    stature: float = 1.76
    length: float = 0.94
    radius: float = 0.2
    aside: float = 0.04
    tilt: float = 2.0
    tilt_change: float = 0.0
    start: float = 0.0
    yaw: float = 0.0
    pan: float = 0.0
    distance: float = 3.6
    height: float = 1.05
    f: float = 940.0
    chest: bool = False
    apart: float = 0.48  # between the hands
    sway: float = 0.0  # toward the target as he turns
    light: float = 0.0  # from one side of the picture to the other
    blur: float = 0.7
    noise: float = 3.0
    quality: int = 0  # of the compression, 0 without
    rails: int = 0  # long thin lines behind the golfer
    checked: bool = False
    head: bool = False  # a grip at one end, a club head at the other
    landmark_bias: float = 0.0


def drawn(view: str, seed: int) -> Bar:
    """One of a varied set, all of it from the seed; turns spread evenly over 15 to 75."""
    rng = np.random.default_rng([seed, view == "face_on"])
    stature = rng.uniform(1.55, 1.95)
    f = rng.uniform(0.70, 0.86) * SIZE[1]
    return Bar(
        view=view,
        seed=seed,
        turn=15.0 + 60.0 * ((seed * 0.6180339887) % 1.0),
        stature=stature,
        length=rng.uniform(0.86, 1.14),
        radius=rng.uniform(0.07, 0.125) * stature,
        aside=rng.normal(0, 0.03),
        tilt=rng.uniform(-10, 10),
        tilt_change=rng.normal(0, 3),
        start=rng.normal(0, 1.5),
        yaw=rng.uniform(-8, 8),
        pan=rng.uniform(-4, 4),
        distance=f * stature / (SIZE[1] * rng.uniform(0.36, 0.72)),
        height=rng.uniform(0.8, 1.3),
        f=f,
        chest=bool(rng.random() < 0.3),
        apart=rng.uniform(0.36, 0.56),
        sway=rng.normal(0, 0.03),
        light=rng.uniform(-60, 60),
        blur=rng.uniform(0.5, 1.3),
        noise=rng.uniform(1, 7),
        quality=int(rng.integers(45, 95)),
        rails=int(rng.integers(0, 4)) * int(rng.random() < 0.5),
        checked=bool(rng.random() < 0.4),
        head=bool(rng.random() < 0.8),
        landmark_bias=0.012,
    )


def camera_of(bar: Bar):
    """World point (X target, Y ball, Z up) to pixels; also gives the depth, metres."""
    a = np.radians(bar.yaw)
    if bar.view == "face_on":
        place = np.array([bar.distance * np.sin(a), bar.distance * np.cos(a), bar.height])
    else:
        place = np.array([-bar.distance * np.cos(a), -bar.distance * np.sin(a), bar.height])
    ahead = np.array([-place[0], -place[1], 0.0]) / bar.distance
    right = np.array([-ahead[1], ahead[0], 0.0])
    if right[0 if bar.view == "face_on" else 1] < 0:
        right = -right
    c, s = np.cos(np.radians(bar.pan)), np.sin(np.radians(bar.pan))
    ahead, right = c * ahead + s * right, c * right - s * ahead

    def project(p, *, deep=False):
        d = np.asarray(p, float) - place
        depth = d @ ahead
        if deep:
            return depth
        return np.array(
            [
                SIZE[0] / 2 + bar.f * (d @ right) / depth,
                SIZE[1] / 2 - bar.f * d[..., 2] / depth,
            ]
        )

    return project


def points(bar: Bar, turn: float, share: float = 0.0) -> dict[str, np.ndarray]:
    """Ends, hands and body of a golfer turned by `turn`, in metres; `share` of the way."""
    t, e = np.radians(turn), np.radians(bar.tilt + share * bar.tilt_change)
    hips = np.array([share * bar.sway, 0.0, 0.53 * bar.stature])
    shoulders = hips + np.array([0, 0.04, 0.288 * bar.stature])
    held = 0.75 * shoulders + 0.25 * hips if bar.chest else hips
    along = np.array([np.cos(t) * np.cos(e), np.sin(t) * np.cos(e), np.sin(e)])
    ahead = np.array([-np.sin(t), np.cos(t), 0.0])
    middle = held + bar.radius * ahead + bar.aside * along
    flat = np.array([np.cos(t), np.sin(t), 0.0])
    out = {
        "lead_end": middle + bar.length / 2 * along,
        "trail_end": middle - bar.length / 2 * along,
        "hand_left": held + bar.radius * ahead + bar.apart / 2 * along,
        "hand_right": held + bar.radius * ahead - bar.apart / 2 * along,
    }
    for side, sign in (("left", 1), ("right", -1)):
        out[f"hip_{side}"] = hips + sign * 0.09 * flat
        out[f"shoulder_{side}"] = shoulders + sign * 0.19 * flat
        out[f"elbow_{side}"] = shoulders + sign * 0.26 * flat + (0, 0.02, -0.3)
        out[f"knee_{side}"] = np.array([sign * 0.15, 0.03, 0.285 * bar.stature])
        out[f"ankle_{side}"] = np.array([sign * 0.17, 0.0, 0.045 * bar.stature])
        out[f"heel_{side}"] = np.array([sign * 0.17, -0.06, 0.02])
        out[f"toe_{side}"] = np.array([sign * 0.18, 0.17, 0.02])
        out[f"ear_{side}"] = shoulders + sign * 0.07 * flat + (0, 0.02, 0.25)
    out["nose"] = shoulders + 0.1 * ahead + (0, 0, 0.24)
    return out


def body_of(bar: Bar, pose: PoseSequence, *, exact: bool = False) -> SimpleNamespace:
    """What `analysis.core.body` would tell of this golfer, as right as it is on strangers."""
    rng = np.random.default_rng([bar.seed, 7])
    off = np.zeros(2) if exact else rng.normal(0, (YAW_SD[bar.view], SCALE_SD))
    joints = np.full((len(pose), len(JOINTS), 2), np.nan)
    for lead, mark in (("lead", "left"), ("trail", "right")):
        joints[:, JOINT[f"ankle_{lead}"]] = pose.xy_px[:, LANDMARK[f"ankle_{mark}"]]
    return SimpleNamespace(
        scale_m_per_px=bar.distance / bar.f * (1 + off[1]),
        camera_yaw_deg=bar.yaw + off[0],
        camera_yaw_sd_deg=1.0 if exact else YAW_SD[bar.view],
        time_s=pose.time_s,
        joints_px=joints,
    )


def film(bar: Bar, *, fps: float = 15.0, repetitions: int = 1) -> tuple[list[Frame], PoseSequence]:
    """Standing, turning within 0.8 s, and holding, as frames and landmarks.

    The next repetition comes back after 3.2 s and turns again 4.4 s after the one before.
    """
    rng = np.random.default_rng(bar.seed)
    time_s = np.arange(0, 4.4 * (repetitions - 1) + 3.2, 1 / fps)
    own = time_s % 4.4
    share = np.clip((own - 1.0) / 0.8, 0, 1) - np.clip((own - 3.2) / 0.8, 0, 1)
    share = 3 * share**2 - 2 * share**3
    project = camera_of(bar)
    scenery = _scenery(bar, rng)
    xy = np.zeros((len(time_s), 33, 2))
    bias = rng.normal(0, bar.landmark_bias * bar.stature * bar.f / bar.distance, (33, 2))
    frames = []
    for i, part in enumerate(share):
        body = points(bar, bar.start + part * bar.turn, part)
        where = {k: project(v) for k, v in body.items()}
        frames.append(Frame(i, float(time_s[i]), _draw(body, where, scenery, bar, rng)))
        for name, j in LANDMARK.items():
            xy[i, j] = where[_shown_by(name, where)] + bias[j] + rng.normal(0, 2.0, 2)
    pose = PoseSequence(time_s, np.arange(len(time_s)), xy, np.ones(xy.shape[:2]), SIZE)
    return frames, pose


def _shown_by(name: str, where) -> str:
    if name in where:
        return name
    part, _, side = name.rpartition("_")
    if part in ("wrist", "pinky", "index", "thumb"):
        return f"hand_{side}"
    return f"ear_{side}" if f"ear_{side}" in where else "nose"


def _scenery(bar: Bar, rng) -> SimpleNamespace:
    """Background, cloth and tones of a film; grips and heads are darker or lighter."""
    ground, cloth = _texture(rng), _texture(rng)
    tone = float(rng.choice([35.0, 225.0]))
    for _ in range(bar.rails):
        y = float(rng.uniform(300, 1100))
        slope = rng.normal(0, 40)
        ends = ((0, round(y)), (SIZE[0], round(y + slope)))
        cv2.line(ground, *ends, float(rng.uniform(20, 235)), int(rng.integers(2, 6)), cv2.LINE_AA)
    if bar.checked:
        y, x = np.mgrid[: SIZE[1], : SIZE[0]]
        cloth = cloth + 22.0 * ((x // 9) % 2) - 22.0 * ((y // 11) % 2)
    slope = np.linspace(-0.5, 0.5, SIZE[0])[None, :] * bar.light
    other = float(rng.choice([30.0, 200.0]))
    return SimpleNamespace(
        ground=ground + slope, cloth=cloth + slope, tone=tone, grip=35.0, other=other
    )


def _texture(rng) -> np.ndarray:
    out = np.zeros(SIZE[::-1], np.float32)
    for cells in (6, 24, 96):
        small = rng.normal(0, 1, (cells * 2, cells)).astype(np.float32)
        out += cv2.resize(small, SIZE, interpolation=cv2.INTER_CUBIC) * 14
    return np.clip(out + rng.uniform(90, 150), 0, 255)


_LIMBS = (
    ("shoulder_left", "hip_left", 0.10),
    ("shoulder_right", "hip_right", 0.10),
    ("hip_left", "knee_left", 0.15),
    ("hip_right", "knee_right", 0.15),
    ("knee_left", "ankle_left", 0.1),
    ("knee_right", "ankle_right", 0.1),
    ("shoulder_left", "elbow_left", 0.08),
    ("shoulder_right", "elbow_right", 0.08),
    ("elbow_left", "hand_left", 0.07),
    ("elbow_right", "hand_right", 0.07),
)


def _draw(body, where, scenery, bar, rng) -> np.ndarray:
    picture = scenery.ground.astype(np.float32)
    per_m = bar.f / bar.distance
    mask = np.zeros(SIZE[::-1], np.uint8)

    def at(name):
        return tuple(np.round(where[name]).astype(int).tolist())

    trunk = np.array([at(n) for n in ("shoulder_left", "shoulder_right", "hip_right", "hip_left")])
    cv2.fillConvexPoly(mask, cv2.convexHull(trunk.astype(np.int32)), 1)
    for a, b, w in _LIMBS:
        cv2.line(mask, at(a), at(b), 1, round(w * per_m))
    cv2.circle(mask, at("nose"), round(0.1 * per_m), 1, -1)
    _draw_bar(picture, body, scenery, bar, behind=True)
    picture[mask > 0] = (0.6 * scenery.cloth + 30)[mask > 0]
    _draw_bar(picture, body, scenery, bar, behind=False)
    picture = cv2.GaussianBlur(picture, (0, 0), bar.blur)
    picture = picture + rng.normal(0, bar.noise, picture.shape)
    grey = np.clip(picture, 0, 255).astype(np.uint8)
    if bar.quality:
        packed = cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, bar.quality])[1]
        grey = cv2.imdecode(packed, cv2.IMREAD_GRAYSCALE)
    return np.repeat(grey[:, :, None], 3, axis=2)


def _draw_bar(picture, body, scenery, bar, *, behind: bool) -> None:
    """Pieces of the bar and hands behind the golfer, or before him, far ones first."""
    project = camera_of(bar)
    lead, trail = body["lead_end"], body["trail_end"]
    depth = project(0.5 * (body["hip_left"] + body["hip_right"]), deep=True)
    # strokes end in half circles: the last pieces are shorter by that
    cut = np.array([0.006, *range(1, 24), 24 - 24 * 0.012 / bar.length])
    cut[0] *= 24 / bar.length
    places = trail + (lead - trail) * (cut / 24)[:, None]
    parts = [(0.5 * (places[s] + places[s + 1]), s) for s in range(24)]
    parts += [(body[f"hand_{side}"] - (0, 0.001, 0), None) for side in ("left", "right")]
    for middle, s in sorted(parts, key=lambda part: -float(project(part[0], deep=True))):
        here = float(project(middle, deep=True))
        if (here > depth + 0.02) != behind:
            continue
        if s is None:
            centre = tuple(np.round(project(middle)).astype(int).tolist())
            cv2.circle(picture, centre, round(0.045 * bar.f / here), 165.0, -1)
        else:
            _draw_piece(picture, [project(p) for p in places[s : s + 2]], s, here, scenery, bar)
    if not behind:  # fingers close around the bar
        for side in ("left", "right"):
            _draw_fist(picture, body, project, side, bar)


def _draw_piece(picture, ends, s, here, scenery, bar) -> None:
    grip = bar.head and s >= 17  # the grip lies on the lead side
    tone = scenery.grip if grip else scenery.tone
    a, b = (tuple(np.round(p * 2**_FINE).astype(int).tolist()) for p in ends)
    wide = max(round((0.024 if grip else 0.012) * bar.f / here), 1)
    cv2.line(picture, a, b, tone, wide, cv2.LINE_AA, _FINE)
    if bar.head and s == 0:
        down = np.array([0.0, 0.07 * bar.f / here])
        toe = tuple(np.round((ends[0] + down) * 2**_FINE).astype(int).tolist())
        thick = max(round(0.03 * bar.f / here), 2)
        cv2.line(picture, a, toe, scenery.other, thick, cv2.LINE_AA, _FINE)


def _draw_fist(picture, body, project, side, bar) -> None:
    """A hand hides the bar that passes through it, not the part that comes toward us."""
    along = body["lead_end"] - body["trail_end"]
    along = along / np.linalg.norm(along)
    ends = [body[f"hand_{side}"] + k * along for k in (-0.035, 0.035)]
    nearest = min(float(project(body[e], deep=True)) for e in ("lead_end", "trail_end"))
    here = float(project(body[f"hand_{side}"], deep=True))
    spread = np.linalg.norm(project(ends[0]) - project(ends[1]))
    if here - nearest > 0.05 and spread < 0.03 * bar.f / here:
        return  # seen from its end: the bar comes out of the hand toward the camera
    a, b = (tuple(np.round(project(p)).astype(int).tolist()) for p in ends)
    cv2.line(picture, a, b, 165.0, max(round(0.06 * bar.f / here), 2))
