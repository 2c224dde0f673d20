"""The README's pictures, taken of the demo: `python -m coaching.demo.screenshots [ADDRESS]`.

Without an address the app is started with a throwaway folder and makes the demo first, which
takes a few minutes. Every picture is what a person sees who signs in and walks there.
"""

from __future__ import annotations

import io
import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from coaching.demo import story

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "docs" / "screenshots"
DESK = (1440, 900)
TALL = (1440, 1300)
PHONE = (390, 844)
COLOURS = 256  # ink on paper, and a clip, need no more
MAKING_S = 1800


@dataclass(frozen=True)
class Picture:
    """Where a person of the story goes, and how wide the screen is.

    `steps` are links, by a part of their address or as a CSS selector, pressed in order.
    """

    name: str
    email: str
    size: tuple[int, int]
    steps: Sequence[str] = ()
    ready: str = "main"
    then: Callable[[Page], None] | None = None


def _student(key: str) -> str:
    return f"{key}@{story.MAIL}"


def _at_top(page: Page) -> None:
    """The clip at the top of the swing, with the findings beside it."""
    page.locator("time-strip [data-event=top]").first.click()
    page.wait_for_timeout(1500)


def _at_chart(page: Page) -> None:
    """The first measure over time, from its heading on."""
    page.locator("section:has(> figure.over-time)").first.evaluate("e => e.scrollIntoView()")


PICTURES = (
    Picture("waiting-list", story.COACH[1], DESK),
    Picture(
        "review-room",
        story.COACH[1],
        TALL,
        ["at=clip-", "/review/clip/"],
        "review-room[ready]",
        _at_top,
    ),
    Picture("verdict", story.COACH[1], DESK, ["at=drill-"], "form.judging"),
    Picture("student-home", _student("brannoc"), PHONE),
    Picture("drill", _student("brannoc"), PHONE, ["/drill/"]),
    Picture("progress", _student("brannoc"), PHONE, ["/progress/"], then=_at_chart),
    Picture("film-again", _student("perrin"), PHONE, ["/clips/"]),
    Picture("causes", _student("brannoc"), PHONE, ["/review/"]),
)


def main(address: str = "") -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    with served(address) as site, sync_playwright() as playwright:
        chromium = os.environ.get("CHROMIUM", "/usr/bin/chromium")
        browser = playwright.chromium.launch(
            executable_path=chromium if Path(chromium).exists() else None,
            args=["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-sync"],
        )
        for picture in PICTURES:
            path = FOLDER / f"{picture.name}.png"
            path.write_bytes(small(take(browser, site, picture)))
            print(f"{path.relative_to(ROOT)}  {path.stat().st_size // 1024} kB", flush=True)
        browser.close()


def take(browser: Browser, site: str, picture: Picture) -> bytes:
    """Sign in, walk there, and take what the screen shows."""
    width, height = picture.size
    phone = picture.size == PHONE
    context = browser.new_context(
        base_url=site,
        viewport={"width": width, "height": height},
        device_scale_factor=2 if phone else 1,
        is_mobile=phone,
        has_touch=phone,
        reduced_motion="reduce",
        ignore_https_errors=True,
    )
    page = context.new_page()
    page.goto("/login/")
    page.locator("[name=login]").fill(picture.email)
    page.locator("[name=password]").fill(story.PASSWORD)
    page.locator("[name=password]").press("Enter")
    page.wait_for_url(lambda url: "/login/" not in url)
    for step in picture.steps:
        page.locator(f"main a[href*='{step}']").first.click()
    page.wait_for_load_state("networkidle")
    page.wait_for_selector(picture.ready)
    if picture.then:
        picture.then(page)
    page.mouse.move(0, 0)  # nothing is shown as pointed at
    page.evaluate("document.activeElement.blur()")
    taken = page.screenshot()
    context.close()
    return taken


def small(png: bytes) -> bytes:
    """The same picture with a palette, about a third of the size."""
    held = io.BytesIO()
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(held, "PNG", optimize=True)
    return held.getvalue()


@contextmanager
def served(address: str) -> Iterator[str]:
    """The address of a running app: the one given, else one started and stopped here."""
    if address:
        yield address
        return
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory(prefix="causeway-screenshots-") as folder:
        models = os.environ.get("MODELS_DIR") or str(ROOT / "var" / "models")
        own = {
            "VAR_DIR": folder,
            "DATABASE_URL": f"sqlite:///{folder}/causeway.sqlite3",
            "MODELS_DIR": models,
            "PORT": str(port),
        }
        kept = {k: v for k, v in os.environ.items() if k not in {"REDIS_URL", "HTTPS", "HOST"}}
        command = [sys.executable, "-m", "coaching.serve"]
        app = subprocess.Popen(command, cwd=ROOT, env=kept | own)
        try:
            site = f"http://127.0.0.1:{port}"
            _wait(site, app)
            yield site
        finally:
            app.terminate()
            app.wait(timeout=30)


def _wait(site: str, app: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + MAKING_S
    while time.monotonic() < deadline:
        if app.poll() is not None:
            raise SystemExit("The app stopped before it could be photographed; see above.")
        try:
            with urllib.request.urlopen(f"{site}/healthz", timeout=2) as answer:  # noqa: S310 (our own)
                if answer.status == 200:
                    return
        except OSError:
            time.sleep(1)
    raise SystemExit(f"The app did not answer within {MAKING_S // 60} minutes.")


if __name__ == "__main__":
    main(*sys.argv[1:2])
