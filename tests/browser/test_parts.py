"""The parts of pages: readable, large enough for a thumb, still when asked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page

pytestmark = pytest.mark.urls("tests.styleguide")
SIZES = """() => [...document.querySelectorAll('main button, main .btn, main .tabs a, main input')]
    .map(e => e.getBoundingClientRect()).map(r => Math.round(r.height))"""


def test_parts_can_be_read_in_light_and_dark(
    desk: Callable[..., Page], assert_accessible: Callable[[Page], None]
) -> None:
    page = desk()
    page.goto("/styleguide/")
    assert_accessible(page)


def test_a_thumb_meets_44_px_and_a_desk_is_dense(
    desk: Callable[..., Page], phone: Callable[..., Page]
) -> None:
    page = phone()
    page.goto("/styleguide/")
    # The box of a choice is its whole row's; the row is measured by its label.
    assert min(h for h in page.evaluate(SIZES) if h != 22) >= 40
    page.evaluate("() => document.fonts.ready")
    rows = page.evaluate(
        "() => [...document.querySelectorAll('main button, main .btn, label.choice')]"
        ".map(e => e.getBoundingClientRect().height)"
    )
    segments = page.evaluate("() => document.querySelectorAll('.seg button').length")
    assert sum(1 for h in rows if h < 44) <= segments  # a segment's frame makes up its 44
    page = desk()
    page.goto("/styleguide/")
    button = page.locator("main p.actions button").nth(1).bounding_box()
    assert button and 32 <= button["height"] <= 36


def test_type_is_served_by_us_and_figures_line_up(desk: Callable[..., Page]) -> None:
    page = desk()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto("/styleguide/")
    page.evaluate("() => document.fonts.ready")
    loaded: Any = page.evaluate(
        "() => [...document.fonts].filter(f => f.status === 'loaded').map(f => f.family)"
    )
    assert {family.strip('"') for family in loaded} == {"Commissioner Flair", "Source Sans 3"}
    here = page.url.split("/styleguide")[0]
    assert all(url.startswith((here, "data:")) for url in asked)
    widths = page.evaluate(
        """() => ['1111', '8888'].map(text => {
            const span = document.createElement('span');
            span.textContent = text;
            document.querySelector('main p').append(span);
            return span.getBoundingClientRect().width;
        })"""
    )
    assert widths[0] == widths[1]


def test_nothing_moves_when_asked_for_none(desk: Callable[..., Page]) -> None:
    page = desk(reduced_motion="reduce")
    page.goto("/styleguide/")
    lasts = page.evaluate(
        "() => getComputedStyle(document.querySelector('main button')).transitionDuration"
    )
    assert set(lasts.replace(" ", "").split(",")) == {"0s"}
