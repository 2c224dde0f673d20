"""A phone without a connection: what is written waits, and arrives once."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.http import HttpResponseRedirect
from playwright.sync_api import Page, expect

from coaching.intake import media
from coaching.lessons.models import Entry
from coaching.people.models import Student, User
from coaching.practice.models import DrillVersion, PainReport, PracticeSeries
from coaching.practice.services import library
from tests import factories
from tests.coaching.practice.making import make_assignment, make_review, open_attempt

pytestmark = pytest.mark.django_db(transaction=True)


def ready(page: Page) -> None:
    """The worker keeps the shell."""
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("navigator.serviceWorker.controller !== null")


def arrived(page: Page, rows: Any, count: int) -> None:
    for _turn in range(60):
        if rows.count() == count:
            return
        page.wait_for_timeout(500)
    raise AssertionError(f"{rows.count()} of {count} arrived")


def test_pain_and_words_wait_for_the_line(
    student: Student, phone: Any, picture: Any, assert_accessible: Any
) -> None:
    page = phone(student.user)
    page.goto(f"/students/{student.pk}/pain/")
    ready(page)
    page.context.set_offline(True)
    page.get_by_role("button", name="Neck").tap()
    expect(page.get_by_text("Your report is saved on this phone")).to_be_visible()
    page.goto("/")
    expect(page.get_by_role("heading", name="No connection. Nothing is lost.")).to_be_visible()
    expect(page.get_by_text("Waiting on this phone: 1.")).to_be_visible()
    page.get_by_role("textbox", name="A word to your coach").fill("No line at the range today.")
    picture(page, "offline")
    assert_accessible(page)
    page.get_by_role("button", name="Send when the line is back").tap()
    expect(page.get_by_text("Waiting on this phone: 2.")).to_be_visible()
    assert not PainReport.objects.exists()

    page.context.set_offline(False)
    arrived(page, PainReport.objects.filter(student=student, region="neck"), 1)
    arrived(page, Entry.objects.filter(text="No line at the range today."), 1)
    page.wait_for_timeout(1000)
    assert PainReport.objects.count() == 1  # once each


def until(page: Page, promise: str) -> None:
    """Asks again until the promise holds; `wait_for_function` takes any promise for a yes."""
    for _turn in range(60):
        if page.evaluate(promise):
            return
        page.wait_for_timeout(500)
    raise AssertionError(promise)


KEPT = """async () => {
  const found = [];
  for (const name of await caches.keys()) {
    const requests = await (await caches.open(name)).keys();
    found.push(...requests.map((request) => new URL(request.url).pathname));
  }
  return found;
}"""


def kept(page: Page) -> list[str]:
    """Pages of somebody that are kept in this browser."""
    paths = page.evaluate(KEPT)
    return [path for path in paths if path != "/offline/" and not path.startswith("/static/")]


def has(path: str) -> str:
    return f"caches.match('{path}').then(Boolean)"


DRAWN = """() => [...document.querySelectorAll("main img")].map((img) => {
  img.loading = "eager";
  return [img.getAttribute("src"), img.complete && img.naturalWidth > 0];
})"""


def pictures(page: Page, wanted: str) -> None:
    """Every picture of the page is drawn, and one of them is `wanted`."""
    for _turn in range(40):
        rows = page.evaluate(DRAWN)
        if all(drawn for _src, drawn in rows):
            break
        page.wait_for_timeout(250)
    assert all(drawn for _src, drawn in rows) and any(wanted in src for src, _ in rows), rows


def test_pictures_are_seen_without_a_line_and_gone_after_signing_out(
    student: Student, phone: Any, picture: Any
) -> None:
    clip = factories.make_submission(student=student)
    still = cv2.imencode(".jpg", np.full((416, 520, 3), 90, np.uint8))[1].tobytes()
    clip.video.still.save("clip.jpg", ContentFile(still))
    factories.make_checked(clip, reject="too_dark")
    page = phone(student.user)
    page.goto(f"/mine/{student.pk}/")
    own = page.locator("main img[src*=still]").first.get_attribute("src")
    until(page, has(own or ""))
    library.load_starter_library(by=None, studio=student.studio)
    drill = DrillVersion.objects.get(drill__slug="turn-with-a-club-on-the-hips")
    assignment = make_assignment(review=make_review(student=student), drill=drill)
    open_attempt(assignment)
    page.goto(f"/drill/{assignment.pk}/")
    until(page, has("/static/js/practice/session.js"))
    page.context.set_offline(True)
    page.goto("/")
    pictures(page, "still")
    picture(page, "home-offline")
    page.goto(f"/drill/{assignment.pk}/")
    pictures(page, drill.drill.slug)
    page.context.set_offline(False)
    page.context.clear_cookies()
    page.goto("/login/")
    until(page, "caches.has('causeway-pictures').then((there) => !there)")
    assert not page.evaluate(has(own or ""))


def test_a_picture_in_an_object_storage_is_seen_through_the_worker(
    student: Student,
    phone: Any,
    live_server: Any,
    settings: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The page's request is led on to another origin, which the worker's own policy must allow."""
    store = live_server.url.replace("localhost", "127.0.0.1")
    assert store != live_server.url
    policy = settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]
    settings.MEDIA_ORIGINS = [store]
    settings.CONTENT_SECURITY_POLICY = {
        "DIRECTIVES": policy | {"img-src": [*policy["img-src"], store]}
    }

    def serve(request: Any, file: Any, **how: Any) -> HttpResponseRedirect:
        return HttpResponseRedirect(f"{store}/static/icon-192.png")

    monkeypatch.setattr(media, "serve", serve)
    clip = factories.make_submission(student=student)
    clip.video.still.save("clip.jpg", ContentFile(b"still"))
    factories.make_checked(clip, reject="too_dark")
    page = phone(student.user)
    page.goto(f"/mine/{student.pk}/")
    ready(page)
    page.reload()
    pictures(page, "still")


def test_drills_are_read_without_a_line_and_gone_after_signing_out(
    student: Student, phone: Any, picture: Any
) -> None:
    assignment = make_assignment(review=make_review(student=student))
    open_attempt(assignment)
    drill = f"/drill/{assignment.pk}/"
    page = phone(student.user)
    page.goto(f"/mine/{student.pk}/")
    ready(page)
    until(
        page,
        f"caches.open('causeway-pages').then((c) => c.match('{drill}practise/')).then(Boolean)",
    )
    assert not Entry.objects.filter(kind="reviewed", read_at__isnull=False).exists()
    page.goto(drill)  # its styles and scripts are kept as they pass
    page.context.set_offline(True)
    for path, heading in (
        ("/", None), (drill, "A drill"), (f"{drill}practise/", "Practise with your phone")
    ):  # fmt: skip
        page.goto(path)
        expect(page.get_by_text("No connection. This is as of")).to_be_visible()
        if heading:
            expect(page.get_by_role("heading", name=heading).first).to_be_visible()
    picture(page, "kept")
    page.context.set_offline(False)
    page.context.clear_cookies()
    page.goto("/login/")
    until(page, "caches.has('causeway-pages').then((has) => !has)")
    assert not kept(page)


def test_what_is_practised_without_a_line_is_one_line_of_the_day_when_it_is_back(
    student: Student, phone: Any, picture: Any
) -> None:
    assignment = make_assignment(review=make_review(student=student))
    open_attempt(assignment)
    drill = f"/drill/{assignment.pk}/"
    page = phone(student.user)
    page.goto(f"/mine/{student.pk}/")  # neither page was ever opened: both are kept whole
    until(page, has("/static/js/practice/session.js"))
    page.context.set_offline(True)
    page.goto(f"{drill}practise/")
    for count in ("12", "8"):
        page.get_by_label("How many?").fill(count)
        page.get_by_label("all right").check()
        page.get_by_role("button", name="Save", exact=True).tap()
        expect(page.get_by_text("Saved on this phone.")).to_be_visible()
        expect(page.get_by_label("How many?")).to_have_value("")
    page.goto(drill)
    page.get_by_role("button", name="It hurts").tap()
    expect(page.get_by_text("Your report is saved on this phone")).to_be_visible()
    picture(page, "drill-hurts-offline")
    assert not PracticeSeries.objects.exists() and not PainReport.objects.exists()

    page.context.set_offline(False)
    arrived(page, PracticeSeries.objects.filter(assignment=assignment, felt="right"), 2)
    arrived(page, PainReport.objects.filter(assignment=assignment), 1)
    page.reload()
    page.wait_for_timeout(1000)
    (line,) = Entry.objects.filter(kind=Entry.Kind.PRACTISED)
    series = PracticeSeries.objects.filter(pk__in=line.refs["practice_series"])
    assert sorted(row.repetitions for row in series) == [8, 12]
    assert PracticeSeries.objects.count() == 2 and PainReport.objects.count() == 1


def test_it_hurts_is_never_lost_where_the_radio_knows_of_no_trouble(
    student: Student, phone: Any
) -> None:
    """While practising: the phone believes in its line, and nothing comes through."""
    assignment = make_assignment(review=make_review(student=student))
    open_attempt(assignment)
    page = phone(student.user)
    page.goto(f"/drill/{assignment.pk}/practise/")
    page.route("**/healthz", lambda route: route.abort())
    page.get_by_role("button", name="It hurts").tap()
    expect(page.get_by_text("Your report is saved on this phone")).to_be_visible()
    assert page.evaluate("navigator.onLine") and not PainReport.objects.exists()
    page.unroute("**/healthz")
    arrived(page, PainReport.objects.filter(assignment=assignment), 1)  # without a reload


def test_nothing_of_a_coach_is_kept(student: Student, coach: User, desk: Any) -> None:
    page = desk(coach)
    page.goto(f"/students/{student.pk}/thread/")
    ready(page)
    page.reload()
    page.wait_for_timeout(3000)
    assert not kept(page)
    text = page.evaluate("caches.match('/offline/').then((a) => a.text())")
    assert student.name not in text


def test_what_the_server_refuses_is_shown(student: Student, phone: Any) -> None:
    page = phone(student.user)
    page.goto(f"/students/{student.pk}/thread/")
    page.route("**/thread/send/", lambda route: route.fulfill(status=400, body="no"))
    page.context.set_offline(True)
    page.get_by_label("A word to your coach").fill("My words")
    page.get_by_role("button", name="Send", exact=True).tap()
    expect(page.get_by_text("Your words are saved on this phone")).to_be_visible()
    page.context.set_offline(False)
    alert = page.get_by_role("alert").filter(has_text="could not be sent")
    expect(alert).to_contain_text("My words", timeout=30_000)
    alert.get_by_role("button").tap()
    expect(alert).not_to_be_visible()


def test_with_a_line_the_forms_go_as_ever(student: Student, phone: Any) -> None:
    page = phone(student.user)
    page.goto(f"/students/{student.pk}/thread/")
    page.get_by_label("A word to your coach").fill("It went well.")
    page.get_by_role("button", name="Send", exact=True).tap()
    expect(page.get_by_text("It went well.").first).to_be_visible()
    assert Entry.objects.filter(text="It went well.").count() == 1
