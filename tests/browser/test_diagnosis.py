"""An upright shaft and little turn: diagnosed, the wrong drill caught, the right one climbed."""

from __future__ import annotations

import re

import pytest
from django.conf import settings
from django.core.files.base import ContentFile
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from analysis.models import EventTime
from coaching.practice.models import Assignment, PainReport
from coaching.practice.services import judging, library
from coaching.review.models import Snippet
from coaching.review.services import sending
from tests import factories
from tests.coaching.practice.making import (
    PITCH,
    UPRIGHT,
    library_drill,
    make_assignment,
    make_finding,
    make_review,
    open_attempt,
    send_film,
)

AIM = ("shaft_aim_deg", "top")  # what the first step of "Handle points past the ball" asks for
CLIP = settings.BASE_DIR / "coaching" / "demo" / "clips" / "baseline_dtl.mp4"


def give_picture(clip) -> None:
    """Real moving pictures, so that the player and the stills have something to show."""
    video = clip.video
    video.copy.save("clip.mp4", ContentFile(CLIP.read_bytes()), save=False)
    video.keep_frame_times([i / 60 for i in range(150)])
    video.width, video.height, video.fps, video.duration_s = 720, 1280, 60.0, 2.5
    video.save()
    run = video.runs.get(kind="measure")
    for repetition in range(3):
        for place, event in enumerate(("address", "late_back", "top", "impact")):
            EventTime.objects.get_or_create(
                run=run, repetition=repetition, event=event,
                defaults={"time_s": 0.4 + 0.4 * place, "frame": 24 + 24 * place,
                          "uncertainty_s": 0.01},
            )  # fmt: skip


@pytest.fixture
def filmed(student):
    """A draft answering a clip in which the shaft is upright and the hips hardly turn."""
    library.load_starter_library(by=None, studio=student.studio)
    clip = factories.make_submission(student=student)
    factories.make_measured(clip, UPRIGHT | {AIM: (-9.0, 3.0)})
    give_picture(clip)
    return clip


def address(live_server, name, *args):
    return live_server.url + reverse(name, args=args)


def test_from_the_figures_to_the_new_look(
    live_server, desk, phone, coach, student, filmed, picture, assert_accessible
):
    page = desk(coach)
    page.goto(address(live_server, "review:room", filmed.pk))
    picture(page, "diag-room-first-1440")
    findings, drills = page.locator("#findings"), page.locator("#drills")

    # The figures suggest; one tap each.
    for title in (
        "Too little hip turn",
        "Shaft too upright late in the backswing",
        "Early extension",
    ):
        named = re.compile(rf"^Add ?: {title}$")
        take = findings.locator(".suggested").get_by_role("button", name=named)
        take.click()
        expect(take).to_have_count(0)
    expect(findings.locator(".plan .finding")).to_have_count(3)
    leave = findings.locator(".finding", has=page.locator(".t", has_text="Early extension"))
    expect(leave).to_contain_text("leave this for now")
    picture(page, "diag-room-1440")
    assert_accessible(page)

    # The wrong prescription is caught, the right one offered.
    drills.get_by_role("link", name="Your hips move toward the ball coming down").click()
    expect(drills.get_by_role("heading", name="Seat stays on the wall")).to_be_visible()
    expect(drills).to_contain_text("Taken away first, the player gets worse.")
    drills.get_by_role("button", name="Assign", exact=True).click()
    told = drills.get_by_role("alert")
    expect(told).to_contain_text("Taken away first, the player gets worse.")
    picture(page, "diag-wrong-1440")
    told.get_by_role("link", name=re.compile("instead")).click()
    expect(drills.get_by_role("heading", name="Turn with a club on the hips")).to_be_visible()
    drills.get_by_role("link", name="Back").click()
    drills.get_by_role("link", name=re.compile("The club stands too upright")).click()
    expect(drills.get_by_role("heading", name="Handle points past the ball")).to_be_visible()

    # A target the camera can judge: the odds follow what is typed.
    drills.get_by_text(re.compile(r"^\s*Its \d+ steps")).click()
    first = drills.locator(".criterion").first
    expect(first).to_contain_text("A student exactly on target is counted in")
    first.get_by_label("must be").select_option("between")
    first.get_by_label("from").fill("5")
    first.get_by_label("to").fill("6")
    expect(first).to_contain_text("This can hardly be passed.")
    picture(page, "diag-odds-1440")
    first.get_by_label("must be").select_option("at_least")
    first.get_by_label("from").fill("0")
    expect(first).to_contain_text("counted four times in five")
    expect(first).not_to_contain_text("This can hardly be passed.")
    drills.get_by_role("button", name="Assign", exact=True).click()
    expect(drills.get_by_role("button", name=re.compile("^Remove ?:"))).to_be_visible()
    assert_accessible(page)
    picture(page, "diag-drafted-1440")

    sending.publish_review(review=filmed.reviews.get(), by=coach)
    assignment = Assignment.objects.get()
    assert assignment.finding.entry == "steep-late-back"

    # The student reads it, films it, feels it.
    handy = phone(student.user)
    handy.goto(address(live_server, "practice:drill", assignment.pk))
    for text in ("Film 3 repetitions; 2 must count.", "at least 0°", "It hurts"):
        expect(handy.locator("main")).to_contain_text(text)
    picture(handy, "diag-drill-390")
    assert_accessible(handy)
    attempt = open_attempt(assignment)
    clip = send_film(attempt, (8, 3), (7, 3), (9, 3), key=AIM)
    give_picture(clip)
    handy.reload()
    handy.get_by_role("button", name="3", exact=True).tap()
    expect(handy.locator("main")).to_contain_text("Three counted; your coach decides.")
    picture(handy, "diag-counted-390")

    # The coach judges on a phone: two taps from the waiting list.
    desk_phone = phone(coach)
    desk_phone.goto(address(live_server, "waiting"))
    desk_phone.locator(".line .mid").first.tap()
    expect(desk_phone.locator("main")).to_contain_text("The figures say it passes")
    picture(desk_phone, "diag-judge-390")
    assert desk_phone.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert_accessible(desk_phone)
    desk_phone.get_by_role("button", name="Passed").tap()
    expect(desk_phone.locator("main")).to_contain_text("The next step is open for Sam Reed.")
    handy.goto(address(live_server, "practice:drill", assignment.pk))
    expect(handy.locator("main")).to_contain_text("Step 2 of")

    # The last step passes; what rested on the cause is looked at again.
    assignment.steps.update(passed_at=timezone.now())
    last = assignment.steps.last()
    last.passed_at, last.days = None, 1
    last.save()
    attempt = judging.open_step(step=last, by=coach)
    send_film(attempt, *[(50, 3)] * 5, key=PITCH)
    page.goto(address(live_server, "practice:judge", attempt.pk))
    picture(page, "diag-judge-1440")
    assert_accessible(page)
    page.get_by_role("button", name="Passed").click()
    expect(page.locator("main")).to_contain_text("has climbed the ladder")
    page.goto(address(live_server, "diagnosis:shown", student.pk))
    picture(page, "diag-shown-1440")
    assert_accessible(page)


def test_linking_by_pointer_and_by_keys(live_server, desk, coach, student, filmed):
    review = make_review(student=student, figures={})
    a = make_finding(review=review, text="the shaft is up")
    b = make_finding(review=review, kind="compensation", text="you stand up")
    c = make_finding(review=review, kind="compensation", text="you fall back")
    give_picture(review.submissions.get())
    page = desk(coach)
    page.goto(address(live_server, "review:room", review.submissions.get().pk))
    rows = {f.pk: page.locator(f"[data-finding='{f.pk}']") for f in (a, b, c)}
    rows[b.pk].get_by_role("button", name="Because of …").click()
    rows[a.pk].locator(".t").click()
    expect(rows[b.pk].locator(".because")).to_contain_text("the shaft is up")
    rows[c.pk].get_by_role("button", name="Because of …").focus()
    page.keyboard.press("Enter")
    rows[b.pk].get_by_role("button", name="Because of …").focus()
    page.keyboard.press("Enter")
    expect(rows[c.pk].locator(".because")).to_contain_text("you stand up")
    # A circle is refused in one sentence, and nothing is lost.
    rows[a.pk].get_by_role("button", name="Because of …").focus()
    page.keyboard.press("Enter")
    rows[c.pk].get_by_role("button", name="Because of …").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#findings [role=alert]")).to_contain_text("round in a circle")
    # Dragging does the same.
    rows[c.pk].get_by_role("button", name=re.compile("^Unlink.*you stand up")).click()
    expect(rows[c.pk].locator(".because")).to_have_count(0)
    rows[c.pk].get_by_role("button", name="Because of …").drag_to(rows[a.pk].locator(".t"))
    expect(rows[c.pk].locator(".because")).to_contain_text("the shaft is up")


def test_it_hurts(live_server, phone, desk, student, coach, picture, assert_accessible):
    assignment = make_assignment(review=make_review(student=student))
    page = phone(student.user)
    page.goto(address(live_server, "practice:drill", assignment.pk))
    page.locator("main").get_by_role("button", name="It hurts").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text(
        "It is stopped. Your coach has been told."
    )
    picture(page, "diag-stopped-390")
    assert_accessible(page)
    assignment.refresh_from_db()
    assert assignment.stopped_at is not None
    page.get_by_label("Hip").check()
    page.get_by_role("button", name="Tell my coach").tap()
    expect(page.locator("main")).to_contain_text("You said: hip")
    page.goto(address(live_server, "practice:pain", student.pk))
    picture(page, "diag-pain-390")
    assert_accessible(page)
    office = desk(coach)
    office.goto(address(live_server, "practice:pain_report", PainReport.objects.get().pk))
    picture(office, "diag-report-1440")
    assert_accessible(office)


def test_the_other_pages(live_server, phone, desk, student, coach, picture, assert_accessible):
    library.load_starter_library(by=None, studio=student.studio)
    Snippet.objects.create(studio=student.studio, title="Pocket", text="Pocket further back")
    review = make_review(student=student)
    give_picture(review.submissions.get())
    question = make_finding(
        review=review, kind="question", text="your hips tilt", entry="ask-the-hip"
    )
    shaft = make_finding(review=review, text="the shaft is too upright", entry="steep-late-back")
    make_finding(review=review, kind="compensation", text="you stand up", because=[shaft])
    make_finding(review=review, kind="strength", text="your tempo is even")
    drill = library_drill(student.studio, "shaft-past-the-ball")
    assignment = make_assignment(review=review, drill=drill, finding=shaft)
    for value in (72, 66, 58):
        attempt = open_attempt(assignment)
        clip = send_film(attempt, *[(value, 3)] * 3, key=PITCH)
        give_picture(clip)
        judging.judge_attempt(
            attempt=attempt, by=coach, decision="nearly", cue="Turn, then let it fall"
        )
    both = (("390", phone), ("1440", desk))
    for width, make_page in both:
        mine = make_page(student.user)
        for name, args in (
            ("practice:progress", [student.pk]),
            ("diagnosis:shown", [student.pk]),
            ("diagnosis:answer", [question.pk]),
            ("practice:drill", [assignment.pk]),
        ):
            mine.goto(address(live_server, name, *args))
            picture(mine, f"diag-{name.split(':')[1]}-{width}")
            assert_accessible(mine)
            assert mine.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
        office = make_page(coach)
        for name, args in (
            ("practice:library", []),
            ("practice:library_drill", [drill.pk]),
            ("practice:library_edit", [drill.pk]),
        ):
            office.goto(address(live_server, name, *args))
            picture(office, f"diag-{name.split(':')[1]}-{width}")
            assert_accessible(office)
            assert office.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
