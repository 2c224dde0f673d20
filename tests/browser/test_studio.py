"""The studio's own pages, walked as an owner does: by keys at a desk, by a finger on a phone."""

from __future__ import annotations

import io
from collections.abc import Callable

import pytest
from PIL import Image
from playwright.sync_api import Locator, Page, expect

from coaching.people.models import Student, User
from tests.browser.test_pages_of_people import sound


def logo_png() -> bytes:
    held = io.BytesIO()
    Image.new("RGB", (240, 60), "#643a74").save(held, "PNG")
    return held.getvalue()


@pytest.mark.parametrize("width", [390, 1280])
def test_an_owner_sets_the_studio_up(
    student: Student, coach: User, width: int, phone, desk, assert_accessible, picture
) -> None:
    touch = width == 390
    page: Page = phone(coach) if touch else desk(coach, viewport={"width": 1280, "height": 720})
    at = f"/studio/{student.studio_id}/"

    def press(what: Locator) -> None:
        what.tap() if touch else what.press("Enter")

    def save(part: Locator | Page = page) -> None:
        press(part.get_by_role("button", name="Save", exact=True).last)

    def looked_at(name: str) -> None:
        assert_accessible(page)
        if touch:
            sound(page)
        else:
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
        picture(page, f"studio-{name}-{width}")

    _sentence(page, at, press, save)
    looked_at("sentences")
    _request_set(page, at, save)
    looked_at("requests")
    _limit(page, at, press, save)
    looked_at("limits")
    _promise(page, at, press, save)
    looked_at("promise")
    _look(page, at, press, save)
    looked_at("look")


Press = Callable[[Locator], None]
Save = Callable[..., None]


def _sentence(page: Page, at: str, press: Press, save: Save) -> None:
    """A place is put in by its chip, and the sentence is read back with it filled."""
    page.goto(f"{at}sentences/")
    words = page.get_by_label("Words")
    words.fill("Well turned, ")
    words.press("End")
    press(page.get_by_role("button", name="name", exact=True))
    expect(words).to_have_value("Well turned, {name}")
    page.get_by_label("Title").fill("Well turned")
    save()
    expect(page.get_by_role("heading", name="Well turned")).to_be_visible()
    expect(page.locator(".card .said")).to_contain_text("Well turned, ")
    expect(page.locator(".card .said")).not_to_contain_text("{name}")


def _request_set(page: Page, at: str, save: Save) -> None:
    """A new set begins with a film, so that a title alone is enough."""
    page.goto(f"{at}requests/")
    page.get_by_label("Name of the set").fill("First look")
    page.get_by_label("Due after").fill("5")
    save()
    row = page.locator("tr[aria-current]")
    expect(row).to_contain_text("First look")
    expect(row).to_contain_text("down the line")
    expect(row).to_contain_text("after 5 days")


def _limit(page: Page, at: str, press: Press, save: Save) -> None:
    """A finding is found by a word; its limit and words are the studio's from then on."""
    page.goto(f"{at}findings/")
    rows = page.locator(".limits tbody tr:visible")
    before = rows.count()
    page.get_by_label("Find a finding").fill("heels weight")
    expect(rows).to_have_count(1)
    assert before > 50
    press(rows.get_by_role("link"))
    page.get_by_label("At most").fill("no number")
    save()
    expect(page.get_by_role("alert")).to_be_visible()
    expect(page.get_by_label("At most")).to_have_value("no number")
    page.get_by_label("At most").fill("30")
    page.get_by_label("Your words for the student").fill("you stand back on your heels")
    save()
    changed = page.locator(".limits tr", has_text="Weight on the heels")
    expect(changed).to_contain_text("at most 30 %")
    expect(changed).to_contain_text("changed here")


def _promise(page: Page, at: str, press: Press, save: Save) -> None:
    page.goto(f"{at}days-off/")
    page.get_by_label("You answer within, in hours").fill("24")
    page.locator(".week label", has_text="Sun").click()
    save()
    expect(page.get_by_role("heading", level=1)).to_contain_text("24 hours")
    expect(page.get_by_label("Sun")).not_to_be_checked()
    press(page.locator("summary", has_text="Add days off"))
    page.get_by_label("First day").fill("2031-12-24")
    page.get_by_label("Last day").fill("2032-01-03")
    press(page.get_by_role("button", name="Add", exact=True))
    expect(page.locator(".rows strong")).to_contain_text("24 December")


def _look(page: Page, at: str, press: Press, save: Save) -> None:
    """The colour is there at once; the logo stands at the top and goes again."""
    page.goto(at)
    page.locator(".inks label", has_text="heather").click()
    save(page.locator(".card"))
    expect(page.locator("html")).to_have_attribute("data-accent", "heather")
    page.get_by_label("Logo").set_input_files(
        {"name": "logo.png", "mimeType": "image/png", "buffer": logo_png()}
    )
    press(page.get_by_role("button", name="Save the logo"))
    expect(page.locator(".head .studio-logo")).to_be_visible()
    card = page.locator(".card")
    press(card.get_by_role("button", name="Remove", exact=True))
    expect(page.locator(".head .studio-logo")).to_have_count(0)
