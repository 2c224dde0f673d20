"""The waiting list and the student's home: by touch on a phone, by keys alone at a desk."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from coaching.lessons import services as lessons
from coaching.people.models import Student, User
from coaching.practice.models import PainReport
from tests import factories
from tests.browser.hands import Fingers, Keys

WAYS = [pytest.param("phone", Fingers(), id="phone"), pytest.param("desk", Keys(), id="desk")]
FIGURES = {("pelvis_turn_deg", "top"): (21.0, 3.0), ("shaft_pitch_deg", "late_back"): (86.0, 2.0)}


@pytest.fixture
def waiting(coach: User, student: Student) -> dict[str, Student]:
    """Two clips with different promises, a pain report and somebody with a word."""
    studio = student.studio
    factories.make_coach(studio=studio, name="Kim Colleague")
    people = {"first": student}
    for name, hours in (("Late Lee", 50), ("Soon Sue", 3)):
        person = factories.make_student(coach=coach, name=name)
        clip = factories.make_submission(
            student=person, promised_at=timezone.now() + timedelta(hours=hours)
        )
        factories.make_measured(clip, FIGURES)
        people[name] = person
    PainReport.objects.create(student=student, region="hip", text="on the way back")
    return people


@pytest.mark.parametrize(("width", "hands"), WAYS)
def test_the_coach_works_through_the_waiting_list(
    waiting: dict[str, Student],
    coach: User,
    width: str,
    hands: Fingers | Keys,
    request: Any,
    assert_accessible: Any,
    picture: Any,
) -> None:
    page = request.getfixturevalue(width)(coach)
    page.goto("/waiting/")
    rows = page.locator(".line")
    expect(rows).to_have_count(3)
    for place, text in enumerate(("Hip hurts", "Soon Sue", "Late Lee")):
        expect(rows.nth(place)).to_contain_text(text)
    expect(rows.nth(1).locator("time.left.soon")).to_contain_text("left")
    assert len({round(row.bounding_box()["height"]) for row in rows.all()}) == 1
    picture(page, f"waiting-{width}")
    assert_accessible(page)

    # Found while one types; nothing found says so and offers the way back.
    hands.write(page.get_by_label("Find by name or words"), "nobody at all")
    expect(page.get_by_text("No row holds these words.")).to_be_visible()
    hands.press(page.get_by_role("link", name="Show everything"))
    expect(rows).to_have_count(3)

    # A row opens beside the list, or on a phone in its place.
    hands.press(rows.nth(2).locator(".mid"))
    pane = page.locator(".pane")
    expect(pane.get_by_role("heading", level=2)).to_contain_text("Late Lee sent a swing")
    assert_accessible(page)
    picture(page, f"waiting-opened-{width}")

    # Put off, handed over.
    hands.press(pane.locator(".later > summary"))
    hands.press(pane.get_by_role("button", name="In three days"))
    expect(rows).to_have_count(2)
    hands.press(rows.nth(1).locator(".mid"))
    expect(pane.get_by_role("heading", level=2)).to_contain_text("Soon Sue")
    hands.press(pane.locator(".later > summary"))
    kim = User.objects.get(name="Kim Colleague")
    hands.choose(pane.get_by_label("Hand to"), str(kim.pk))
    hands.press(pane.get_by_role("button", name="Hand over"))
    expect(rows).to_have_count(2)
    waiting["Soon Sue"].refresh_from_db()
    assert waiting["Soon Sue"].coach == kim

    # Pain leads to the report.
    if width == "phone":  # at a desk it stands beside the list already
        hands.press(rows.nth(0).locator(".mid"))
    hands.press(pane.get_by_role("link", name="Read the report"))
    expect(page.get_by_role("heading", level=1)).to_contain_text(waiting["first"].name)


def test_the_list_is_worked_by_keys_alone(
    waiting: dict[str, Student], coach: User, desk: Any, assert_accessible: Any
) -> None:
    lessons.send_message(
        student=waiting["Late Lee"], author=waiting["Late Lee"].user, text="Which shoe?"
    )
    page = desk(coach)
    page.goto("/waiting/")
    heading = page.locator(".pane").get_by_role("heading", level=2)
    for key, name in (("j", "Soon Sue"), ("j", "Late Lee"), ("k", "Soon Sue")):
        page.keyboard.press(key)
        expect(heading).to_contain_text(name)
    page.keyboard.press("?")
    expect(page.get_by_role("dialog", name="Keys")).to_be_visible()
    assert_accessible(page)
    page.keyboard.press("Escape")
    expect(page.get_by_role("dialog", name="Keys")).to_be_hidden()
    page.keyboard.press("x")
    expect(page.get_by_role("checkbox", name="Pick Soon Sue")).to_be_checked()
    expect(page.get_by_role("button", name="Put off a day")).to_be_visible()
    page.keyboard.press("x")
    page.keyboard.press("/")
    page.keyboard.type("shoe")
    expect(page.locator(".line")).to_have_count(1)
    page.keyboard.press("Escape")
    page.keyboard.press("j")
    page.locator(".line .mid").click()
    expect(heading).to_contain_text("wrote to you")
    page.keyboard.press("r")
    page.keyboard.type("The left one.")
    page.keyboard.press("Control+Enter")
    expect(page.get_by_text("No row holds these words.")).to_be_visible()
    page.goto("/waiting/")
    expect(page).to_have_title("(3) Waiting for you · Causeway")


def test_enter_goes_on_from_the_row_that_was_clicked(
    waiting: dict[str, Student], coach: User, desk: Any
) -> None:
    page = desk(coach)
    page.goto("/waiting/")
    heading = page.locator(".pane").get_by_role("heading", level=2)
    page.locator(".line .mid", has_text="Soon Sue").click()
    expect(heading).to_contain_text("Soon Sue")
    leads = page.locator(".pane [data-open]").get_attribute("href")
    page.keyboard.press("Enter")  # as its button says
    expect(page).to_have_url(re.compile(f"{leads}$"))


def test_every_row_opens_and_is_answered_without_script(
    waiting: dict[str, Student], coach: User, desk: Any
) -> None:
    page = desk(coach, java_script_enabled=False)
    page.goto("/waiting/")
    page.locator(".line .mid").nth(2).click()
    expect(page.locator(".pane h2")).to_contain_text("Late Lee")
    page.get_by_label("A word now, before the answer").fill("Got it.")
    page.locator(".pane").get_by_role("button", name="Send").click()
    page.get_by_label("Find by name or words").fill("Soon")
    page.keyboard.press("Enter")
    expect(page.locator(".line")).to_have_count(1)


@pytest.mark.parametrize(("width", "hands"), WAYS)
def test_the_student_sees_one_next_thing(
    student: Student,
    width: str,
    hands: Fingers | Keys,
    request: Any,
    assert_accessible: Any,
    picture: Any,
) -> None:
    asked = factories.make_request(student=student, angles=0, text="As slow as you can.")
    factories.make_angle(request=asked, view="face_on", kind="rehearsal", repetitions=3)
    page = request.getfixturevalue(width)(student.user)
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_have_text(
        "Film your slow rehearsal face on: 3 swings."
    )
    expect(page.get_by_text("As slow as you can.")).to_be_visible()
    picture(page, f"mine-{width}")
    assert_accessible(page)
    hands.press(page.get_by_role("link", name="Progress").first)
    assert_accessible(page)
    picture(page, f"progress-empty-{width}")
    page.goto("/")
    hands.press(page.get_by_role("link", name="Film it"))
    page.wait_for_url(f"**/film/{asked.angles.get().pk}/")
