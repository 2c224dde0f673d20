"""Templates hold no rules, no scripts and no line that nobody can read."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.conf import settings

ROOT = Path(settings.BASE_DIR) / "templates"
TEMPLATES = sorted(p for p in ROOT.rglob("*") if p.suffix in (".html", ".txt"))
LONGEST_LINE = 120

FORBIDDEN = {
    "a promise shows its clock: use |promised": r"promised_at\|(date|time)",
    "a rule of three conditions belongs in a view, query or property": (
        r"{%\s*(?:el)?if\b[^%]*\b(?:and|or)\b[^%]*\b(?:and|or)\b[^%]*%}"
    ),
    "the content policy drops scripts and styles that stand in the page": (
        r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son[a-z]+=|javascript:"
    ),
    "a tag stands on one line, or it is text": r"{%[^%]*\n[^%]*%}",
    "what a page shows is escaped": r"\|safe\b|{%\s*autoescape off",
}


def test_the_sweep_finds_templates() -> None:
    assert len(TEMPLATES) > 150


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_template_is_plain(path: Path) -> None:
    text = path.read_text()
    long = [n for n, line in enumerate(text.splitlines(), 1) if len(line) > LONGEST_LINE]
    assert not long, f"longer than {LONGEST_LINE}: lines {long}"
    for why, pattern in FORBIDDEN.items():
        if path.suffix == ".txt" and "escaped" in why:
            continue  # an e-mail in plain text
        if path.name == "email.html" and "content policy" in why:
            continue  # read in a mail program, which knows no style sheet of ours
        found = {match.group() for match in re.finditer(pattern, text)}
        assert not found, f"{why}: {found}"
