"""Pages that show everything in order. They read; every button posts to its own slice."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.db.models import Max, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from coaching.desk import dots, queries
from coaching.people import access
from coaching.people.models import Membership
from coaching.people.queries import next_step
from coaching.review import turncheck


@require_safe
@login_required
def home(request: HttpRequest) -> HttpResponse:
    """Send everybody to the one page they need."""
    if access.studios(request.user).exists():
        return redirect("desk:waiting")
    records = list(access.acts_as(request.user)[:2])
    if len(records) == 1:
        return redirect("desk:mine", records[0].pk)
    if records:
        return render(request, "desk/whose.html", {"students": access.acts_as(request.user)})
    return redirect("people:start")


@require_safe
@login_required
def waiting(request: HttpRequest) -> HttpResponse:
    """The coach's waiting list; a link narrows it to his own students."""
    students = access.students_taught(request.user).filter(closed_at__isnull=True)
    only_mine = request.GET.get("whose") == "mine"
    if only_mine:
        students = students.filter(coach=request.user)
    words = request.GET.get("words", "").strip()
    rows = queries.waiting_list(students, user=request.user, words=words)
    return render(
        request,
        "desk/waiting.html",
        {
            "rows": rows,
            "words": words,
            "only_mine": only_mine,
            "colleagues": queries.colleagues(request.user),
            "any_students": bool(rows) or access.students_taught(request.user).exists(),
        },
    )


@require_safe
@login_required
def students(request: HttpRequest) -> HttpResponse:
    words = request.GET.get("words", "").strip()
    found = access.students_taught(request.user).select_related("coach", "studio")
    if words:
        found = found.filter(Q(name__icontains=words) | Q(email__icontains=words))
    found = found.annotate(last_at=Max("thread__entries__created_at")).order_by("closed_at", "name")
    return render(
        request,
        "desk/students.html",
        {"students": found[:500], "words": words, "studios": access.studios(request.user)},
    )


@require_safe
@login_required
def student(request: HttpRequest, pk: int) -> HttpResponse:
    """All that a coach needs of one student on one page."""
    person = access.student_prepare(request.user, pk)
    return render(request, "desk/student.html", queries.student_sheet(person))


@require_safe
@login_required
def mine(request: HttpRequest, pk: int) -> HttpResponse:
    """The student's home: one sentence, one button; then the ladder and what changed."""
    person = access.student_act(request.user, pk)
    if step := next_step(person):
        return redirect(step, person.pk)
    return render(request, "desk/mine.html", queries.student_home(person, user=request.user))


@require_safe
@login_required
def practice(request: HttpRequest) -> HttpResponse:
    """How the practice runs: promises kept, students gone quiet."""
    taught = access.students_taught(request.user)
    return render(
        request,
        "desk/practice.html",
        {
            "month": queries.promises(taught, days=30),
            "quiet": queries.quiet_students(taught),
            "open_students": taught.filter(closed_at__isnull=True).count(),
            "owned": access.studios(request.user, (Membership.Role.OWNER,)),
        },
    )


@require_safe
@login_required
def turn_check(request: HttpRequest, pk: int) -> HttpResponse:
    """How turn read off the body agrees with the held club, over a studio's students."""
    studio = access.studio_own(request.user, pk)
    rows = []
    for check in turncheck.checks(studio.students.all()):
        limits = check.agreement and (check.agreement.low, check.agreement.high)
        people = [(p.differences, p.bias.mean, p.bias.u) for p in check.people]
        scale = dots.draw(people, limits)
        rows.append((check, scale, list(zip(check.people, scale.strips, strict=True))))
    return render(request, "desk/turn_check.html", {"studio": studio, "checks": rows})
