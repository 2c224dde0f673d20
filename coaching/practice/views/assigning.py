"""Assigning a drill in the review room, with the odds of every target in view."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coaching.diagnosis import queries as diagnosis
from coaching.diagnosis.margin import act, room_of, wants_fragment
from coaching.diagnosis.models import Finding
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.practice import drills, forms, queries, services
from coaching.practice.models import Assignment, Drill
from coaching.practice.odds import odds_of
from coaching.practice.views.student import user_of
from coaching.review.models import Review
from coaching.review.queries import draft_write


def review_teach(request: HttpRequest, pk: int) -> Review:
    """A review whose drills `request.user` may assign and send."""
    rows = access.rows_taught(request.user, Review)
    return access.get_object_or_404(rows.select_related("student"), pk=pk)


def margin_context(review: Review, trouble: str = "") -> dict[str, Any]:
    """Everything `practice/_drills.html` shows."""
    standing = diagnosis.diagnosis_of(review.student, review)
    drafts = queries.with_ladder(review.assignments.all()).order_by("pk")
    return {
        "student": review.student,
        "review": review,
        "diagnosis": standing,
        "drafts": [(a, _trouble_of(review, a)) for a in drafts],
        "has_library": Drill.objects.filter(
            studio=review.student.studio_id, retired_at=None
        ).exists(),
        "hurting": queries.hurting(review.student),
        "trouble": trouble,
    }


def _trouble_of(review: Review, assignment: Assignment) -> str:
    """Why a drill may not be sent as things stand; empty when it may."""
    if assignment.finding is None or review.published_at:
        return ""
    try:
        services.refuse_wrong_target(
            review=review, finding=assignment.finding, reason=assignment.override_reason
        )
    except LessonError as error:
        return error.sentence
    return ""


def fragment(request: HttpRequest, review: Review, trouble: str = "") -> HttpResponse:
    return render(request, "practice/_drills.html", margin_context(review, trouble))


@require_safe
@login_required
def margin(request: HttpRequest, pk: int) -> HttpResponse:
    return fragment(request, draft_write(request.user, pk))


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def assign(request: HttpRequest, pk: int) -> HttpResponse:
    """Choose a finding and its drill; then targets, with their odds; then assign."""
    review = review_teach(request, pk)
    given = request.POST if request.method == "POST" else request.GET
    finding = _chosen(diagnosis.visible(review.student, review), given.get("finding", ""))
    drill = _chosen(queries.library([review.student.studio_id]), given.get("drill", ""))
    if finding is not None and not given.get("drill"):
        drill = services.drill_for(finding)
    trouble, refused = "", {}
    if request.method == "POST" and drill is not None:
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
    name = "practice/_assign.html" if wants_fragment(request) else "practice/assign.html"
    return render(request, name, context, status=400 if trouble else 200)


def _chosen(rows: Any, pk: str) -> Any:
    if not pk:
        return None
    if not pk.isdecimal():
        raise Http404
    return access.get_object_or_404(rows, pk=int(pk))


def _assign(
    request: HttpRequest, review: Review, *, drill: Drill, finding: Finding | None
) -> Assignment:
    post = request.POST
    return services.assign_drill(
        review=review,
        by=user_of(request),
        drill=drill,
        finding=finding,
        rungs=forms.ladder_from(post, base=drills.newest(drill).ladder),
        caution=post.get("caution", ""),
        words=post.get("words", ""),
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
    ladder = version.ladder if version else []
    if trouble and ladder:
        ladder = _as_typed(given, ladder)
    rows = forms.rung_rows(ladder, odds=partial(_odds, review))
    better = None
    if refused and refused.get("drill"):
        better = Drill.objects.filter(pk=refused["drill"]).first()
    return {
        "student": review.student,
        "review": review,
        "diagnosis": standing,
        "finding": finding,
        "drill": drill,
        "version": version,
        "library": [(d, drills.newest(d)) for d in queries.library([review.student.studio_id])],
        "rows": rows,
        "comparisons": forms.COMPARISONS.choices,
        "given": given,
        "trouble": trouble,
        "refused": refused or {},
        "better": better,
        "better_title": drills.newest(better).title if better else "",
        "line": standing.line(finding.pk) if finding else None,
    }


def _as_typed(given: Mapping[str, str], ladder: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What was typed, so that a refused form loses nothing; the drill's own if unreadable."""
    try:
        typed = forms.ladder_from(given, base=ladder)
    except LessonError:
        return ladder
    return typed if len(typed) == len(ladder) else ladder


def _odds(review: Review, rung: Mapping[str, Any], criterion: Mapping[str, Any]) -> Any:
    if not criterion:
        return None
    return odds_of(review.student, rung, criterion)


@require_safe
@login_required
def odds(request: HttpRequest, pk: int) -> HttpResponse:
    """The odds of one criterion while its numbers are typed."""
    student = access.student_prepare(request.user, pk)
    get = request.GET
    rung = {
        "view": get.get("view", ""),
        "film_kind": get.get("film_kind", ""),
        "need": _count(get.get("need", "1")),
        "repetitions": _count(get.get("repetitions", "1")),
    }
    try:
        criterion = forms.criterion_from(get, "c")
        found = odds_of(student, rung, criterion) if criterion else None
    except LessonError:
        found = None
    return render(request, "practice/_odds.html", {"odds": found})


def _count(text: str) -> int:
    return min(10, max(1, int(text))) if text.isdecimal() else 1


@require_POST
@login_required
def unassign(request: HttpRequest, pk: int) -> HttpResponse:
    assignment = queries.assignment_teach(request.user, pk)
    if assignment.review is None:
        raise Http404
    return act(
        request,
        assignment.review,
        lambda: services.remove_assignment(assignment=assignment),
        fragment=fragment,
    )


@require_POST
@login_required
def publish(request: HttpRequest, pk: int) -> HttpResponse:
    """Send the answer with its drills."""
    review = review_teach(request, pk)
    try:
        services.publish_lesson(review=review, by=user_of(request))
    except LessonError as error:
        if wants_fragment(request):
            raise  # the room shows the sentence beside its button
        messages.error(request, error.sentence)
        return redirect(room_of(review))
    messages.success(request, _("Sent to %(name)s.") % {"name": review.student.name})
    response = redirect("desk:waiting")
    if wants_fragment(request):
        response = HttpResponse(status=200)
        response["X-Leave"] = redirect("desk:waiting").url
    return response
