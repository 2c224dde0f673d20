"""Filming and sending in a browser: with script, without, over a broken connection."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from playwright.sync_api import Page, Route, expect

from analysis import services as analysis
from analysis.models import Run, Video
from analysis.video import still
from coaching.intake.models import Request, RequestedAngle, Submission, Upload
from coaching.people.models import Student, User
from coaching.practice.models import PracticeSeries
from tests import factories
from tests.browser.hands import Fingers, Keys
from tests.browser.test_pages_of_people import sound
from tests.coaching.practice.making import (
    TURN_RUNG,
    make_assignment,
    make_drill,
    make_review,
    open_attempt,
)

pytestmark = pytest.mark.django_db(transaction=True)
OTHER = Path(__file__).parents[2] / "coaching" / "demo" / "clips" / "feet_cut.mp4"
CLIP = Path(__file__).parents[2] / "coaching" / "demo" / "clips" / "setup_heels_dtl.mp4"

WAYS = [pytest.param("phone", Fingers(), id="phone"), pytest.param("desk", Keys(), id="desk")]
Hands = Fingers | Keys


@pytest.fixture
def asked(student: Student) -> Request:
    request = factories.make_request(
        student=student, angles=0, text="Ball a little further back, please."
    )
    factories.make_angle(request=request, view="down_the_line", repetitions=3, position=0)
    factories.make_angle(request=request, view="face_on", kind="rehearsal", effort="slow",
                         ball="none", position=1)  # fmt: skip
    return request


@pytest.fixture
def angle(asked: Request) -> RequestedAngle:
    return asked.angles.all()[0]


def check(submission: Submission, *, reject: str = "") -> None:
    """The worker's answer, without the worker."""
    run = submission.video.runs.get(kind=Run.Kind.CHECK)
    quality = [{"code": reject, "level": "reject"}] if reject else []
    Run.objects.filter(pk=run.pk).update(status="running", claim=None)
    run.refresh_from_db()
    analysis._close(run, None, Run.Status.DONE, result={"quality": quality})
    if not reject:
        analysis.request_run(video=submission.video, kind=Run.Kind.COPY)


def real_film() -> Video:
    """A clip whose pictures can be looked at."""
    video = factories.make_video(width=720, height=1280, fps=60.0, duration_s=1.5)
    video.copy.save("clip.mp4", ContentFile(CLIP.read_bytes()), save=False)
    video.still.save("clip.jpg", ContentFile(still(CLIP, 0.5)))
    return video


def test_pages(
    asked: Request, coach: User, phone: Any, desk: Any, picture: Any, assert_accessible: Any
) -> None:
    """Looked at, and accessible, at both widths: film, every state of a clip, the request."""
    angle = asked.angles.all()[0]
    user = asked.student.user
    pages: dict[str, tuple[User, str]] = {
        "film": (user, f"/film/{angle.pk}/"),
        "request": (user, f"/requests/{asked.pk}/"),
        "ask": (coach, f"/students/{asked.student_id}/ask/"),
    }
    for view in ("face_on", "rear", "overhead", "other"):
        row = factories.make_angle(request=asked, view=view, position=5)
        pages[f"film-{view}"] = (user, f"/film/{row.pk}/")
    states = {"checking": None, "refused": "body_cut", "measuring": "", "failed": "", "ready": ""}
    for name, reject in states.items():
        clip = factories.make_submission(angle=angle, video=real_film())
        pages[name] = (user, f"/clips/{clip.pk}/")
        if name == "checking":
            factories.make_run(video=clip.video, kind="check", status="queued")
        elif name == "failed":
            factories.make_checked(clip)
            factories.make_run(video=clip.video, kind="copy", status="failed")
        else:
            factories.make_checked(clip, reject=reject or "")
        if name == "refused":
            pages["refused-coach"] = (coach, f"/clips/{clip.pk}/")
        if name in ("ready", "measuring"):
            factories.make_run(video=clip.video, kind="copy")
            factories.make_run(
                video=clip.video, status="done" if name == "ready" else "running", progress=0.3
            )
    for width in (phone, desk):
        opened: dict[User, Page] = {}
        for name, (who, url) in pages.items():
            page = opened.setdefault(who, opened.get(who) or width(who))
            page.goto(url)
            expect(page.locator("h1").first).to_be_visible()
            picture(page, f"{name}-{'phone' if width is phone else 'desk'}")
            assert_accessible(page)
            sound(page)


def film(phone: Any, angle: RequestedAngle) -> Page:
    page = phone(angle.request.student.user)
    page.goto(f"/film/{angle.pk}/")
    return page


def choose(page: Page, hands: Hands, label: str, clip: Path = CLIP) -> None:
    """Press the button; the browser's own chooser (or the camera) gives the clip."""
    with page.expect_file_chooser() as chooser:
        hands.press(page.get_by_label(label))
    chooser.value.set_files(clip)


@pytest.mark.parametrize(("width", "hands"), WAYS)
def test_requested_angles_are_uploaded(
    angle: RequestedAngle, width: str, hands: Hands, request: Any
) -> None:
    """The student's task: both angles, one refused and filmed again, a word to the coach."""
    page = request.getfixturevalue(width)(angle.request.student.user)
    page.goto(f"/requests/{angle.request_id}/")
    expect(page.get_by_role("heading", name="2 films are still missing")).to_be_visible()
    hands.press(page.get_by_role("link", name="Film this").first)
    hands.write(page.get_by_label("A word for your coach"), "The wind was strong.")
    choose(page, hands, "Use my camera")
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible()
    first = Submission.objects.get()
    assert first.video.original.read() == CLIP.read_bytes()
    assert first.student.thread.entries.filter(text="The wind was strong.").exists()

    check(first, reject="body_cut")
    expect(page.get_by_role("heading", name="Please film this one again")).to_be_visible()
    expect(page.get_by_text("Part of you is outside the picture.")).to_be_visible()
    hands.press(page.get_by_role("link", name="Film it again"))
    choose(page, hands, "Use a video from my phone", OTHER)
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible()
    second = Submission.objects.get(replaced_by=None)
    check(second)
    expect(page.get_by_role("heading", name="Good to use")).to_be_visible()
    expect(page.get_by_text("promised to answer by")).to_be_visible()

    hands.press(page.get_by_role("link", name="Next: film face on"))
    choose(page, hands, "Use a video from my phone")
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible()
    check(Submission.objects.get(angle__view="face_on"))
    expect(page.get_by_role("link", name="Back to your page")).to_be_visible()
    page.goto(f"/requests/{angle.request_id}/")
    expect(page.get_by_role("heading", name="Everything asked for is here")).to_be_visible()


def test_a_refused_clip_is_sent_on_with_a_word(angle: RequestedAngle, phone: Any) -> None:
    page = film(phone, angle)
    page.get_by_label("Use my camera").set_input_files(CLIP)
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible()
    check(Submission.objects.get(), reject="wrong_view")
    expect(page.get_by_role("heading", name="Please film this one again")).to_be_visible()
    page.get_by_text("I think it can be used").click()
    page.get_by_label("Tell your coach why").fill("The wall leaves no other place.")
    page.get_by_role("button", name="Send it all the same").click()
    expect(page.get_by_role("heading", name="Good to use")).to_be_visible()
    assert Submission.objects.get().override_note == "The wall leaves no other place."


def test_a_refused_clip_is_filmed_again_in_its_place(angle: RequestedAngle, phone: Any) -> None:
    first = factories.make_submission(angle=angle)
    factories.make_checked(first, reject="too_dark")
    page = phone(angle.request.student.user)
    page.goto(f"/clips/{first.pk}/")
    page.get_by_role("link", name="Film it again").click()
    page.get_by_label("Use a video from my phone").set_input_files(CLIP)
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible()
    first.refresh_from_db()
    assert first.replaced_by == Submission.objects.exclude(pk=first.pk).get()


def test_without_script(angle: RequestedAngle, phone: Any) -> None:
    page = phone(angle.request.student.user, java_script_enabled=False)
    page.goto(f"/film/{angle.pk}/")
    page.get_by_role("button", name="Send", exact=True).click()
    expect(page.get_by_role("alert")).to_have_text("Film, or choose a clip, then send it.")
    page.get_by_label("Use a video from my phone").set_input_files(CLIP)
    page.get_by_label("A word for your coach").fill("No script here.")
    page.get_by_role("button", name="Send", exact=True).click()
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible()
    submission = Submission.objects.get()
    assert submission.text == "No script here."
    check(submission)
    page.reload()
    expect(page.get_by_role("heading", name="Good to use")).to_be_visible()


def small_pieces(page: Page, size: int = 4096) -> None:
    """Let the clip travel in several requests, so that it can be stopped on its way."""
    page.route(
        re.compile(r"/intake/upload.*\.js$"),
        lambda route: route.fulfill(
            response=(answer := route.fetch()),
            body=answer.text().replace("8 * 1024 * 1024", str(size)),
        ),
    )


def half_way(page: Page, pieces: int) -> list[bool]:
    """Lets `pieces` requests through, then breaks the connection until the list is emptied."""
    broken = [True]
    seen: list[str] = []

    def pass_on(route: Route) -> None:
        if route.request.method == "PATCH":
            seen.append(route.request.url)
            if broken and len(seen) > pieces:
                return route.abort("connectionreset")
        return route.continue_()

    page.route("**/uploads/**", pass_on)
    return broken


def started(page: Page) -> None:
    """Something of the clip is there, and not all of it."""
    expect(page.locator("[data-part=share]")).not_to_have_text(re.compile("^0 of"))


def test_a_broken_connection_goes_on_where_it_stopped(angle: RequestedAngle, phone: Any) -> None:
    page = film(phone, angle)
    small_pieces(page, 32 * 1024)
    broken = half_way(page, 3)
    page.reload()
    page.get_by_label("Use a video from my phone").set_input_files(CLIP)
    expect(page.get_by_role("heading", name="No connection. Your clip is safe.")).to_be_visible()
    expect(page.get_by_text(re.compile("Trying again in [0-9]+ s"))).to_be_visible()
    assert Submission.objects.count() == 0
    upload = Upload.objects.get()
    broken.clear()  # and nobody tells the page
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible()
    assert Upload.objects.get() == upload
    assert Submission.objects.get().video.original.read() == CLIP.read_bytes()


def test_a_line_that_dies_without_a_word_is_noticed(angle: RequestedAngle, phone: Any) -> None:
    page = film(phone, angle)
    small_pieces(page, 32 * 1024)
    page.route(
        re.compile(r"/intake/persistence.*\.js$"),
        lambda route: route.fulfill(
            response=(answer := route.fetch()), body=answer.text().replace("30000", "1500")
        ),
    )
    silent, seen = [True], []

    def swallow(route: Route) -> None:
        if route.request.method == "PATCH":
            seen.append(route.request.url)
            if silent and len(seen) > 3:
                return  # never answered, never refused
        route.continue_()

    page.route("**/uploads/**", swallow)
    page.reload()
    page.get_by_label("Use a video from my phone").set_input_files(CLIP)
    expect(page.get_by_role("heading", name="No connection. Your clip is safe.")).to_be_visible(
        timeout=30_000
    )
    silent.clear()
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible(timeout=30_000)
    assert Submission.objects.get().video.original.read() == CLIP.read_bytes()


def test_a_reload_and_another_page_lose_nothing(
    angle: RequestedAngle, phone: Any, picture: Any
) -> None:
    page = film(phone, angle)
    small_pieces(page, 32 * 1024)
    broken = half_way(page, 3)
    page.reload()
    page.get_by_label("Use my camera").set_input_files(CLIP)
    expect(page.get_by_role("heading", name="No connection. Your clip is safe.")).to_be_visible()
    picture(page, "sending-offline")
    upload = Upload.objects.get()
    page.get_by_role("link", name="Back to your page").click()
    expect(page.get_by_role("heading", name="is not sent yet")).to_be_visible()
    # One thing at a time: the film that waits is what the page is about, and is asked for no more.
    expect(page.locator("main h1:visible")).to_have_count(1)
    expect(page.get_by_role("link", name="Film it")).to_have_count(0)
    picture(page, "home-unsent")
    page.reload()
    broken.clear()
    page.get_by_role("link", name="Send the rest").click()
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible()
    assert Upload.objects.get() == upload
    assert Submission.objects.get().video.original.read() == CLIP.read_bytes()
    page.goto(f"/mine/{angle.request.student_id}/")
    expect(page.locator("main h1:visible")).to_have_count(1)
    expect(page.get_by_role("heading", name="is not sent yet")).to_have_count(0)


def test_a_film_of_something_else_leads_and_the_next_stands_behind(
    angle: RequestedAngle, phone: Any
) -> None:
    page = film(phone, angle)
    page.route("**/uploads/**", lambda route: route.abort())
    page.get_by_label("Use my camera").set_input_files(CLIP)
    expect(page.get_by_role("heading", name="No connection. Your clip is safe.")).to_be_visible()
    factories.make_submission(student=angle.request.student, angle=angle)
    other = factories.make_request(student=angle.request.student, angles=0)
    factories.make_angle(request=other, view="face_on")
    page.goto(f"/mine/{angle.request.student_id}/")
    expect(page.locator("main h1:visible")).to_have_text(re.compile("is not sent yet"))
    expect(page.get_by_role("link", name=re.compile("Film it$"))).to_be_visible()
    page.once("dialog", lambda asked: asked.accept())
    page.get_by_role("button", name="Delete it").click()
    expect(page.locator("main h1:visible")).to_have_text(re.compile("^Film your swing face on"))
    expect(page.get_by_role("link", name="Film it")).to_have_count(1)


def test_pause_and_go_on_by_keyboard(angle: RequestedAngle, desk: Any) -> None:
    page = film(desk, angle)
    small_pieces(page, 8 * 1024)
    page.route("**/uploads/*", lambda route: (page.wait_for_timeout(200), route.continue_())[1])
    page.reload()
    page.get_by_label("Use a video from my phone").set_input_files(CLIP)
    started(page)
    page.get_by_role("button", name="Pause").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Paused")).to_be_visible()
    page.get_by_role("button", name="Continue", exact=True).focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible(timeout=120_000)


def test_what_is_refused_is_told_and_another_can_be_chosen(
    angle: RequestedAngle, phone: Any, tmp_path: Path, settings: Any
) -> None:
    page = film(phone, angle)
    empty = tmp_path / "empty.mp4"
    empty.write_bytes(b"")
    page.get_by_label("Use a video from my phone").set_input_files(empty)
    expect(page.get_by_role("alert").filter(has_text="That file is empty")).to_be_visible()
    settings.UPLOAD_MAX_BYTES = 1000
    page.get_by_label("Use a video from my phone").set_input_files(CLIP)
    expect(page.get_by_role("alert").filter(has_text="Cut the clip")).to_be_visible()
    expect(page.get_by_role("link", name="Save it on this phone")).to_be_visible()
    assert not Upload.objects.exists()


@pytest.mark.parametrize(("width", "hands"), WAYS)
def test_the_coach_asks_in_two_presses(
    student: Student, coach: User, width: str, hands: Hands, request: Any
) -> None:
    page = request.getfixturevalue(width)(coach)
    page.goto(f"/students/{student.pk}/ask/")
    hands.press(page.get_by_role("link", name="How you stand"))
    expect(page.get_by_role("link", name="How you stand")).to_have_attribute("aria-current", "true")
    hands.press(page.get_by_role("button", name="Send the request"))
    expect(page.get_by_text(f"Sent to {student.name}")).to_be_visible()
    angles = RequestedAngle.objects.filter(request__student=student)
    assert [(a.view, a.kind, a.ball) for a in angles] == [
        ("down_the_line", "setup", "none"),
        ("face_on", "setup", "none"),
    ]


def camera(page: Page, clip: Path) -> None:
    """The phone's camera sees a clip, over and over."""
    page.route("**/camera.mp4", lambda route: route.fulfill(path=clip, content_type="video/mp4"))
    page.add_init_script("""
        navigator.mediaDevices.getUserMedia = async () => {
          const film = document.createElement("video");
          Object.assign(film, { src: "/camera.mp4", loop: true, muted: true });
          await film.play();
          return film.captureStream();
        };
    """)


def opened(page: Page, angle: RequestedAngle, clip: Path) -> None:
    camera(page, clip)
    page.goto(f"/film/{angle.pk}/")
    page.get_by_role("button", name="It stands there. Check it").tap()


@pytest.mark.slow
def test_the_phone_says_how_it_stands(student: Student, phone: Any, picture: Any) -> None:
    """The real network in the browser, under the real content policy."""
    asked = factories.make_request(student=student, angles=0)
    angle = factories.make_angle(request=asked, view="face_on")
    page = phone(student.user)
    opened(page, angle, CLIP)
    said = page.locator("dialog.camera [role=status]")
    expect(said).to_have_text("Phone in front of you", timeout=90_000)
    picture(page, "check-wrong-view")
    page.get_by_role("button", name="Back", exact=True).tap()
    expect(said).not_to_be_visible()
    page.wait_for_function("!document.querySelector('film-camera').stream.active")  # camera off


@pytest.mark.slow
def test_it_films_by_itself_and_the_film_is_sent(
    student: Student, phone: Any, picture: Any
) -> None:
    """Alone, four metres away: nothing is touched between the check and the look at the film."""
    asked = factories.make_request(student=student, angles=0)
    angle = factories.make_angle(request=asked, view="down_the_line", kind="setup")
    page = phone(student.user)
    opened(page, angle, CLIP)
    dialog = page.locator("dialog.camera")
    expect(dialog).to_have_class(re.compile("ok"), timeout=90_000)
    picture(page, "check-good")
    expect(page.get_by_role("heading", name="Filmed. Look once.")).to_be_visible(timeout=90_000)
    picture(page, "film-look")
    page.locator("[data-words] textarea").fill("It felt level.")
    page.get_by_role("button", name=re.compile("^Send")).tap()
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible(timeout=120_000)
    sent = Submission.objects.get()
    assert sent.student.thread.entries.filter(text="It felt level.").exists()
    with sent.video.original.open() as file:
        head = file.read(16)
    assert head[4:8] == b"ftyp" or head[:4] == b"\x1aE\xdf\xa3"  # an MP4 or a WebM


def test_without_a_camera_the_other_ways_remain(angle: RequestedAngle, phone: Any) -> None:
    page = phone(angle.request.student.user)
    page.add_init_script("delete Navigator.prototype.mediaDevices")
    page.goto(f"/film/{angle.pk}/")
    expect(page.get_by_label("Use my camera")).to_be_attached()
    expect(page.get_by_role("button", name="It stands there. Check it")).to_have_count(0)


def test_a_guardian_sends_it_to_the_childs_own_phone(
    coach: User, phone: Any, browser: Any, live_server: Any, picture: Any, assert_accessible: Any
) -> None:
    """Made on one phone, filmed and sent on another that has no account; ended by a tap."""
    minor = Student.AgeBand.MINOR
    nell = factories.make_student(coach=coach, name="Nell Quist", age_band=minor, consents=False)
    guardian = factories.make_guardian(student=nell)
    factories.make_consents(nell, given_by=guardian)
    factories.make_request(student=nell)
    page = phone(guardian)
    page.goto(f"/mine/{nell.pk}/")
    page.get_by_role("link", name="Send it to Nell’s phone").tap()
    page.get_by_role("button", name="Make the link").tap()
    expect(page.get_by_role("heading", name="Point the other phone")).to_be_visible()
    picture(page, "phone-link")
    assert_accessible(page)
    address = page.get_by_label("The link", exact=True).input_value()
    path = address[address.index("/phone/") :]
    other = browser.new_context(base_url=live_server.url, viewport={"width": 390, "height": 844})
    try:
        hers = other.new_page()
        hers.goto(path)
        expect(hers.get_by_role("link")).to_have_count(1)  # the way past what is above
        picture(hers, "phone-by-link")
        assert_accessible(hers)
        hers.get_by_label("Use a video from my phone").set_input_files(CLIP)
        expect(hers.get_by_role("heading", name="It is being checked.")).to_be_visible(
            timeout=60_000
        )
        assert Submission.objects.get().sent_by == guardian
        page.get_by_role("button", name="End this link now").tap()
        expect(page.get_by_text("Nothing can be filmed by this link")).to_be_visible()
        hers.reload()
        expect(hers.get_by_role("heading", name="This link has ended.")).to_be_visible()
    finally:
        other.close()


SAVES_DATA = """Object.defineProperty(
  Navigator.prototype, "connection", { get: () => ({ saveData: true }) }
)"""


def test_a_phone_that_saves_data_films_without_the_check(
    angle: RequestedAngle, phone: Any, picture: Any
) -> None:
    """It is told how much the check loads, and nothing of it is loaded unless it is asked for."""
    page = phone(angle.request.student.user)
    page.add_init_script(SAVES_DATA)
    camera(page, CLIP)
    loaded: list[str] = []
    page.on("request", lambda request: loaded.append(request.url))
    page.goto(f"/film/{angle.pk}/")
    expect(
        page.get_by_text("Your phone saves data. The check of the picture loads")
    ).to_be_visible()
    picture(page, "film-saves-data")
    page.get_by_role("button", name="Film without the check").tap()
    expect(page.locator("dialog.camera [role=status]")).to_have_text("Press “Film now”")
    page.get_by_role("button", name="Film now").tap()
    expect(page.locator("dialog.camera [role=status]")).to_have_text("Stand still")
    page.get_by_role("button", name="Stop", exact=True).tap()
    expect(page.locator("dialog.camera")).not_to_be_visible()
    assert not [url for url in loaded if "tasks-vision" in url or url.endswith("/film/model")]


@pytest.mark.slow
def test_the_phone_is_a_quiet_partner(student: Student, phone: Any, picture: Any) -> None:
    """Hands free: it checks, counts, films; the count is noted and the best film sent."""
    knees = {"comparison": "at_least", "measure": "knee_flex_deg", "event": "address", "low": 5}
    hold = TURN_RUNG | {"kind": "hold", "film_kind": "setup", "need": 1, "repetitions": 1}
    hold |= {"criteria": [knees]}
    drill = make_drill(studio=student.studio, ladder=[hold], slug="stand")
    assignment = make_assignment(review=make_review(student=student), drill=drill)
    open_attempt(assignment)
    page = phone(student.user)
    camera(page, CLIP)
    page.goto(f"/drill/{assignment.pk}/practise/")
    picture(page, "practise-start")
    page.get_by_role("button", name="It stands there. Start").tap()
    bead = page.locator("dialog .bead.on").first
    expect(bead).to_be_visible(timeout=90_000)
    picture(page, "practise-count")
    page.wait_for_timeout(2500)  # the end of the first film
    page.get_by_role("button", name="Stop", exact=True).tap()
    expect(page.locator("[data-part=end-heading]")).to_have_text(re.compile(r"^\d+ done\.$"))
    page.get_by_label("all right").check()
    picture(page, "practise-end")
    page.get_by_role("button", name="Save", exact=True).tap()
    expect(page.get_by_text("Saved. Your coach sees it in your messages.")).to_be_visible()
    assert PracticeSeries.objects.get(assignment=assignment).felt == "right"
    page.get_by_role("button", name=re.compile("^Send it to your coach")).tap()
    expect(page.get_by_role("heading", name="We are checking it")).to_be_visible(timeout=120_000)
    assert Submission.objects.filter(angle__attempts__step__assignment=assignment).exists()
