"""How a practice is doing, and how far its figures can be trusted. Reads only."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from coaching.dashboard import doing, dot_plot, queries, rows, week_chart
from coaching.lessons.wording.amounts import unit_of, value_words
from coaching.lessons.wording.naming import label_of
from coaching.people import access
from coaching.people.models import Membership, User
from coaching.people.queries import studio_zone
from coaching.review import turncheck


@require_safe
@login_required
def practice(request: HttpRequest) -> HttpResponse:
    """Answers a week, hours until the answer, promises kept, what drills move, who is quiet."""
    user = access.user_of(request)
    taught = access.students_taught(user)
    studio = access.studios(user).order_by("pk").first()
    promised_h = studio.turnaround_hours if studio else 0
    zone = studio_zone(studio) if studio else timezone.get_current_timezone()
    weeks = doing.weeks(taught, zone)
    answered, late = sum(w.answered for w in weeks), sum(w.late for w in weeks)
    hours = [w.median_h for w in weeks if w.median_h is not None]
    context = {
        "studio": studio,
        "month": queries.promises(taught, days=30),
        "total": {"answered": answered, "late": late, "kept": answered - late},
        "this_week": weeks[-1].answered,
        "median_h": hours[-1] if hours else None,
        "promised_h": promised_h,
        "chart": week_chart.draw(weeks, promised_h=promised_h),
        "drills": [_in_words(line, user) for line in doing.drill_lines(taught)],
        "quiet": rows.quiet_students(taught),
        "open_students": taught.filter(closed_at__isnull=True).count(),
        "owned": access.studios(user, (Membership.Role.OWNER,)),
    }
    return render(request, "dashboard/practice.html", context)


def _in_words(line: doing.DrillLine, reader: User) -> dict[str, Any]:
    """A drill's line with its figures in the reader's units."""
    found: dict[str, Any] = {name: getattr(line, name) for name in line.__dataclass_fields__}
    if (moved := line.moved) is None:
        return found
    imperial = reader.units == User.Units.IMPERIAL
    said: dict[str, Any] = {"measure": moved.measure, "imperial": imperial}
    return found | {
        "label": label_of(moved.measure, moved.event),
        "before": value_words(moved.before, **said),
        "now": value_words(moved.now, **said),
        "u": moved.u and value_words(moved.u, unit=unit_of(moved.measure), imperial=imperial),
    }


@require_safe
@login_required
def turn_check(request: HttpRequest, pk: int) -> HttpResponse:
    """How turn read off the body agrees with the held club, over a studio's students."""
    studio = access.studio_own(request.user, pk)
    rows = []
    for check in turncheck.checks(studio.students.all()):
        limits = (check.agreement.low, check.agreement.high) if check.agreement else None
        people = [(p.differences, p.bias.mean, p.bias.u) for p in check.people]
        scale = dot_plot.draw(people, limits)
        rows.append((check, scale, list(zip(check.people, scale.strips, strict=True))))
    return render(request, "dashboard/turn_check.html", {"studio": studio, "checks": rows})
