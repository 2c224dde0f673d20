"""What a figure with its uncertainty says about a band. Pure arithmetic.

A value is normally distributed about what was measured, with the stated standard
deviation. It is *in* when at least 95 % of that lies inside the band, *out* when at
most 5 % does, and otherwise we cannot tell. For one-sided bands this is the usual
one-sided 95 % test (1.645 standard deviations from the edge). A band narrower than
about four standard deviations can therefore never be called in: measure better, or
ask for less.
"""

from __future__ import annotations

import math

IN, OUT, CANT_TELL = "in", "out", "cant_tell"
SURE = 0.95


def band_of(
    comparison: str,
    *,
    low: float | None = None,
    high: float | None = None,
    change: float | None = None,
    baseline: float | None = None,
) -> tuple[float | None, float | None]:
    """The band a comparison asks for, as (low, high); None is an open side.

    `changed_by` asks for at least `change`, in its own direction, from `baseline`.
    """
    if comparison == "at_least":
        return low, None
    if comparison == "at_most":
        return None, high
    if comparison == "changed_by":
        if change is None or baseline is None:
            return None, None
        edge = baseline + change
        return (edge, None) if change >= 0 else (None, edge)
    return low, high


def probability_in(
    value: float, uncertainty: float, low: float | None, high: float | None
) -> float:
    """Share of a normal distribution about `value` that lies in [low, high]."""
    return _below(high, value, uncertainty, 1.0) - _below(low, value, uncertainty, 0.0)


def _below(edge: float | None, value: float, uncertainty: float, open_side: float) -> float:
    if edge is None:
        return open_side
    if uncertainty <= 0:
        return 1.0 if value < edge or (open_side == 1.0 and value == edge) else 0.0
    return 0.5 * (1 + math.erf((edge - value) / (uncertainty * math.sqrt(2))))


def reading_of(
    value: float | None,
    uncertainty: float | None,
    low: float | None = None,
    high: float | None = None,
    comparison: str = "between",
    *,
    change: float | None = None,
    baseline: float | None = None,
    baseline_uncertainty: float | None = None,
) -> str | None:
    """`in`, `out` or `cant_tell`; None when nothing was asked for.

    A change is as uncertain as its two ends together.
    """
    band = band_of(comparison, low=low, high=high, change=change, baseline=baseline)
    if band == (None, None):
        return None
    if value is None or uncertainty is None:
        return CANT_TELL
    if comparison == "changed_by":
        uncertainty = math.hypot(uncertainty, baseline_uncertainty or 0.0)
    share = probability_in(value, uncertainty, *band)
    if share >= SURE:
        return IN
    return OUT if share <= 1 - SURE else CANT_TELL
