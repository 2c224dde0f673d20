"""What an address that opens something without an account has in common: its end, its limits,
and that nothing of it is kept or told on."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import TypeVar

from allauth.core.internal import ratelimit
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _

from coaching.people import security
from coaching.people.models import Student
from coaching.people.queries import student_day, student_zone

R = TypeVar("R", bound=HttpResponseBase)
# Looks from one network. A player asks for a film piece by piece, a page that waits asks again.
LIMITS = {"page": "60/m/ip", "file": "300/m/ip", "part": "300/m/ip"}


def end_of_day(student: Student, days: int) -> datetime:
    """The last moment of a day, `days` after today, at the student's place."""
    day = student_day(student) + timedelta(days=days + 1)
    return datetime.combine(day, time(), student_zone(student)) - timedelta(seconds=1)


def too_often(request: HttpRequest, action: str, *, what: str) -> HttpResponse | None:
    """The answer to somebody who asks too often; `what` names the kind of link in the log."""
    usage = ratelimit.consume(
        request, app=f"coaching.{what}", action=action, config=LIMITS, limit_get=True
    )
    if usage:
        return None
    security.note("too_many", request=request, what=f"{what}_{action}")
    sentence = _("This was asked for too often. Wait a minute, then try again.")
    answer = render(request, "people/sentence.html", {"sentence": sentence}, status=429)
    answer["Retry-After"] = "60"
    return hidden(answer)


def hidden(answer: R) -> R:
    """Found by no search engine, kept by nobody, and its address told to no other site.

    Our own site is told: without, a browser sends a form from "null", and it is refused.
    """
    answer["X-Robots-Tag"] = "noindex, nofollow"
    answer["Referrer-Policy"] = "same-origin"
    return unkept(answer)


def unkept(answer: R) -> R:
    answer["Cache-Control"] = "private, no-store"
    return answer
