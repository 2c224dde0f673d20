"""Strokes and text put into pixels: each dark on a pale edge, as on the page. OpenCV only."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import cv2
import numpy as np

from coaching.review.film.geometry import Point
from coaching.review.film.strokes import Label, Strokes

Image = np.ndarray
# As in static/css/tokens.css: --pic-ink, --pic-edge.
INK, EDGE = (18, 26, 25), (255, 253, 248)
DESIGNED = 800  # the widths of review.css are meant for a window so many pixels high
FONT = cv2.FontFace("sans")  # comes with OpenCV, and knows Latin, Greek and Cyrillic
BOLD = 600
Place = Callable[[Point], tuple[float, float]]


def paint(image: Image, strokes: Strokes, to_px: Place) -> None:
    """Draw `strokes` into `image`, shape (H, W, 3) RGB; `to_px` gives a point's x and y in it."""
    target = image.copy() if strokes.faint else image
    k = image.shape[0] / DESIGNED
    if strokes.fan:
        _fan(target, [to_px(p) for p in strokes.fan])
    lines = [(line, strokes.style in ("frozen", "wanted")) for line in strokes.lines]
    lines += [(line, True) for line in strokes.dashed]
    for line, dashed in lines:
        _line(target, [to_px(p) for p in line], k, dashed=dashed, style=strokes.style)
    for centre, rim in strokes.rings:
        c, r = to_px(centre), math.dist(to_px(centre), to_px(rim))
        turn = np.linspace(0, 2 * np.pi, 65)
        round_ = [(c[0] + r * math.cos(t), c[1] + r * math.sin(t)) for t in turn]
        _line(target, round_, k, dashed=strokes.style == "frozen", style=strokes.style)
    for dot in strokes.dots:
        x, y = to_px(dot)
        for size, colour in ((7.5, EDGE), (5.5, INK)):
            cv2.circle(target, _px((x, y)), max(1, round(size * k)), colour, -1, cv2.LINE_AA)
    if strokes.label:
        _label(target, strokes.label, to_px, k)
    if strokes.faint:
        cv2.addWeighted(target, 0.35, image, 0.65, 0, dst=image)


def caption(image: Image, text: str) -> None:
    """Spoken words at the foot of the picture, on a dark ground, in as many lines as it takes."""
    height, width = image.shape[:2]
    size = max(14, round(min(height, width) * 0.045))
    rows = wrapped(text, size, round(width * 0.92))[:4]
    step = round(size * 1.35)
    top = height - step * len(rows) - round(size * 0.9)
    ground = image[top:]
    np.copyto(ground, (ground * 0.35).astype(np.uint8))
    for number, row in enumerate(rows):
        x = (width - text_width(row, size)) // 2
        y = top + round(size * 0.35) + step * (number + 1) - round(size * 0.35)
        cv2.putText(image, row, (x, y), EDGE, FONT, size, BOLD)


def text_width(text: str, size: int) -> int:
    (_x, _y, width, _height) = cv2.getTextSize((0, 0), text, (0, 0), FONT, size, BOLD)
    return int(width)


def wrapped(text: str, size: int, most: int) -> list[str]:
    """`text` in rows at most `most` pixels wide; a single word may be wider."""
    rows: list[str] = []
    for word in text.split():
        longer = f"{rows[-1]} {word}" if rows else word
        if rows and text_width(longer, size) <= most:
            rows[-1] = longer
        else:
            rows.append(word)
    return rows


def _px(point: tuple[float, float]) -> tuple[int, int]:
    # Far outside the picture is outside all the same; OpenCV's integers have an end.
    x, y = (min(max(value, -1e5), 1e5) for value in point)
    return round(x), round(y)


def _line(
    image: Image, points: Sequence[tuple[float, float]], k: float, *, dashed: bool, style: str
) -> None:
    if len(points) < 2:
        return
    thick = {"wanted": 3.5, "free": 4.0}.get(style, 2.25)
    dash = (2.0, 6.0) if style == "wanted" else (9.0, 6.0)
    drawn = _dashes(points, [part * k for part in dash]) if dashed else [points]
    edge, ink = max(2, round((thick + 3.25) * k)), max(1, round(thick * k))
    whole = [np.array([_px(p) for p in points], np.int32)]
    parts = [np.array([_px(p) for p in part], np.int32) for part in drawn]
    cv2.polylines(image, whole, False, EDGE, edge, cv2.LINE_AA)
    cv2.polylines(image, parts, False, INK, ink, cv2.LINE_AA)


def _dashes(
    points: Sequence[tuple[float, float]], pattern: Sequence[float]
) -> list[list[tuple[float, float]]]:
    """The drawn parts of a line: `pattern` is the length of a dash and of a gap, pixels."""
    on, off = pattern
    parts: list[list[tuple[float, float]]] = []
    along = 0.0
    for a, b in pairwise(points):
        length = math.dist(a, b)
        if length == 0 or length > 1e5:
            continue
        start = -((along) % (on + off))
        while start < length:
            low, high = max(start, 0.0), min(start + on, length)
            if high > low:
                parts.append(
                    [(a[0] + (b[0] - a[0]) * t / length, a[1] + (b[1] - a[1]) * t / length)
                     for t in (low, high)]
                )  # fmt: skip
            start += on + off
        along += length
    return parts or [list(points)]


def _fan(image: Image, points: Sequence[tuple[float, float]]) -> None:
    shape = [np.array([_px(p) for p in points], np.int32)]
    pale = image.copy()
    cv2.fillPoly(pale, shape, EDGE, cv2.LINE_AA)
    cv2.addWeighted(pale, 0.46, image, 0.54, 0, dst=image)
    cv2.polylines(image, shape, True, INK, 1, cv2.LINE_AA)


def _label(image: Image, label: Label, to_px: Place, k: float) -> None:
    x, y = to_px(label.at)
    if label.start is not None:
        ends = [np.array([_px(to_px(label.start)), _px((x, y))], np.int32)]
        cv2.polylines(image, ends, False, EDGE, max(2, round(3 * k)), cv2.LINE_AA)
        cv2.polylines(image, ends, False, INK, max(1, round(1.25 * k)), cv2.LINE_AA)
    size = max(12, round(0.03 * image.shape[0]))
    width = text_width(label.text, size)
    ends_here = label.at[0] < label.start[0] if label.start else label.at[0] > 0.5
    left = x - 12 * k - width if ends_here else x + 12 * k
    left = min(max(left, size * 0.3), image.shape[1] - width - size * 0.3)
    base = min(max(y - 8 * k, size * 1.3), image.shape[0] - size * 0.5)
    outlined(image, label.text, (round(left), round(base)), size)


def outlined(image: Image, text: str, at: tuple[int, int], size: int) -> None:
    """Dark text with a pale edge; `at` is where its base line begins."""
    pad = max(2, round(size * 0.16))
    width = text_width(text, size)
    left, top = at[0] - pad, at[1] - round(size * 1.2) - pad
    right, bottom = at[0] + width + 2 * pad, at[1] + round(size * 0.45) + pad
    l, t = max(left, 0), max(top, 0)  # noqa: E741
    r, b = min(right, image.shape[1]), min(bottom, image.shape[0])
    if r <= l or b <= t:
        return
    mask = np.zeros((bottom - top, right - left, 3), np.uint8)
    cv2.putText(mask, text, (at[0] - left, at[1] - top), (255, 255, 255), FONT, size, BOLD)
    ink = mask[..., 0]
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * pad + 1, 2 * pad + 1))
    edge = cv2.dilate(ink, disc)
    cut = (slice(t - top, b - top), slice(l - left, r - left))
    part = image[t:b, l:r].astype(np.float32)
    for colour, alpha in ((EDGE, edge), (INK, ink)):
        share = (alpha[cut].astype(np.float32) / 255)[..., None]
        part += share * (np.array(colour, np.float32) - part)
    image[t:b, l:r] = part.round().astype(np.uint8)
