"""A quick look over the whole clip: where the golfer is, when the hands swing.

A few pictures a second, small, with the quick network. What it finds decides which
frames the heavy network looks at, and feeds the quality codes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.backdrop import Backdrop
from analysis.core.pose import LANDMARK, LANDMARKS, mirror_for
from analysis.core.steady import bridged, flipped, moved
from analysis.estimators import Person, PoseEstimator
from analysis.video import Frame, VideoInfo, frames, working_size

SHORT_SIDE = 480
FAINT = 2.0  # grey levels between neighbours that rounding makes
RATE_HZ = 8.0
# A camera that stays within this share of the width, a pixel of these pictures, stands.
MOVES_SHARE = 0.002
# Beside a golfer the network finds nobody much smaller in a whole picture: in these few the
# rest is looked at by itself, where it is wide enough for somebody (of the golfer's height).
BESIDE_PICTURES, _ROOM, _AROUND = 5, 0.15, 0.35
_SURE = 0.5  # mean confidence of somebody's landmarks
PART = -1  # the index of a frame that is a part of one

Array = NDArray[np.float64]
_TRUNK = [LANDMARK[f"{j}_{s}"] for j in ("shoulder", "hip") for s in ("left", "right")]


@dataclass(frozen=True)
class Survey:
    """The golfer in S pictures spread over the clip, in pixels of the survey picture.

    `xy_px` (S, 33, 2) and `confidence` (S, 33) are NaN where nobody was found;
    left-handers are mirrored already. `others` (S,) is the height of the next person
    relative to the golfer, 0 when alone; `beside` (S,) the same of the picture's parts beside
    the golfer, NaN where they were not looked at; `brightness` (S,) is the golfer's mean grey,
    `blur` (S,) between 0 sharp and 1, both of the whole picture where nobody was found;
    `shift` (S,) how far the background at the golfer lies from where it was in the first
    picture, as a share of the picture's width;
    `steady` (S, 2, 3) as in `core.steady` and `backdrop` find a moving camera's place.
    """

    time_s: Array
    frame: NDArray[np.int64]
    size_px: tuple[int, int]
    xy_px: Array
    confidence: Array
    others: Array
    beside: Array
    brightness: Array
    blur: Array
    shift: Array
    steady: Array
    backdrop: Backdrop

    @property
    def camera_moves(self) -> bool:
        """Whether points must be counted in one picture: a pixel of this one matters."""
        return bool(np.percentile(self.shift, 90) > MOVES_SHARE)

    @property
    def steady_px(self) -> Array:
        """`xy_px` counted in one picture where the camera moves."""
        return moved(self.xy_px, self.steady) if self.camera_moves else self.xy_px

    @property
    def seen(self) -> NDArray[np.bool_]:
        return np.isfinite(self.xy_px[:, 0, 0])

    def stature_px(self) -> float:
        """The golfer's stature in survey pixels, from the parts that are long and stable.

        Trunk 0.288, thigh 0.245 and shank 0.246 of stature (Drillis & Contini 1966).
        """
        return stature_px(self.xy_px)


def look_over(
    path: Path | str,
    info: VideoInfo,
    *,
    estimator: PoseEstimator,
    mirrored: bool,
    wanted: NDArray[np.int64] | None = None,
    quick: bool = True,
    progress: Callable[[float], None] | None = None,
) -> Survey:
    """Look at about eight pictures a second, or at the `wanted` ones.

    `quick` False takes the heavy network, which knows one person only.
    """
    wanted = spread_frames(info, RATE_HZ) if wanted is None else wanted
    rows: list[tuple[Frame, list[Person]]] = []
    smalls: list[NDArray[np.uint8]] = []
    pictures = frames(path, info, wanted=wanted, short_side=SHORT_SIDE)
    some = set(np.linspace(0, len(wanted) - 1, BESIDE_PICTURES).astype(int)) if quick else set()
    kept: dict[int, Frame] = {}
    for frame, people in estimator.estimate(pictures, quick=quick):
        if len(rows) in some:
            kept[len(rows)] = frame
        smalls.append(cv2.cvtColor(frame.image, cv2.COLOR_RGB2GRAY))
        rows.append((Frame(frame.index, frame.time_s, smalls[-1]), people))
        if progress and len(rows) % 8 == 0:
            progress(len(rows) / len(wanted))
    beside = _beside(rows, kept, estimator)
    return _survey(rows, beside, working_size(info, SHORT_SIDE), mirrored=mirrored)


def spread_frames(info: VideoInfo, rate_hz: float) -> NDArray[np.int64]:
    """Frames nearest to an even grid in time."""
    grid = np.arange(0.0, info.frame_times_s[-1] + 1e-9, 1 / rate_hz)
    after = np.clip(np.searchsorted(info.frame_times_s, grid), 0, info.frames - 1)
    return np.unique(np.append(after, info.frames - 1))


def stature_px(xy_px: Array) -> float:
    """Stature in pixels from the legs and trunk of (T, 33, 2) landmarks, bent or not."""
    total = np.zeros(len(xy_px))
    for side in ("left", "right"):
        marks = [xy_px[:, LANDMARK[f"{j}_{side}"]] for j in ("shoulder", "hip", "knee", "ankle")]
        for a, b in pairwise(marks):
            total += np.linalg.norm(a - b, axis=1) / 2
    total = total[np.isfinite(total)]
    return float(np.percentile(total, 80)) / 0.779 if len(total) else float("nan")


def _beside(
    rows: list[tuple[Frame, list[Person]]], kept: dict[int, Frame], network: PoseEstimator
) -> Array:
    """Height of the tallest person beside the golfer, against theirs, in the kept pictures."""
    out = np.full(len(rows), np.nan)
    centre = _usual_place(rows)
    parts: list[tuple[int, float, Frame]] = []
    for i, frame in kept.items():
        golfer = _golfer(rows[i][1], centre)
        if golfer is not None:
            out[i] = 0.0
            parts += [(i, golfer.height_px, part) for part in _parts_beside(frame, golfer)]
    looked = network.estimate((part for _, _, part in parts), quick=True)
    for (i, tall, _), (_, people) in zip(parts, looked, strict=True):
        sure = [p.height_px / tall for p in people if np.mean(p.confidence) > _SURE]
        out[i] = max([out[i], *sure])
    return out


def _parts_beside(frame: Frame, golfer: Person) -> Iterator[Frame]:
    """What lies to the left and to the right of the golfer, about as high as the golfer."""
    (x0, y0), (x1, y1) = golfer.xy_px.min(axis=0), golfer.xy_px.max(axis=0)
    around = _AROUND * golfer.height_px
    rows = slice(max(int(y0 - around), 0), max(int(y1 + around), 0))
    for columns in (slice(0, max(int(x0), 0)), slice(max(int(x1), 0), None)):
        part = frame.image[rows, columns]
        if part.shape[0] and part.shape[1] > _ROOM * golfer.height_px:
            yield Frame(PART, frame.time_s, np.ascontiguousarray(part))


def _survey(
    rows: list[tuple[Frame, list[Person]]],
    beside: Array,
    size: tuple[int, int],
    *,
    mirrored: bool,
) -> Survey:
    n = len(rows)
    xy = np.full((n, len(LANDMARKS), 2), np.nan)
    confidence = np.full((n, len(LANDMARKS)), np.nan)
    others, brightness, blur = np.zeros(n), np.full(n, np.nan), np.full(n, np.nan)
    centre = _usual_place(rows)
    for i, (frame, people) in enumerate(rows):
        golfer = _golfer(people, centre)
        if golfer is None:
            brightness[i], blur[i] = frame.image.mean(), _blur(frame.image)
            continue
        xy[i], confidence[i] = golfer.xy_px, golfer.confidence
        others[i] = _other_height(people, golfer)
        box = _box(golfer.xy_px, frame.image.shape[:2])
        brightness[i], blur[i] = frame.image[box].mean(), _blur(frame.image[box])
    images, time_s = [f.image for f, _ in rows], np.array([f.time_s for f, _ in rows])
    backdrop = Backdrop(images[n // 2], xy[np.isfinite(xy).all(axis=2)])
    steady = _steady(images, backdrop)
    place = np.array(size) / 2 if centre is None else centre
    shift = _shift(steady, place, size[0])
    steady = bridged(time_s, steady)
    return Survey(
        time_s=time_s,
        frame=np.array([f.index for f, _ in rows], np.int64),
        size_px=size,
        xy_px=mirror_for(xy, width_px=size[0]) if mirrored else xy,
        confidence=confidence,
        others=others,
        beside=beside,
        brightness=brightness,
        blur=blur,
        shift=shift,
        steady=flipped(steady, width_px=size[0]) if mirrored else steady,
        backdrop=backdrop,
    )


def _usual_place(rows: list[tuple[Frame, list[Person]]]) -> Array | None:
    places = [people[0].xy_px[_TRUNK].mean(axis=0) for _, people in rows if people]
    return np.median(places, axis=0) if places else None


def _golfer(people: list[Person], centre: Array | None) -> Person | None:
    """The tallest, unless somebody about as tall stands where the golfer usually does."""
    if not people or centre is None:
        return None
    tall = [p for p in people if p.height_px > 0.6 * people[0].height_px]
    return min(tall, key=lambda p: float(np.linalg.norm(p.xy_px[_TRUNK].mean(axis=0) - centre)))


def _other_height(people: list[Person], golfer: Person) -> float:
    """Height of the tallest other person; the same body found twice does not count."""
    here = golfer.xy_px[_TRUNK].mean(axis=0)
    apart = [
        p.height_px / golfer.height_px
        for p in people
        if p is not golfer
        and np.linalg.norm(p.xy_px[_TRUNK].mean(axis=0) - here) > 0.15 * golfer.height_px
        and np.mean(p.confidence) > _SURE
    ]
    return max(apart, default=0.0)


def _box(xy_px: Array, shape: tuple[int, int]) -> tuple[slice, slice]:
    height, width = shape
    x0, y0 = np.clip(xy_px.min(axis=0), 0, (width - 9, height - 9)).astype(int)
    x1, y1 = np.clip(xy_px.max(axis=0), (x0 + 8, y0 + 8), (width, height)).astype(int)
    return slice(y0, y1), slice(x0, x1)


def _blur(grey: NDArray[np.uint8]) -> float:
    """Perceived blur, 0 sharp to 1: how little a further blurring changes neighbours.

    The worse of the picture and of its half: what is very blurred has only steps of rounding
    left between neighbours, and those are no edges.

    References
    ----------
    Crété F. et al. The blur effect. Proc. SPIE 6492 (2007), doi 10.1117/12.702790.
    """
    image = grey.astype(np.float32)
    if min(image.shape) < 2:
        return _softness(image)  # there is no half of it
    half = cv2.resize(image, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    return max(_softness(image), _softness(half))


def _softness(image: NDArray[np.float32]) -> float:
    worst = 0.0
    for axis, kernel in ((0, (1, 9)), (1, (9, 1))):
        soft = cv2.blur(image, kernel)
        sharp = np.abs(np.diff(image, axis=axis))
        sharp[sharp <= FAINT] = 0
        lost = np.maximum(sharp - np.abs(np.diff(soft, axis=axis)), 0)
        total = float(sharp.sum())
        worst = max(worst, (total - float(lost.sum())) / total if total > 0 else 1.0)
    return worst


def _steady(images: list[NDArray[np.uint8]], backdrop: Backdrop) -> Array:
    """Where each picture lies in the middle one, its neighbours placed first."""
    middle = len(images) // 2
    out = np.full((len(images), 2, 3), np.nan)
    for order in (range(middle, len(images)), range(middle - 1, -1, -1)):
        backdrop.rest()
        for i in order:
            out[i] = backdrop.place(images[i])
    return out


def _shift(steady: Array, place_px: Array, width: int) -> Array:
    """How far the scene at the golfer has moved since the first picture that tells it.

    A picture that has lost the scene keeps the shift of the one before.
    """
    out = np.zeros(len(steady))
    back = steady[..., :2] @ place_px + steady[..., 2]
    known = np.flatnonzero(np.isfinite(back[:, 0]))
    if len(known):
        last = known[np.clip(np.searchsorted(known, np.arange(len(out)), "right") - 1, 0, None)]
        out = np.linalg.norm(back[last] - back[known[0]], axis=1) / width
    return np.asarray(out)
