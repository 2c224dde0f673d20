"""A small picture from a stranger's file: checked, drawn anew, nothing of the file kept."""

from __future__ import annotations

import struct

import cv2
import numpy as np

WIDEST, HIGHEST = 480, 120  # pixels of what is kept: sharp at twice the size it is shown in
MOST_PIXELS = 25_000_000  # before anything is unpacked
_PNG = b"\x89PNG\r\n\x1a\n"
_JPEG = b"\xff\xd8\xff"
# Markers of a JPEG that hold the picture's size (ITU T.81, table B.1); C4, C8, CC do not.
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}


def size_of(data: bytes) -> tuple[int, int]:
    """Width and height that a PNG or JPEG says it has, without unpacking it.

    Raises
    ------
    ValueError
        Neither a PNG nor a JPEG, or broken off before its size.
    """
    try:
        if data.startswith(_PNG) and data[12:16] == b"IHDR":
            return struct.unpack(">II", data[16:24])
        if data.startswith(_JPEG):
            return _jpeg_size(data)
    except (struct.error, IndexError):
        pass
    raise ValueError("neither PNG nor JPEG")


def _jpeg_size(data: bytes) -> tuple[int, int]:
    at = 2
    while data[at] == 0xFF:
        marker = data[at + 1]
        if marker in _FRAMES:
            height, width = struct.unpack(">HH", data[at + 5 : at + 9])
            return width, height
        (length,) = struct.unpack(">H", data[at + 2 : at + 4])
        at += 2 + length
    raise ValueError("no size in this JPEG")


def small_png(data: bytes) -> bytes:
    """The picture of a PNG or JPEG as a PNG of 8 bits of at most 480 by 120 pixels.

    A see-through ground stays; text, place and everything else in the file goes.

    Raises
    ------
    ValueError
        Not a picture that can be read, or one of too many pixels.
    """
    width, height = size_of(data)
    if not 0 < width * height <= MOST_PIXELS:
        raise ValueError("too many pixels")
    kind = cv2.IMREAD_UNCHANGED if data.startswith(_PNG) else cv2.IMREAD_COLOR
    try:
        image = cv2.imdecode(np.frombuffer(data, np.uint8), kind)
        if image is None:
            raise ValueError("this picture cannot be read")
        if image.dtype != np.uint8:
            image = (image.astype(np.uint16) >> 8).astype(np.uint8)
        high, wide = image.shape[:2]
        scale = min(1.0, WIDEST / wide, HIGHEST / high)
        size = (max(1, round(wide * scale)), max(1, round(high * scale)))
        done, small = cv2.imencode(".png", cv2.resize(image, size, interpolation=cv2.INTER_AREA))
    except cv2.error as error:
        raise ValueError("this picture cannot be read") from error
    if not done:
        raise ValueError("this picture cannot be kept")
    return bytes(small)
