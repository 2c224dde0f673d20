"""What a coach decides: verdicts, pain, new looks."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from coaching import numbers
from coaching.bodies import takes_up_to
from coaching.lessons import places
from coaching.lessons.wording.held_club import turn_bias_words
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.practice import access as practice_access
from coaching.practice import forms, undo
from coaching.practice.models import Attempt, Criterion, Step, Verdict
from coaching.practice.queries import judged, ladders, pain, progress, stills
from coaching.practice.services import judging, sharing, stopping
from coaching.review import spoken, turncheck
from coaching.review.models import Snippet
from coaching.review.queries.answers import snippets

LONGEST_CUE = 300


@require_safe
@login_required
def judge(request: HttpRequest, pk: int) -> HttpResponse:
    """One film: then and now, every repetition, and a decision for each drill it is for."""
    attempt = practice_access.attempt_teach(request.user, pk)
    return render(request, "practice/judge.html", judge_context(request, attempt))


def judge_context(request: HttpRequest, attempt: Attempt, trouble: str = "") -> dict[str, Any]:
    """What one drill's verdict needs, and the same of the other drills that the film is for."""
    others = Attempt.objects.filter(angle=attempt.angle_id).exclude(pk=attempt.pk)
    rows = others.select_related("step__assignment__student", "verdict").order_by("pk")
    beside = [_judged_context(other) for other in rows]
    asked = request.POST
    mine = _judged_context(attempt) | {
        "trouble": trouble,
        "cue": asked.get("cue", ""),
        "due_on": asked.get("due_on", ""),
    }
    films = [mine, *beside]
    for film in films:
        film["snippets"] = _cues(request, film)
    return mine | {
        "films": films,
        "decisions": Verdict.Decision.choices,
    }


def _cues(request: HttpRequest, film: dict[str, Any]) -> list[Snippet]:
    """What is said every day, as it reads about this film; one with an open place is not said."""
    student, result = film["student"], film["result"]
    imperial = student.user is not None and student.user.units == User.Units.IMPERIAL
    read = judged.first_in_words(result, imperial=imperial) if result else {}
    rows = snippets(request.user, student, **read)
    return [row for row in rows if places.is_whole(row.text) and len(row.text) <= LONGEST_CUE]


def _judged_context(attempt: Attempt) -> dict[str, Any]:
    clip = ladders.latest_clip(attempt)
    result = judged.judged_for(attempt, clip) if clip else None
    assignment = ladders.with_ladder(
        type(attempt.step.assignment).objects.filter(pk=attempt.step.assignment_id)
    ).get()
    criteria = list(attempt.step.criteria.all())
    event = next((c.event for c in criteria if c.event), "top")
    then, now = progress.then_and_now(clip, event) if clip else (None, None)
    criterion, kept = progress.kept_change(assignment)
    rungs = ladders.ladder_view(assignment)
    return {
        "attempt": attempt,
        "assignment": assignment,
        "student": assignment.student,
        "step": attempt.step,
        "criteria": criteria,
        "clip": clip,
        "result": result,
        "stills": stills.stills_of(result) if result else {},
        "effort": progress.effort_of(clip) if clip else None,
        "spread": judged.spread_of(result) if result else None,
        "verdict": ladders.verdict_of(attempt),
        "event": event,
        "then": then,
        "now": now,
        "places": rungs,
        "nexts": next_choices(attempt.step, rungs),
        "ahead": ladders.steps_ahead(assignment),
        "kept_criterion": criterion,
        "kept": kept,
        "measured_asked": any(c.measure for c in criteria),
        "turn_notes": _turn_notes(assignment.student, attempt.step, criteria),
    }


def next_choices(step: Step, rungs: list[ladders.Place]) -> list[tuple[int, str]]:
    """What a pass can open, as (number from 1, words); what follows by itself stands first."""
    here = next((p for p in rungs if p.step.pk == step.pk), None)
    ahead = [p.step for p in rungs if p.step.position > step.position and p.step.skipped_at is None]
    words = _("step %(n)d: %(kind)s")
    rows = [
        (s.position + 1, words % {"n": s.position + 1, "kind": s.get_kind_display()}) for s in ahead
    ]
    rows = [(n, text if k == 0 else _("skip to %(step)s") % {"step": text})
            for k, (n, text) in enumerate(rows)]  # fmt: skip
    rows.append((len(rungs) + 1, _("the drill ends here")))
    again = (step.position + 1, _("the same step again"))
    last_day = here is None or here.passes + 1 >= step.days
    return [rows[0], again, *rows[1:]] if last_day else [again, *rows]


def _turn_notes(student: Student, step: Step, criteria: list[Criterion]) -> list[str]:
    """What held clubs have shown of the turns that this step asks for."""
    asked = {c.measure for c in criteria if c.event == turncheck.EVENT} & turncheck.LINE_OF.keys()
    known = turncheck.biases(student) if asked else {}
    return [
        turn_bias_words(turncheck.LINE_OF[m], bias.mean, bias.u, bias.pairs, name=student.name)
        for m in sorted(asked)
        if (bias := known.get((step.view, m)))
    ]


@takes_up_to(spoken.MAX_BYTES)
@require_POST
@login_required
def verdict(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the verdict and go on with the waiting list."""
    attempt = practice_access.attempt_teach(request.user, pk)
    try:
        given = judging.judge_attempt(
            attempt=attempt,
            by=user_of(request),
            decision=request.POST.get("decision", ""),
            cue=request.POST.get("cue", "") or request.POST.get("snippet", ""),
            voice=spoken.recording_of(request),
            next_step=_number(request.POST.get("next_step", "")),
            due_on=forms.day(request.POST.get("due_on", "")),
        )
    except LessonError as error:
        context = judge_context(request, attempt, error.sentence)
        return render(request, "practice/judge.html", context, status=error.status)
    messages.success(request, verdict_message(given))
    other = sharing.others_unjudged(attempt).order_by("pk").first()
    return redirect("practice:judge", other.pk) if other else redirect("waiting")


def _number(text: str) -> int | None:
    """The number of a step; None where the form does not ask."""
    try:
        return numbers.whole(text) if text else None
    except ValueError:
        return 0  # refused with a sentence by the service


@require_POST
@login_required
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Undo a verdict within ten seconds."""
    attempt = undo.take_back_verdict(
        verdict=practice_access.verdict_teach(request.user, pk=pk), by=user_of(request)
    )
    messages.success(request, _("Taken back: nobody was told."))
    return redirect("practice:judge", attempt.pk)


def verdict_message(verdict: Verdict) -> str:
    """What a verdict did, in one sentence."""
    step = verdict.attempt.step
    assignment = step.assignment
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
    step.refresh_from_db()
    if step.passed_at is None:
        return _("Passed. %(name)s films the same step on another day.") % {"name": name}
    if assignment.closed_at is None:
        return _("Passed. The next step is open for %(name)s.") % {"name": name}
    return _("Passed: %(name)s has climbed the ladder. A check film is proposed for %(day)s.") % {
        "name": name,
        "day": assignment.check_due_on,
    }


# --- pain ---------------------------------------------------------------------------


@require_safe
@login_required
def pain_report(request: HttpRequest, pk: int) -> HttpResponse:
    report = practice_access.report_teach(request.user, pk, access.STAFF)
    return render(
        request,
        "practice/pain_report.html",
        {
            **pain.report_sheet(report),
            "can_teach": access.is_staff_of(request.user, report.student, access.TEACHING),
        },
    )


@require_POST
@login_required
def pain_seen(request: HttpRequest, pk: int) -> HttpResponse:
    report = practice_access.report_teach(request.user, pk, access.STAFF)
    stopping.mark_pain_seen(report=report, by=user_of(request))
    return redirect("thread", report.student_id)


@require_POST
@login_required
def reopen(request: HttpRequest, pk: int) -> HttpResponse:
    report = practice_access.report_teach(request.user, pk, access.TEACHING)
    try:
        stopping.reopen_after_pain(report=report, by=user_of(request))
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
    assignment = practice_access.assignment_teach(request.user, pk)
    try:
        judging.ask_check_film(assignment=assignment, by=user_of(request))
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, _("Sent to %(name)s.") % {"name": assignment.student.name})
    return redirect("waiting")


@require_POST
@login_required
def skip_check(request: HttpRequest, pk: int) -> HttpResponse:
    assignment = practice_access.assignment_teach(request.user, pk)
    judging.skip_check_film(assignment=assignment, by=user_of(request))
    return redirect("waiting")
