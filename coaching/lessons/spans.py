"""Geometry of the span, the one mark for every number. Pure: numbers in, numbers out."""

from __future__ import annotations

from dataclasses import dataclass

from coaching.lessons.reading import band_of

# Drawing size (width, height) and how tall the tick is, in the picture's own units.
SIZES = {"row": (160.0, 24.0, 16.0), "page": (320.0, 52.0, 24.0)}
MARGIN = 6.0


@dataclass(frozen=True)
class SpanDrawing:
    """Where everything stands along the rule; None is not drawn."""

    width: float
    height: float
    middle: float  # y of the rule
    tick: float  # half the height of the tick
    value: float
    whisker: tuple[float, float] | None
    band: tuple[float, float] | None
    baseline: float | None
    low: float | None  # x of the band's edges, for their labels
    high: float | None

    @property
    def left(self) -> float:
        return MARGIN

    @property
    def right(self) -> float:
        return self.width - MARGIN

    @property
    def band_top(self) -> float:
        return self.middle - 6

    @property
    def band_width(self) -> float:
        return round(self.band[1] - self.band[0], 1) if self.band else 0.0

    @property
    def baseline_left(self) -> float:
        return round((self.baseline or 0.0) - 2.5, 1)

    @property
    def tick_top(self) -> float:
        return self.middle - self.tick

    @property
    def tick_bottom(self) -> float:
        return self.middle + self.tick

    @property
    def tick_height(self) -> float:
        return 2 * self.tick

    @property
    def cap_top(self) -> float:
        return self.middle - 3

    @property
    def low_anchor(self) -> str:
        """Labels of a narrow band turn away from each other."""
        return "end" if self.high is not None else "middle"

    @property
    def high_anchor(self) -> str:
        return "start" if self.low is not None else "middle"


def draw_span(
    *,
    value: float,
    uncertainty: float | None = None,
    comparison: str = "",
    low: float | None = None,
    high: float | None = None,
    change: float | None = None,
    baseline: float | None = None,
    size: str = "row",
    least_range: float = 10.0,
) -> SpanDrawing:
    """Lay a value, its whisker of two standard deviations, band and baseline on one rule.

    Parameters
    ----------
    least_range : float
        The rule never covers less than this, so that a small difference looks small.
    """
    width, height, tick = SIZES[size]
    spread = 2 * (uncertainty or 0.0)
    edges = band_of(comparison, low=low, high=high, change=change, baseline=baseline)
    marks = [value - spread, value + spread, *(m for m in (*edges, baseline) if m is not None)]
    least, most = min(marks), max(marks)
    lacking = max(0.0, least_range - (most - least)) / 2
    pad = 0.12 * max(most - least, least_range)
    least, most = least - lacking - pad, most + lacking + pad

    def x(mark: float) -> float:
        return round(MARGIN + (mark - least) / (most - least) * (width - 2 * MARGIN), 1)

    band = None
    if edges != (None, None):
        band = (
            MARGIN if edges[0] is None else x(edges[0]),
            width - MARGIN if edges[1] is None else x(edges[1]),
        )
    return SpanDrawing(
        width=width,
        height=height,
        middle=height / 2 if size == "row" else 20.0,
        tick=tick / 2,
        value=x(value),
        whisker=(x(value - spread), x(value + spread)) if spread else None,
        band=band,
        baseline=None if baseline is None else x(baseline),
        low=None if edges[0] is None else x(edges[0]),
        high=None if edges[1] is None else x(edges[1]),
    )
