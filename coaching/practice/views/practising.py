"""The phone as a quiet partner: the page that counts, and what it tells afterwards."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.views.decorators.http import require_POST, require_safe

from coaching import numbers
from coaching.intake.views import check_sizes
from coaching.people import once
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.practice import access
from coaching.practice.models import Criterion, Step
from coaching.practice.queries import ladders
from coaching.practice.services import practising

# What the phone says for the next repetition.
GO = {"setup": _l("Set up"), "hold": _l("Turn"), "bar": _l("Turn"), "rehearsal": _l("Slowly")}


@require_safe
@login_required
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """A drill's present step, practised before the phone; a stopped or climbed one leads back."""
    access.assignment_act(request.user, pk)
    assignment = access.assignment_read(request.user, pk)
    current = ladders.current_step(assignment)
    if current.step is None or current.state in ("done", "stopped"):
        return redirect("practice:drill", pk)
    step = current.step
    done = practising.practised_today(assignment)
    context = {
        "assignment": assignment,
        "version": assignment.drill_version,
        "student": assignment.student,
        "current": current,
        "step": step,
        "criteria": _criteria(step),
        "go_word": GO.get(step.film_kind, _l("Go")),
        "done_today": done,
        "left_today": max(0, assignment.per_day - done),
        "angle": current.attempt.angle if current.state == "film" and current.attempt else None,
        "beads": range(10),
        "key": uuid.uuid4(),
        **check_sizes(request),
    }
    return render(request, "practice/practise.html", context)


def _criteria(step: Step) -> list[dict[str, Any]]:
    """What counts, for the phone: of what a person answers it is told nothing but that it is."""
    return [
        {
            "measure": row.measure,
            "event": row.event,
            "comparison": row.comparison,
            "low": row.low,
            "high": row.high,
        }
        for row in step.criteria.all()
        if row.comparison not in Criterion.BY_EYE
    ]


@require_POST
@login_required
def practised(request: HttpRequest, pk: int) -> HttpResponse:
    """A series, told by the phone at once or when the line is back."""
    assignment = access.assignment_act(request.user, pk)
    try:
        practising.record_practice(
            assignment=assignment,
            by=user_of(request),
            key=_key(request.POST.get("key", "")),
            repetitions=_count(request.POST.get("repetitions", "")),
            felt=request.POST.get("felt", ""),
            at=once.moment(request.POST.get("at", "")),
        )
    except LessonError as error:
        if request.POST.get("queued"):  # nobody reads a page
            return HttpResponse(error.sentence, status=error.status, content_type="text/plain")
        messages.error(request, error.sentence)
    return redirect("practice:drill", pk)


def _key(text: str) -> uuid.UUID:
    try:
        return uuid.UUID(text)
    except ValueError:
        return uuid.uuid4()


def _count(text: str) -> int:
    try:
        return numbers.whole(text, low=1, high=1000)
    except ValueError:
        raise LessonError(_("Say how many you did, in digits."), code="count") from None
