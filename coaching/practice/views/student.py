"""What a student sees: the drill, the ladder, what has changed, and "it hurts"."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from pathlib import PurePath
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coaching.intake import media
from coaching.intake.models import Submission
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.forms import BODY_ORDER
from coaching.people.models import User
from coaching.practice import charts, queries, services
from coaching.practice.models import Assignment, Criterion, PainReport, Verdict

VOICE_ENDINGS = {
    ".webm": "audio/webm",
    ".mp4": "audio/mp4",
    ".m4a": "audio/mp4",
    ".mp3": "audio/mpeg",
    ".ogg": "audio/ogg",
    ".wav": "audio/wav",
}
VOICE_MAX_BYTES = 32 * 1024 * 1024


def user_of(request: HttpRequest) -> User:
    assert isinstance(request.user, User)  # login_required
    return request.user


# --- the drill ----------------------------------------------------------------------


@require_safe
@login_required
def drill(request: HttpRequest, pk: int) -> HttpResponse:
    """One drill: caution, what, why, how many, how to film, what counts as done."""
    assignment = queries.assignment_read(request.user, pk)
    return render(request, "practice/drill.html", drill_context(request, assignment))


def drill_context(request: HttpRequest, assignment: Assignment) -> dict[str, Any]:
    step = queries.current_step(assignment)
    last = _last_clip(assignment)
    result = queries.judged([last]).get(last.pk) if last else None
    attempt = result.attempt if result else None
    verdict = queries.verdict_of(attempt) if attempt else None
    asks_feel = (
        result is not None
        and verdict is None
        and assignment.ask_feel_first
        and result.attempt.felt is None
        and bool(result.asked)
    )
    return {
        "assignment": assignment,
        "version": assignment.drill_version,
        "student": assignment.student,
        "step": step,
        "places": queries.ladder_view(assignment),
        "last": result,
        "stills": queries.stills_of(result) if result else {},
        "verdict": verdict,
        "asks_feel": asks_feel,
        "shows_count": assignment.show_count_at_once and not asks_feel,
        "final": queries.final_targets(assignment),
        "drawn": [c.measure for c in step.rung.criteria.all()] if step.rung else [],
        "can_act": access.acts_as(request.user).filter(pk=assignment.student_id).exists(),
        "pain": assignment.student.pain_reports.filter(reopened_at=None).last(),
        "feel_choices": range((attempt.rung.repetitions if attempt else 0) + 1),
    }


def _last_clip(assignment: Assignment) -> Submission | None:
    clips = [
        clip
        for rung in assignment.rungs.all()
        for attempt in rung.attempts.all()
        if (clip := queries.latest_clip(attempt)) is not None
    ]
    return max(clips, key=lambda clip: clip.pk, default=None)


@require_POST
@login_required
def feel(request: HttpRequest, pk: int) -> HttpResponse:
    """How many the student feels will count, before the number is shown."""
    attempt = queries.attempt_act(request.user, pk)
    count = request.POST.get("count", "")
    try:
        services.tell_feel(attempt=attempt, count=int(count) if count.isdecimal() else -1)
    except LessonError as error:
        messages.error(request, error.sentence)
    return redirect("practice:drill", attempt.rung.assignment_id)


@require_POST
@login_required
def self_answers(request: HttpRequest, pk: int) -> HttpResponse:
    """The student's answers to the self-tests of a clip."""
    rows = access.rows_acted(request.user, Submission).filter(angle__attempt__isnull=False)
    clip = access.get_object_or_404(rows.select_related("angle__attempt__rung"), pk=pk)
    rung = clip.angle.attempt.rung  # type: ignore[union-attr]
    try:
        for criterion in rung.criteria.filter(comparison=Criterion.Comparison.SELF_TEST):
            said = request.POST.get(f"answer-{criterion.pk}", "")
            if said in ("yes", "no"):
                services.record_self_answer(
                    submission=clip, criterion=criterion, by=user_of(request), yes=said == "yes"
                )
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, _("Thank you. Your coach has your answer."))
    return redirect("practice:drill", rung.assignment_id)


@require_safe
@login_required
def voice(request: HttpRequest, pk: int) -> HttpResponseBase:
    """What the coach said with a verdict."""
    rows = access.rows_read(request.user, Verdict, "attempt__rung__assignment__student")
    verdict = access.get_object_or_404(rows.exclude(voice=""), pk=pk)
    ending = PurePath(verdict.voice.name).suffix.lower()
    return media.serve(
        request,
        verdict.voice,
        filename=f"cue{ending}",
        content_type=VOICE_ENDINGS.get(ending, "application/octet-stream"),
    )


# --- what has changed ---------------------------------------------------------------


@dataclass(frozen=True)
class Pictured:
    """A series with its picture and the first and last clip of it."""

    series: queries.Series
    chart: charts.Chart

    @property
    def comparison(self) -> str:
        """What the last film was asked for, as a span draws it."""
        low, high = self.last.low, self.last.high
        if low is None and high is None:
            return ""
        return "at_most" if low is None else "at_least" if high is None else "between"

    @property
    def first(self) -> queries.Point:
        return self.series.points[0]

    @property
    def last(self) -> queries.Point:
        return self.series.points[-1]


@require_safe
@login_required
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """Ladders, each measure over time under its own condition, then and now."""
    student = access.student_read(request.user, pk)
    assignments = list(
        queries.with_ladder(student.assignments.filter(opened_at__isnull=False)).order_by("-pk")
    )
    series = queries.series_of(student)
    return render(
        request,
        "practice/progress.html",
        {
            "student": student,
            "ladders": [(a, queries.current_step(a), queries.ladder_view(a)) for a in assignments],
            "measures": _by_measure(series),
            "drawn": [row.measure for row in series],
            "kept": [(a, *queries.kept_change(a)) for a in assignments],
        },
    )


def _by_measure(found: list[queries.Series]) -> list[list[Pictured]]:
    """Each measure once, with its conditions beneath it."""
    rows = groupby(found, key=lambda series: (series.measure, series.event))
    return [[_pictured(series) for series in group] for _key, group in rows]


def _pictured(series: queries.Series) -> Pictured:
    points = [(p.at, p.value, p.uncertainty, p.low, p.high) for p in series.points]
    return Pictured(series, charts.draw(points))


# --- it hurts -----------------------------------------------------------------------


@require_POST
@login_required
def hurts(request: HttpRequest, pk: int) -> HttpResponse:
    """One tap: everything stops, and then we ask where."""
    assignment = queries.assignment_act(request.user, pk)
    report = services.stop_drill(assignment=assignment, by=user_of(request))
    return redirect("practice:pain_where", report.pk)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def pain(request: HttpRequest, pk: int) -> HttpResponse:
    """The body map of somebody in pain; touching a part reports it."""
    student = access.student_act(request.user, pk)
    trouble, status = "", 200
    if request.method == "POST":
        try:
            report = services.report_pain(
                student=student, by=user_of(request), region=request.POST.get("region", "")
            )
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


def _report_of(request: HttpRequest, pk: int) -> PainReport:
    rows = access.rows_acted(request.user, PainReport).select_related("student")
    return access.get_object_or_404(rows, pk=pk)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def pain_where(request: HttpRequest, pk: int) -> HttpResponse:
    """It is stopped; where it hurts, urgent signs, and what happens next."""
    report = _report_of(request, pk)
    trouble, status = "", 200
    if request.method == "POST":
        try:
            services.locate_pain(
                report=report,
                by=user_of(request),
                region=request.POST.get("region", report.region),
                words=request.POST.get("words", ""),
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
def statement(request: HttpRequest, pk: int) -> HttpResponse:
    """The student states that a licensed professional agreed."""
    report = _report_of(request, pk)
    try:
        services.state_professional_agreed(
            report=report, by=user_of(request), words=request.POST.get("words", "")
        )
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, _("Your coach has your word and decides when you go on."))
    return redirect("practice:pain_where", report.pk)
