"""The room: clips that fill it, one figure drawn on the golfer, tools and marks by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from coaching.intake.models import Submission
from coaching.people.models import Student, User
from coaching.review.models import Mark
from tests import factories
from tests.browser.test_review import at_rest, frame, open_room, press
from tests.coaching.review.clips import make_clip, measure_film

pytestmark = pytest.mark.django_db(transaction=True)
Opener = Callable[..., Page]


@pytest.fixture
def clip(transactional_db: None, student: Student) -> Submission:
    return make_clip(student=student)


def spot(page: Page, x: float, y: float) -> tuple[float, float]:
    """A share of the picture as a place on the screen."""
    box = page.locator("frame-player video").first.bounding_box()
    assert box is not None
    return box["x"] + box["width"] * x, box["y"] + box["height"] * y


def drag(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    page.mouse.move(*end)
    page.mouse.up()


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1440, 900), (390, 844)])
def test_play_and_the_strip_are_in_view_and_nothing_to_send_with_is_below_the_fold(
    desk: Opener, coach: User, clip: Submission, width: int, height: int
) -> None:
    page = open_room(desk(coach, viewport={"width": width, "height": height}), clip)
    for part in (".time [data-do=play]", "time-strip .track", "[data-send] button.primary"):
        box = page.locator(part).bounding_box()
        assert box and box["y"] >= 0 and box["y"] + box["height"] <= height, part
    if width > 760:
        assert page.evaluate("document.documentElement.scrollHeight") <= height


@pytest.mark.parametrize("height", [568, 664, 844])
def test_a_thumb_reaches_every_button_on_a_phone_between_clip_and_foot(
    phone: Opener, coach: User, student: Student, clip: Submission, height: int
) -> None:
    page = open_room(phone(coach, viewport={"width": 390, "height": height}), clip)
    page.locator("[data-tool=lines]").tap()
    page.get_by_role("button", name="Seat line from address").tap()
    page.locator("[data-note-here]").tap()
    page.wait_for_selector("review-moments input:focus")
    covered = page.evaluate(  # brought into view, each is what a finger would meet
        """() => [...document.querySelectorAll(".panels button, .margin button")].filter((b) => {
          if (!b.offsetWidth || !b.checkVisibility()) return false;
          b.scrollIntoView({block: "nearest", behavior: "instant"});
          const {x, y, width, height} = b.getBoundingClientRect();
          const met = document.elementFromPoint(x + width / 2, y + height / 2);
          return !(b.contains(met) || met?.closest("li")?.contains(b));
        }).map((b) => `${b.textContent.trim()} ${b.getAttribute("aria-label") ?? ""}`.trim())"""
    )
    assert covered == []


def test_both_clips_of_a_request_stand_side_by_side_where_there_is_room(
    desk: Opener, coach: User, student: Student, transactional_db: None
) -> None:
    request = factories.make_request(student=student, angles=0)
    first, second = (
        make_clip(student=student, angle=factories.make_angle(request=request)) for _ in range(2)
    )
    page = open_room(desk(coach), first)
    other = page.locator("clip-beside frame-player")
    expect(other).to_be_visible()
    boxes = [p.bounding_box() for p in page.locator("frame-player .window").all()[:2]]
    assert sum(b["width"] * b["height"] for b in boxes if b) >= 0.4 * 1440 * 900
    page.locator("time-strip [data-event=top]").click()
    at_rest(page, 72)
    expect(other).to_have_js_property("frame", 72)
    # The other one is taken up with one click, and this one stands beside it.
    page.locator("clip-beside .tabmark").click()
    expect(page.locator(f'[data-clip="{second.video_id}"]')).to_have_attribute(
        "aria-current", "true"
    )
    page.set_viewport_size({"width": 1000, "height": 800})
    expect(other).to_be_hidden()


def test_space_plays_even_after_a_click_and_a_wheel_comes_closer(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    press(page, "forward")  # the button that was clicked keeps the focus
    player = page.locator("frame-player").first
    page.keyboard.press("Space")
    expect(player).to_have_js_property("playing", True)
    page.wait_for_timeout(200)
    page.keyboard.press("Space")
    expect(player).to_have_js_property("playing", False)
    assert frame(page) > 31
    scale = "document.querySelector('frame-player').view.scale"
    before = page.evaluate(scale)
    page.mouse.move(*spot(page, 0.5, 0.5))
    page.mouse.wheel(0, -240)
    page.wait_for_timeout(200)
    assert page.evaluate(scale) > before


def test_a_figure_is_drawn_with_its_number_and_the_fan_of_its_doubt(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    page.get_by_role("button", name="forward bend", exact=True).click()
    ink = page.locator(".ink .judged .figure")
    expect(ink.locator("polygon.fan")).to_have_count(1)
    told = page.locator("[data-figures] li:has([aria-pressed=true]) .span-words").inner_text()
    expect(ink.locator("text")).to_have_text(told)
    # The upright trunk stands out and leads; what does not is one press away.
    leads = page.locator(".moment:visible > ul.figures .name").first
    expect(leads).to_have_text("forward bend")
    page.locator(".moment:visible .usual > summary").click()
    page.get_by_role("button", name="knee flex", exact=True).click()  # one at a time
    expect(ink.locator("text")).to_have_count(1)
    expect(ink.locator("text")).not_to_have_text(told)


def test_a_drag_draws_the_tool_stays_until_escape_and_a_mark_is_picked_up_again(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    page.locator("[data-tool=draw]").click()
    page.locator("[data-purpose=body_line]").click()
    drag(page, spot(page, 0.55, 0.6), spot(page, 0.75, 0.7))
    expect(page.locator("review-moments li")).to_have_count(1)
    drag(page, spot(page, 0.5, 0.78), spot(page, 0.7, 0.8))
    expect(page.locator("review-moments li")).to_have_count(2)
    page.keyboard.press("Escape")
    expect(page.locator("[data-purpose=body_line]")).to_have_attribute("aria-pressed", "false")
    page.keyboard.press("Escape")  # the second one puts the panel away
    expect(page.locator("#tool-draw")).to_be_hidden()
    page.wait_for_timeout(400)
    before = Mark.objects.order_by("pk").last()
    assert before is not None
    (x1, y1), (x2, y2) = before.points
    middle = spot(page, (x1 + x2) / 2, (y1 + y2) / 2)
    drag(page, middle, (middle[0] - 60, middle[1] - 30))
    page.wait_for_timeout(500)
    after = Mark.objects.get(pk=before.pk)
    assert after.points[0][0] < x1 and after.points[0][1] < y1
    assert not page.evaluate("document.querySelector('frame-player').playing")
    page.locator("[data-undo]").click()
    page.wait_for_timeout(500)
    assert Mark.objects.get(pk=before.pk).points == before.points


def test_a_joint_is_corrected_by_dragging_it(desk: Opener, coach: User, clip: Submission) -> None:
    page = open_room(desk(coach), clip)
    page.locator("[data-tool=correct]").click()
    page.locator(".moment:visible .usual > summary").click()
    pictures = page.locator("[data-figures] > .drawn").count()
    point: Any = page.evaluate(
        """() => { const {data, frame} = document.querySelector('frame-player');
        const i = data.curves.frames.indexOf(frame); return data.curves.joints.knee_lead[i]; }"""
    )
    start = spot(page, *point)
    drag(page, start, (start[0] + 50, start[1] - 10))
    expect(page.locator("[data-figures]")).to_contain_text("corrected")
    expect(page.locator(".moment:visible .usual")).to_have_attribute("open", "")
    expect(page.locator("[data-figures] > .drawn")).to_have_count(pictures)
    assert pictures
    correction = clip.video.corrections.get()
    assert correction.target.startswith("joint:")
    assert correction.value["x"] > point[0]


def test_a_moment_is_corrected_from_where_one_stands(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    page.locator("time-strip [data-event=impact]").click()
    press(page, "forward")
    page.locator("[data-tool=correct]").click()
    expect(page.locator("#correct-event")).to_have_value("impact")


def test_the_answer_is_seen_as_its_student_will_read_it(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    page.locator("#review-words").fill("Well turned.")
    page.locator("[data-preview]").click()
    pane = page.frame_locator(".phone-pane iframe")
    expect(pane.get_by_text("Well turned.")).to_be_visible()
    box = page.locator(".phone-pane iframe").bounding_box()
    assert box and round(box["width"]) == 390
    page.locator("[data-preview]").click()
    expect(page.locator(".phone-pane")).to_have_count(0)


def test_hips_are_put_right_where_it_pays_by_drag_and_by_keys(
    desk: Opener, coach: User, transactional_db: None, student: Student
) -> None:
    clip = make_clip(student=student, measured=False)
    turn = ["pelvis_turn_deg", "impact", [-35.0, 9.0]]
    measure_film(clip.video, values=[turn], by_hand=True)
    page = open_room(desk(coach), clip)
    page.locator("time-strip [data-event=impact]").click()
    offer = page.get_by_role("button", name="Put the hips right")
    expect(offer).to_have_count(1)
    offer.click()
    pane = page.locator("frame-player .window.asking").first
    expect(pane).to_be_focused()
    drag(page, spot(page, 0.42, 0.5), spot(page, 0.45, 0.5))  # where the lead hip is
    expect(page.locator("correct-tool [data-list] li")).to_have_count(1)
    expect(pane).to_be_focused()  # the trail hip is asked for next
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    expect(page.locator("correct-tool [data-list] li")).to_have_count(2)
    expect(offer).to_have_count(0)
    put = clip.video.corrections.order_by("pk").values_list("target", flat=True)
    assert list(put) == ["joint:hip_lead", "joint:hip_trail"]
    expect(page.locator("[data-moment=impact]:visible")).to_contain_text("corrected")
