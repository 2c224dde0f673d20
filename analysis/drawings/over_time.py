"""Pictures of measures that are times or speeds: a strip of time, and a plot."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis.core.held import MOVED_M
from analysis.core.measures import FO
from analysis.core.pose import Array
from analysis.drawings import golfer as figure
from analysis.drawings.golfer import TIMES_S
from analysis.drawings.readings import (
    curves,
    downswing,
    fastest_s,
    film,
    held_track,
    value_of,
    words_of,
)
from analysis.drawings.sheet import SIZE, Sheet

_TALL = (-0.85, 0.85, -0.06, 1.74)
_LEFT, _RIGHT, _AXIS = 44.0, 262.0, 196.0


def _when(event: str, start: str = "address") -> float:
    first = TIMES_S[start]
    return _LEFT + (_RIGHT - _LEFT) * (TIMES_S[event] - first) / (TIMES_S["impact"] - first)


def tempo(measure: str) -> Callable[[Sheet], None]:
    def draw(sheet: Sheet) -> None:
        for event, shift in (("address", 0.0), ("top", -10.0), ("impact", 16.0)):
            x = _when(event)
            _small_golfer(sheet, event, x + shift)
            sheet.points("told", (x, _AXIS - 8), (x, _AXIS + 8))
        sheet.points("told", (_LEFT, _AXIS), (_RIGHT, _AXIS))
        spans = {"backswing_s": ("address", "top"), "downswing_s": ("top", "impact")}
        picked = [measure] if measure in spans else list(spans)
        for name in picked:
            a, b = (_when(e) for e in spans[name])
            sheet.distance(np.array([a, _AXIS + 22]), np.array([b, _AXIS + 22]), tips="both")
        event = "top" if measure == "backswing_s" else "impact"
        words = words_of(measure, event)
        if measure == "tempo_ratio":
            sheet.text(
                "small", words_of("backswing_s", "top"), (_LEFT + _when("top")) / 2, _AXIS + 44
            )
            sheet.text("small", words_of("downswing_s", "impact"), _RIGHT - 18, _AXIS + 44)
            sheet.text("value", words, SIZE / 2, _AXIS + 78)
        else:
            a, b = (_when(e) for e in spans[measure])
            sheet.text("value", words, min((a + b) / 2, 262), _AXIS + 52)

    return draw


def _small_golfer(sheet: Sheet, event: str, x: float) -> None:
    small = Sheet(FO, _TALL)
    small.golfer(film().at(event))
    scale = 0.56
    ground = small.at(np.zeros(3))
    sheet.put(
        f'<g transform="translate({x - scale * ground[0]:.1f} {_AXIS - 14 - scale * ground[1]:.1f})'
        f' scale({scale})">' + "".join(small.parts) + "</g>"
    )


def peak(measure: str, rate: Callable[[], Array]) -> Callable[[Sheet], None]:
    """How fast from the top to impact, where it is fastest, and how long before impact."""

    def draw(sheet: Sheet) -> None:
        curve, time_s = downswing(rate()), downswing(film().time_s)
        floor, top = 266.0, 76.0
        x = _LEFT + (_RIGHT - _LEFT) * (time_s - time_s[0]) / (time_s[-1] - time_s[0])
        y = floor - (floor - top) * np.maximum(curve, 0) / curve.max()
        sheet.points("ground", (_LEFT, top - 20), (_LEFT, floor), (_RIGHT + 16, floor))
        sheet.points("now", *zip(x, y, strict=True))
        peak_s = time_s[int(np.argmax(curve))] if "hand" in measure else fastest_s(measure)
        at = np.array([np.interp(peak_s, time_s, x), np.interp(peak_s, time_s, y)])
        if measure == "hand_speed_peak_m_s":
            sheet.points("was", (_LEFT, at[1]), at)
            sheet.text("value", words_of(measure, "impact"), _LEFT + 14, at[1] - 14, anchor="start")
        else:
            sheet.points("was", at, (at[0], 34))
            sheet.points("was", (_RIGHT, floor), (_RIGHT, 34))
            sheet.distance(np.array([_RIGHT, 46.0]), np.array([at[0], 46.0]))
            sheet.text("value", words_of(measure, "impact"), at[0] - 14, 55, anchor="end")
        sheet.spot(at)
        sheet.text("small", "top", _LEFT, floor + 22)
        sheet.text("small", "impact", _RIGHT - 6, floor + 22)
        sheet.text("small", "0", _LEFT - 12, floor + 5)

    return draw


def held_finish(sheet: Sheet) -> None:
    """How far hands and hips have come since the finish, and when that is 3 cm."""
    track = held_track()
    away = np.linalg.norm(track.points_px - track.points_px[:1], axis=2).max(axis=1)
    floor, per_s, per_m = 250.0, 70.0, 1500.0
    shown = away < 0.115
    x, y = _LEFT + per_s * track.time_s[shown], floor - per_m * away[shown]
    sheet.points("ground", (_LEFT, 60), (_LEFT, floor), (_RIGHT + 16, floor))
    limit = floor - per_m * MOVED_M
    sheet.points("was", (_LEFT, limit), (_RIGHT + 16, limit))
    sheet.text("small", "3 cm", _RIGHT + 16, limit - 8, anchor="end")
    sheet.points("now", *zip(x, y, strict=True))
    at = np.array([_LEFT + per_s * value_of("finish_held_s", "finish"), limit])
    sheet.points("was", at, (at[0], 96))
    sheet.spot(at)
    sheet.distance(np.array([_LEFT, 108.0]), np.array([at[0], 108.0]))
    sheet.text("value", words_of("finish_held_s", "finish"), (_LEFT + at[0]) / 2, 92)


def turn_rate(joint: str) -> Callable[[], Array]:
    return lambda: -np.gradient(curves()[f"{joint}_turn_deg"], film().time_s)


def grip_speed() -> Array:
    return figure.grip_speed_m_s(film())
