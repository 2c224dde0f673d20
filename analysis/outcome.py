"""What a piece of work is given and what it gives back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from analysis.models import Run

Progress = Callable[[str, float], None]
# Stores what came out, inside the closing transaction.
Store = Callable[[Run], None]
# What a piece of work gives: its result, the names of files it wrote, and how to store them.
Outcome = tuple[dict[str, Any], list[str], Store]
