"""Typed captions (WebVTT) as lines with their times, as `static/js/review/script.js` reads them."""

from __future__ import annotations

import re
from typing import NamedTuple


class Line(NamedTuple):
    """Shown from `start_s` until `end_s`, seconds of sound."""

    start_s: float
    end_s: float
    text: str


def lines_of(captions: str) -> list[Line]:
    """Every cue whose times can be read; others are left out."""
    found = []
    for block in re.split(r"\n{2,}", captions.replace("\r\n", "\n")):
        rows = block.split("\n")
        at = next((i for i, row in enumerate(rows) if "-->" in row), None)
        if at is None:
            continue
        start, _arrow, end = rows[at].partition("-->")
        times = [_seconds(part) for part in (start, end)]
        text = " ".join(rows[at + 1 :]).strip()
        for code, sign in (("&lt;", "<"), ("&gt;", ">"), ("&amp;", "&")):
            text = text.replace(code, sign)
        if times[0] is not None and times[1] is not None and text:
            found.append(Line(times[0], times[1], text))
    return found


def _seconds(stamp: str) -> float | None:
    match = re.match(r"\s*(?:(\d{1,4}):)?(\d{1,4}):(\d{1,4}(?:\.\d{1,6})?)(?:\s|$)", stamp)
    if match is None:
        return None
    hours, minutes, seconds = match.groups()
    return int(hours or 0) * 3600 + int(minutes) * 60 + float(seconds)


def line_at(lines: list[Line], time_s: float) -> str:
    return next((line.text for line in lines if line.start_s <= time_s < line.end_s), "")
