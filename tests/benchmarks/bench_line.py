"""What a bad line does to a student: nothing may be lost, nothing doubled.

upload_byte_exact_share: of 200 cuts at random bytes of growing uploads (the socket closed in
the middle of a piece, or silent while another goes on), after how many the server's offset
was one from which the rest makes the same file. A killed server and a reload are in
tests/coaching/intake and tests/browser.
offline_reports_delivered: of 20 posts made without a line (practice, words, pain), every third
answered into nothing the first time, how many arrived exactly once.
first_word_slow4g_s: from the press to the first true word about the picture, on a slow line
(1.6 Mbit/s, 150 ms); check_ready_slow4g_s: until the network judges the golfer too.
"""

from __future__ import annotations

import base64
import os
import random
import socket
import time
import uuid
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tests.benchmarks.bench_review import room
from tests.benchmarks.bench_student import PHONE, SLOW_4G

CUTS, CUTS_A_FILE = 200, 20
BYTES = 600_000
CLIP = Path(__file__).parents[2] / "coaching" / "demo" / "clips" / "setup_heels_dtl.mp4"
CAMERA = """
navigator.mediaDevices.getUserMedia = async () => {
  const film = document.createElement("video");
  Object.assign(film, { src: "/camera.mp4", loop: true, muted: true });
  await film.play();
  return film.captureStream();
};
"""


def main() -> None:
    os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    import django

    django.setup()
    with room() as (url, page):
        print(f"figure upload_byte_exact_share {exact_share(url):.3f} share")
        print(f"figure offline_reports_delivered {delivered(url, page):.3f} share")
        first, ready = words(url, page)
        print(f"figure first_word_slow4g_s {first:.1f} s")
        print(f"figure check_ready_slow4g_s {ready:.1f} s")


class Line:
    """Speaks HTTP over sockets that it may close or leave hanging at any byte."""

    def __init__(self, url: str, user: Any) -> None:
        from django.conf import settings
        from django.test import Client

        self.host = urlsplit(url)
        client = Client()
        client.force_login(user)
        session = client.cookies[settings.SESSION_COOKIE_NAME].value
        token = "a" * 32
        self.common = {
            "Host": self.host.netloc,
            "Tus-Resumable": "1.0.0",
            "Cookie": f"{settings.SESSION_COOKIE_NAME}={session}; csrftoken={token}",
            "X-CSRFToken": token,
            "Connection": "close",
        }
        self.hanging: list[socket.socket] = []

    def send(self, method: str, path: str, headers: dict[str, str], body: bytes = b"",
             cut: int | None = None, silent: bool = False) -> dict[str, str]:  # fmt: skip
        """The answer's headers; with `cut` only so many bytes of the body go, and no answer."""
        rows = {**self.common, "Content-Length": str(len(body)), **headers}
        head = "".join(f"{name}: {value}\r\n" for name, value in rows.items())
        line = socket.create_connection((self.host.hostname, self.host.port), timeout=30)
        line.sendall(f"{method} {path} HTTP/1.1\r\n{head}\r\n".encode() + body[:cut])
        if cut is not None:
            if silent:
                self.hanging.append(line)
            else:
                line.close()
            return {}
        answer = b""
        while piece := line.recv(65536):
            answer += piece
        line.close()
        top = answer.split(b"\r\n\r\n")[0].decode("latin-1").split("\r\n")
        found = {k.lower(): v for k, _, v in (row.partition(": ") for row in top[1:])}
        return {**found, ":status": top[0].split()[1]}


def exact_share(url: str) -> float:
    from coaching.intake.models import Submission
    from tests import factories

    chance = random.Random(5)
    exact = 0
    for _file in range(CUTS // CUTS_A_FILE):
        angle = factories.make_angle(view="down_the_line")
        line = Line(url, angle.request.student.user)
        film = chance.randbytes(BYTES)
        meta = {"angle": str(angle.pk), "key": str(uuid.uuid4()), "filename": "film.mp4"}
        told = ",".join(f"{k} {base64.b64encode(v.encode()).decode()}" for k, v in meta.items())
        made = line.send("POST", "/uploads/", {"Upload-Length": str(BYTES),
                         "Upload-Metadata": told})  # fmt: skip
        path = urlsplit(made["location"]).path
        at = 0
        for n in range(CUTS_A_FILE):
            most = (BYTES - at) // (CUTS_A_FILE - n)
            _patch(line, path, at, film, cut=chance.randrange(1, max(2, most)), silent=n % 2 == 1)
            at = _offset(line, path)
        for silent in line.hanging:
            silent.close()
        while at < BYTES:
            _patch(line, path, _offset(line, path), film)
            at = _offset(line, path)
        line.send("POST", f"{path}/finish", {"Accept": "application/json"})
        sent = Submission.objects.filter(angle=angle).first()
        if sent is not None:
            with sent.video.original.open() as stored:
                exact += CUTS_A_FILE if stored.read() == film else 0
    return exact / CUTS


def _patch(line: Line, path: str, at: int, film: bytes, **how: Any) -> None:
    headers = {"Upload-Offset": str(at), "Content-Type": "application/offset+octet-stream"}
    line.send("PATCH", path, headers, film[at:], **how)


def _offset(line: Line, path: str) -> int:
    """Where the server stands; while it still holds the upload it says so, and is asked again."""
    for _turn in range(200):
        answer = line.send("HEAD", path, {})
        if answer[":status"] in ("200", "204"):
            return int(answer["upload-offset"])
        time.sleep(0.1)
    raise AssertionError(f"no offset: {answer}")


def delivered(url: str, desk: Any) -> float:
    from coaching.lessons.models import Entry
    from coaching.people.student_forms import BODY_ORDER
    from coaching.practice.models import PainReport, PracticeSeries
    from tests import factories
    from tests.coaching.practice.making import make_assignment, make_review, open_attempt

    student = factories.make_student(email="line@example.org")
    assignment = make_assignment(review=make_review(student=student))
    open_attempt(assignment)
    page = _phone(desk, student, url)
    lost = _lose_every_third(page)
    regions = [region.value for region in BODY_ORDER][:6]
    posts = [("practice", str(n + 1)) for n in range(6)]
    posts += [("words", f"Word {n}") for n in range(8)] + [("pain", name) for name in regions]
    addresses = {
        "practice": f"/drill/{assignment.pk}/practise/",
        "words": f"/students/{student.pk}/thread/",
        "pain": f"/students/{student.pk}/pain/",
    }
    for kind, said in posts:
        page.goto(url + addresses[kind])
        page.context.set_offline(True)
        if kind == "practice":
            page.locator("#repetitions").fill(said)
            page.get_by_role("button", name="Save", exact=True).tap()
        elif kind == "words":
            page.locator("#words").fill(said)
            page.get_by_role("button", name="Send", exact=True).tap()
        else:
            page.locator(f"button[name=region][value={said}]").tap()
        page.wait_for_timeout(400)
        page.context.set_offline(False)
        _empty(page)
    print(f"  answers lost on the way: {len(lost)}")
    words = Entry.objects.filter(thread__student=student, kind="message", text__startswith="Word ")
    counts = [
        [PracticeSeries.objects.filter(repetitions=n + 1).count() for n in range(6)],
        [words.filter(text=f"Word {n}").count() for n in range(8)],
        [PainReport.objects.filter(student=student, region=name).count() for name in regions],
    ]
    once = sum(count == 1 for row in counts for count in row)
    return once / len(posts)


def _phone(desk: Any, student: Any, url: str) -> Any:
    from tests.browser.conftest import sign_in

    page = desk.context.browser.new_context(**PHONE).new_page()
    sign_in(page, student.user, url)
    return page


def _lose_every_third(page: Any) -> list[str]:
    """The server takes it in; the phone never hears so, and must send it again."""
    lost: list[str] = []
    posts = [0]

    def pass_on(route: Any) -> Any:
        if route.request.method != "POST":
            return route.fallback()
        posts[0] += 1
        if posts[0] % 3 == 0:
            route.fetch()
            lost.append(route.request.url)
            return route.abort("connectionreset")
        return route.fallback()

    page.route("**/*", pass_on)
    return lost


def _empty(page: Any) -> None:
    """Waits until the phone's queue is empty; the line comes back as often as it takes."""
    for _turn in range(40):
        page.wait_for_timeout(300)
        page.evaluate("dispatchEvent(new Event('online'))")
        left = page.evaluate(
            "import(document.querySelector('script[src*=connect]').src.replace('connect', 'queue'))"
            ".then((queue) => queue.all()).then((rows) => rows.length)"
        )
        if not left:
            return


def words(url: str, desk: Any) -> tuple[float, float]:
    from tests import factories

    angle = factories.make_angle(view="down_the_line", kind="setup")
    page = _phone(desk, angle.request.student, url)
    page.route("**/camera.mp4", lambda route: route.fulfill(path=CLIP, content_type="video/mp4"))
    page.add_init_script(CAMERA)
    page.goto(f"{url}/film/{angle.pk}/", wait_until="networkidle")
    line = page.context.new_cdp_session(page)
    line.send("Network.enable")
    line.send("Network.emulateNetworkConditions", SLOW_4G)
    said = "document.querySelector('[data-part=say]').textContent"
    waiting = ["", "One moment"]
    began = time.monotonic()
    page.get_by_role("button", name="It stands there. Check it").tap()
    _until(page, f"!{waiting}.includes({said})")
    first = time.monotonic() - began
    _until(page, "Boolean(document.querySelector('film-camera').hands)")
    return first, time.monotonic() - began


def _until(page: Any, expression: str) -> None:
    """The content policy forbids the browser to read strings as scripts; evaluating is ours."""
    for _turn in range(2400):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(100)
    raise AssertionError(expression)
