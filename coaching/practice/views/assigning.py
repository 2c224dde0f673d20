"""Assigning a drill in the review room, with the odds of every target in view."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coaching import numbers
from coaching.diagnosis import queries as diagnosis
from coaching.diagnosis.models import Finding
from coaching.diagnosis.sidebar import act, room_of, wants_fragment
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import Student
from coaching.practice import access as practice_access
from coaching.practice import drills, forms, ladder_form
from coaching.practice.beside import drills_context
from coaching.practice.models import Assignment, Drill
from coaching.practice.odds import odds_of
from coaching.practice.queries import ladders
from coaching.practice.services import assigning, refusals
from coaching.review.access import draft_show
from coaching.review.drafting import writes_draft
from coaching.review.models import Review

# Refusals and states of a finding in which a coach may assign a drill all the same, with a reason.
OVERRIDABLE = {"cause_open", "question_open", "no_target", "hurts", "leave", "held"}


def fragment(request: HttpRequest, review: Review, trouble: str = "") -> HttpResponse:
    return render(request, "practice/_drills.html", drills_context(review, trouble))


@require_safe
@login_required
def sidebar(request: HttpRequest, ref: str) -> HttpResponse:
    return fragment(request, draft_show(request.user, ref))


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def assign(request: HttpRequest, ref: str) -> HttpResponse:
    """Choose a finding and its drill; then targets, with their odds; then assign."""
    review = draft_show(request.user, ref)
    access.student_teach(request.user, review.student_id)
    if request.method == "POST":
        return _assigning(request, ref)
    return _choosing(request, review)


@writes_draft
def _assigning(request: HttpRequest, review: Review) -> HttpResponse:
    return _choosing(request, review)


def _choosing(request: HttpRequest, review: Review) -> HttpResponse:
    given = request.POST if request.method == "POST" else request.GET
    finding = _chosen(diagnosis.visible(review.student, review), given.get("finding", ""))
    drill = _chosen(ladders.library([review.student.studio_id]), given.get("drill", ""))
    if finding is not None and not given.get("drill"):
        drill = refusals.drill_for(finding)
    trouble, refused = "", {}
    if request.method == "POST" and drill is not None and not given.get("do"):
        try:
            _assign(request, review, drill=drill, finding=finding)
        except LessonError as error:
            trouble, refused = error.sentence, {"code": error.code, **error.extra}
        else:
            if wants_fragment(request):
                return fragment(request, review)
            messages.success(request, _("In your answer, as a draft."))
            return redirect(room_of(review) + "#drills")
    context = assign_context(
        review, drill=drill, finding=finding, given=given, trouble=trouble, refused=refused
    )
    beside = wants_fragment(request)  # the clip, in a narrow column
    context["steps_open"] = not beside or bool(trouble) or _needs_a_look(context["rows"])
    name = "practice/_assign.html" if beside else "practice/assign.html"
    return render(request, name, context, status=400 if trouble else 200)


def _needs_a_look(rows: Sequence[ladder_form.Row]) -> bool:
    """Whether a step contradicts another or can hardly be passed."""
    criteria = [c for row in rows for c in row.criteria]
    hardly = any(c.odds and c.odds.advice and c.odds.advice.hardly for c in criteria)
    return hardly or any(row.trouble for row in rows) or any(c.trouble for c in criteria)


def _chosen(rows: Any, pk: str) -> Any:
    if not pk:
        return None
    return access.get_object_or_404(rows, pk=numbers.row_key(pk))


def _assign(
    request: HttpRequest, review: Review, *, drill: Drill, finding: Finding | None
) -> Assignment:
    post = request.POST
    return assigning.assign_drill(
        review=review,
        by=user_of(request),
        drill=drill,
        finding=finding,
        steps=forms.ladder_from(post, base=drills.newest(drill).ladder),
        caution=post.get("caution", ""),
        text=post.get("text", ""),
        override_reason=post.get("override_reason", ""),
        starts_on=forms.day(post.get("starts_on", "")),
        due_on=forms.day(post.get("due_on", "")),
        per_day=forms.whole(post.get("per_day", "30"), what=_("how many a day")),
        show_count_at_once=bool(post.get("show_count_at_once")),
        ask_feel_first=bool(post.get("ask_feel_first")),
    )


def assign_context(
    review: Review,
    *,
    drill: Drill | None,
    finding: Finding | None,
    given: Mapping[str, str],
    trouble: str = "",
    refused: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    standing = diagnosis.diagnosis_of(review.student, review)
    version = drills.newest(drill) if drill else None
    ladder = _ladder(given, review.student, version.ladder) if version else []
    rows = ladder_form.rows(ladder, odds=partial(_odds, review))
    better = None
    if refused and refused.get("drill"):
        better = Drill.objects.filter(pk=refused["drill"]).first()
    refused = refused or {}
    line = standing.line(finding.pk) if finding else None
    return {
        "student": review.student,
        "review": review,
        "diagnosis": standing,
        "finding": finding,
        "drill": drill,
        "version": version,
        "library": [(d, drills.newest(d)) for d in ladders.library([review.student.studio_id])],
        "rows": rows,
        "lists": ladder_form.choices(),
        "given": given,
        "trouble": trouble,
        "refused": refused,
        "asks_reason": refused.get("code") in OVERRIDABLE or (line and line.state in OVERRIDABLE),
        "better": better,
        "better_title": drills.newest(better).title if better else "",
        "line": line,
    }


def _ladder(
    given: Mapping[str, str], student: Student, own: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    """What was typed, changed by the button that was pressed; else the drill's own.

    Nobody is asked for a ball where none can be hit.
    """
    typed = ladder_form.typed(given)
    if not typed:
        return refusals.without_missing_balls(student, own)
    return ladder_form.done(typed, given["do"]) if given.get("do") else typed


def _odds(review: Review, step: Mapping[str, Any], criterion: Mapping[str, Any]) -> Any:
    if not criterion:
        return None
    return odds_of(review.student, step, criterion)


@require_safe
@login_required
def odds(request: HttpRequest, pk: int) -> HttpResponse:
    """The odds of one criterion while its numbers are typed."""
    student = access.student_prepare(request.user, pk)
    get = request.GET
    step = {
        "view": get.get("view", ""),
        "film_kind": get.get("film_kind", ""),
        "need": _count(get.get("need", "1")),
        "repetitions": _count(get.get("repetitions", "1")),
    }
    try:
        criterion = forms.criterion_from(get, "c")
        found = odds_of(student, step, criterion) if criterion else None
    except LessonError:
        found = None
    return render(request, "practice/_odds.html", {"odds": found})


def _count(text: str) -> int:
    try:
        return min(10, max(1, numbers.whole(text)))
    except ValueError:
        return 1


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def ahead(request: HttpRequest, pk: int) -> HttpResponse:
    """The steps that nobody was asked for yet, to be written anew for this student."""
    assignment = practice_access.assignment_teach(request.user, pk)
    steps = [ladders.row_of(step) for step in ladders.steps_ahead(assignment)]
    behind = [ladders.row_of(step) for step in ladders.steps_behind(assignment)]
    trouble, status, do = "", 200, request.POST.get("do", "")
    if request.method == "POST" and do:
        steps = ladder_form.done(ladder_form.typed(request.POST), do)
    elif request.method == "POST" and request.POST.get("ahead"):
        typed = ladder_form.typed(request.POST)
        try:
            read = forms.ladder_from(request.POST, base=steps) if typed else []
            assigning.change_ahead(assignment=assignment, by=user_of(request), steps=read)
        except LessonError as error:
            steps, trouble, status = typed, error.sentence, error.status
        else:
            messages.success(request, _("Saved."))
            waits = ladders.attempt_to_judge(assignment)
            if waits is not None:
                return redirect("practice:judge", waits.pk)
            return redirect("practice:drill", assignment.pk)
    context = {
        "assignment": assignment,
        "student": assignment.student,
        "rows": ladder_form.rows(steps, odds=partial(odds_of, assignment.student), behind=behind),
        "lists": ladder_form.choices(),
        "trouble": trouble,
    }
    page = "_ladder_editor" if do and wants_fragment(request) else "ahead"
    return render(request, f"practice/{page}.html", context, status=status)


@require_POST
@login_required
def unassign(request: HttpRequest, pk: int) -> HttpResponse:
    assignment = practice_access.assignment_teach(request.user, pk)
    if assignment.review is None:
        raise Http404
    return act(
        request,
        assignment.review,
        lambda: assigning.remove_assignment(assignment=assignment, by=user_of(request)),
        fragment=fragment,
    )
