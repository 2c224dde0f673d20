"""What many pictures are made of: the golfer on the ground, a value, a plumb line, rays."""

from __future__ import annotations

import numpy as np

from analysis.core.pose import Array
from analysis.drawings.golfer import Body
from analysis.drawings.readings import film, words_of
from analysis.drawings.sheet import Sheet


def standing(sheet: Sheet, event: str = "address", *, was: str = "") -> Body:
    """Ground and golfer, perhaps over a pale one of an earlier moment."""
    sheet.ground()
    if was:
        sheet.golfer(film().at(was), ghost=True, club=False)
    body = film().at(event)
    sheet.golfer(body)
    return body


def value_beside(sheet: Sheet, measure: str, event: str, at: Array, dx: float, dy: float) -> None:
    anchor = "start" if dx > 0 else "end" if dx < 0 else "middle"
    sheet.text("value", words_of(measure, event), at[0] + dx, at[1] + dy, anchor=anchor)


def plumb(sheet: Sheet, vertex: Array, metres: float) -> Array:
    """A dashed vertical from a place, up where metres are positive; its far end."""
    end = vertex + np.array([0, 0, metres])
    sheet.line("was", vertex, end, role="ray")
    return np.asarray(end)


def rays(sheet: Sheet, vertex: Array, was: Array, now: Array) -> None:
    sheet.line("was", vertex, was, role="ray")
    sheet.line("now", vertex, now, role="ray")
