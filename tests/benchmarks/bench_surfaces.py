"""The coach's surfaces in a real browser: how much is picture, how much is in view, how light.

clip_share_1440, clip_share_1280: share of the room's first screen that is clip (two clips of one
request; what of each video can be seen). play_in_view: 1 when Play and the strip are inside the
screen at 1280 x 720, 1440 x 900 and 390 x 844. list_px_60: height of the waiting list with 29 of
60 students waiting, heads and rows together. room_queries: of the room's page. room_first_kb: all
that the room's first load fetches, without the clips. verdict_taps: from the waiting list on a
phone to the verdict given. undo_works: 1 when that verdict is taken back by its own button.
"""

from __future__ import annotations

import os
from datetime import timedelta
from typing import Any

SIZES = ((1280, 720), (1440, 900), (390, 844))
SEEN = """() => {
  let pixels = 0;
  for (const player of document.querySelectorAll("review-room frame-player")) {
    const [v, w] = [player.querySelector("video"), player.querySelector(".window")]
      .map((e) => e.getBoundingClientRect());
    if (!w.width) continue;
    const wide = Math.min(v.right, w.right, innerWidth) - Math.max(v.left, w.left, 0);
    const high = Math.min(v.bottom, w.bottom, innerHeight) - Math.max(v.top, w.top, 0);
    pixels += Math.max(0, wide) * Math.max(0, high);
  }
  return pixels / (innerWidth * innerHeight);
}"""
INSIDE = """() => [".time [data-do=play]", "time-strip .track"].every((part) => {
  const box = document.querySelector(part).getBoundingClientRect();
  return box.width > 0 && box.top >= 0 && box.bottom <= innerHeight
    && box.left >= 0 && box.right <= innerWidth;
})"""
LIST = """() => document.querySelector(".list-head").offsetHeight
  + document.querySelector(".lines").scrollHeight"""


def main() -> None:
    os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    import django

    django.setup()
    from tests.benchmarks.bench_review import room

    with room() as (url, page):
        clip = pair_of_clips()
        in_view = []
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            page.goto(f"{url}/review/clip/{clip.pk}/")
            page.wait_for_selector("review-room[ready]")
            page.wait_for_timeout(1500)
            in_view.append(page.evaluate(INSIDE))
            if width > 760:
                print(f"figure clip_share_{width} {page.evaluate(SEEN):.3f} share")
        print(f"figure play_in_view {int(all(in_view))} yes")
        print(f"figure room_first_kb {first_load(page, url, clip):.0f} kB")
        print(f"figure room_queries {queries(clip)} queries")
        print(f"figure list_px_60 {list_height(page, url)} px")
        taps, undone = verdict(page, url)
        print(f"figure verdict_taps {taps} taps")
        print(f"figure undo_works {int(undone)} yes")


def pair_of_clips() -> Any:
    from coaching.people.models import Student
    from tests import factories
    from tests.coaching.review.clips import make_clip

    student = Student.objects.get()
    asked = factories.make_request(student=student, angles=0)
    first, _second = (
        make_clip(student=student, angle=factories.make_angle(request=asked)) for _ in "ab"
    )
    return first


def first_load(page: Any, url: str, clip: Any) -> float:
    """Kilobytes of everything but the clips, as sent."""
    sizes: list[int] = []
    session = page.context.new_cdp_session(page)
    kinds: dict[str, str] = {}
    session.on("Network.responseReceived", lambda e: kinds.update({e["requestId"]: e["type"]}))
    session.on(
        "Network.loadingFinished",
        lambda e: kinds.get(e["requestId"]) != "Media" and sizes.append(e["encodedDataLength"]),
    )
    session.send("Network.enable")
    session.send("Network.setCacheDisabled", {"cacheDisabled": True})
    page.set_viewport_size({"width": 1440, "height": 900})
    page.goto(f"{url}/review/clip/{clip.pk}/")
    page.wait_for_selector("review-room[ready]")
    page.wait_for_timeout(2500)
    session.detach()
    return sum(sizes) / 1000


def queries(clip: Any) -> int:
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    client = Client(HTTP_HOST="127.0.0.1")
    client.force_login(clip.student.coach)
    address = f"/review/clip/{clip.pk}/"
    client.get(address)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def list_height(page: Any, url: str) -> int:
    """Of a studio of its own: 60 students, 29 of whom wait for something."""
    from django.utils import timezone

    from tests import factories
    from tests.browser.conftest import sign_in

    coach = factories.make_coach(role="owner", name="Sixty Students")
    for number in range(60):
        student = factories.make_student(coach=coach)
        if number < 29:
            due = timezone.now() + timedelta(hours=number * 3 - 2)
            clip = factories.make_submission(student=student, promised_at=due)
            factories.make_measured(clip, {("pelvis_turn_deg", "top"): (21.0, 2.0)})
    sign_in(page, coach, url)
    page.set_viewport_size({"width": 1440, "height": 900})
    page.goto(f"{url}/waiting/")
    assert page.locator(".line").count() == 29
    return int(page.evaluate(LIST))


def verdict(page: Any, url: str) -> tuple[int, bool]:
    """Taps from the waiting list to a verdict on a phone, and whether its undo takes it back."""
    from coaching.practice.models import Verdict
    from tests import factories
    from tests.browser.conftest import PHONE, sign_in
    from tests.coaching.practice.making import (
        make_assignment,
        make_review,
        open_attempt,
        send_film,
    )

    student = factories.make_student()
    attempt = open_attempt(make_assignment(review=make_review(student=student)))
    send_film(attempt, (50.0, 2.0), (49.0, 2.0), (48.0, 2.0))
    context = page.context.browser.new_context(**PHONE)
    phone = context.new_page()
    sign_in(phone, student.coach, url)
    phone.goto(f"{url}/waiting/")
    taps = 0
    for part in (".line .mid", "[data-press='1']"):
        phone.locator(part).first.tap()
        taps += 1
    phone.wait_for_selector("undo-for button")
    given = Verdict.objects.exists()
    phone.locator("undo-for button").first.tap()
    phone.wait_for_load_state()
    phone.wait_for_timeout(500)
    undone = given and not Verdict.objects.exists()
    context.close()
    return taps, undone


if __name__ == "__main__":
    main()
