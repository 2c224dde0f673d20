"""A depth-buffered picture of a dressed body, its shadow, club and surroundings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.training.render.bodies import Array
from analysis.training.render.dress import CHECKS, HOOPS, MOTTLED, STRIPES, Outfit

Picture = NDArray[np.float32]


@dataclass(frozen=True)
class Camera:
    """Pinhole: picture = focal * (turn @ p + shift), `p` in the scene of `posing`."""

    turn: Array
    shift: Array
    focal_px: float
    size_px: tuple[int, int]

    def see(self, points: Array) -> tuple[Array, Array]:
        """Pixels (..., 2) and depth (...) of points (..., 3)."""
        own = points @ self.turn.T + self.shift
        flat = own[..., :2] / np.maximum(own[..., 2:], 0.05) * self.focal_px
        return flat + np.array(self.size_px) / 2, own[..., 2]


@dataclass(frozen=True)
class Light:
    toward: Array  # unit, to the light
    direct: float
    ambient: float
    tint: Array


@lru_cache(maxsize=1)
def _filler() -> Callable[..., None]:
    import numba  # pictures alone need it: bodies and motions can be tested without

    compiled: Callable[..., None] = numba.njit(cache=True, fastmath=True)(_fill)
    return compiled


def _fill(xy, z, faces, shade, part, rest, colours, pattern, scale, grain, out, depth):  # type: ignore[no-untyped-def]
    h, w = depth.shape
    for f in range(len(faces)):
        a, b, c = faces[f]
        x0, y0, x1, y1, x2, y2 = xy[a, 0], xy[a, 1], xy[b, 0], xy[b, 1], xy[c, 0], xy[c, 1]
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if area == 0:
            continue
        left, right = max(0, int(min(x0, x1, x2))), min(w - 1, int(max(x0, x1, x2)) + 1)
        top, bottom = max(0, int(min(y0, y1, y2))), min(h - 1, int(max(y0, y1, y2)) + 1)
        for y in range(top, bottom + 1):
            for x in range(left, right + 1):
                u = ((x1 - x) * (y2 - y) - (x2 - x) * (y1 - y)) / area
                v = ((x2 - x) * (y0 - y) - (x0 - x) * (y2 - y)) / area
                t = 1 - u - v
                if u < -1e-4 or v < -1e-4 or t < -1e-4:
                    continue
                d = u * z[a] + v * z[b] + t * z[c]
                if d >= depth[y, x]:
                    continue
                depth[y, x] = d
                p = part[a] if u >= v and u >= t else part[b] if v >= t else part[c]
                px = u * rest[a, 0] + v * rest[b, 0] + t * rest[c, 0]
                py = u * rest[a, 1] + v * rest[b, 1] + t * rest[c, 1]
                pz = u * rest[a, 2] + v * rest[b, 2] + t * rest[c, 2]
                s, which = scale[p], 0
                if pattern[p] == 1:
                    which = int(np.floor(px / s)) & 1
                elif pattern[p] == 2:
                    which = int(np.floor(pz / s)) & 1
                elif pattern[p] == 3:
                    which = (int(np.floor(px / s)) + int(np.floor(pz / s))) & 1
                elif pattern[p] == 4:
                    g = np.sin(px * 23 / s * 0.05) + np.sin(pz * 19 / s * 0.05 + 2 * px / s)
                    which = 1 if g + np.sin(py * 31) > 0.4 else 0
                k = u * shade[a] + v * shade[b] + t * shade[c]
                k *= 1 + grain * (((x * 7919 + y * 104729) % 97) / 97 - 0.5)
                for i in range(3):
                    out[y, x, i] = colours[p, which, i] * k


assert (STRIPES, HOOPS, CHECKS, MOTTLED) == (1, 2, 3, 4)  # `_fill` knows them by number


def paint_body(
    picture: Picture,
    outfit: Outfit,
    faces: NDArray[np.int32],
    points: Array,
    bend: Array,
    camera: Camera,
    light: Light,
) -> None:
    """Draw one body into the picture.

    Parameters
    ----------
    points, bend : ndarray, shape (V, 3)
        Vertices in the scene and their unit normals.
    """
    xy, z = camera.see(points)
    facing = np.clip(bend @ light.toward, -0.25, 1)
    sky = 0.5 + 0.5 * bend[:, 2]
    shade = light.direct * np.maximum(facing, 0) + light.ambient * (0.55 + 0.45 * sky)
    depth = np.full(picture.shape[:2], np.inf)
    _filler()(
        xy,
        z,
        faces,
        shade,
        outfit.part,
        outfit.vertices,
        outfit.colours * light.tint,
        outfit.pattern,
        outfit.scale,
        0.12,
        picture,
        depth,
    )


def paint_shadow(picture: Picture, points: Array, camera: Camera, light: Light) -> None:
    """Darken the ground where the body stands in the light."""
    height = np.maximum(points[:, 2], 0)
    flat = points - height[:, None] / max(light.toward[2], 0.25) * light.toward
    flat[:, 2] = 0
    h, w = picture.shape[:2]
    x, y = np.round(camera.see(flat)[0]).astype(int).T
    inside = (x >= 0) & (x < w) & (y >= 0) & (y < h)
    if not inside.any():
        return
    x, y = x[inside], y[inside]
    part = np.s_[max(y.min() - 9, 0) : y.max() + 10, max(x.min() - 9, 0) : x.max() + 10]
    mask = np.zeros((h, w), np.float32)
    mask[y, x] = 1
    soft = cv2.GaussianBlur(cv2.dilate(mask[part], np.ones((7, 7), np.uint8)), (0, 0), 2.5)
    picture[part] *= 1 - soft[..., None] * np.float32(
        0.55 * light.direct / (light.direct + light.ambient)
    )


def paint_club(
    picture: Picture, grip: Array, head: Array, camera: Camera, colour: Array, light: Light
) -> None:
    """A shaft from the top of the handle to the head."""
    ends = np.stack([grip + 0.12 * (grip - head), grip - 0.15 * (grip - head), head])
    (top, low, end), z = camera.see(ends)
    metre = camera.focal_px / max(float(z.mean()), 0.3)
    _stroke(picture, low, end, 0.009 * metre, colour * (light.direct + light.ambient))
    _stroke(picture, top, low, 0.024 * metre, np.full(3, 0.06) * (light.direct + light.ambient))
    cv2.circle(picture, tuple(int(c) for c in end), max(2, int(0.035 * metre)), [0.1] * 3, -1)


def paint_bar(
    picture: Picture, ends: Array, hands: Array, camera: Camera, colour: Array, light: Light
) -> None:
    """A club held across the body, hidden where the hands close on it.

    Parameters
    ----------
    ends, hands : ndarray, shape (2, 3)
        In the scene; each wrist hides what lies within 5 cm of a metre's club.
    """
    start, along = ends[0], ends[1] - ends[0]
    metre = camera.focal_px / float(camera.see(ends)[1].mean())
    near, far = sorted(np.clip((hands - start) @ along / (along @ along), 0, 1))
    for a, b in ((0.0, near - 0.05), (near + 0.05, far - 0.05), (far + 0.05, 1.0)):
        if b > a:
            (one, other), _ = camera.see(start + np.array([[a], [b]]) * along)
            _stroke(picture, one, other, 0.011 * metre, colour * (light.direct + light.ambient))


def _stroke(picture: Picture, a: Array, b: Array, width_px: float, tone: Array) -> None:
    one, other = ([int(16 * c) for c in end] for end in (a, b))
    wide = max(1, round(width_px))
    cv2.line(picture, one, other, [float(c) for c in tone], wide, cv2.LINE_AA, 4)


def noise(rng: np.random.Generator, shape: tuple[int, int], coarse: float) -> Picture:
    """Smooth noise of standard deviation about 1."""
    h, w = max(2, int(shape[0] / coarse)), max(2, int(shape[1] / coarse))
    small = rng.normal(0, 1, (h, w)).astype(np.float32)
    return np.asarray(cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC))


def surroundings(camera: Camera, rng: np.random.Generator) -> Picture:
    """Ground, and sky with trees or the walls of a room."""
    w, h = camera.size_px
    rows, columns = np.mgrid[0:h, 0:w].astype(np.float64)
    rays = np.stack(
        [(columns - w / 2) / camera.focal_px, (rows - h / 2) / camera.focal_px, np.ones((h, w))],
        axis=-1,
    )
    rays = rays @ camera.turn
    eye = -camera.turn.T @ camera.shift
    indoor = rng.random() < 0.45
    wall = rng.uniform(1.5, 4.5) if indoor else rng.uniform(25, 60)
    ahead = rays @ _level(camera.turn[2])
    to_wall = (wall + np.linalg.norm(eye[:2])) / np.maximum(ahead, 1e-3)
    to_floor = np.where(rays[..., 2] < 0, eye[2] / np.maximum(-rays[..., 2], 1e-6), np.inf)
    floor = to_floor < to_wall
    out = np.zeros((h, w, 3), np.float32)
    ground = eye + rays * np.where(floor, to_floor, 1)[..., None]
    out[floor] = _ground(ground[floor], rng, indoor)
    behind = eye + rays * np.minimum(to_wall, 1e3)[..., None]
    across = behind @ np.cross([0, 0, 1.0], _level(camera.turn[2]))
    out[~floor] = _backdrop(across[~floor], behind[..., 2][~floor], rng, indoor)
    out *= (1 + 0.04 * noise(rng, (h, w), 3) + 0.05 * noise(rng, (h, w), 40))[..., None]
    _things(out, camera, rng)
    return np.clip(out, 0, 1.2).astype(np.float32)


def _level(axis: Array) -> Array:
    flat = axis * (1, 1, 0)
    return np.asarray(flat / np.linalg.norm(flat))


def _ground(points: Array, rng: np.random.Generator, indoor: bool) -> Array:
    base = (
        rng.uniform(0.12, 0.7, 3) * 0.6
        if indoor or rng.random() < 0.2
        else np.array([0.12, 0.42, 0.2]) * rng.uniform(0.6, 1.5, 3)
    )
    x, y = points[:, 0], points[:, 1]
    ripple = sum(
        np.sin(x * a + y * b + c) for a, b, c in rng.normal(0, 1, (5, 3)) * (9, 9, 3)
    ) * rng.uniform(0.01, 0.05)
    colour = base * (1 + ripple[:, None])
    if rng.random() < 0.4:
        mat = (np.abs(x) < rng.uniform(0.6, 1.2)) & (np.abs(y + 0.3) < rng.uniform(0.7, 1.3))
        colour[mat] = np.array([0.16, 0.45, 0.18]) * rng.uniform(0.5, 1.3)
    return np.asarray(colour)


def _backdrop(across: Array, up: Array, rng: np.random.Generator, indoor: bool) -> Array:
    if indoor:
        colour = np.tile(rng.uniform(0.2, 0.95, 3), (len(across), 1))
        kind, step = rng.integers(0, 4), rng.uniform(0.15, 0.9)
        odd = np.zeros(len(across), bool)
        if kind == 1:
            odd = np.floor(across / step) % 2 == 1
        elif kind == 2:
            odd = (np.floor(across / step) + np.floor(up / step)) % 2 == 1
        elif kind == 3:
            odd = up < rng.uniform(0.6, 1.4)
        colour[odd] = colour[odd] * rng.uniform(0.5, 1.1, 3)
        return colour
    sky = np.array([0.85, 0.7, 0.55]) * rng.uniform(0.55, 1.2) * rng.uniform(0.85, 1.15, 3)
    fade = np.clip(up / 40, 0, 1)[:, None]
    colour = sky * (1 - 0.35 * fade)
    tops = rng.uniform(2.5, 7) + sum(
        np.sin(across * a + b) * c
        for a, b, c in rng.uniform(0, 1, (6, 3)) * (3.0, 6.3, rng.uniform(0.1, 0.6))
    )
    trees = up < tops
    leaf = np.array([0.1, 0.25, 0.13]) * rng.uniform(0.5, 1.7)
    x, y = across[trees], up[trees]
    waves = rng.normal(0, 1, (6, 3)) * (2.5, 3.5, 3)
    blotch = 0.8 + 0.08 * sum(np.sin(a * x + b * y + c) for a, b, c in waves)
    colour[trees] = leaf * blotch[:, None]
    return np.asarray(colour)


def _things(out: Picture, camera: Camera, rng: np.random.Generator) -> None:
    """Boxes and poles standing about, none in front of the golfer."""
    for _ in range(rng.poisson(1.6)):
        away = camera.turn[2] * (1, 1, 0) * rng.uniform(1.2, 5)
        side = np.cross([0, 0, 1.0], camera.turn[2]) * rng.uniform(-2.5, 2.5)
        foot = away + side
        tall, wide = rng.uniform(0.3, 2.2), rng.uniform(0.03, 0.5)
        (low, high), z = camera.see(np.stack([foot, foot + np.array([0, 0, tall])]))
        half = wide / 2 * camera.focal_px / max(float(z[0]), 0.5)
        corner = (int(low[0] - half), int(high[1])), (int(low[0] + half), int(low[1]))
        cv2.rectangle(out, *corner, [float(c) for c in rng.uniform(0.05, 0.9, 3)], -1)
    if rng.random() < 0.2:
        step = int(rng.uniform(8, 24))
        shade = float(rng.uniform(0.05, 0.3))
        h, w = out.shape[:2]
        for x in range(0, w, step):
            cv2.line(out, (x, 0), (x, int(h * 0.55)), [shade] * 3, 1, cv2.LINE_AA)
        for y in range(0, int(h * 0.55), step):
            cv2.line(out, (0, y), (w, y), [shade] * 3, 1, cv2.LINE_AA)


@dataclass(frozen=True)
class Film:
    """Exposure, softness, noise and compression of a phone's film."""

    soft: float
    tone: NDArray[np.float32]  # grey level of each of 1,024 brightnesses
    grain: Picture
    jpeg: int

    def of(self, picture: Picture, rng: np.random.Generator) -> NDArray[np.uint8]:
        """The picture as it comes off the phone, 8-bit BGR."""
        if self.soft > 0.3:
            picture = cv2.GaussianBlur(picture, (0, 0), self.soft)
        bright = np.clip(picture * np.float32(1023), 0, 1023).astype(np.uint16)
        dy, dx = (int(rng.integers(n)) for n in self.grain.shape[:2])
        grey = self.tone[bright] + np.roll(self.grain, (dy, dx), (0, 1))
        quality = [cv2.IMWRITE_JPEG_QUALITY, self.jpeg]
        coded = cv2.imencode(".jpg", np.clip(grey, 0, 255).astype(np.uint8), quality)[1]
        return np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR), np.uint8)


def random_film(rng: np.random.Generator, size_px: tuple[int, int]) -> Film:
    level = np.clip(np.linspace(0, 1, 1024) * rng.uniform(0.55, 1.1), 0, 1)
    grain = rng.standard_normal((size_px[1], size_px[0], 3), np.float32)
    return Film(
        float(rng.choice([0, rng.uniform(0.3, 1.6)])),
        (255 * level ** rng.uniform(0.5, 0.85)).astype(np.float32),
        grain * np.float32(rng.uniform(0, 7)),
        int(rng.uniform(50, 95)),
    )
