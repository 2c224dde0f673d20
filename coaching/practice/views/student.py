"""What a student sees of a drill: the drill itself, its ladder, a verdict and its voice."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from coaching import numbers
from coaching.intake.models import Submission
from coaching.lessons.models import Entry
from coaching.lessons.services import mark_read
from coaching.offline import is_for_later
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.practice import access as practice_access
from coaching.practice.models import Assignment, Attempt, Criterion, Step
from coaching.practice.queries import judged, ladders, showing, stills, targets
from coaching.practice.queries import progress as progress_queries
from coaching.practice.services import judging
from coaching.review import spoken


@require_safe
@login_required
def drill(request: HttpRequest, pk: int) -> HttpResponse:
    """One drill: caution, what, why, how many, how to film, what counts as done."""
    assignment = practice_access.assignment_read(request.user, pk)
    return render(request, "practice/drill.html", drill_context(request, assignment))


def drill_context(request: HttpRequest, assignment: Assignment) -> dict[str, Any]:
    current = ladders.current_step(assignment)
    filmed = _last_filmed(assignment)
    result = judged.judged_for(*filmed) if filmed else None
    attempt = result.attempt if result else None
    verdict = ladders.verdict_of(attempt) if attempt else None
    slug = assignment.drill_version.drill.slug
    shown = (
        targets.targets_shown(current.step, slug, assignment.student.handedness)
        if current.step
        else []
    )
    asks_feel = (
        result is not None
        and verdict is None
        and assignment.ask_feel_first
        and result.attempt.felt is None
        and bool(result.asked)
    )
    can_act = access.acts_for(request.user, assignment.student_id)
    shows_count = assignment.show_count_at_once and not asks_feel
    return {
        "assignment": assignment,
        "version": assignment.drill_version,
        "slug": slug,
        "own": showing.own_of(assignment, current.step),
        "target": shown[0] if shown else None,
        "more_targets": shown[1:],
        "due_on": current.due_on,
        "shared_with": ladders.drills_sharing(current.attempt) if current.attempt else [],
        "can_teach": access.is_staff_of(request.user, assignment.student, access.TEACHING),
        "ahead": [] if assignment.closed_at else ladders.steps_ahead(assignment),
        "student": assignment.student,
        "current": current,
        "places": ladders.ladder_view(assignment),
        "last": result,
        "stills": stills.stills_of(result) if result else {},
        "verdict": verdict,
        "asks_feel": asks_feel,
        "shows_count": bool(verdict) or shows_count or not can_act,
        "final": ladders.final_targets(assignment),
        "drawn": [c.measure for c in current.step.criteria.all()] if current.step else [],
        "can_act": can_act,
        "pain": assignment.student.pain_reports.filter(reopened_at=None).last(),
        "feel_choices": range((attempt.step.repetitions if attempt else 0) + 1),
    }


def _last_filmed(assignment: Assignment) -> tuple[Attempt, Submission] | None:
    filmed = [
        (attempt, clip)
        for step in assignment.steps.all()
        for attempt in step.attempts.all()
        if (clip := ladders.latest_clip(attempt)) is not None
    ]
    return max(filmed, key=lambda pair: pair[1].pk, default=None)


@require_POST
@login_required
def feel(request: HttpRequest, pk: int) -> HttpResponse:
    """How many the student feels will count, before the number is shown."""
    attempt = practice_access.attempt_act(request.user, pk)
    try:
        count = numbers.whole(request.POST.get("count", ""), high=1000)
    except ValueError:
        count = -1
    try:
        judging.record_feel(attempt=attempt, by=user_of(request), count=count)
    except LessonError as error:
        messages.error(request, error.sentence)
    return redirect("practice:drill", attempt.step.assignment_id)


@require_POST
@login_required
def self_answers(request: HttpRequest, pk: int) -> HttpResponse:
    """The student's answers to the self-tests of a clip, of every drill it is for."""
    clip = practice_access.filmed_act(request.user, pk)
    asked = Criterion.objects.filter(step__attempts__angle=clip.angle_id)
    asked = asked.filter(comparison=Criterion.Comparison.SELF_TEST).select_related("step")
    steps = Step.objects.filter(attempts__angle=clip.angle_id).order_by("pk")
    named = {str(step.assignment_id): step for step in steps}
    step = named.get(request.POST.get("drill", ""), steps[0])
    try:
        for criterion in asked:
            said = request.POST.get(f"answer-{criterion.pk}", "")
            if said in ("yes", "no"):
                judging.record_self_answer(
                    submission=clip, criterion=criterion, by=user_of(request), yes=said == "yes"
                )
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, _("Thank you. Your coach has your answer."))
    return redirect("practice:drill", step.assignment_id)


@require_safe
@login_required
def verdict_read(request: HttpRequest, pk: int) -> HttpResponse:
    """A verdict as its student reads it: what was decided, each swing, then and now, next."""
    verdict = practice_access.verdict_read(request.user, pk)
    assignment = practice_access.assignment_read(request.user, verdict.attempt.step.assignment_id)
    student = assignment.student
    can_act = access.acts_for(request.user, student.pk)
    if can_act and not is_for_later(request):
        mark_read(student=student, by=user_of(request), kind=Entry.Kind.JUDGED, verdict=verdict.pk)
    result = judged.judged_for(verdict.attempt, verdict.submission)
    step = verdict.attempt.step
    context = {
        "verdict": verdict,
        "assignment": assignment,
        "step": step,
        "student": student,
        "can_act": can_act,
        "swings": stills.swings_of(result) if result else [],
        "result": result,
        "then_now": progress_queries.then_and_now_of(student),
        "current": ladders.current_step(assignment),
        "places": ladders.ladder_view(assignment),
    }
    return render(request, "practice/verdict_read.html", context)


@require_safe
@login_required
def voice(request: HttpRequest, pk: int) -> HttpResponseBase:
    """What the coach said with a verdict."""
    verdict = practice_access.voice_read(request.user, pk)
    return spoken.play(request, verdict.voice)
