"""What a coach decides: verdicts, pain, new looks."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from coaching.lessons.words import turn_bias_words
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student
from coaching.practice import queries, services
from coaching.practice.models import Attempt, Criterion, PainReport, Rung, Verdict
from coaching.practice.views.student import VOICE_ENDINGS, VOICE_MAX_BYTES, user_of
from coaching.review import turncheck
from coaching.review.queries import snippets

LONGEST_CUE = 300


@require_safe
@login_required
def judge(request: HttpRequest, pk: int) -> HttpResponse:
    """One attempt: then and now, every repetition, what the figures suggest, the decision."""
    attempt = queries.attempt_teach(request.user, pk)
    return render(request, "practice/judge.html", judge_context(request, attempt))


def judge_context(request: HttpRequest, attempt: Attempt, trouble: str = "") -> dict[str, Any]:
    clip = queries.latest_clip(attempt)
    result = queries.judged([clip]).get(clip.pk) if clip else None
    assignment = queries.with_ladder(
        type(attempt.rung.assignment).objects.filter(pk=attempt.rung.assignment_id)
    ).get()
    criteria = list(attempt.rung.criteria.all())
    event = next((c.event for c in criteria if c.event), "top")
    then, now = queries.then_and_now(clip, event) if clip else (None, None)
    criterion, kept = queries.kept_change(assignment)
    return {
        "attempt": attempt,
        "assignment": assignment,
        "student": assignment.student,
        "rung": attempt.rung,
        "criteria": criteria,
        "clip": clip,
        "result": result,
        "stills": queries.stills_of(result) if result else {},
        "verdict": queries.verdict_of(attempt),
        "event": event,
        "then": then,
        "now": now,
        "places": queries.ladder_view(assignment),
        "kept_criterion": criterion,
        "kept": kept,
        "snippets": [
            s for s in snippets(request.user, assignment.student) if len(s.words) <= LONGEST_CUE
        ],
        "turn_notes": _turn_notes(assignment.student, attempt.rung, criteria),
        "decisions": Verdict.Decision.choices,
        "trouble": trouble,
        "cue": request.POST.get("cue", ""),
    }


def _turn_notes(student: Student, rung: Rung, criteria: list[Criterion]) -> list[str]:
    """What held clubs have shown of the turns that this step asks for."""
    asked = {c.measure for c in criteria if c.event == turncheck.EVENT} & turncheck.LINE_OF.keys()
    known = turncheck.biases(student) if asked else {}
    return [
        turn_bias_words(turncheck.LINE_OF[m], bias.mean, bias.u, bias.pairs, name=student.name)
        for m in sorted(asked)
        if (bias := known.get((rung.view, m)))
    ]


@require_POST
@login_required
def verdict(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the verdict and go on with the waiting list."""
    attempt = queries.attempt_teach(request.user, pk)
    try:
        given = services.judge_attempt(
            attempt=attempt,
            by=user_of(request),
            decision=request.POST.get("decision", ""),
            cue=request.POST.get("cue", "") or request.POST.get("snippet", ""),
            voice=_voice_of(request),
        )
    except LessonError as error:
        context = judge_context(request, attempt, error.sentence)
        return render(request, "practice/judge.html", context, status=error.status)
    messages.success(request, told(given))
    return redirect("desk:waiting")


def _voice_of(request: HttpRequest) -> UploadedFile | None:
    voice = request.FILES.get("voice")
    if voice is None:
        return None
    if PurePath(voice.name or "").suffix.lower() not in VOICE_ENDINGS:
        raise LessonError(_("Choose a recording (WebM, MP4, M4A, MP3, OGG, WAV)."), code="voice")
    if (voice.size or 0) > VOICE_MAX_BYTES:
        raise LessonError(_("Keep a cue under 32 MB."), code="too_big", status=413)
    return voice


def told(verdict: Verdict) -> str:
    """What a verdict did, in one sentence."""
    rung = verdict.attempt.rung
    assignment = rung.assignment
    assignment.refresh_from_db()
    name = assignment.student.name
    kinds = Verdict.Decision
    if verdict.decision == kinds.STOP:
        return _("Stopped for %(name)s.") % {"name": name}
    if verdict.decision != kinds.PASSED:
        return (
            _("%(name)s films the step again.") % {"name": name}
            if (verdict.decision != kinds.STEP_BACK)
            else _("%(name)s goes one step back.") % {"name": name}
        )
    rung.refresh_from_db()
    if rung.passed_at is None:
        return _("Passed. %(name)s films the same step on another day.") % {"name": name}
    if assignment.closed_at is None:
        return _("Passed. The next step is open for %(name)s.") % {"name": name}
    return _("Passed: %(name)s has climbed the ladder. A check film is proposed for %(day)s.") % {
        "name": name,
        "day": assignment.check_due_on,
    }


# --- pain ---------------------------------------------------------------------------


def _report(request: HttpRequest, pk: int, roles: tuple[str, ...]) -> PainReport:
    rows = access.rows_taught(request.user, PainReport, roles=roles)
    return access.get_object_or_404(
        rows.select_related("student", "assignment__drill_version", "reported_by"), pk=pk
    )


@require_safe
@login_required
def pain_report(request: HttpRequest, pk: int) -> HttpResponse:
    report = _report(request, pk, access.STAFF)
    return render(
        request,
        "practice/pain_report.html",
        {
            "report": report,
            "student": report.student,
            "stopped": report.student.assignments.filter(
                stopped_at__isnull=False, closed_at=None
            ).select_related("drill_version"),
            "can_teach": access.is_staff_of(request.user, report.student, access.TEACHING),
        },
    )


@require_POST
@login_required
def pain_seen(request: HttpRequest, pk: int) -> HttpResponse:
    report = _report(request, pk, access.STAFF)
    services.mark_pain_seen(report=report)
    return redirect("lessons:thread", report.student_id)


@require_POST
@login_required
def reopen(request: HttpRequest, pk: int) -> HttpResponse:
    report = _report(request, pk, access.TEACHING)
    try:
        services.reopen_after_pain(report=report, by=user_of(request))
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(
            request, _("Opened again. %(name)s has been told.") % {"name": report.student.name}
        )
    return redirect("practice:pain_report", report.pk)


# --- does it last -------------------------------------------------------------------


@require_POST
@login_required
def check_film(request: HttpRequest, pk: int) -> HttpResponse:
    assignment = queries.assignment_teach(request.user, pk)
    try:
        services.ask_check_film(assignment=assignment, by=user_of(request))
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, _("Sent to %(name)s.") % {"name": assignment.student.name})
    return redirect("desk:waiting")


@require_POST
@login_required
def skip_check(request: HttpRequest, pk: int) -> HttpResponse:
    assignment = queries.assignment_teach(request.user, pk)
    services.skip_check_film(assignment=assignment)
    return redirect("desk:waiting")
