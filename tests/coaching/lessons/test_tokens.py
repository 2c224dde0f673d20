"""Colours live in one file, and every pair of text and ground can be read."""

from __future__ import annotations

import re
from itertools import product
from pathlib import Path

import pytest
from django.conf import settings

CSS = Path(settings.BASE_DIR) / "static" / "css"
TOKENS = (CSS / "tokens.css").read_text()
GROUNDS = ("paper", "leaf", "well")
PAIRS = [
    *product(("ink", "ink-2", "ink-3", "water", "ochre", "brick"), GROUNDS),
    *product(("ink",), ("water-wash", "ochre-wash", "brick-wash", "band")),
    ("ink-2", "water-wash"), ("ink-2", "ochre-wash"), ("ink-2", "brick-wash"),
    ("water", "ochre-wash"), ("water", "brick-wash"),
    ("on-water", "water"), ("on-brick", "brick"),
]  # fmt: skip


def palette(scheme: str) -> dict[str, str]:
    first, _, rest = TOKENS.partition("@media (prefers-color-scheme: dark)")
    found = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", first))
    if scheme == "dark":
        found |= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", rest.partition("@media")[0]))
    return found


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_and_white_is_21() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # a well-known grey


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), PAIRS)
def test_every_pair_can_be_read(scheme: str, text: str, ground: str) -> None:
    colours = palette(scheme)
    assert contrast(colours[text], colours[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_ink_can_be_read_in_the_sun(scheme: str) -> None:
    colours = palette(scheme)
    for text, ground in product(("ink", "ink-2"), GROUNDS):
        assert contrast(colours[text], colours[ground]) >= 7
    for mark, ground in product(("edge",), GROUNDS):  # borders and rules: 3, WCAG 1.4.11
        assert contrast(colours[mark], colours[ground]) >= 3


@pytest.mark.parametrize(
    "sheet", sorted(p.name for p in CSS.glob("*.css") if p.name != "tokens.css")
)
def test_no_other_sheet_names_a_colour(sheet: str) -> None:
    text = re.sub(r"/\*.*?\*/", "", (CSS / sheet).read_text(), flags=re.S)
    named = re.findall(r"#[0-9a-fA-F]{3,8}\b(?![^{]*\{)|\b(?:rgba?|hsla?|oklch)\(", text)
    assert named == []
    assert set(re.findall(r"var\(--([\w-]+)\)", text)) <= set(
        re.findall(r"--([\w-]+):", TOKENS + text)
    )
