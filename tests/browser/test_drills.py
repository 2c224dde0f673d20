"""Writing a drill: three steps and a film, by touch and by keys; how it looks on a phone."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from coaching.practice import drills
from coaching.practice.models import Drill
from coaching.practice.services import library
from tests import factories
from tests.browser.taps import Taps, add_a_step
from tests.coaching.practice.making import make_assignment, make_review


def record(page: Page, taps: Taps) -> None:
    """A second of the camera, into the form's own field."""
    taps.press("Record a clip")
    expect(page.locator("[data-part=clock]")).to_have_text("0:01")
    taps.press("Stop")
    page.wait_for_function("document.querySelector('#shown').files.length === 1")
    assert page.evaluate("document.querySelector('#shown').files[0].size") > 1000


def write_a_drill(page: Page, live_server, *, touch: bool) -> int:
    """Fill in the page; how many taps one step with a criterion took."""
    page.goto(f"{live_server.url}/drills/new/")
    for field, text in {
        "#title": "Pocket back", "#purpose": "To turn.", "#instructions": "Stand.\nTurn.",
        "#cautions": "Slowly.", "#feel": "Pocket back.",
    }.items():  # fmt: skip
        page.locator(field).fill(text)
    page.locator("#step-0-0-question").fill("Was it easy?")
    taps = Taps(page, touch=touch)
    used = add_a_step(taps)
    taps.write("#step-1-0-aim", "46")
    expect(page.locator("#step-1-0-low").locator("xpath=ancestor::fieldset")).to_contain_text(
        "is counted"
    )
    taps.press("Add a step")
    expect(page.locator(".step")).to_have_count(3)
    taps.write("#step-2-0-low", "40")
    taps.choose("#step-2-film_kind", "swing")
    taps.choose("#step-2-effort", "half")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_role("alert").first).to_contain_text("Step 3 asks for more than step 2")
    taps.press("make it at least 32°")
    expect(page.locator("#step-2-0-low")).to_have_value("32")
    record(page, taps)
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator("h1")).to_have_text("Pocket back")
    return used


@pytest.mark.parametrize("how", ["touch", "keys"])
def test_a_coach_writes_a_drill_with_three_steps_and_a_film(how, phone, desk, live_server) -> None:
    coach = factories.make_coach()
    page = (phone if how == "touch" else desk)(coach)
    assert write_a_drill(page, live_server, touch=how == "touch") <= 8
    version = drills.newest(Drill.objects.get(slug="pocket-back"))
    assert [step["effort"] for step in version.ladder] == ["slow", "slow", "half"]
    assert version.ladder[1]["criteria"] == [
        {"comparison": "at_least", "measure": "pelvis_turn_deg", "event": "top", "low": 32.0,
         "aim": 46.0}
    ]  # fmt: skip
    assert version.shown.name.endswith((".webm", ".mp4")) and version.feel == "Pocket back."
    page.reload()
    page.wait_for_function("document.querySelector('video.own').readyState >= 1")


def test_a_drill_on_a_phone_is_seen_before_it_is_read(
    phone, live_server, assert_accessible, picture
) -> None:
    """Strip, feel, target, one button; mirrored for a left-hander, and moving on a tap."""
    student = factories.make_student(handedness="left")
    library.load_starter_library(by=None, studio=student.studio)
    drill = Drill.objects.get(slug="turn-with-a-club-on-the-hips")
    review = make_review(student=student)
    assignment = make_assignment(review=review, drill=drills.newest(drill))
    mine = phone(student.user)
    mine.goto(f"{live_server.url}/drill/{assignment.pk}/")
    strip = mine.locator(".strip img")
    assert strip.count() == 4
    assert all("mirrored" in (img.get_attribute("class") or "") for img in strip.all())
    assert mine.evaluate(
        "[...document.querySelectorAll('.strip img')].every(i => i.complete && i.naturalWidth > 0)"
    )
    mine.get_by_role("button", name="Show it moving").tap()
    expect(mine.locator(".strip .seen")).to_have_count(1)
    expect(mine.locator(".target").first).to_contain_text("46°")
    expect(mine.locator(".feel")).to_have_text("Left pocket goes behind you.")
    assert mine.evaluate(
        "document.querySelector('.film-bar').getBoundingClientRect().bottom <= innerHeight"
    ), "the button is on the first screen"
    assert mine.locator("details.fold[open]").count() == 0
    picture(mine, "drill-strip-390")
    assert_accessible(mine)
    assert mine.evaluate("document.documentElement.scrollWidth <= innerWidth")
    mine.get_by_text("How to do it").tap()
    expect(mine.locator(".instructions")).to_be_visible()


def test_a_coach_shows_it_to_one_student(desk, phone, live_server, assert_accessible) -> None:
    """Recorded on the drill's page by keys; the student sees it before the drawing."""
    student = factories.make_student()
    assignment = make_assignment(review=make_review(student=student))
    page = desk(student.coach)
    page.goto(f"{live_server.url}/drill/{assignment.pk}/")
    page.locator("#show summary").press("Enter")
    record(page, Taps(page, touch=False))
    page.locator("#show-step").select_option(label="step 1: slow, no ball")
    page.locator("#show button.primary").press("Enter")
    expect(page.get_by_text("Saved.")).to_be_visible()
    assert assignment.steps.first().shown
    mine = phone(student.user)
    mine.goto(f"{live_server.url}/drill/{assignment.pk}/")
    mine.wait_for_function("document.querySelector('video.own').readyState >= 1")
    assert_accessible(mine)


def test_the_student_s_words_follow_what_is_typed(desk, live_server) -> None:
    page = desk(factories.make_coach())
    page.goto(f"{live_server.url}/drills/new/")
    shown = page.locator("step-preview")
    expect(shown).to_contain_text("You are asked:")
    page.locator("#step-0-0-question").fill("Did the pocket go back?")
    expect(shown).to_contain_text("Did the pocket go back?")
    page.locator("#step-0-0-comparison").select_option("at_least")
    expect(shown).to_contain_text("Write the number")
    page.locator("#step-0-0-figure").select_option("pelvis_turn_deg@top")
    page.locator("#step-0-0-low").fill("30")
    expect(shown).to_contain_text("at least 30°")
    expect(shown).to_contain_text("A sound swing,")
    page.get_by_role("button", name="Add a step", exact=True).click()
    expect(shown).to_contain_text("Step 2 of 2")  # the one the keyboard stands in
