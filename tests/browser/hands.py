"""How a person works a page: with fingers on glass, or with keys alone."""

from __future__ import annotations

from playwright.sync_api import Locator, Page

FURTHEST = 80  # presses of Tab before we say that the keyboard does not get there


class Fingers:
    """Taps. Only on pages that were opened with touch."""

    def press(self, target: Locator) -> None:
        target.tap()

    def write(self, target: Locator, text: str) -> None:
        target.tap()
        target.fill(text)

    def choose(self, target: Locator, value: str) -> None:
        target.select_option(value)


class Keys:
    """Tab, arrows, Space and Enter; never a pointer."""

    def press(self, target: Locator) -> None:
        kind = target.evaluate("e => e.type || e.localName")
        if kind == "radio":
            self._choose_radio(target)
            return
        self._reach(target)
        target.page.keyboard.press("Enter" if kind in {"a", "summary"} else "Space")

    def write(self, target: Locator, text: str) -> None:
        self._reach(target)
        target.page.keyboard.press("ControlOrMeta+A")
        target.page.keyboard.type(text)

    def choose(self, target: Locator, value: str) -> None:
        self._reach(target)
        steps = target.evaluate(
            "(e, value) => [...e.options].findIndex(o => o.value === value) - e.selectedIndex",
            value,
        )
        for _ in range(abs(steps)):
            target.page.keyboard.press("ArrowDown" if steps > 0 else "ArrowUp")

    def _choose_radio(self, target: Locator) -> None:
        """Tab stops once at a group; the arrows go through it."""
        name = target.evaluate("e => e.name")
        page = target.page
        self._tab_until(page, f"document.activeElement.name === {name!r}")
        page.keyboard.press("Space")
        for _ in range(FURTHEST):
            if target.is_checked():
                return
            page.keyboard.press("ArrowDown")
        raise AssertionError(f"the arrows do not reach {target}")

    def _reach(self, target: Locator) -> None:
        target.evaluate("e => { window.wanted = e }")
        self._tab_until(target.page, "document.activeElement === window.wanted")

    def _tab_until(self, page: Page, there: str) -> None:
        for _ in range(FURTHEST):
            if page.evaluate(there):
                return
            page.keyboard.press("Tab")
        raise AssertionError(f"the Tab key does not get there: {there}")
