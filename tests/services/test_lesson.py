"""One lesson, whole: a real clip, the real worker, a coach at a desk and a student's phone.

The app runs as `make run` starts it (broker, web and worker under their supervisor) on a
database of its own. Nothing here reaches into it: everything goes through the two browsers.
"""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from playwright.sync_api import Browser, Locator, Page, expect

from tests.browser.conftest import DESK, PHONE, browser_type_launch_args

__all__ = ["browser_type_launch_args"]  # the machine's Chromium here too

ROOT = settings.BASE_DIR
CLIPS = ROOT / "coaching" / "demo" / "clips"
COACH, STUDENT = "ina@example.org", "ole@example.org"
PASSWORD = "a quiet morning 7"
MEASURED_MS = 240_000  # two clips on a shared machine


@pytest.fixture
def site(tmp_path: Path) -> Iterator[str]:
    """The address of an app with one studio and nobody in it."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    env = {k: v for k, v in os.environ.items() if k not in {"CAUSEWAY_TEST_DIR", "REDIS_URL"}} | {
        "DJANGO_SETTINGS_MODULE": "coaching.settings",
        "DATABASE_URL": f"sqlite:///{tmp_path / 'lesson.sqlite3'}",
        "VAR_DIR": str(tmp_path),
        "MODELS_DIR": str(settings.MODELS_DIR),
        "PORT": str(port),
        "OWNER_PASSWORD": PASSWORD,
    }
    manage = [sys.executable, str(ROOT / "manage.py")]
    subprocess.run([*manage, "migrate", "--verbosity", "0"], cwd=ROOT, env=env, check=True)
    subprocess.run(
        [*manage, "createstudio", "Dune House", "--email", COACH, "--owner", "Ina Dune"],
        cwd=ROOT,
        env=env,
        check=True,
    )
    log = (tmp_path / "serve.log").open("wb")
    served = subprocess.Popen(
        [sys.executable, "-m", "coaching.serve"], cwd=ROOT, env=env, stdout=log, stderr=log
    )
    address = f"http://127.0.0.1:{port}"
    try:
        _wait_for(f"{address}/healthz", served)
        yield address
    finally:
        served.terminate()
        served.wait(timeout=30)
        log.close()


def _wait_for(url: str, served: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until and served.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=2):
                return
        except OSError:
            time.sleep(0.3)
    raise AssertionError("the app did not start")


def opened(browser: Browser, site: str, options: dict[str, object]) -> Page:
    context = browser.new_context(base_url=site, **options)  # type: ignore[arg-type]
    context.set_default_timeout(30_000)
    return context.new_page()


def sign_in(page: Page, email: str) -> None:
    page.goto("/login/")
    page.get_by_label("E-mail").fill(email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()


def join(page: Page, link: str) -> None:
    """Body first, then who you are, then what you agree to."""
    page.goto(link)
    page.get_by_label("Your name").fill("Ole Strand")
    page.get_by_label("Your e-mail").fill(STUDENT)
    page.get_by_label("A password").fill(PASSWORD)
    page.get_by_label("18 or over").check()
    page.get_by_role("button", name="Continue").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text("Does anything hurt or feel stiff?")
    page.get_by_label("Nothing hurts and nothing is limited.").check()
    page.get_by_role("button", name="Continue").tap()
    page.get_by_label("right-handed").check()
    page.get_by_label("How tall are you?").fill("180 cm")
    page.get_by_label("18 to 59").check()
    page.get_by_label("a range or course, with balls").check()
    page.get_by_label("Anything else about your bad shots?").fill("thin, to the right")
    page.get_by_role("button", name="Continue").tap()
    expect(page.get_by_role("heading", level=1)).to_contain_text("do with your films")
    for switch in page.get_by_role("switch").all():
        switch.check()
    page.get_by_role("button", name="Agree to what is on").tap()
    page.wait_for_url(re.compile(r"/mine/\d+/"))


def film(page: Page, clip: str) -> None:
    """The one button of the student's home, then the clip, until it is good to use."""
    page.goto("/")
    page.get_by_role("link", name="Film it").tap()
    page.get_by_label("Use a video from my phone").set_input_files(CLIPS / clip)
    page.wait_for_url(re.compile(r"/clips/\d+/"), timeout=60_000)
    expect(page.get_by_text(re.compile("good to use", re.I)).first).to_be_visible(
        timeout=MEASURED_MS
    )


def test_one_lesson_from_invitation_to_verdict(browser: Browser, site: str) -> None:
    coach, student = opened(browser, site, DESK), opened(browser, site, PHONE)

    sign_in(coach, COACH)
    coach.get_by_role("link", name="Invite a student").click()
    coach.get_by_label("Name").fill("Ole Strand")
    coach.get_by_role("button", name="Make the link").click()
    link = coach.get_by_label(re.compile("link", re.I)).input_value()
    coach.goto("/drills/")
    coach.get_by_role("button", name="Begin with the starter drills").click()
    join(student, link)

    # Two angles are asked for, filmed, checked and measured.
    coach.goto("/students/")
    coach.get_by_role("link", name="Ole Strand").first.click()
    coach.get_by_role("link", name="Ask for a film").click()
    coach.get_by_role("button", name="Send the request").click()
    film(student, "baseline_dtl.mp4")
    film(student, "baseline_face_on.mp4")

    # The waiting list says what came back; the review room opens from it.
    coach.goto("/waiting/")
    until = time.monotonic() + MEASURED_MS / 1000
    while coach.get_by_text("down the line and").count() == 0:
        assert time.monotonic() < until, "the clips were not measured"
        coach.wait_for_timeout(2_000)
        coach.reload()
    coach.get_by_role("link", name="Open in the room").first.click()
    _look(coach)
    _diagnose(coach)
    _assign(coach)
    coach.get_by_role("button", name=re.compile("^Send to")).click()
    expect(coach.get_by_text("Sent. Ole Strand can read it now.")).to_be_visible()

    # The student reads the answer, tries, and the coach judges.
    student.goto("/")
    expect(student.get_by_role("link", name="See the answer")).to_be_visible()
    expect(student.get_by_role("link", name="Film it")).to_be_visible()
    film(student, "rehearsal_dtl.mp4")
    coach.goto("/waiting/")
    until = time.monotonic() + MEASURED_MS / 1000
    while coach.get_by_role("button", name="Passed").count() == 0:
        assert time.monotonic() < until, "the attempt was not measured"
        coach.wait_for_timeout(2_000)
        coach.reload()
    expect(coach.get_by_text(re.compile("figures say it passes")).first).to_be_visible()
    coach.get_by_role("button", name="Passed").click()
    expect(coach.get_by_text("Judged for Ole Strand.").first).to_be_visible()

    student.goto("/")
    expect(student.get_by_role("heading", level=1)).to_contain_text("passed step 1")
    expect(student.get_by_text("Then and now").first).to_be_visible()
    student.get_by_role("link", name="Messages", exact=True).tap()
    expect(student.get_by_text("Passed.", exact=True)).to_be_visible()

    # Pain, from any page, in one tap; it stands first in the waiting list.
    student.get_by_role("link", name="It hurts", exact=True).tap()
    student.get_by_role("button", name="Back", exact=True).tap()
    expect(student.get_by_text(re.compile("professional", re.I)).first).to_be_visible()
    expect(student.get_by_text(re.compile("stopped", re.I)).first).to_be_visible()
    coach.goto("/waiting/")
    expect(coach.locator("main h2").first).to_contain_text("Pain")
    expect(coach.get_by_text("Ole Strand reports pain: back").first).to_be_visible()


def _look(page: Page) -> None:
    """Exact frame steps and jumps to events, on the picture that was measured."""
    counter = page.get_by_text(re.compile(r"frame \d+ of 243"))
    expect(counter).to_be_visible()
    before = counter.inner_text()
    page.get_by_role("button", name=re.compile("^top", re.I)).first.click()
    expect(counter).not_to_have_text(before)
    at_top = int(re.search(r"frame (\d+)", counter.inner_text())[1])  # type: ignore[index]
    page.get_by_role("button", name=re.compile(r"^\+1")).first.click()
    expect(page.get_by_text(f"frame {at_top + 1} of 243")).to_be_visible()
    expect(page.locator(".span-words:visible", has_text="±").first).to_be_visible()


def _diagnose(page: Page) -> None:
    """Two findings, the second there because of the first."""
    findings = page.locator("#findings")
    _say(findings, "the upper body bends far at address", kind="cause")
    _say(
        findings,
        "you stand up through impact",
        kind="compensation",
        because="the upper body bends far at address",
    )
    expect(findings.locator(".finding", has_text="leave this for now")).to_be_visible()


def _say(findings: Locator, text: str, *, kind: str, because: str = "") -> None:
    field = findings.locator("#add-words")
    if not field.is_visible():
        findings.get_by_text(re.compile("^In your own words")).click()
    field.fill(text)
    findings.locator("#add-kind").select_option(kind)
    if because:
        findings.locator("#add-because").select_option(label=because)
    findings.locator("details.say").get_by_role("button", name="Add", exact=True).click()
    found = findings.locator(".plan .finding", has_text=re.compile(text, re.I))
    expect(found.first).to_be_visible()


def _assign(page: Page) -> None:
    """A drill whose first step asks for a figure to be at least a value, once of once."""
    drills = page.locator("#drills")
    drills.get_by_role("link", name=re.compile("the upper body bends", re.I)).first.click()
    drills.locator("#assign-drill").select_option(label="Stand tall, then fold")
    drills.get_by_role("button", name="Show its ladder").click()
    drills.get_by_text("how sure each can be").click()
    step = drills.locator(".step").first
    step.get_by_label("Must count").fill("1")
    step.get_by_label("of", exact=True).fill("1")
    criterion = step.locator(".criterion").first
    criterion.get_by_label("must be").select_option("at_least")
    criterion.get_by_label("from").fill("28")
    expect(criterion.locator(".odds")).not_to_be_empty()
    drills.get_by_role("button", name="Assign", exact=True).click()
    expect(drills.get_by_role("button", name=re.compile("^Remove ?:"))).to_be_visible()
