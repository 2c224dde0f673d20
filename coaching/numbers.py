"""Every number that comes from outside as text is read here, and nowhere else.

`float` and `int` take far more than people type: `nan`, `inf`, `1e400`, `٣`, `1_000`,
thousands of digits. What is not plainly a number in range is a `ValueError`.
"""

from __future__ import annotations

import math
import re

# The largest key of a row and the largest whole number that every database holds.
LARGEST = 2**63 - 1
MOST_CHARACTERS = 40
_WHOLE = re.compile(r"[+-]?[0-9]{1,19}")
_REAL = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")


def whole(text: str, *, low: int = 0, high: int = LARGEST) -> int:
    """A whole number from `low` to `high`.

    Raises
    ------
    ValueError
    """
    text = str(text).strip()
    if not _WHOLE.fullmatch(text) or not low <= (value := int(text)) <= high:
        raise ValueError(f"not a whole number from {low} to {high}")
    return value


def real(text: str, *, low: float = -1e12, high: float = 1e12) -> float:
    """A finite number as people type it: with a comma or a real minus sign too.

    Raises
    ------
    ValueError
    """
    plain = str(text).strip().replace(",", ".").replace("−", "-")
    if len(plain) > MOST_CHARACTERS or not _REAL.fullmatch(plain):
        raise ValueError("not a number")
    value = float(plain)
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"not a number from {low} to {high}")
    return value


def row_key(text: str) -> int | None:
    """The key of a row that came with a form or an address; None when it can be none."""
    try:
        return whole(text, low=1)
    except ValueError:
        return None
