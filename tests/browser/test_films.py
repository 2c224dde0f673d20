"""A comparison is spoken, replayed by its student, and becomes a film that plays here."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from analysis import services as analysis
from coaching.diagnosis.services import voices
from coaching.people.models import Student, User
from coaching.review.models import FilmLink, LessonFilm, Review, WalkThrough
from coaching.review.services import corrections
from coaching.review.services.sending import publish_review
from coaching.review.services.walks import finalize_walk_sound
from tests.coaching.practice.making import make_finding, make_review
from tests.coaching.review.clips import make_clip

pytestmark = pytest.mark.django_db(transaction=True)
Opener = Callable[..., Page]
BESIDE = "document.querySelector('[data-beside] frame-player')?.frame"


def beside_shows(page: Page, frame: int) -> None:
    """The clip beside has come to this frame; the content policy takes no other way to wait."""
    for _ in range(80):
        if page.evaluate(BESIDE) == frame:
            return
        page.wait_for_timeout(100)
    assert page.evaluate(BESIDE) == frame


def speak_over_two(page: Page, other: int) -> None:
    """The walk-through of a comparison: beside each other, at the top, then wiped."""
    page.locator("[data-tool=speak]").click()
    page.locator("[data-start]").click()
    expect(page.locator("[data-finish]")).to_be_visible()
    page.locator("[data-tool=compare]").click()
    page.locator("#compare-other").select_option(str(other))
    expect(page.locator("[data-beside] frame-player")).to_be_visible()
    page.locator("time-strip [data-event=top]").click()
    beside_shows(page, 60)
    page.wait_for_timeout(1500)
    page.locator("[data-lie=wipe]").click()
    page.locator("#compare-share").fill("30")
    page.wait_for_timeout(1200)
    page.locator("[data-tool=speak]").click()
    page.locator("[data-finish]").click()
    page.wait_for_selector("walk-recorder audio")


def test_a_comparison_is_spoken_replayed_and_filmed(
    desk: Opener,
    phone: Opener,
    new_page: Opener,
    coach: User,
    student: Student,
    transactional_db: None,
    picture: Callable[[Page, str], Path],
    assert_accessible: Callable[[Page], None],
) -> None:
    other, clip = make_clip(student=student), make_clip(student=student)
    corrections.correct(video=other.video, time_s=1.0, target="event:top", value={}, by=coach)
    page = desk(coach, permissions=["microphone"])
    page.goto(f"/review/clip/{clip.pk}/")
    page.wait_for_selector("review-room[ready]")
    speak_over_two(page, other.video_id)
    page.locator("#review-words").fill("Then and now.")
    page.locator("[data-send] button").click()
    expect(page.locator("[data-sent]")).to_be_visible()
    walk, review = WalkThrough.objects.get(), Review.objects.get()
    done = [event["do"] for event in walk.events]
    assert {"beside", "lie", "share"} <= set(done)

    reader = phone(student.user)
    reader.goto(f"/review/{review.pk}/")
    reader.wait_for_selector("review-read[ready]")
    reader.locator("[data-play-walk]").tap()
    beside_shows(reader, 60)
    expect(reader.locator("time-strip .track")).to_have_attribute("aria-valuenow", "72")
    picture(reader, "compared-on-a-phone")
    expect(reader.locator(".screens")).to_have_class("screens wipe")
    picture(reader, "wiped-on-a-phone")

    reader.get_by_role("link", name="A film of it, to keep or to show").tap()
    reader.get_by_role("button", name="Make a film of it").tap()
    expect(reader.get_by_text("waits for its turn")).to_be_visible()
    film = LessonFilm.objects.get()
    assert film.run_id is not None
    analysis.run(film.run_id)
    play = "async (v) => { v.muted = true; await v.play(); return [v.duration, v.videoWidth]; }"
    length, width = reader.locator("live-part video").evaluate(play)
    walk.refresh_from_db()
    assert length == pytest.approx(walk.duration_s, abs=0.1) and width > 400
    reader.locator("#label").fill("Uncle Ben")
    reader.get_by_role("button", name="Make a link").tap()
    expect(reader.get_by_text("Whoever has the link can watch.")).to_be_visible()
    assert_accessible(reader)
    picture(reader, "film-of-a-phone")
    link = FilmLink.objects.get()
    assert reader.locator(f"#link-{link.pk}").input_value().endswith(f"/watch/{link.token}/")

    anybody = new_page()
    anybody.goto(f"/watch/{link.token}/")
    assert anybody.locator("video").evaluate(play)[0] == pytest.approx(length)
    assert_accessible(anybody)
    picture(anybody, "watched-by-anybody")
    reader.get_by_role("button", name="End this link").tap()
    expect(reader.get_by_text("Ended. This link shows nothing any more.")).to_be_visible()
    response = anybody.reload()
    assert response is not None and response.status == 404


def test_a_word_to_one_finding_is_recorded_in_the_room(
    desk: Opener,
    phone: Opener,
    coach: User,
    student: Student,
    transactional_db: None,
    picture: Callable[[Page, str], Path],
    assert_accessible: Callable[[Page], None],
) -> None:
    review = make_review(student=student)
    finding = make_finding(review=review, text="you sway")
    page = desk(coach, permissions=["microphone"])
    page.goto(f"/review/clip/{review.submissions.get().pk}/")
    row = page.locator(f"[data-finding='{finding.pk}']")
    row.locator("summary", has_text="Change").click()
    row.get_by_role("button", name="Record", exact=True).click()
    expect(row.locator("clip-recorder")).to_have_attribute("recording", "")
    page.wait_for_timeout(1200)
    row.get_by_role("button", name="Stop").click()
    row.get_by_role("button", name="Keep the recording").click()
    expect(row.get_by_text("with your voice")).to_be_visible()
    picture(page, "a-word-to-a-finding")
    assert_accessible(page)
    assert voices.finalize_voice(finding.pk)
    publish_review(review=review, by=coach)
    reader = phone(student.user)
    reader.goto(f"/review/{review.pk}/")
    audio = reader.locator(".finding-shown audio")
    play = "async (a) => { a.muted = true; await a.play(); return a.duration; }"
    assert audio.evaluate(play) == pytest.approx(1.3, abs=0.8)
    picture(reader, "a-finding-with-a-voice")


def test_a_pause_is_no_part_of_what_was_said(
    desk: Opener, coach: User, student: Student, transactional_db: None
) -> None:
    clip = make_clip(student=student)
    page = desk(coach, permissions=["microphone"])
    page.goto(f"/review/clip/{clip.pk}/")
    page.wait_for_selector("review-room[ready]")
    page.locator("[data-tool=speak]").click()
    page.locator("[data-start]").click()
    meter = page.locator("walk-recorder meter")  # the browser's own microphone beeps
    expect(meter).to_be_visible()
    page.wait_for_timeout(1500)
    page.locator("[data-rest]").click()
    expect(page.locator("[data-rest]")).to_have_attribute("aria-pressed", "true")
    page.wait_for_timeout(3000)
    page.locator("time-strip [data-event=top]").click()
    page.locator("[data-rest]").click()
    page.wait_for_timeout(1500)
    page.locator("[data-finish]").click()
    page.wait_for_selector("walk-recorder audio")
    walk = WalkThrough.objects.get()
    told = walk.duration_s
    assert told is not None and told < 4.5
    assert finalize_walk_sound(walk.pk)
    walk.refresh_from_db()
    assert walk.duration_s == pytest.approx(told, abs=0.4)
    (top,) = [e["t"] for e in walk.events if e["do"] == "frame" and e.get("frame") == 72]
    assert 1.3 < top < told - 1.3  # at once when it went on
    expect(meter).to_be_hidden()
