"""What docs/security.md points at is there."""

from __future__ import annotations

import ast
import re

import pytest
from django.conf import settings

PAGE = (settings.BASE_DIR / "docs" / "security.md").read_text()
NAMED = sorted(set(re.findall(r"`((?:tests|docs|coaching)/[\w/.]+)(?:::(\w+))?`", PAGE)))


@pytest.mark.parametrize(("path", "name"), NAMED)
def test_it_is_there(path: str, name: str) -> None:
    file = settings.BASE_DIR / path
    assert file.exists()
    if name:
        found = {n.name for n in ast.walk(ast.parse(file.read_text())) if hasattr(n, "name")}
        assert name in found


def test_every_chapter_is_answered() -> None:
    told = {int(number) for number in re.findall(r"\bV(\d+)\b", PAGE)}
    assert told == set(range(1, 18)) and len(NAMED) > 40
