"""What a student sees when it hurts: everything stops, then where, and how it goes on."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from coaching.people import access, once
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import Student
from coaching.people.student_forms import BODY_ORDER
from coaching.practice import access as practice_access
from coaching.practice import undo
from coaching.practice.models import PainReport
from coaching.practice.services import stopping


@require_POST
@login_required
def hurts(request: HttpRequest, pk: int) -> HttpResponse:
    """One tap: everything stops, and then we ask where."""
    assignment = practice_access.assignment_act(request.user, pk)
    user, post = user_of(request), request.POST
    with transaction.atomic():
        if not once.first_time(user, post.get("key", "")):
            return redirect("practice:drill", pk)
        at = once.moment(post.get("at", ""))
        report = stopping.stop_drill(assignment=assignment, by=user, at=at)
    return redirect("practice:pain_where", report.pk)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def pain(request: HttpRequest, pk: int) -> HttpResponse:
    """The body map of somebody in pain; touching a part reports it."""
    student = access.student_act(request.user, pk)
    trouble, status = "", 200
    if request.method == "POST":
        try:
            report = _reported(request, student)
        except LessonError as error:
            trouble, status = error.sentence, error.status
        else:
            return redirect("practice:pain_where", report.pk)
    return render(
        request,
        "practice/pain.html",
        {
            "student": student,
            "regions": [(region.value, region.label) for region in BODY_ORDER],
            "reports": student.pain_reports.filter(reopened_at=None),
            "trouble": trouble,
        },
        status=status,
    )


@transaction.atomic
def _reported(request: HttpRequest, student: Student) -> PainReport:
    """The report that a touch makes; a post that came twice, hours apart, leads to the first."""
    user, post = user_of(request), request.POST
    if not once.first_time(user, post.get("key", "")):
        told = student.pain_reports.filter(reported_by=user).last()
        if told is not None:
            return told
    at = once.moment(post.get("at", ""))
    return stopping.report_pain(student=student, by=user, region=post.get("region", ""), at=at)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def pain_where(request: HttpRequest, pk: int) -> HttpResponse:
    """It is stopped; where it hurts, urgent signs, and what happens next."""
    report = practice_access.report_act(request.user, pk)
    trouble, status = "", 200
    if request.method == "POST":
        try:
            stopping.locate_pain(
                report=report,
                by=user_of(request),
                region=request.POST.get("region", report.region),
                text=request.POST.get("text", ""),
                urgent=bool(request.POST.getlist("sign")),
            )
        except LessonError as error:
            trouble, status = error.sentence, error.status
        else:
            return redirect("practice:pain_where", report.pk)
    context = {
        "report": report,
        "student": report.student,
        "regions": [(region.value, region.label) for region in BODY_ORDER],
        "trouble": trouble,
        "stopped": report.student.assignments.filter(
            stopped_at__isnull=False, closed_at=None
        ).select_related("drill_version"),
    }
    return render(request, "practice/pain_where.html", context, status=status)


@require_POST
@login_required
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """It was a mistaken tap; the record stays, and the coach is told."""
    report = practice_access.report_act(request.user, pk)
    try:
        undo.take_back_pain(report=report, by=user_of(request))
    except LessonError as error:
        messages.error(request, error.sentence)
    return redirect("practice:pain_where", report.pk)


@require_POST
@login_required
def statement(request: HttpRequest, pk: int) -> HttpResponse:
    """The student states that a licensed professional agreed."""
    report = practice_access.report_act(request.user, pk)
    try:
        stopping.state_professional_agreed(
            report=report, by=user_of(request), text=request.POST.get("text", "")
        )
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, _("Your coach has your word and decides when you go on."))
    return redirect("practice:pain_where", report.pk)
