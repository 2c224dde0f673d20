"""The student's first screens on a phone, in a real browser.

home_kb: all that a first visit of home loads, with pictures and without the two fonts
(home_fonts_kb), text as a server compresses it. usable_answer_s: from opening an answer on a
slow line (1.6 Mbit/s, 150 ms away; nothing kept) until film, voice and lines can be played.
answer_has_all: 1 when every part of an answer stands on its page, else 0.
"""

from __future__ import annotations

import gzip
import os
import time
from typing import Any

from tests.benchmarks.bench_review import room

SLOW_4G = {
    "offline": False,
    "latency": 150,
    "downloadThroughput": 1.6e6 / 8,
    "uploadThroughput": 0.75e6 / 8,
}
PHONE = {"viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True}
PARTS = (
    "h1", ".said", ".stones", ".finding-shown .still", ".finding-shown b.num",
    "a[href*='/drill/']", ".note", "frame-player video", "[data-mark]:nth-of-type(4)",
    "[data-half]", "[data-print]", "#films", "form[action$='understood'] button",
    "a[href$='#write']",
)  # fmt: skip


def main() -> None:
    os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    import django

    django.setup()
    with room() as (url, page):
        browser = page.context.browser
        review = answered()
        texts, fonts = loaded(
            visitor(browser, review.student, url), f"{url}/mine/{review.student_id}/"
        )
        print(f"figure home_kb {texts / 1000:.1f} kB")
        print(f"figure home_fonts_kb {fonts / 1000:.1f} kB")
        seconds, has_all = answer(
            visitor(browser, review.student, url), f"{url}/review/{review.pk}/"
        )
        print(f"figure usable_answer_s {seconds:.2f} s")
        print(f"figure answer_has_all {int(has_all)} share")


def answered() -> Any:
    """A sent answer with a finding on a real clip, a drill and a word for the course."""
    from coaching.diagnosis.models import Finding, Plan
    from coaching.review.models import Review
    from tests import factories
    from tests.coaching.practice.making import make_assignment, make_finding, make_review
    from tests.coaching.review.clips import make_film

    review = make_review(student=factories.make_student(email="bench-student@example.org"))
    clip = review.submissions.get()
    make_film(clip.video)
    row = clip.video.measured().measurements.get(measure="pelvis_turn_deg")
    cause = make_finding(review=review)
    Finding.objects.filter(pk=cause.pk).update(
        measurement=row, measure=row.measure, event=row.event, value=row.value,
        uncertainty=row.uncertainty, video=clip.video,
    )  # fmt: skip
    Plan.objects.update_or_create(review=review, defaults={"keep_note": "Think of nothing."})
    Review.objects.filter(pk=review.pk).update(text="We do one thing this week.")
    review.refresh_from_db()
    make_assignment(review=review, finding=cause)
    return review


def visitor(browser: Any, student: Any, url: str) -> Any:
    """A phone's page that has never been here, signed in as the student."""
    from tests.browser.conftest import sign_in

    page = browser.new_context(**PHONE).new_page()
    sign_in(page, student.user, url)
    return page


def loaded(page: Any, address: str) -> tuple[int, int]:
    """Bytes of a first visit: all but fonts, and the fonts."""
    sizes = {True: 0, False: 0}

    def count(response: Any) -> None:
        body = response.body()
        kind = response.headers.get("content-type", "")
        is_text = any(word in kind for word in ("text", "javascript", "json", "svg"))
        is_font = response.url.endswith(".woff2")
        sizes[is_font] += len(gzip.compress(body)) if is_text else len(body)

    responses: list[Any] = []
    page.on("response", lambda response: responses.append(response))
    page.goto(address, wait_until="networkidle")
    for response in responses:
        if response.ok:
            count(response)
    return sizes[False], sizes[True]


def answer(page: Any, address: str) -> tuple[float, bool]:
    """Seconds until an answer can be used on a slow line, and whether all of it is there."""
    line = page.context.new_cdp_session(page)
    line.send("Network.enable")
    line.send("Network.emulateNetworkConditions", SLOW_4G)
    began = time.monotonic()
    page.goto(address, wait_until="commit")
    page.wait_for_selector("review-read[ready]", timeout=120_000)
    seconds = time.monotonic() - began
    missing = [part for part in PARTS if not page.locator(part).count()]
    if missing:
        print("missing on the answer:", ", ".join(missing))
    return seconds, not missing
