"""Chromium against a live server, at the width of a phone or of a desk.

`page` comes from pytest-playwright. `phone` and `desk` are pages of their own; `sign_in`
opens a session without typing; `assert_accessible` runs axe in light and in dark.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from playwright.sync_api import Browser, BrowserContext, Page, expect

from coaching.people.models import User

# Playwright runs its own event loop in this thread; the live server has its own threads.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
# A machine that does other things is slow, not wrong: what comes late has come.
expect.set_options(timeout=20_000)
AXE = settings.BASE_DIR / "node_modules" / "axe-core" / "axe.min.js"
PHONE = {
    "viewport": {"width": 390, "height": 844},
    "has_touch": True,
    "is_mobile": True,
    "device_scale_factor": 2,
}
DESK = {"viewport": {"width": 1440, "height": 900}}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)
            # Rows must be committed, or the server's own thread does not see them.
            item.add_marker(pytest.mark.django_db(transaction=True))


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """The machine's Chromium (CHROMIUM names another); nothing is downloaded."""
    path = os.environ.get("CHROMIUM", "/usr/bin/chromium")
    switches = (
        "no-sandbox disable-gpu disable-quic no-first-run disable-background-networking "
        "disable-component-update disable-sync use-fake-ui-for-media-stream "
        "use-fake-device-for-media-stream"
    )
    return {
        **browser_type_launch_args,
        **({"executable_path": path} if Path(path).exists() else {}),
        "args": [f"--{switch}" for switch in switches.split()],
    }


@pytest.fixture
def new_page(browser: Browser, live_server: Any) -> Iterator[Callable[..., Page]]:
    """`new_page(user=None, **context)`: a page of its own, signed in when a user is given."""
    contexts: list[BrowserContext] = []
    broken: list[str] = []

    def make(user: User | None = None, **options: Any) -> Page:
        context = browser.new_context(base_url=live_server.url, **{**DESK, **options})
        contexts.append(context)
        context.set_default_timeout(30_000)
        page = context.new_page()
        page.on("pageerror", lambda error: broken.append(f"{page.url}: {error}"))
        page.on("console", lambda line: _note_refusal(broken, page, line.text))
        if user is not None:
            sign_in(page, user, live_server.url)
        return page

    yield make
    for context in contexts:
        context.close()
    assert not broken, "scripts broke or the content policy refused something:\n" + "\n".join(
        broken
    )


def _note_refusal(broken: list[str], page: Page, text: str) -> None:
    if "Content Security Policy" in text:
        broken.append(f"{page.url}: {text}")


@pytest.fixture
def phone(new_page: Callable[..., Page]) -> Callable[..., Page]:
    """`phone(user=None)`: a page 390 points wide, touched with fingers."""
    return lambda user=None, **options: new_page(user, **{**PHONE, **options})


@pytest.fixture
def desk(new_page: Callable[..., Page]) -> Callable[..., Page]:
    """`desk(user=None)`: a page 1440 points wide."""
    return lambda user=None, **options: new_page(user, **{**DESK, **options})


def sign_in(page: Page, user: User, url: str) -> None:
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.save()
    page.context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": session.session_key, "url": url}]
    )


@pytest.fixture
def assert_accessible() -> Callable[[Page], None]:
    """axe finds nothing serious or critical, in light and in dark."""

    def check(page: Page) -> None:
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            # Through evaluate, because a page's content policy refuses added scripts.
            page.evaluate(AXE.read_text())
            found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
            bad = [
                f"{v['id']}: {v['help']}: {[n['html'][:160] for n in v['nodes'][:3]]}"
                for v in found["violations"]
                if v["impact"] in ("serious", "critical")
            ]
            assert not bad, f"{page.url} ({scheme}):\n" + "\n".join(bad)
        page.emulate_media(color_scheme="light", reduced_motion="no-preference")

    return check


@pytest.fixture
def picture() -> Callable[[Page, str], None]:
    """`picture(page, name)` saves a full-page screenshot under $PICTURES, where that is set.

    For people to look at; without the folder nothing is taken, so that no test waits for one.
    """
    folder = os.environ.get("PICTURES")

    def shoot(page: Page, name: str) -> None:
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)

    return shoot
