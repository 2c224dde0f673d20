"""A coach answers a typical clip, start to end, with every click and page load counted."""

from __future__ import annotations

import re
from typing import Any, NamedTuple

from playwright.sync_api import Page, expect

from analysis.models import EventTime
from coaching.people.models import Student
from coaching.practice.services.library import load_starter_library
from tests import factories
from tests.coaching.practice.making import UPRIGHT
from tests.coaching.review.clips import make_film

# Kept in the tab, so that a page load does not lose the count.
COUNT = """
const more = (name) => sessionStorage.setItem(name, Number(sessionStorage.getItem(name) ?? 0) + 1);
more("loads");
addEventListener("click", (event) => event.isTrusted && more("clicks"), true);
"""


class Counted(NamedTuple):
    """Clicks from the waiting list to the sent lesson; loads of pages after opening; and of the
    clicks those from the list to three findings, joined, and the drill for them."""

    clicks: int
    loads: int
    diagnosis: int


def typical_clip(student: Student) -> Any:
    """A swing with an upright shaft and little turn, waiting for its coach."""
    load_starter_library(by=None, studio=student.studio)
    clip = factories.make_submission(student=student)
    make_film(clip.video)
    run = factories.make_measured(clip, UPRIGHT)
    EventTime.objects.create(
        run=run, repetition=0, event="late_back", time_s=0.4, frame=24, uncertainty_s=0.01
    )
    return clip


def answer_clip(page: Page, clip: Any, waiting: str) -> Counted:
    """What it takes from the waiting list to the sent lesson.

    Three findings taken, the right drill assigned, one line drawn at the top, a word written.
    """
    page.add_init_script(COUNT)
    page.goto(waiting)
    page.evaluate("sessionStorage.setItem('clicks', 0); sessionStorage.setItem('loads', 0)")
    page.locator(f"a[href$='/review/clip/{clip.pk}/']").click()
    page.wait_for_selector("review-room[ready]")
    findings, drills = page.locator("#findings"), page.locator("#drills")
    named = ("Too little hip turn", "Shaft too upright late in the backswing", "Early extension")
    for title in named:
        suggested = findings.locator(".suggested")
        take = suggested.get_by_role("button", name=re.compile(f"^Add ?: {title}$"))
        take.click()
        expect(take).to_have_count(0)
    drills.get_by_role("link", name=re.compile("The club stands too upright")).click()
    drills.get_by_role("button", name="Assign", exact=True).click()
    expect(drills.get_by_role("button", name=re.compile("^Remove ?:"))).to_be_visible()
    diagnosis = page.evaluate("sessionStorage.getItem('clicks')")
    page.locator("time-strip [data-event=top]").click()
    page.locator("[data-tool=draw]").click()
    page.locator("[data-purpose=seat_line]").click()
    page.locator("frame-player .window").click(position={"x": 100, "y": 200})
    expect(page.locator("review-moments li")).to_have_count(1)
    page.locator("#review-words").click()
    page.keyboard.type("Let the club lie flatter as it goes back; then turn.")
    page.locator("[data-send] button").click()
    expect(page.locator("[data-sent]")).to_be_visible()
    expect(page.locator("#say")).to_have_js_property("inert", True)  # it stays as it was sent
    counted = page.evaluate("[sessionStorage.getItem('clicks'), sessionStorage.getItem('loads')]")
    return Counted(int(counted[0]), int(counted[1]) - 1, int(diagnosis))
