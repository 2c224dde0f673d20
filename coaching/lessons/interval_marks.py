"""The interval mark, the one picture of every number: what it shows, and where it stands.

Pure: numbers in, numbers out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from coaching.lessons.estimates import Band, Standing, band_of, estimate_of
from coaching.lessons.scale import covering
from coaching.lessons.wording.amounts import unit_of

# Drawing size (width, height) and how tall the tick is, in the picture's own units.
SIZES = {"row": (160.0, 24.0, 16.0), "page": (320.0, 52.0, 24.0)}
MARGIN = 6.0


@dataclass(frozen=True)
class Marked:
    """A figure beside what is asked of it, in the measure's stored unit."""

    value: float | None = None
    uncertainty: float | None = None  # one standard deviation
    reason: str = ""  # why there is no value
    measure: str = ""
    event: str = ""
    unit: str = ""
    comparison: str = ""
    low: float | None = None
    high: float | None = None
    change: float | None = None
    baseline: float | None = None
    baseline_uncertainty: float | None = None

    @classmethod
    def of(cls, figure: Any = None, criterion: Any = None, **named: Any) -> Marked:
        """From a figure, a criterion, or values by name; the former two go before the names.

        Raises
        ------
        TypeError
            For a name that is no field.
        """
        found = cls(**named)
        given = {f.name: getattr(found, f.name) for f in fields(cls)}
        for row, names in ((figure, OF_FIGURES), (criterion, OF_CRITERIA)):
            given |= {n: v for n in names if (v := _field(row, n)) is not None}
        for name in ("measure", "event"):
            given[name] = given[name] or _field(criterion, name) or ""
        open_ended = given["low"] is not None or given["high"] is not None
        given["comparison"] = given["comparison"] or ("between" if open_ended else "")
        given["unit"] = given["unit"] or unit_of(given["measure"])
        return cls(**given)

    @property
    def band(self) -> Band | None:
        return band_of(
            self.comparison,
            low=self.low,
            high=self.high,
            change=self.change,
            baseline=self.baseline,
            baseline_sd=self.baseline_uncertainty,
        )

    @property
    def standing(self) -> Standing | None:
        """What the figure is against its band; None without one."""
        band = self.band
        return None if band is None else band.standing(estimate_of(self.value, self.uncertainty))

    def drawn(self, size: str) -> IntervalDrawing | None:
        """The mark, `row` or `page`; None without a value or a reference: it would say nothing."""
        band = self.band
        if self.value is None or not (band or self.baseline is not None):
            return None
        return draw_interval_mark(
            value=self.value,
            uncertainty=self.uncertainty,
            band=band,
            baseline=self.baseline,
            size=size,
            least_range=LEAST_RANGES.get(self.unit, 1.0),
        )


OF_FIGURES = ("value", "uncertainty", "reason", "measure", "event", "unit")
OF_CRITERIA = ("comparison", "low", "high", "change", "baseline", "baseline_uncertainty")
# By unit: a difference smaller than a tenth of this should look like none.
LEAST_RANGES = {"deg": 20.0, "cm": 10.0, "%": 20.0, "s": 0.4, "m/s": 4.0}


def _field(row: Any, name: str) -> Any:
    return row.get(name) if isinstance(row, Mapping) else getattr(row, name, None)


@dataclass(frozen=True)
class IntervalDrawing:
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


def draw_interval_mark(
    *,
    value: float,
    uncertainty: float | None = None,
    band: Band | None = None,
    baseline: float | None = None,
    size: str = "row",
    least_range: float = 10.0,
) -> IntervalDrawing:
    """Lay a value, its whisker of two standard deviations, band and baseline on one rule.

    Parameters
    ----------
    least_range : float
        The rule never covers less than this, so that a small difference looks small.
    """
    width, height, tick = SIZES[size]
    spread = 2 * (uncertainty or 0.0)
    edges = band.edges if band else (None, None)
    marks = [value - spread, value + spread, *(m for m in (*edges, baseline) if m is not None)]
    x = covering(marks, air=0.12, start=MARGIN, end=width - MARGIN, least_range=least_range).at
    stripe = None
    if edges != (None, None):
        stripe = (
            MARGIN if edges[0] is None else x(edges[0]),
            width - MARGIN if edges[1] is None else x(edges[1]),
        )
    return IntervalDrawing(
        width=width,
        height=height,
        middle=height / 2 if size == "row" else 20.0,
        tick=tick / 2,
        value=x(value),
        whisker=(x(value - spread), x(value + spread)) if spread else None,
        band=stripe,
        baseline=None if baseline is None else x(baseline),
        low=None if edges[0] is None else x(edges[0]),
        high=None if edges[1] is None else x(edges[1]),
    )
