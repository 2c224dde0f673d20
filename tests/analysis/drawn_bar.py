"""Drawn films of a bar held across the hips: a known camera, textures, hands over the bar."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from analysis.core.pose import LANDMARK, PoseSequence
from analysis.video import Frame

SIZE = (720, 1280)


@dataclass(frozen=True)
class Bar:
    """One drawn film; lengths in metres, angles in degrees."""

    view: str
    turn: float
    seed: int
    stature: float = 1.76
    length: float = 0.94
    radius: float = 0.2
    aside: float = 0.04
    tilt: float = 2.0
    start: float = 0.0
    yaw: float = 0.0
    distance: float = 3.6
    height: float = 1.05
    f: float = 940.0


def camera_of(bar: Bar):
    """World point (X target, Y ball, Z up) to pixels."""
    a = np.radians(bar.yaw)
    if bar.view == "face_on":
        place = np.array([bar.distance * np.sin(a), bar.distance * np.cos(a), bar.height])
    else:
        place = np.array([-bar.distance * np.cos(a), -bar.distance * np.sin(a), bar.height])
    ahead = np.array([-place[0], -place[1], 0.0]) / bar.distance
    right = np.array([-ahead[1], ahead[0], 0.0])
    if right[0 if bar.view == "face_on" else 1] < 0:
        right = -right

    def project(p):
        d = np.asarray(p, float) - place
        depth = d @ ahead
        return np.array(
            [
                SIZE[0] / 2 + bar.f * (d @ right) / depth,
                SIZE[1] / 2 - bar.f * d[..., 2] / depth,
            ]
        )

    return project


def points(bar: Bar, turn: float) -> dict[str, np.ndarray]:
    """Ends, hands and body of a golfer turned by `turn`, in metres."""
    t, e = np.radians(turn), np.radians(bar.tilt)
    hips = np.array([0.0, 0.0, 0.53 * bar.stature])
    along = np.array([np.cos(t) * np.cos(e), np.sin(t) * np.cos(e), np.sin(e)])
    ahead = np.array([-np.sin(t), np.cos(t), 0.0])
    middle = hips + bar.radius * ahead + bar.aside * along
    shoulders = hips + np.array([0, 0.04, 0.288 * bar.stature])
    flat = np.array([np.cos(t), np.sin(t), 0.0])
    out = {
        "lead_end": middle + bar.length / 2 * along,
        "trail_end": middle - bar.length / 2 * along,
        "hand_left": hips + bar.radius * ahead + 0.24 * along,
        "hand_right": hips + bar.radius * ahead - 0.24 * along,
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


def film(bar: Bar, *, fps: float = 15.0, repetitions: int = 1) -> tuple[list[Frame], PoseSequence]:
    """Standing, turning within 0.8 s, and holding, as frames and landmarks.

    The next repetition comes back after 3.2 s and turns again 4.4 s after the one before.
    """
    rng = np.random.default_rng(bar.seed)
    time_s = np.arange(0, 4.4 * (repetitions - 1) + 3.2, 1 / fps)
    own = time_s % 4.4
    share = np.clip((own - 1.0) / 0.8, 0, 1) - np.clip((own - 3.2) / 0.8, 0, 1)
    turns = bar.start + bar.turn * (3 * share**2 - 2 * share**3)
    project = camera_of(bar)
    ground = _texture(rng)
    cloth = _texture(rng)
    tone = rng.choice([35.0, 225.0])
    xy = np.zeros((len(time_s), 33, 2))
    frames = []
    for i, turn in enumerate(turns):
        where = {k: project(v) for k, v in points(bar, turn).items()}
        frames.append(Frame(i, float(time_s[i]), _draw(where, ground, cloth, tone, bar, rng)))
        for name, j in LANDMARK.items():
            part, _, side = name.rpartition("_")
            for key in (name, f"hand_{side}", f"ear_{side}", "nose"):
                if key in where and (key in (name, "nose") or _belongs(part, key)):
                    xy[i, j] = where[key] + rng.normal(0, 2.0, 2)
                    break
    pose = PoseSequence(time_s, np.arange(len(time_s)), xy, np.ones(xy.shape[:2]), SIZE)
    return frames, pose


def _belongs(part: str, key: str) -> bool:
    hand = part in ("wrist", "pinky", "index", "thumb")
    return key.startswith("hand") if hand else key.startswith("ear")


def _texture(rng) -> np.ndarray:
    out = np.zeros(SIZE[::-1], np.float32)
    for cells in (6, 24, 96):
        small = rng.normal(0, 1, (cells * 2, cells)).astype(np.float32)
        out += cv2.resize(small, SIZE, interpolation=cv2.INTER_CUBIC) * 14
    return np.clip(out + rng.uniform(90, 150), 0, 255)


def _draw(where, ground, cloth, tone, bar, rng) -> np.ndarray:
    picture = ground.copy()
    per_m = bar.f / bar.distance
    body = np.zeros(SIZE[::-1], np.uint8)

    def at(name):
        return tuple(np.round(where[name]).astype(int).tolist())

    trunk = np.array([at(n) for n in ("shoulder_left", "shoulder_right", "hip_right", "hip_left")])
    cv2.fillConvexPoly(body, cv2.convexHull(trunk.astype(np.int32)), 1)
    for a, b, w in (
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
    ):
        cv2.line(body, at(a), at(b), 1, round(w * per_m))
    cv2.circle(body, at("nose"), round(0.1 * per_m), 1, -1)
    picture[body > 0] = 0.6 * cloth[body > 0] + 30
    fine = cv2.resize(picture, None, fx=4, fy=4, interpolation=cv2.INTER_LINEAR)
    ends = [np.round(4 * where[n]).astype(int).tolist() for n in ("lead_end", "trail_end")]
    cv2.line(fine, ends[0], ends[1], float(tone), max(round(4 * 0.011 * per_m), 1))
    picture = cv2.resize(fine, SIZE, interpolation=cv2.INTER_AREA)
    for side in ("left", "right"):
        cv2.circle(picture, at(f"hand_{side}"), round(0.045 * per_m), 165.0, -1)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.7) + rng.normal(0, 3, picture.shape)
    grey = np.clip(picture, 0, 255).astype(np.uint8)
    return np.repeat(grey[:, :, None], 3, axis=2)
