"""The review room by mouse, keyboard and touch, on clips whose pixels carry the frame number."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from coaching.intake.models import Submission
from coaching.people.models import Student, User
from coaching.practice.models import Assignment
from coaching.review.models import Mark, Review, WalkThrough
from coaching.review.services import corrections, sending
from tests.benchmarks.bench_review import READ
from tests.browser.review_lesson import answer_clip, typical_clip
from tests.coaching.review.clips import BITS, make_clip, uneven_times

pytestmark = pytest.mark.django_db(transaction=True)
Opener = Callable[..., Page]


@pytest.fixture
def clip(transactional_db: None, student: Student) -> Submission:
    return make_clip(student=student)


def open_room(page: Page, clip: Submission) -> Page:
    page.goto(f"/review/clip/{clip.pk}/")
    page.wait_for_selector("review-room[ready]")
    return page


def frame(page: Page) -> int:
    return int(page.evaluate("document.querySelector('frame-player').frame"))


def shown(page: Page) -> int:
    """The number that the picture itself shows."""
    return int(page.evaluate(READ, BITS))


def at_rest(page: Page, number: int) -> None:
    """The player says and the picture shows this frame."""
    expect(page.locator("time-strip .track")).to_have_attribute("aria-valuenow", str(number))
    assert shown(page) == number


def press(page: Page, deed: str) -> None:
    page.locator(f".time [data-do={deed}]").click()


def place(page: Page, x: float, y: float) -> None:
    """Touch or click at a share of the picture."""
    window = page.locator("frame-player .window").first
    box, picture = window.bounding_box(), page.locator("frame-player video").first.bounding_box()
    assert box is not None and picture is not None
    point: Any = {
        "x": picture["x"] + picture["width"] * x - box["x"],
        "y": picture["y"] + picture["height"] * y - box["y"],
    }
    if page.evaluate("matchMedia('(pointer: coarse)').matches"):
        window.tap(position=point)
    else:
        window.click(position=point)


# See


def test_steps_events_and_scrubbing_show_the_exact_frame_by_mouse(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    at_rest(page, 30)  # address
    press(page, "forward")
    at_rest(page, 31)
    press(page, "forward10")
    at_rest(page, 41)
    press(page, "back10")
    press(page, "back")
    at_rest(page, 30)
    press(page, "next")
    at_rest(page, 72)  # top
    page.locator("time-strip [data-event=impact]").click()
    at_rest(page, 90)
    track = page.locator("time-strip .track")
    box = track.bounding_box()
    track.click(position={"x": box["width"] / 2, "y": 10})
    expect(page.locator("time-strip output")).to_contain_text("frame 60")
    assert shown(page) == frame(page)


def test_the_same_by_keys_which_can_be_changed_and_switched_off(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    page.keyboard.press("ArrowRight")
    at_rest(page, 31)
    page.keyboard.press("Shift+ArrowRight")
    at_rest(page, 41)
    page.keyboard.press(".")
    at_rest(page, 72)
    page.locator("[data-tool=keys]").click()
    page.get_by_role("button", name="next event: .").click()
    page.keyboard.press("n")
    page.locator(".room-foot").click(position={"x": 300, "y": 10})
    page.keyboard.press(".")
    page.keyboard.press("n")
    at_rest(page, 90)
    page.get_by_label("Keys act on the clip").uncheck()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("n")
    page.wait_for_timeout(1300)
    at_rest(page, 90)
    coach.refresh_from_db()
    assert coach.preferences["review"]["keys"]["next"] == "n"
    assert coach.preferences["keys"] is False


def test_typing_moves_nothing(desk: Opener, coach: User, clip: Submission) -> None:
    page = open_room(desk(coach), clip)
    page.locator("#review-words").click()
    page.keyboard.type("k, l. - =")
    page.keyboard.press("ArrowLeft")
    at_rest(page, 30)


def test_an_uneven_rate_is_exact_by_touch(
    phone: Opener, coach: User, student: Student, transactional_db: None
) -> None:
    page = open_room(phone(coach), make_clip(student=student, times=uneven_times()))
    for event in ("top", "impact", "address"):
        page.locator(f"time-strip [data-event={event}]").tap()
        expect(page.locator(f"time-strip [data-event={event}]")).to_have_attribute(
            "aria-current", "true"
        )
        assert shown(page) == frame(page)
    start = frame(page)
    page.locator(".time [data-do=forward]").tap()
    at_rest(page, start + 1)


def test_playing_loops_between_events_and_keeps_the_speed(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    page.locator("#speed").select_option("0.5")
    press(page, "loop")
    seen = set()
    for _ in range(40):
        page.wait_for_timeout(60)
        seen.add(frame(page))
    assert len(seen) > 3
    assert min(seen - {30}) >= 71 and max(seen) <= 92
    press(page, "play")
    expect(page.locator(".time [data-do=play]")).to_have_text("Play")
    page.wait_for_timeout(1300)
    coach.refresh_from_db()
    assert coach.preferences["review"]["speed"] == 0.5
    open_room(page, clip)
    expect(page.locator("#speed")).to_have_value("0.5")


def test_a_twentieth_of_the_speed_is_stepped(desk: Opener, coach: User, clip: Submission) -> None:
    page = open_room(desk(coach), clip)
    page.locator("#speed").select_option("0.05")
    press(page, "play")
    page.wait_for_timeout(1500)
    press(page, "play")
    assert 31 <= frame(page) <= 40
    assert shown(page) == frame(page)


def test_lines_stay_on_the_picture_when_it_comes_closer(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    page.locator("[data-tool=lines]").click()
    page.get_by_role("button", name="Head at address").click()
    where = """() => {
      const [v, c] = ["frame-player video", ".ink .frozen circle"].map(
        (s) => document.querySelector(s).getBoundingClientRect());
      return [(c.x + c.width / 2 - v.x) / v.width, (c.y + c.height / 2 - v.y) / v.height];
    }"""
    press(page, "whole")
    first = page.evaluate(where)
    assert first == pytest.approx([0.55, 0.2], abs=0.01)
    page.keyboard.press("c")
    page.keyboard.press("c")
    assert page.evaluate(where) == pytest.approx(first, abs=0.005)
    page.locator("[data-tool=picture]").click()
    page.locator("#tool-picture [data-do=right]").click()
    assert page.evaluate(where) == pytest.approx(first, abs=0.005)


def test_a_figure_shows_what_it_is_read_from(desk: Opener, coach: User, clip: Submission) -> None:
    page = open_room(desk(coach), clip)
    figure = page.get_by_role("button", name="forward bend", exact=True)
    figure.click()
    assert page.locator(".ink .judged polyline.line").count() == 1
    figure.click()
    assert page.locator(".ink .judged polyline.line").count() == 0


# Say


def test_lines_are_drawn_by_touch_and_taken_back(
    phone: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(phone(coach), clip)
    page.locator("[data-tool=draw]").tap()
    page.locator("[data-purpose=seat_line]").tap()
    place(page, 0.3, 0.5)
    expect(page.locator("review-moments li")).to_have_count(1)
    page.locator("[data-purpose=shaft_wanted]").tap()
    place(page, 0.5, 0.5)
    place(page, 0.8, 0.3)
    expect(page.locator("review-moments li")).to_have_count(2)
    page.wait_for_timeout(300)
    assert set(Mark.objects.values_list("purpose", "wanted")) == {
        ("seat_line", False), ("shaft_wanted", True),
    }  # fmt: skip
    page.locator("[data-undo]").tap()
    expect(page.locator("review-moments li")).to_have_count(1)
    expect(page.locator(".ink .drawn polyline.line")).to_have_count(1)


def test_a_line_is_drawn_and_moved_with_keys_alone(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    page.locator("[data-tool=draw]").focus()
    page.keyboard.press("Enter")
    page.locator("[data-purpose=body_line]").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    for _ in range(6):
        page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("Enter")
    expect(page.locator("review-moments li")).to_have_count(1)
    page.wait_for_timeout(300)
    [[x1, y1], [x2, y2]] = Mark.objects.get().points
    assert x1 == x2 and y2 - y1 > 0.15
    page.locator("review-moments").get_by_role("button", name="Move", exact=True).focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".asking")
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("Enter")
    page.wait_for_timeout(400)
    assert Mark.objects.get().points[0][0] > x1
    at_rest(page, 30)  # the arrows moved the line, not the clip


def test_a_wild_drawing_is_kept_small(desk: Opener, coach: User, clip: Submission) -> None:
    page = open_room(desk(coach), clip)
    page.locator("[data-tool=draw]").click()
    page.locator("[data-purpose=sketch]").click()
    page.evaluate(
        """() => {
          const pane = document.querySelector("frame-player .window");
          pane.setPointerCapture = () => {};
          const box = pane.getBoundingClientRect();
          const send = (type, i) => pane.dispatchEvent(new PointerEvent(type, {
            bubbles: true, pointerId: 1, button: 0,
            clientX: box.x + box.width * (0.5 + 0.4 * Math.cos(i / 37)),
            clientY: box.y + box.height * (0.5 + 0.4 * Math.sin(i / 23))}));
          send("pointerdown", 0);
          for (let i = 0; i < 5000; i += 1) send("pointermove", i);
          send("pointerup", 5000);
        }"""
    )
    expect(page.locator("review-moments li")).to_have_count(1)
    page.wait_for_timeout(400)
    assert 50 < len(Mark.objects.get().points) <= 400


def test_what_is_typed_is_kept_and_two_windows_lose_nothing(
    desk: Opener, coach: User, clip: Submission
) -> None:
    first, second = open_room(desk(coach), clip), open_room(desk(coach), clip)
    first.locator("#review-words").fill("From the first window")
    expect(first.locator("auto-save [role=status]")).to_have_text("Kept")
    second.locator("#review-words").fill("From the second window")
    expect(second.locator(".conflict")).to_be_visible()
    assert Review.objects.get().text == "From the first window"
    second.get_by_role("button", name="Keep both").click()
    expect(second.locator("auto-save [role=status]")).to_have_text("Kept")
    assert Review.objects.get().text == "From the first window\n\nFrom the second window"
    second.wait_for_timeout(500)  # the version that lost is settled after the words are kept
    assert not Review.objects.get().versions.filter(resolved_at=None).exists()


def test_words_survive_a_lost_connection(desk: Opener, coach: User, clip: Submission) -> None:
    page = open_room(desk(coach), clip)
    page.context.set_offline(True)
    page.locator("#review-words").fill("Said in a tunnel")
    expect(page.locator("auto-save [role=status]")).to_contain_text("no connection")
    page.context.set_offline(False)
    expect(page.locator("auto-save [role=status]")).to_have_text("Kept")
    assert Review.objects.get().text == "Said in a tunnel"


def test_notes_and_snippets_are_written_in_place(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    page.locator("time-strip [data-event=top]").click()
    page.locator("[data-note-here]").click()
    page.wait_for_selector("review-moments input:focus")
    page.keyboard.type("Hold here for a second")
    page.locator("#review-words").fill("Stop any drill that hurts.")
    page.get_by_text("Your sentences").click()
    page.locator("[data-keep-snippet]").click()
    page.locator("[data-snippets] [data-text]").click()
    expect(page.locator("#review-words")).to_have_value(
        "Stop any drill that hurts. Stop any drill that hurts."
    )
    page.wait_for_timeout(1000)
    note = Mark.objects.get()
    assert (note.text, round(note.start_s, 2)) == ("Hold here for a second", 1.2)


# Correct


def test_a_joint_is_put_right_by_pointer_and_taken_back(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    press(page, "whole")
    page.locator("[data-tool=correct]").click()
    page.locator("#correct-joint").select_option("hip_lead")
    page.locator("[data-do-joint]").click()
    place(page, 0.36, 0.5)
    expect(page.locator("[data-figures]")).to_contain_text("corrected, was")
    where = clip.video.corrections.get().value
    assert (where["x"], where["y"]) == pytest.approx((0.36, 0.5), abs=0.01)
    page.locator("[data-undo]").click()
    expect(page.locator("[data-figures]")).not_to_contain_text("corrected")


def test_an_event_is_moved_with_keys_and_events_stay_in_order(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach), clip)
    page.keyboard.press(".")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    at_rest(page, 75)
    page.locator("[data-tool=correct]").focus()
    page.keyboard.press("Enter")
    page.locator("#correct-event").select_option("top")
    page.locator("[data-do-event]").focus()
    page.keyboard.press("Enter")
    expect(page.locator("time-strip [data-event=top]")).to_contain_text("moved")
    page.locator("time-strip [data-event=impact]").click()
    press(page, "forward")
    page.locator("[data-do-event]").click()
    expect(page.locator("[data-tell]")).to_contain_text("Top must come before impact")
    assert clip.video.corrections.count() == 1


# Compare


def test_two_clips_move_together_event_by_event(
    desk: Opener, coach: User, student: Student, clip: Submission
) -> None:
    other = make_clip(student=student)
    corrections.correct(video=other.video, time_s=1.0, target="event:top", value={}, by=coach)
    page = open_room(desk(coach), clip)
    page.locator("[data-tool=compare]").click()
    page.locator("#compare-other").select_option(str(other.video_id))
    page.wait_for_selector("[data-beside] frame-player .ink")
    expect(page.locator("[data-differences]")).to_contain_text("no change that can be seen")
    there = "document.querySelector('[data-beside] frame-player').frame"
    page.locator("time-strip [data-event=top]").click()
    expect(page.locator("[data-beside] frame-player")).to_be_visible()
    page.wait_for_timeout(400)
    assert page.evaluate(there) == 60
    page.locator("time-strip [data-event=impact]").click()
    page.wait_for_timeout(400)
    assert page.evaluate(there) == 90
    page.locator("#compare-how").select_option("top")
    page.wait_for_timeout(400)
    assert page.evaluate(there) == 78


# Speak, send, read


def test_a_typical_clip_is_answered_in_twelve_clicks_without_a_page_load(
    desk: Opener, coach: User, student: Student, transactional_db: None
) -> None:
    counted = answer_clip(desk(coach), typical_clip(student), reverse("waiting"))
    assert counted.loads == 0
    assert counted.clicks <= 12
    assert counted.diagnosis <= 7
    assert Review.objects.get().published_at and Assignment.objects.get().opened_at


def test_a_walk_through_is_spoken_sent_and_replayed_without_a_page_load(
    desk: Opener, phone: Opener, coach: User, student: Student, clip: Submission
) -> None:
    page = open_room(desk(coach, permissions=["microphone"]), clip)
    page.evaluate("window.stayed = true")
    page.locator("[data-tool=speak]").click()
    page.locator("[data-start]").click()
    expect(page.locator("[data-finish]")).to_be_visible()
    page.wait_for_timeout(900)
    page.locator("time-strip [data-event=top]").click()
    page.wait_for_timeout(2600)
    page.locator("[data-finish]").click()
    page.wait_for_selector("walk-recorder audio")
    page.get_by_role("button", name="Caption line here").click()
    page.keyboard.type("Look at your hands")
    page.locator("#review-words").fill("Well turned.")
    page.locator("[data-send] button").click()
    expect(page.locator("[data-sent]")).to_be_visible()
    assert page.evaluate("window.stayed") is True
    review, walk = Review.objects.get(), WalkThrough.objects.get()
    assert review.published_at and review.text == "Well turned."
    assert walk.sound.size > 1000 and "Look at your hands" in walk.captions
    reader = phone(student.user)
    reader.goto(f"/review/{review.pk}/")
    reader.wait_for_selector("review-read[ready]")
    at_rest(reader, 30)
    reader.locator("[data-play-walk]").tap()
    expect(reader.locator("[data-caption]")).to_have_text("Look at your hands")
    expect(reader.locator("time-strip .track")).to_have_attribute("aria-valuenow", "72")
    reader.locator("[data-play-walk]").tap()
    reader.locator("summary", has_text="More").first.tap()
    reader.locator("[data-do=forward]:visible").first.tap()
    at_rest(reader, 73)


def test_a_crash_while_speaking_loses_at_most_the_last_seconds(
    desk: Opener, coach: User, clip: Submission
) -> None:
    page = open_room(desk(coach, permissions=["microphone"]), clip)
    page.locator("[data-tool=speak]").click()
    page.locator("[data-start]").click()
    expect(page.locator("[data-finish]")).to_be_visible()
    page.wait_for_timeout(8500)
    page.close()  # as a crash: nothing is said good-bye to
    walk = WalkThrough.objects.get()
    assert walk.duration_s is not None and walk.duration_s > 3.5
    again = open_room(desk(coach), clip)
    again.locator("[data-tool=speak]").click()
    again.get_by_role("button", name="Keep what arrived").click()
    again.wait_for_selector("walk-recorder audio")
    walk.refresh_from_db()
    heard = again.evaluate(
        """async (url) => {
          const bytes = await (await fetch(url)).arrayBuffer();
          return (await new OfflineAudioContext(1, 48000, 48000).decodeAudioData(bytes)).duration;
        }""",
        f"/review/walk/{walk.pk}/sound",
    )
    assert heard > 8.5 - 5


def test_a_refused_microphone_leaves_typed_notes(
    new_page: Opener, coach: User, clip: Submission
) -> None:
    page = new_page(coach)
    page.add_init_script(
        "navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException('no'))"
    )
    open_room(page, clip)
    page.locator("[data-tool=speak]").click()
    page.locator("[data-start]").click()
    expect(page.locator("[data-tell]")).to_contain_text("type notes on the moments")
    assert not WalkThrough.objects.exists()
    page.keyboard.press("Enter")  # the note's button has the focus
    expect(page.locator("review-moments li")).to_have_count(1)


@pytest.mark.parametrize(("width", "height"), [(390, 664), (820, 900), (1440, 900)])
def test_the_room_and_the_page_read_are_accessible(
    width: int, height: int, desk: Opener, coach: User, student: Student, clip: Submission,
    assert_accessible: Callable[[Page], None], picture: Callable[[Page, str], Any],
) -> None:  # fmt: skip
    page = open_room(desk(coach, viewport={"width": width, "height": height}), clip)
    page.locator("[data-tool=lines]").click()
    page.get_by_role("button", name="Seat line from address").click()
    page.locator("[data-note-here]").click()
    page.wait_for_selector("review-moments input:focus")
    for tool in ("draw", "correct", "compare", "speak", "picture", "keys"):
        page.locator(f"[data-tool={tool}]").click()
        assert_accessible(page)
    sideways = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert sideways <= 0
    small = page.evaluate(  # a thumb on a phone, a pointer at a desk
        """(least) => [...document.querySelectorAll("review-room button")].filter((b) => {
          const {width, height} = b.getBoundingClientRect();
          return width && !b.classList.contains("go") && (height < least || width < least);
        }).map((b) => b.textContent.trim())""",
        44 if width == 390 else 23.5,  # at a desk a button of a line may lose half a pixel to it
    )
    assert small == []
    picture(page, f"room-{width}")
    page.wait_for_timeout(300)
    review = Review.objects.get()
    sending.publish_review(review=review, by=coach)
    page.goto(f"/review/{review.pk}/")
    page.wait_for_selector("review-read[ready]")
    assert_accessible(page)
    picture(page, f"read-{width}")


def test_a_figure_opens_the_picture_of_its_measure(
    desk: Opener, coach: User, clip: Submission,
    assert_accessible: Callable[[Page], None], picture: Callable[[Page, str], Any],
) -> None:  # fmt: skip
    fetched: list[str] = []
    page = desk(coach)
    page.on("request", lambda asked: fetched.append(asked.url))
    open_room(page, clip)
    assert not [url for url in fetched if "/measures/" in url], "fetched only when opened"
    ask = page.get_by_role("button", name="What is forward bend?")
    ask.focus()
    page.keyboard.press("Enter")
    shown = page.locator("#drawn-trunk_tilt_deg")
    expect(shown).to_be_visible()
    expect(shown).to_contain_text("how far you lean forward from the hips")
    expect(shown.locator("img")).not_to_have_js_property("naturalWidth", 0)
    assert len([url for url in fetched if "/measures/" in url]) == 1
    assert_accessible(page)
    picture(page, "drawn")
    page.keyboard.press("Escape")
    expect(shown).to_be_hidden()
    expect(ask).to_be_focused()
