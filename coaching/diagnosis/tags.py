"""Quick tags: what a coach sees and no camera measures."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

PATH = Path(__file__).with_name("tags.toml")


@dataclass(frozen=True)
class Tag:
    id: str
    label: str
    clauses: tuple[str, ...]


@cache
def all_tags() -> tuple[Tag, ...]:
    rows = tomllib.loads(PATH.read_text(encoding="utf-8"))["tag"]
    return tuple(Tag(row["id"], row["label"], tuple(row["clauses"])) for row in rows)
