"""The review room in a real browser: exact frames, quick corrections, few clicks.

seek_exact_share, seek_exact_share_vfr: of 500 random seeks each, on a clip whose pixels carry
the frame number, at a constant and at a variable rate. seek_ms_p50: until the frame is shown.
correction_ms_p95: from letting go of a joint to the new figures standing in the sidebar.
review_clicks: opening the clip from the waiting list to the sent lesson, and page loads after
opening (review_loads, 0); diagnosis_taps: of these clicks, until three findings and their drill.
"""

from __future__ import annotations

import os
import random
import statistics
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

SEEKS = 500
CORRECTIONS = 40
SWITCHES = (
    "no-sandbox disable-gpu disable-quic no-first-run disable-background-networking "
    "disable-component-update disable-sync"
)
# Reads the frame number that the clip's own pixels show.
READ = """(bits) => {
  const video = document.querySelector("frame-player video");
  const canvas = document.createElement("canvas");
  canvas.width = video.videoWidth; canvas.height = video.videoHeight;
  const pen = canvas.getContext("2d");
  pen.drawImage(video, 0, 0);
  const block = canvas.width / bits;
  let number = 0;
  for (let bit = 0; bit < bits; bit += 1) {
    const [red] = pen.getImageData((bit + 0.5) * block, block / 2, 1, 1).data;
    if (red > 127) number += 1 << bit;
  }
  return number;
}"""
SEEK = """async (frame) => {
  const start = performance.now();
  await document.querySelector("frame-player").show(frame);
  return performance.now() - start;
}"""


def main() -> None:
    os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    import django

    django.setup()
    with room() as (url, page):
        shown: list[float] = []
        for name, uneven in (("seek_exact_share", False), ("seek_exact_share_vfr", True)):
            share, times = seeks(url, page, uneven=uneven)
            shown += times
            print(f"figure {name} {share:.4f} share")
        print(f"figure seek_ms_p50 {statistics.median(shown):.1f} ms")
        clip = real_clip()
        page.goto(f"{url}/review/clip/{clip.pk}/")
        page.wait_for_selector("review-room[ready]")
        print(f"figure correction_ms_p95 {corrections(page):.1f} ms")
        counted = lesson(url, page)
        print(f"figure review_clicks {counted.clicks} clicks")
        print(f"figure review_loads {counted.loads} pages")
        print(f"figure diagnosis_taps {counted.diagnosis} taps")


@contextmanager
def room() -> Iterator[tuple[str, Any]]:
    """A live server on a throwaway database, and the coach's browser."""
    from django.test.utils import setup_databases, setup_test_environment, teardown_databases
    from playwright.sync_api import sync_playwright
    from pytest_django.live_server_helper import LiveServer

    from tests import factories
    from tests.browser.conftest import sign_in

    setup_test_environment()
    old = setup_databases(verbosity=0, interactive=False)
    server = LiveServer("127.0.0.1")
    try:
        with sync_playwright() as play:
            path = os.environ.get("CHROMIUM", "/usr/bin/chromium")
            chosen = {"executable_path": path} if os.path.exists(path) else {}
            browser = play.chromium.launch(args=[f"--{s}" for s in SWITCHES.split()], **chosen)
            page = browser.new_page(viewport={"width": 1440, "height": 900})
            coach = factories.make_coach(role="owner", email="bench@example.org")
            factories.make_student(coach=coach, name="Bench Student")
            sign_in(page, coach, server.url)
            yield server.url, page
            browser.close()
    finally:
        server.stop()
        teardown_databases(old, verbosity=0)


def seeks(url: str, page: Any, *, uneven: bool) -> tuple[float, list[float]]:
    """Share of random seeks that show exactly the frame asked for, and each one's ms."""
    from coaching.people.models import Student
    from tests.coaching.review.clips import BITS, even_times, make_clip, uneven_times

    times = uneven_times(600) if uneven else even_times(600)
    clip = make_clip(student=Student.objects.get(), times=times)
    page.goto(f"{url}/review/clip/{clip.pk}/")
    page.wait_for_selector("review-room[ready]")
    draw = random.Random(11)
    exact, taken = 0, []
    for _ in range(SEEKS):
        frame = draw.randrange(len(times))
        taken.append(page.evaluate(SEEK, frame))
        exact += page.evaluate(READ, BITS) == frame
    return exact / SEEKS, taken


def real_clip() -> Any:
    """The demo's clip, copied and measured as a worker does it."""
    from django.conf import settings
    from django.core.files.base import ContentFile

    from analysis import services
    from analysis.models import Run
    from coaching.people.models import Student
    from tests import factories

    settings.ESTIMATOR = "analysis.estimators.MediaPipeEstimator"
    angle = factories.make_angle(
        request=factories.make_request(student=Student.objects.get(), angles=0)
    )
    clip = factories.make_submission(student=Student.objects.get(), angle=angle)
    film = settings.BASE_DIR / "coaching" / "demo" / "clips" / "baseline_dtl.mp4"
    clip.video.original.save("clip.mp4", ContentFile(film.read_bytes()))
    services.request_run(video=clip.video, kind=Run.Kind.CHECK)
    for kind in (Run.Kind.CHECK, Run.Kind.COPY, Run.Kind.MEASURE):
        services.run(clip.video.runs.get(kind=kind).pk)
    return clip


def corrections(page: Any) -> float:
    """95th percentile of the time from letting go to new figures, in ms."""
    page.locator("time-strip [data-event=top]").click()
    page.locator("[data-tool=correct]").click()
    page.locator("#correct-joint").select_option("hip_trail")
    window = page.locator("frame-player .window")
    draw = random.Random(5)
    taken = []
    for _ in range(CORRECTIONS):
        tool = page.locator("correct-tool")
        tool.evaluate("(tool) => delete tool.dataset.tookMs")
        page.locator("[data-do-joint]").click()
        box = window.bounding_box()
        x, y = draw.uniform(0.45, 0.5), draw.uniform(0.5, 0.6)
        window.click(position={"x": box["width"] * x, "y": box["height"] * y})
        page.wait_for_selector("correct-tool[data-took-ms]")
        taken.append(float(tool.get_attribute("data-took-ms")))
        time.sleep(0.4)  # nobody corrects faster; the sidebar settles meanwhile
    return statistics.quantiles(taken, n=20)[18]


def lesson(url: str, page: Any) -> Any:
    """`review_lesson.Counted` of a typical clip's answer."""
    from django.urls import reverse
    from django.utils import timezone

    from coaching.intake.models import Submission
    from coaching.people.models import Student
    from tests.browser.review_lesson import answer_clip, typical_clip

    Submission.objects.update(answered_at=timezone.now())  # the clip to answer waits alone
    clip = typical_clip(Student.objects.get())
    return answer_clip(page, clip, url + reverse("waiting"))


if __name__ == "__main__":
    main()
