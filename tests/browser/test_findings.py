"""Findings in the room: few taps to a sent diagnosis, and the list by keys alone."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from coaching.practice.services import library
from tests import factories
from tests.browser.test_diagnosis import give_picture
from tests.coaching.practice.making import PITCH, TURN, UPRIGHT

MOST_TAPS = 7


def add(findings, name):  # type: ignore[no-untyped-def]
    """The button that takes a suggestion."""
    named = re.compile(rf"^Add ?: {name}$")
    return findings.locator(".suggested").get_by_role("button", name=named)


class Taps:
    """Clicks, and counts them."""

    def __init__(self) -> None:
        self.count = 0

    def on(self, target) -> None:  # type: ignore[no-untyped-def]
        target.click()
        self.count += 1


@pytest.fixture
def clip(student):
    student.strike, student.flight = "thin", "right-straight"
    student.save()
    library.load_starter_library(by=None, studio=student.studio)
    clip = factories.make_submission(student=student)
    factories.make_measured(clip, UPRIGHT)
    give_picture(clip)
    return clip


def open_room(page: Page, live_server, clip) -> None:  # type: ignore[no-untyped-def]
    page.goto(live_server.url + reverse("review:room", args=[clip.pk]))
    expect(page.locator("fault-picker input")).to_be_visible()


def test_from_a_fresh_clip_to_a_sent_diagnosis(
    live_server, desk, phone, coach, student, clip, picture, assert_accessible
):
    page, taps = desk(coach), Taps()
    open_room(page, live_server, clip)
    findings = page.locator("#findings")
    picture(page, "find-fresh-1440")
    expect(findings).to_contain_text("Thin; starts right, flies straight on")
    for name in ("Too little hip turn", "Shaft too upright late in the backswing"):
        taps.on(add(findings, name))
        expect(findings.locator(".chain .t", has_text=name)).to_be_visible()
    taps.on(add(findings, "Early extension"))
    expect(findings.locator(".chain .finding")).to_have_count(3)
    taps.on(findings.get_by_role("button", name="Put it at the end of the chain"))
    expect(findings.locator(".chain .finding")).to_have_count(5)
    picture(page, "find-chain-1440")
    assert_accessible(page)
    page.locator("#review-words").fill("Turn first; the rest follows.")
    taps.on(page.get_by_role("button", name=re.compile("^Send to")))
    expect(page.locator("[data-sent]")).to_be_visible()
    assert taps.count <= MOST_TAPS, taps.count

    handy = phone(student.user)
    handy.goto(live_server.url + reverse("diagnosis:shown", args=[student.pk]))
    main = handy.locator("main")
    for words in (
        "Your hips barely turn in the backswing. We start here.",
        "The club stands too upright late in the backswing because your hips barely turn in the"
        " backswing.",
        "You catch the ball thin with the bottom edge of the club because your hips move toward"
        " the ball coming down.",
    ):
        expect(main).to_contain_text(words)
    picture(handy, "find-shown-390")
    assert_accessible(handy)


def test_the_list_by_keys_alone(
    live_server, desk, coach, student, clip, picture, assert_accessible
):
    page = desk(coach)
    open_room(page, live_server, clip)
    box, findings = page.locator("fault-picker input"), page.locator("#findings")
    box.focus()
    expect(page.locator(".opt")).not_to_have_count(0)  # the whole list, by view
    page.keyboard.type("ear")
    first = page.locator(".opt").first
    expect(first).to_contain_text("Early extension")
    expect(first).to_have_attribute("aria-selected", "true")
    expect(first).to_contain_text("7")  # what was measured
    picture(page, "find-picker-1440")
    assert_accessible(page)
    page.keyboard.press("Enter")
    expect(findings.locator(".chain .t")).to_have_text(["Early extension"])
    expect(findings.locator(".chain .finding")).to_contain_text("because of what?")
    expect(box).to_be_focused()

    page.keyboard.type("sway")
    expect(page.locator(".opt").first).to_contain_text("Sway")
    page.keyboard.press("Alt+l")
    expect(findings.locator(".chain .finding")).to_have_count(2)
    sway = findings.locator(".finding", has=page.locator(".t", has_text="Sway"))
    expect(sway).to_contain_text("what makes it needed is not found yet")

    page.keyboard.type("smiles too little")
    expect(page.locator(".opt")).to_have_count(1)
    page.keyboard.press("Enter")
    expect(findings.locator(".chain .t", has_text="Smiles too little")).to_be_visible()
    page.keyboard.type("x")
    page.keyboard.press("Escape")
    expect(box).to_have_value("")
    expect(box).to_have_attribute("aria-expanded", "false")
    assert student.findings.get(entry="sway").kind == "compensation"
    assert student.findings.get(entry="").text == "smiles too little"


def test_what_the_club_hides_is_seen_in_one_tap(live_server, desk, coach, student):
    clip = factories.make_submission(student=student)
    factories.make_measured(clip, {PITCH: "shaft_end_on", TURN: (45.0, 6.0)})
    give_picture(clip)
    page = desk(coach)
    open_room(page, live_server, clip)
    findings = page.locator("#findings")
    findings.get_by_role("button", name="Shaft too flat late in the backswing").click()
    expect(findings.locator(".chain .finding")).to_contain_text("by eye")
    expect(findings.locator(".end-on")).to_have_count(0)
