"""Honest films that are odd in one way: made from demonstration clips, picture by picture.

Each maker gets a clip's times and pictures and yields others; `ODD` says what ought to happen.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.analysis.film import Image, encode, scaled

Row = tuple[float, Image]
Rows = list[Row]
Mask = NDArray[np.float32]


@dataclass(frozen=True)
class Clip:
    """One demonstration clip, and whom else it is mixed with.

    `impact_s` and `top_s` are told of the clip unchanged; `other` are the pictures of another
    golfer of the same view.
    """

    rows: Rows
    top_s: float
    impact_s: float
    ball_px: NDArray[np.float64]
    golfer: Callable[[Image], Mask]
    other: Rows


# --- another person ---------------------------------------------------------------------


def _pasted(image: Image, figure: Image, mask: Mask, left: int, bottom: int) -> Image:
    """A cut-out figure laid over a picture, its lower left corner where it is told."""
    high, wide = mask.shape
    x0, y0 = max(left, 0), max(bottom - high, 0)
    x1, y1 = min(left + wide, image.shape[1]), min(bottom, image.shape[0])
    if x1 <= x0 or y1 <= y0:
        return image
    part = np.s_[y0 - bottom + high : y1 - bottom + high, x0 - left : x1 - left]
    share = mask[part][..., None]
    out = image.copy()
    out[y0:y1, x0:x1] = (share * figure[part] + (1 - share) * image[y0:y1, x0:x1]).astype(np.uint8)
    return out


def _figure(clip: Clip, image: Image, factor: float) -> tuple[Image, Mask]:
    """Somebody cut out of a picture, and how much of each pixel is theirs."""
    mask = clip.golfer(image)
    rows, columns = (np.flatnonzero(mask.max(axis=a) > 0.5) for a in (1, 0))
    part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    return scaled(image[part], factor), scaled(mask[part], factor)  # type: ignore[arg-type]


def _feet(clip: Clip, image: Image) -> tuple[int, int, int]:
    """Lowest row of the golfer, and the columns between which they stand."""
    mask = clip.golfer(image) > 0.5
    columns = np.flatnonzero(mask.any(axis=0))
    return int(np.flatnonzero(mask.any(axis=1))[-1]), int(columns[0]), int(columns[-1])


def walks_past(clip: Clip) -> Iterator[Row]:
    """Somebody nearer to the camera crosses the picture, before the golfer at the strike."""
    figure, mask = _figure(clip, clip.other[0][1], 1.15)
    bottom, left, right = _feet(clip, clip.rows[0][1])
    for t, image in clip.rows:
        middle = 0.5 * (left + right) + (t - clip.impact_s) / 0.9 * image.shape[1]
        yield t, _pasted(image, figure, mask, round(middle) - mask.shape[1] // 2, bottom + 60)


def stands_beside(clip: Clip) -> Iterator[Row]:
    """Somebody of 0.85 of the golfer's height watches beside them."""
    yield from _beside(clip, 0.85)


def child_beside(clip: Clip) -> Iterator[Row]:
    yield from _beside(clip, 0.55)


def _beside(clip: Clip, tall: float) -> Iterator[Row]:
    from_own = clip.golfer(clip.rows[0][1]).max(axis=1) > 0.5
    figure, mask = _figure(clip, clip.other[0][1], 1.0)
    factor = tall * float(from_own.sum()) / mask.shape[0]
    figure, mask = scaled(figure, factor), scaled(mask, factor)  # type: ignore[assignment, arg-type]
    bottom, _, right = _feet(clip, clip.rows[0][1])
    for t, image in clip.rows:
        wide = cv2.copyMakeBorder(image, 0, 0, 0, 360, cv2.BORDER_REFLECT_101)
        # what the mirror shows of the golfer is covered by plain ground
        wide[:, image.shape[1] :] = np.median(image[:, -40:], axis=1)[:, None].astype(np.uint8)
        yield t, _pasted(wide, figure, mask, max(right, image.shape[1]) - 60, bottom)


def take_turns(clip: Clip) -> Iterator[Row]:
    """Two golfers side by side, one swings while the other stands."""
    high = clip.rows[0][1].shape[0]
    other = [(t, scaled(im, high / im.shape[0])) for t, im in clip.other]
    for t, image in clip.rows:
        yield t, np.hstack([image, other[0][1]])
    end = clip.rows[-1][0] + 1 / 60
    for t, image in other:
        yield end + t, np.hstack([clip.rows[-1][1], image])


# --- what is in the picture -------------------------------------------------------------


def no_ball(clip: Clip) -> Iterator[Row]:
    x, y = np.round(clip.ball_px).astype(int)
    for t, image in clip.rows:
        out = image.copy()
        ground = image[y + 22 : y + 44, x - 11 : x + 11]
        out[y - 11 : y + 11, x - 11 : x + 11] = ground
        yield t, out


def bag_beside(clip: Clip) -> Iterator[Row]:
    """A bag with clubs and an open umbrella stand beside the golfer."""
    bottom, left, right = _feet(clip, clip.rows[0][1])
    x = max(left - 130, 40)
    for t, image in clip.rows:
        mask = clip.golfer(image)[..., None]
        out = image.copy()
        cv2.rectangle(out, (x, bottom - 330), (x + 70, bottom), (40, 40, 60), -1)
        for k in range(5):
            foot, head = (x + 10 + 12 * k, bottom - 320), (x - 20 + 26 * k, bottom - 470)
            cv2.line(out, foot, head, (210, 210, 215), 3, cv2.LINE_AA)
            cv2.circle(out, head, 9, (60, 60, 60), -1, cv2.LINE_AA)
        cv2.ellipse(out, (right + 90, bottom - 420), (130, 80), 0, 180, 360, (170, 40, 40), -1)
        cv2.line(out, (right + 90, bottom - 420), (right + 90, bottom), (30, 30, 30), 4)
        yield t, (mask * image + (1 - mask) * out).astype(np.uint8)


def childlike(clip: Clip) -> Iterator[Row]:
    """A child's proportions: legs shorter by a sixth, the head larger by a quarter."""
    bottom, _, _ = _feet(clip, clip.rows[0][1])
    mask = clip.golfer(clip.rows[0][1]) > 0.5
    top = int(np.flatnonzero(mask.any(axis=1))[0])
    tall = bottom - top
    high, wide = clip.rows[0][1].shape[:2]
    # from which row of the film each row of the new picture comes
    to = np.array([0, top, top + 0.19 * tall, top + 0.58 * tall, bottom - 0.055 * tall, high])
    old = np.array([0, top, top + 0.15 * tall, top + 0.52 * tall, bottom, high])
    rows = np.interp(np.arange(high), to, old).astype(np.float32)
    y, x = np.meshgrid(rows, np.arange(wide, dtype=np.float32), indexing="ij")
    for t, image in clip.rows:
        yield t, cv2.remap(image, x, y, cv2.INTER_LINEAR)


def shaken(clip: Clip) -> Iterator[Row]:
    """Held in a hand that shakes: 2.5 % of the width each way, 1.5 degrees, 1 to 4 a second."""
    rng = np.random.default_rng(5)
    waves = rng.uniform(1, 4, (3, 3)), rng.uniform(0, 2 * np.pi, (3, 3))
    for t, image in clip.rows:
        high, wide = image.shape[:2]
        dx, dy, turn = np.sin(2 * np.pi * waves[0] * t + waves[1]).sum(axis=1) / 2
        place = cv2.getRotationMatrix2D((wide / 2, high / 2), 1.5 * turn, 1.06)
        place[:, 2] += 0.025 * wide * np.array([dx, dy])
        yield t, cv2.warpAffine(image, place, (wide, high), borderMode=cv2.BORDER_REPLICATE)


# --- when things happen -----------------------------------------------------------------


def _again(rows: Iterable[Image], start_s: float, gap_s: float = 1 / 60) -> Iterator[Row]:
    for k, image in enumerate(rows):
        yield start_s + k * gap_s, image


def waggles(clip: Clip) -> Iterator[Row]:
    """The club goes up over the head and slowly down again before the swing."""
    up = [im for t, im in clip.rows if t <= clip.top_s]
    first = [*up, *up[::-1][::1]]
    yield from _again(first, 0.0)
    yield from ((t + len(first) / 60, im) for t, im in clip.rows)


def begins_in_swing(clip: Clip) -> Iterator[Row]:
    """The camera is started half-way through the backswing."""
    start = clip.top_s - 0.25
    yield from ((t - start, im) for t, im in clip.rows if t >= start)


def comes_and_goes(clip: Clip) -> Iterator[Row]:
    """Nobody for two seconds, somebody steps in, swings, and walks out at once."""
    first, last = clip.rows[0][1], clip.rows[-1][1]
    empty = _emptied(clip, first)
    wide = first.shape[1]
    yield from _again([empty] * 120, 0.0)
    t0 = 2.0
    for image, there in ((first, np.linspace(-1, 0, 90)), (last, np.linspace(0, 1, 60))):
        figure, mask = _figure(clip, image, 1.0)
        bottom, left, _ = _feet(clip, image)
        walk = [_pasted(empty, figure, mask, round(left + wide * s), bottom + 1) for s in there]
        if image is first:
            yield from _again(walk, t0)
            t0 += 1.5
            yield from ((t + t0, im) for t, im in clip.rows)
            t0 += clip.rows[-1][0] + 1 / 60
        else:
            yield from _again(walk, t0)
            yield from _again([empty] * 90, t0 + 1.0)


def _emptied(clip: Clip, image: Image) -> Image:
    mask = cv2.dilate((clip.golfer(image) > 0.3).astype(np.uint8), np.ones((31, 31), np.uint8))
    small = cv2.resize(image, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    hole = cv2.resize(mask, small.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    filled = cv2.inpaint(small, hole, 5, cv2.INPAINT_TELEA)
    full = cv2.resize(filled, image.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return np.where(mask[..., None] > 0, full, image)


def long_wait(clip: Clip) -> Iterator[Row]:
    """Nearly three minutes, the swing at the very end; half the size."""
    still = [scaled(im, 0.5) for t, im in clip.rows if t < 0.7]
    course = [*still, *still[::-1]]
    wait = 170.0
    for k in range(round(wait * 30)):
        yield k / 30, course[2 * k % len(course)]
    yield from ((wait + t, scaled(im, 0.5)) for t, im in clip.rows[::2])


def slowed_in_part(clip: Clip) -> Iterator[Row]:
    """Filmed at 240 a second and stretched eight times from before the top to after impact.

    As phones play slow motion: the ends run at full speed. Pictures between are mixed.
    """
    slow = clip.top_s - 0.5, clip.impact_s + 0.4
    now = 0.0
    for (t, image), (later, following) in pairwise(clip.rows):
        pieces = 4 if slow[0] <= t < slow[1] else 1
        for k in range(pieces):
            share = k / pieces
            yield now, cv2.addWeighted(image, 1 - share, following, share, 0)
            now += (later - t) / pieces * (8 if pieces > 1 else 1)


ODD: dict[str, Callable[[Clip], Iterator[Row]]] = {
    "no ball": no_ball,
    "a child's proportions": childlike,
    "a bag and an umbrella beside": bag_beside,
    "heavy shake": shaken,
    "the club over the head before": waggles,
    "begins in the swing": begins_in_swing,
    "comes late, leaves early": comes_and_goes,
    "three minutes, the swing last": long_wait,
    "slow motion in the middle": slowed_in_part,
    "somebody walks past at the strike": walks_past,
    "somebody of 0.85 beside": stands_beside,
    "a child of 0.55 beside": child_beside,
    "two golfers take turns": take_turns,
}


def made(clip: Clip, name: str, target: Path) -> Path:
    """The odd film as a file."""
    return encode(target, ODD[name](clip), crf=22)


def later_start(film: Path, target: Path, skipped_s: float) -> Path:
    """The same file with an edit list that begins `skipped_s` into it, inside a group of pictures.

    As a phone cuts a film: nothing is encoded anew, the list alone says where it begins.
    """
    data = bytearray(film.read_bytes())
    at = data.index(b"elst") + 8  # after version and flags
    count, length, media = struct.unpack(">IIi", data[at : at + 12])
    assert count == 1
    movie = _scale(data, b"mvhd")
    track = _scale(data, b"mdhd")
    data[at + 4 : at + 12] = struct.pack(
        ">Ii", length - round(skipped_s * movie), media + round(skipped_s * track)
    )
    target.write_bytes(data)
    return target


def _scale(data: bytearray, box: bytes) -> int:
    """Ticks a second of a header box of version 0 or 1."""
    at = data.index(box) + 4
    (ticks,) = struct.unpack(">I", data[at + (20 if data[at] else 12) :][:4])
    return int(ticks)
