"""Measures of the club (first version: not seen yet)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.core.measures import CLUB_MEASURES, Readings, measures_of
from analysis.core.pose import Capture, Moment, ShaftTrack


def measure_club(
    shaft: ShaftTrack | None, events: Mapping[str, Moment], body: Any, *, capture: Capture
) -> Readings:
    """Reasons only, until the shaft is tracked."""
    return {
        (m.id, m.event): "not_seen"
        for m in measures_of(capture.view, capture.kind)
        if m.id in CLUB_MEASURES
    }
