"""Films of a stick golfer with a club in space: where it points at every moment is known.

Hands and shaft run smoothly through drawn places, before a camera of known kind; the landmarks
are those of the drawn body, a little off. It shows what reading the club is worth, not
what a network makes of a body.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
from scipy.interpolate import PchipInterpolator

from analysis.core.camera import Camera, turned, usual_camera
from analysis.core.events import joint_signals
from analysis.core.pose import EVENTS, JOINT, JOINTS, LANDMARK, Capture, PoseSequence
from analysis.video import Frame

SIZE = (540, 960)
BALL_RADIUS_M = 0.021
_JOINT_SD_M = 0.016  # of the hands' height on bodies never seen, half of them nearer
_KEYS = tuple(event for event in EVENTS if event != "late_back")
# Statures: hands toward the target, toward the ball and up; middle, and how far either way.
_HANDS = {
    "address": ((0.00, 0.18, 0.45), (0.01, 0.01, 0.01)),
    "takeaway": ((-0.19, 0.16, 0.50), (0.02, 0.01, 0.02)),
    "lead_arm_back": ((-0.29, 0.08, 0.77), (0.03, 0.03, 0.02)),
    "top": ((-0.20, 0.06, 0.97), (0.05, 0.05, 0.05)),
    "transition": ((-0.25, 0.10, 0.91), (0.03, 0.04, 0.02)),
    "lead_arm_down": ((-0.28, 0.11, 0.76), (0.03, 0.03, 0.02)),
    "delivery": ((-0.15, 0.14, 0.55), (0.02, 0.02, 0.02)),
    "follow_through": ((0.25, 0.15, 0.55), (0.03, 0.02, 0.03)),
    "finish": ((0.15, -0.05, 0.95), (0.05, 0.05, 0.03)),
}
# The shaft's direction from hands to head, likewise; made to unit length afterwards.
_SHAFT = {
    "takeaway": ((-0.98, 0.05, 0.0), (0.0, 0.12, 0.0)),
    "lead_arm_back": ((0.0, -0.51, 0.85), (0.2, 0.15, 0.0)),
    "top": ((0.95, -0.10, 0.05), (0.05, 0.30, 0.25)),
    "transition": ((0.3, -0.50, 0.75), (0.35, 0.2, 0.1)),
    "lead_arm_down": ((0.0, -0.60, 0.8), (0.2, 0.19, 0.0)),
    "delivery": ((-0.98, -0.02, 0.0), (0.0, 0.1, 0.0)),
    "follow_through": ((0.98, 0.0, 0.0), (0.0, 0.1, 0.0)),
    "finish": ((-0.4, -0.5, -0.3), (0.2, 0.2, 0.2)),
}
_LIMBS = (
    ("shoulder", "elbow", 0.05),
    ("elbow", "wrist", 0.04),
    ("hip", "knee", 0.08),
    ("knee", "ankle", 0.055),
    ("heel", "toe", 0.05),
)


@dataclass(frozen=True)
class Build:
    """Who is drawn with which club, and from where."""

    stature_m: float = 1.78
    shaft_m: float = 0.9
    tall: tuple[float, float] = (0.42, 0.52)  # of the picture's height
    aside: float = 0.0  # of the usual place, in widths of the picture
    yaw_sd_deg: float = 3.0
    pitch_sd_deg: float = 1.0
    past_s: tuple[float, float] = (0.84, 0.92)  # of the backswing: when it passes the camera


@dataclass(frozen=True)
class ClubFilm:
    """A drawn film, its landmarks, and what is true of the club."""

    frames: list[Frame]
    pose: PoseSequence
    body: SimpleNamespace
    in_space: dict[str, Any]
    capture: Capture
    times_s: dict[str, float]
    figures: dict[tuple[str, str], float]


@dataclass(frozen=True)
class _Swing:
    times_s: dict[str, float]
    hands: PchipInterpolator
    shaft: PchipInterpolator
    build: Build

    def at(self, time_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Hands and club head (T, 3), metres."""
        way = self.shaft(time_s)
        way = way / np.linalg.norm(way, axis=-1, keepdims=True)
        hands = self.hands(time_s)
        return hands, hands + self.build.shaft_m * way


def film(seed: int, view: str, *, lean_deg: float | None = None, others: bool = False) -> ClubFilm:
    """One swing of the club; `lean_deg` is the handle's lean at impact, -20 to 15 unless told.

    `others` are a second set, of other builds, clubs and cameras.
    """
    rng = np.random.default_rng([71 if others else 23, seed])
    build = _other_build(rng) if others else Build()
    lean = float(rng.uniform(-20, 15)) if lean_deg is None else lean_deg
    swing = _swing(rng, lean, build)
    rate = float(rng.choice([30, 60, 60, 120]))
    time_s = np.arange(0, swing.times_s["finish"] + 0.3, 1 / rate) + rng.uniform(0, 1 / rate)
    camera = _camera(rng, view, build)
    hands, _ = swing.at(time_s)
    joints = _joints(hands, build)
    xy = np.stack([camera.picture_px(row) for row in joints])
    xy += rng.normal(0, 0.004 * _stature_px(camera, build), (1, 33, 2))
    xy += rng.normal(0, 0.003 * _stature_px(camera, build), xy.shape)
    pose = PoseSequence(time_s, np.arange(len(time_s)), xy, np.ones((len(time_s), 33)), SIZE)
    shutter = float(rng.uniform(1 / 2000, 1 / 240))
    frames = _painted(rng, swing, camera, time_s, joints, shutter)
    capture = Capture(view, "swing", "right", 100 * build.stature_m)
    in_space = _in_space(rng, time_s, joints, view)
    body, moments = _body(pose, camera, build), _moments(swing)
    return ClubFilm(frames, pose, body, in_space, capture, moments, _figures(swing))


def _other_build(rng: np.random.Generator) -> Build:
    tall = float(rng.uniform(0.38, 0.56))
    return Build(
        stature_m=float(rng.uniform(1.52, 1.96)),
        shaft_m=float(rng.uniform(0.76, 1.02)),
        tall=(tall, tall),
        aside=float(rng.uniform(-0.08, 0.08)),
        yaw_sd_deg=4.0,
        pitch_sd_deg=1.5,
        past_s=(0.78, 0.97),
    )


def _swing(rng: np.random.Generator, lean_deg: float, build: Build) -> _Swing:
    back, down = float(rng.uniform(0.6, 1.1)), float(rng.uniform(0.22, 0.32))
    still = 0.6
    share = dict(zip(_KEYS, (0, 0.42, 0.68, 1.0, 1.24, 1.45, 1.77, 2.0, 2.22, 3.6), strict=True))
    t = {e: still + back * min(s, 1) + down * max(s - 1, 0) for e, s in share.items()}
    ball = np.array([0.02 * build.stature_m, 0.44 * build.stature_m, BALL_RADIUS_M])
    hands, shaft = {}, {}
    for e in _KEYS:
        if e in _SHAFT:
            middle, reach = (np.array(v) for v in _SHAFT[e])
            way = middle + reach * rng.uniform(-1, 1, 3)
            shaft[e] = way / np.linalg.norm(way)
        if e in _HANDS:
            middle, reach = (np.array(v) for v in _HANDS[e])
            hands[e] = build.stature_m * (middle + reach * rng.uniform(-1, 1, 3))
    for e, lean in (("address", rng.uniform(-3, 9)), ("impact", lean_deg)):
        out = float(rng.uniform(0.45, 0.52))
        down_part = math.sqrt((1 - out**2) / (1 + math.tan(math.radians(lean)) ** 2))
        shaft[e] = np.array([-down_part * math.tan(math.radians(lean)), out, -down_part])
        hands[e] = ball - build.shaft_m * shaft[e] + np.array([0, 0, 0.01])
    when = dict(t)
    if rng.random() < 0.5:  # it passes the camera before the hands are at the top
        when["past"] = still + back * float(rng.uniform(*build.past_s))
        shaft["past"] = np.array([0.96, rng.uniform(-0.3, 0.0), rng.uniform(0.0, 0.3)])
    return _Swing(t, _through(hands, when), _through(shaft, when), build)


def _through(places: dict[str, np.ndarray], when: dict[str, float]) -> PchipInterpolator:
    """Smoothly from place to place, at rest before the first and after the last."""
    order = sorted(places, key=lambda e: when[e])
    first, last = places[order[0]], places[order[-1]]
    times = [0.0, 0.3, *(when[e] for e in order), when[order[-1]] + 0.6]
    return PchipInterpolator(times, np.stack([first, first, *(places[e] for e in order), last]))


def _camera(rng: np.random.Generator, view: str, build: Build) -> Camera:
    place = (0.42 if view == "down_the_line" else 0.5) + build.aside
    feet = np.array([SIZE[0] * place, 0.76 * SIZE[1]])
    tall = float(rng.uniform(*build.tall)) * SIZE[1]
    level = usual_camera(
        view=view, size_px=SIZE, feet_px=feet, stature_px=tall, stature_m=build.stature_m
    )
    return turned(
        level,
        yaw=rng.normal(0, build.yaw_sd_deg),
        pitch=rng.normal(0, build.pitch_sd_deg),
        roll=rng.normal(0, 0.5),
    )


def _stature_px(camera: Camera, build: Build) -> float:
    ends = camera.picture_px(np.array([[0, 0, 0], [0, 0, build.stature_m]], float))
    return float(np.hypot(*(ends[1] - ends[0])))


def _joints(hands: np.ndarray, build: Build) -> np.ndarray:
    """Landmarks (T, 33, 3) in metres of a body that stands still but for its arms."""
    place = {
        "shoulder": (0.11, 0.12, 0.77), "hip": (0.055, -0.06, 0.52), "knee": (0.08, 0.05, 0.28),
        "ankle": (0.09, 0.0, 0.045), "heel": (0.09, -0.035, 0.02), "toe": (0.10, 0.10, 0.01),
        "ear": (0.03, 0.16, 0.88),
    }  # fmt: skip
    out = np.zeros((len(hands), 33, 3))
    for name, j in LANDMARK.items():
        part, _, side = name.rpartition("_")
        sign = {"left": 1, "right": -1}.get(side, 0)
        x, y, z = place.get(part, (0.0, 0.2, 0.87))
        out[:, j] = build.stature_m * np.array([sign * x, y, z])
        if part in ("wrist", "pinky", "index", "thumb"):
            out[:, j] = hands + np.array([0.03 * sign, 0, 0.02])
    for side in ("left", "right"):
        shoulder, wrist = (out[:, LANDMARK[f"{p}_{side}"]] for p in ("shoulder", "wrist"))
        out[:, LANDMARK[f"elbow_{side}"]] = 0.5 * (shoulder + wrist) - np.array([0, 0.02, 0.04])
    return out


def _in_space(
    rng: np.random.Generator, time_s: np.ndarray, landmarks: np.ndarray, view: str
) -> dict[str, Any]:
    """What events are read from: joints in space, off by as much as the network's heights are."""
    joints = np.zeros((len(time_s), len(JOINTS), 3))
    for side, other in (("left", "lead"), ("right", "trail")):
        for part in ("shoulder", "wrist"):
            joints[:, JOINT[f"{part}_{other}"]] = landmarks[:, LANDMARK[f"{part}_{side}"]]
    hands = [JOINT[f"wrist_{side}"] for side in ("lead", "trail")]
    joints[:, JOINT["grip"]] = joints[:, hands].mean(axis=1)
    wave = np.sin(2 * np.pi * rng.uniform(0.5, 2.0) * time_s + rng.uniform(0, 6))
    joints[:, [*hands, JOINT["grip"]], 2] += (_JOINT_SD_M * 2**0.5 * wave)[:, None]
    return joint_signals(joints, view=view)


def _body(pose: PoseSequence, camera: Camera, build: Build) -> SimpleNamespace:
    """What the figures of the club ask of a body: feet in the picture, scale, picture size."""
    px = np.full((len(pose), len(JOINTS), 2), np.nan)
    for side, other in (("left", "lead"), ("right", "trail")):
        for part in ("ankle", "heel", "toe", "hip", "shoulder"):
            px[:, JOINT[f"{part}_{other}"]] = pose.xy_px[:, LANDMARK[f"{part}_{side}"]]
    return SimpleNamespace(
        time_s=pose.time_s,
        joints_px=px,
        scale_m_per_px=build.stature_m / _stature_px(camera, build),
        camera={"size_px": SIZE},
        camera_yaw_deg=math.nan,
        camera_yaw_sd_deg=math.nan,
    )


def _painted(
    rng: np.random.Generator,
    swing: _Swing,
    camera: Camera,
    time_s: np.ndarray,
    joints: np.ndarray,
    shutter_s: float,
) -> list[Frame]:
    scene = np.full(SIZE[::-1], rng.uniform(80, 150), np.float32)
    for cells in (6, 40):
        small = rng.normal(0, rng.uniform(4, 12), (2 * cells, cells)).astype(np.float32)
        scene += cv2.resize(small, SIZE, interpolation=cv2.INTER_CUBIC)
    per_m = _stature_px(camera, swing.build) / swing.build.stature_m
    steel, skin, cloth = rng.choice([25.0, 225.0]), rng.uniform(90, 190), rng.uniform(30, 220)
    ball = swing.at(np.array([swing.times_s["impact"]]))[1][0] - np.array([0, 0, 0.01])
    spot = _fixed(camera.picture_px(ball[None])[0])
    frames = []
    for i, t in enumerate(time_s):
        picture = scene.copy()
        if t <= swing.times_s["impact"]:
            cv2.circle(picture, spot, round(16 * BALL_RADIUS_M * per_m), 250.0, -1, cv2.LINE_AA, 4)
        xy = camera.picture_px(joints[i])
        _draw_body(picture, xy, per_m, skin, cloth)
        picture = _with_club(picture, swing, camera, t + shutter_s * np.linspace(0, 1, 5), steel)
        noisy = cv2.GaussianBlur(picture, (0, 0), 0.6) + rng.normal(0, 3, picture.shape)
        frames.append(Frame(i, float(t), np.clip(noisy, 0, 255).astype(np.uint8)))
    return frames


def _fixed(xy: np.ndarray) -> tuple[int, int]:
    x, y = np.round(16 * xy).astype(int).tolist()
    return x, y


def _draw_body(
    picture: np.ndarray, xy: np.ndarray, per_m: float, skin: float, cloth: float
) -> None:
    corners = [f"{p}_{s}" for p, s in (("shoulder", "left"), ("shoulder", "right"),
                                       ("hip", "right"), ("hip", "left"))]  # fmt: skip
    trunk = np.round(xy[[LANDMARK[n] for n in corners]]).astype(np.int32)
    cv2.fillConvexPoly(picture, cv2.convexHull(trunk), cloth)
    cv2.polylines(picture, [trunk], True, cloth, round(0.16 * per_m))
    head = np.mean(xy[[LANDMARK["ear_left"], LANDMARK["ear_right"]]], axis=0)
    cv2.circle(picture, _fixed(head), round(16 * 0.1 * per_m), skin, -1, cv2.LINE_AA, 4)
    for side in ("right", "left"):
        for a, b, wide in _LIMBS:
            one, other = (_fixed(xy[LANDMARK[f"{p}_{side}"]]) for p in (a, b))
            tone = skin if "elbow" in (a, b) else cloth * 0.7
            cv2.line(picture, one, other, tone, round(2 * wide * per_m), cv2.LINE_AA, 4)


def _with_club(
    picture: np.ndarray, swing: _Swing, camera: Camera, moments: np.ndarray, tone: float
) -> np.ndarray:
    """The club over the picture, as the open shutter sees it."""
    total = np.zeros_like(picture)
    for hands, head in zip(*swing.at(moments), strict=True):
        one = picture.copy()
        way = (head - hands) / swing.build.shaft_m
        ends = camera.picture_px(np.stack([hands - 0.1 * way, head]))
        cv2.line(one, _fixed(ends[0]), _fixed(ends[1]), tone, 2, cv2.LINE_AA, 4)
        toe = camera.picture_px((head + np.array([0.0, 0.08, 0.0]))[None])[0]
        cv2.line(one, _fixed(ends[1]), _fixed(toe), tone, 6, cv2.LINE_AA, 4)
        grip = camera.picture_px(hands[None])[0]
        cv2.circle(one, _fixed(grip), 16 * 8, 200.0, -1, cv2.LINE_AA, 4)
        total += one
    return total / len(moments)


def _moments(swing: _Swing) -> dict[str, float]:
    t = dict(swing.times_s)
    fine = np.arange(t["lead_arm_back"], t["top"], 0.001)
    height = swing.at(fine)[0][:, 2]
    t["late_back"] = float(fine[np.argmax(height >= height[0] + 0.75 * (height[-1] - height[0]))])
    return t


def _figures(swing: _Swing) -> dict[tuple[str, str], float]:
    out = {}
    for event, when in _moments(swing).items():
        hands, head = (p[0] for p in swing.at(np.array([when])))
        x, y, z = (head - hands) / swing.build.shaft_m
        out["shaft_pitch_deg", event] = math.degrees(math.atan2(z, -y)) % 180
        out["handle_lean_deg", event] = math.degrees(math.atan2(-x, -z))
        out["across", event] = math.hypot(y, z)
    return out
