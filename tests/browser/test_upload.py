"""Filming and sending in a browser: with script, without, over a broken connection."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from analysis import services as analysis
from analysis.models import Run
from coaching.intake.models import Request, RequestedAngle, Submission, Upload
from coaching.people.models import Student, User
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)
CLIP = Path(__file__).parents[2] / "coaching" / "demo" / "clips" / "setup_heels_dtl.mp4"


@pytest.fixture
def asked(student: Student) -> Request:
    request = factories.make_request(
        student=student, angles=0, words="Ball a little further back, please."
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
        clip = factories.make_submission(angle=angle, video=factories.make_video(files=True))
        pages[name] = (user, f"/clips/{clip.pk}/")
        if name == "checking":
            factories.make_run(video=clip.video, kind="check", status="queued")
        elif name == "failed":
            factories.make_checked(clip)
            factories.make_run(video=clip.video, kind="copy", status="failed")
        else:
            factories.make_checked(clip, reject=reject or "")
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
            wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
            assert wide <= 0, f"{name} scrolls sideways by {wide}"
