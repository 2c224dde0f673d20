"""The camera that filmed: what is usual of one, and lines of sight through space.

A line in the picture fixes a plane through the camera, a point a ray; which point of
the ray, or which direction in the plane, takes one more fact: how deep it lies.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.core.pose import JOINT, Array, Capture, Moment

# A phone's main camera sees about this many picture heights away; the person who films
# holds it at the height of the hands at address.
_USUAL_F, _USUAL_HEIGHT = 0.78, 0.57
# and stands between feet and ball, on the line through the hands; face-on opposite the
# ball, which lies ahead of the middle of the feet (statures toward ball and target).
_ASIDE, _AHEAD = 0.11, 0.02
_USUAL_YAW_SD_DEG, _USUAL_ROLL_SD_DEG, _LEVEL_HELD_DEG = 3.5, 0.8, 1.0
_UPRIGHT_SD_DEG = 0.3  # what stands upright does so to this


@dataclass(frozen=True)
class Camera:
    """Pinhole: picture = K (R p + t), p in the golfer's frame, metres, the feet at 0."""

    f_px: float
    centre_px: Array
    rotation: Array
    position_m: Array
    yaw_sd_deg: float
    pitch_sd_deg: float = 2.0
    roll_sd_deg: float = _USUAL_ROLL_SD_DEG

    def ray(self, xy_px: Array) -> Array:
        """Direction in the golfer's frame of what is seen at a pixel."""
        d = np.array([*(xy_px - self.centre_px) / self.f_px, 1.0])
        return np.asarray(self.rotation.T @ d)

    def picture_px(self, points_m: Array) -> Array:
        """Pixels of points in the golfer's frame, shape (N, 3) to (N, 2)."""
        seen = (points_m - self.position_m) @ self.rotation.T
        return np.asarray(self.centre_px + self.f_px * seen[:, :2] / seen[:, 2:])


def usual_camera(
    *,
    view: str,
    size_px: tuple[int, int],
    feet_px: Array,
    stature_px: float,
    stature_m: float,
    yaw_deg: float = 0.0,
    yaw_sd_deg: float = _USUAL_YAW_SD_DEG,
    roll_deg: float = 0.0,
    roll_sd_deg: float = _USUAL_ROLL_SD_DEG,
) -> Camera:
    """A camera as high as the hands, at the distance the person's size tells.

    It is turned so that the feet appear where they do.

    Parameters
    ----------
    feet_px : ndarray, shape (2,)
        Middle between the ankles at address.
    stature_px : float
        Standing height in pixels.
    yaw_deg : float
        How far off the line the camera stands, seen from above: positive toward the
        target (face-on), toward the heels (down-the-line).
    roll_deg, roll_sd_deg : float
        How far upright things lean to the right in the picture, and how well that is known.
    """
    f = _USUAL_F * max(size_px)
    distance = f * stature_m / stature_px
    centre = np.array(size_px, float) / 2
    height = _USUAL_HEIGHT * stature_m
    pitch = math.atan2(height - 0.05 * stature_m, distance) - math.atan2(feet_px[1] - centre[1], f)
    a = math.radians(yaw_deg)
    aside = _ASIDE * stature_m
    if view == "face_on":
        x = distance * math.sin(a) + _AHEAD * stature_m
        place = np.array([x, distance * math.cos(a) + aside, height])
    else:
        place = np.array([-distance * math.cos(a), aside - distance * math.sin(a), height])
    to_feet = np.array([-place[0], -place[1], 0.0]) / math.hypot(place[0], place[1])
    # the picture's right is the golfer's Y down-the-line and his X face-on
    beside = np.array([-to_feet[1], to_feet[0], 0.0])
    if beside[0 if view == "face_on" else 1] < 0:
        beside = -beside
    side = math.atan2(feet_px[0] - centre[0], f)  # where in the picture the feet stand
    ahead = to_feet * math.cos(side) - beside * math.sin(side)
    right = beside * math.cos(side) + to_feet * math.sin(side)
    up = np.array([0.0, 0.0, 1.0])
    axis = ahead * math.cos(pitch) - up * math.sin(pitch)
    below = -(up * math.cos(pitch) + ahead * math.sin(pitch))
    level = Camera(
        f, centre, np.stack([right, below, axis]), place, yaw_sd_deg, roll_sd_deg=roll_sd_deg
    )
    return turned(level, roll=roll_deg)


def camera_of(
    body: Any, events: Mapping[str, Moment], capture: Capture, stature_px: float
) -> Camera:
    given = dict(getattr(body, "camera", None) or {})
    yaw = _finite(getattr(body, "camera_yaw_deg", math.nan), 0.0)
    yaw_sd = _finite(getattr(body, "camera_yaw_sd_deg", math.nan), _USUAL_YAW_SD_DEG)
    if {"f_px", "R", "t"} <= set(given):
        rotation = np.asarray(given["R"], float)
        place = -rotation.T @ np.asarray(given["t"], float)
        centre = np.asarray(given["centre_px"], float)
        return Camera(float(given["f_px"]), centre, rotation, place, yaw_sd)
    size = given["size_px"] if "size_px" in given else _size_px(body)
    return usual_camera(
        view=capture.view,
        size_px=(int(size[0]), int(size[1])),
        feet_px=_feet_px(body, events),
        stature_px=stature_px,
        stature_m=capture.stature_cm / 100,
        yaw_deg=yaw,
        yaw_sd_deg=yaw_sd,
        **_roll(given),
    )


def _roll(given: Mapping[str, Any]) -> dict[str, float]:
    """The surroundings tell it where they can; else the sure part of a guess from posture.

    People hold a phone level to a degree, and posture tells a roll no better than that.
    """
    if "lean" in given:
        roll, sd = (float(v) for v in given["lean"])
        return {"roll_deg": roll, "roll_sd_deg": math.hypot(sd, _UPRIGHT_SD_DEG)}
    guess = _finite(float(given.get("roll_deg", math.nan)), 0.0)
    return {"roll_deg": math.copysign(max(abs(guess) - _LEVEL_HELD_DEG, 0.0), guess)}


def _finite(value: float, otherwise: float) -> float:
    return float(value) if math.isfinite(value) else otherwise


def _size_px(body: Any) -> tuple[float, float]:
    """Without a picture size: twice the middle of where the golfer stands."""
    middle = np.nanmedian(body.joints_px.reshape(-1, 2), axis=0)
    return (2 * float(middle[0]), 2 * float(middle[1]))


def _feet_px(body: Any, events: Mapping[str, Moment]) -> Array:
    address = events.get("address", Moment(None)).time_s
    ankles = body.joints_px[:, [JOINT["ankle_lead"], JOINT["ankle_trail"]]].mean(axis=1)
    rows = np.abs(body.time_s - (body.time_s[0] if address is None else address)) < 0.3
    return np.asarray(np.nanmedian(ankles[rows] if rows.any() else ankles, axis=0))


def turned(camera: Camera, *, yaw: float = 0.0, pitch: float = 0.0, roll: float = 0.0) -> Camera:
    """The camera turned about the golfer (yaw) or about itself (pitch, roll)."""
    if yaw:
        a = math.radians(yaw)
        turn = np.array(
            [[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1.0]]
        )
        return replace(
            camera,
            rotation=camera.rotation @ turn.T,
            position_m=turn @ camera.position_m,
        )
    a, b = math.radians(pitch), math.radians(roll)
    tilt = np.array([[1.0, 0, 0], [0, math.cos(a), -math.sin(a)], [0, math.sin(a), math.cos(a)]])
    spin = np.array([[math.cos(b), -math.sin(b), 0], [math.sin(b), math.cos(b), 0], [0, 0, 1.0]])
    return replace(camera, rotation=spin @ tilt @ camera.rotation)


def at_depth(camera: Camera, xy_px: Array, depth_m: float, axis: int) -> Array:
    ray = camera.ray(xy_px)
    return np.asarray(camera.position_m + ray * (depth_m - camera.position_m[axis]) / ray[axis])


def shaft_directions(
    camera: Camera, grip_px: Array, angle_deg: float, along: Array, axis: int
) -> Array:
    """Unit directions grip to head from one line in the picture.

    Parameters
    ----------
    camera : Camera
    grip_px : ndarray, shape (2,)
        A point of the line.
    angle_deg : float
        Picture angle of the ray from the grip to the head, 0 right, 90 up.
    along : ndarray, shape (N,)
        Components of the direction on `axis`, the golfer's axis that the camera looks
        along: one direction is answered for each.
    axis : int
        0 down-the-line, 1 face-on.

    Returns
    -------
    ndarray, shape (N, 3)
        NaN where the line and the component contradict each other.
    """
    a = math.radians(angle_deg)
    step = np.array([math.cos(a), -math.sin(a)])
    normal = np.cross(camera.ray(grip_px), camera.ray(grip_px + 50 * step))
    normal = normal / np.linalg.norm(normal)
    others = [i for i in range(3) if i != axis]
    across = normal[others]
    size = float(np.hypot(*across))
    if size < 1e-6:
        return np.full((len(along), 3), np.nan)
    foot = -normal[axis] * along / size
    rest = 1 - along**2 - foot**2
    half = np.sqrt(np.where(rest > 0, rest, np.nan))
    tangent = np.array([-across[1], across[0]]) / size
    found = np.empty((2, len(along), 3))
    found[..., axis] = along
    for k, sign in enumerate((1.0, -1.0)):
        found[k][:, others] = np.outer(foot / size, across) + sign * np.outer(half, tangent)
    # how the two would move in the picture, seen from the grip
    turned_to = found @ camera.rotation.T
    middle = camera.rotation @ camera.ray(grip_px)
    moved = (turned_to[..., :2] * middle[2] - middle[:2] * turned_to[..., 2:]) @ step
    return np.asarray(np.where((moved[0] >= moved[1])[:, None], found[0], found[1]))
