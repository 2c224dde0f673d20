"""A person's height, and a club's length, as people write them."""

from __future__ import annotations

import re

from coaching import numbers

STATURE_CM = (80.1, 249.9)  # the database keeps what is above 80 and below 250
CLUB_CM = (60.0, 140.0)  # a child's wedge; the longest club is 122 cm by the rules
_FEET = re.compile(
    r"(?P<feet>\d)\s*(?:ft|feet|foot|['’′])\.?\s*"
    r"(?:(?P<inches>\d{1,2}(?:[.,]\d+)?)\s*(?:in|inch|inches|[\"”″]|'')?)?\.?"
)
_CLUB = re.compile(r"(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>cm|m|in|inch|inches|[\"”″]|'')?\.?")
_METRIC = re.compile(r"(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>cm|m)?\.?")


def parse_stature_cm(text: str) -> tuple[float, str]:
    """Read `178`, `178 cm`, `1.78 m`, `5 ft 10 in` or `5'10"`.

    Returns
    -------
    stature_cm : float
    units : str
        `metric` or `imperial`, as it was written.

    Raises
    ------
    ValueError
        When it is not a height of a person.
    """
    text = text.strip().lower()
    if match := _FEET.fullmatch(text):
        inches = 12 * int(match["feet"]) + _number(match["inches"] or "0")
        stature_cm, units = 2.54 * inches, "imperial"
    elif match := _METRIC.fullmatch(text):
        number = _number(match["number"])
        in_metres = match["unit"] == "m" or (match["unit"] is None and number < 3)
        stature_cm, units = number * (100 if in_metres else 1), "metric"
    else:
        raise ValueError(f"not a height: {text!r}")
    stature_cm = round(stature_cm, 1)
    if not STATURE_CM[0] <= stature_cm <= STATURE_CM[1]:
        raise ValueError(f"not a person's height: {stature_cm:.0f} cm")
    return stature_cm, units


def parse_club_cm(text: str) -> float:
    """Read `94`, `94 cm`, `0.94 m`, `37 in` or `37"`: centimetres.

    Raises
    ------
    ValueError
        When no club is that long.
    """
    match = _CLUB.fullmatch(text.strip().lower())
    if not match:
        raise ValueError(f"not a length: {text!r}")
    factor = {"m": 100.0, "cm": 1.0, None: 1.0}.get(match["unit"], 2.54)
    club_cm = _number(match["number"]) * factor
    if not CLUB_CM[0] <= club_cm <= CLUB_CM[1]:
        raise ValueError(f"not a club's length: {club_cm:.0f} cm")
    return round(club_cm, 1)


def _number(text: str) -> float:
    return numbers.real(text)
