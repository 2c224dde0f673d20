"""Which part of a picture is shown. Arithmetic only: no picture is opened here."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Crop:
    """A part of a picture: what it must show, and how large it becomes.

    `box` is left, top, right, bottom in 0..1 of the picture. The part has the shape of
    `width` to `height`, holds the box where it can, and never reaches outside.
    """

    box: tuple[float, ...]
    width: int
    height: int

    def part(self, high: int, wide: int) -> tuple[int, int, int, int]:
        """Pixels of the part in a picture of `high` rows: left, top, right, bottom."""
        left, top, right, bottom = self.box
        shape = self.width / self.height
        tall = max((bottom - top) * high, (right - left) * wide / shape)
        tall = min(tall, high, wide / shape)
        x = (left + right) / 2 * wide - tall * shape / 2
        y = (top + bottom) / 2 * high - tall / 2
        x, y = min(max(x, 0), wide - tall * shape), min(max(y, 0), high - tall)
        return round(x), round(y), round(x + tall * shape), round(y + tall)

    def shares(self, high: int, wide: int) -> tuple[float, float, float, float]:
        """The part in 0..1 of the picture: left, top, right, bottom."""
        left, top, right, bottom = self.part(high, wide)
        return left / wide, top / high, right / wide, bottom / high
