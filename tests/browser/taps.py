"""What a hand does in the ladder's editor, counted; for the tests and the benchmark."""

from __future__ import annotations

from playwright.sync_api import Page, expect


class Taps:
    """Counts what a hand does, by touch or by keys."""

    def __init__(self, page: Page, *, touch: bool) -> None:
        self.page, self.touch, self.count = page, touch, 0

    def press(self, name: str, *, last: bool = True) -> None:
        button = self.page.get_by_role("button", name=name, exact=True)
        button = button.last if last else button.first
        button.tap() if self.touch else button.press("Enter")
        self.count += 1

    def choose(self, selector: str, value: str) -> None:
        self.page.locator(selector).select_option(value)
        self.count += 2  # open the list, take the line

    def write(self, selector: str, text: str) -> None:
        self.page.locator(selector).fill(text)
        self.count += 1


def add_a_step(taps: Taps) -> int:
    """A step with a criterion after the first one of an empty drill; the taps it took."""
    before = taps.count
    taps.press("Add a step")
    expect(taps.page.locator(".step")).to_have_count(2)
    taps.choose("#step-1-0-comparison", "at_least")
    taps.choose("#step-1-0-figure", "pelvis_turn_deg@top")
    taps.write("#step-1-0-low", "32")
    expect(taps.page.locator("#step-1-0-low")).to_have_value("32")
    return taps.count - before
