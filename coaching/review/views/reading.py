"""An answer as its student reads it, and two clips beside each other."""

from __future__ import annotations

from typing import Any

from csp.decorators import csp_replace
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.clickjacking import xframe_options_sameorigin
from django.views.decorators.http import require_GET, require_POST
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from coaching import numbers
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.offline import is_for_later
from coaching.people import access
from coaching.review import shown, sidebar
from coaching.review.access import draft_show, review_read, video_read
from coaching.review.models import Review, WalkThrough
from coaching.review.queries import comparing, marked


def player_context() -> dict[str, Any]:
    """What `review/_player.html` needs beside its clip."""
    return {"event_words": shown.event_words(), "speeds": shown.SPEEDS}


@login_required
@require_GET
def read(request: HttpRequest, pk: int) -> HttpResponse:
    """A sent review as its student reads it; its studio sees a draft the same way."""
    review = review_read(request.user, pk)
    context = _answer(request, review)
    is_news = bool(review.published_at) and not is_for_later(request)
    if context["can_act"] and is_news:
        lessons.mark_read(
            student=review.student,
            by=access.user_of(request),
            kind=Entry.Kind.REVIEWED,
            review=review.pk,
        )
    return render(request, "review/read.html", context)


@csp_replace({"frame-ancestors": ["'self'"]})  # type: ignore[arg-type]
@xframe_options_sameorigin
@login_required
@require_GET
def preview(request: HttpRequest, ref: str) -> HttpResponse:
    """What the student will read, as it stands now: shown in a pane as wide as a phone."""
    review = draft_show(request.user, ref)
    if not review.is_begun:
        return render(request, "review/unwritten.html", {"student": review.student})
    return render(request, "review/read.html", _answer(request, review) | {"preview": True})


@login_required
@require_POST
def understood(request: HttpRequest, pk: int) -> HttpResponse:
    """The student, or a guardian, says that the answer was understood: the coach sees it."""
    review = review_read(request.user, pk)
    student = access.student_act(request.user, review.student_id)
    lessons.mark_understood(
        student=student, by=access.user_of(request), kind=Entry.Kind.REVIEWED, review=review.pk
    )
    messages.success(request, _("Your coach sees that you understood."))
    return redirect("today", student.pk)


# The four moments of a swing that everybody jumps to; the others are under "More".
MAIN_MARKS = ("address", "top", "impact", "finish")


def _answer(request: HttpRequest, review: Review) -> dict[str, Any]:
    clips = list(review.submissions.select_related("video", "angle").order_by("pk"))
    acts = access.acts_for(request.user, review.student_id)
    told = Entry.objects.filter(kind=Entry.Kind.REVIEWED, refs__review=review.pk)
    return {
        "review": review,
        "student": review.student,
        "can_act": acts,
        "understood": acts and told.filter(understood_at__isnull=False).exists(),
        "answer_heads": sidebar.answer_heads,
        "answer_parts": sidebar.answer_parts,
        "main_marks": MAIN_MARKS,
        "submissions": clips,
        "walks": [
            _spoken(walk) for walk in review.walk_throughs.select_related("review").order_by("pk")
        ],
        "moments": [shown.moment_row(row) for row in marked.moments(review, clips)],
        "video": clips[0].video if clips else None,
        **player_context(),
        "is_staff": access.is_staff_of(request.user, review.student),
    }


def _spoken(walk: WalkThrough) -> dict[str, Any]:
    return {
        "pk": walk.pk,
        "sound": bool(walk.sound),
        "may_be_film": bool(walk.sound and walk.review.published_at),
        "demonstration": bool(walk.demonstration),
        "lines": shown.spoken_lines(walk),
        "length": shown.length_words(walk.duration_s),
    }


@login_required
@require_GET
def compare(request: HttpRequest) -> HttpResponse:
    """Two clips of one student beside each other: what changed, in words.

    The first swing of `a` against swing `rep` of `b`.
    """
    try:
        first, second = (
            video_read(request.user, numbers.whole(request.GET[k])) for k in ("a", "b")
        )
        rep = numbers.whole(request.GET.get("rep", "0"), high=1000)
    except (KeyError, ValueError):
        raise Http404 from None
    clips = [first.submission, second.submission]
    if clips[0].student_id != clips[1].student_id:
        raise Http404
    same_angle = first.view == second.view
    measured = first.measured() is not None and second.measured() is not None
    rows = comparing.differences(first, second, reps=(0, rep)) if same_angle else []
    differences = [shown.difference_row(row, access.user_of(request)) for row in rows]
    same_version = not measured or comparing.shared_version(first, second) is not None
    changed = [row for row in differences if row["changed"]]
    same = [row for row in differences if row["second_row"] and not row["changed"]]
    context = {
        "student": clips[0].student,
        "clips": clips,
        "conditions": comparing.conditions(*clips),
        "same_angle": same_angle,
        "same_version": same_version,
        "differences": changed,
        "same": same,
        "has_words": same or (same_version and changed),
        "is_empty": not differences,
        "strip": comparing.shared_events(first, second, reps=(0, rep)),
        "rep": rep,
        "cannot_tell": ", ".join(row["label"] for row in differences if not row["second_row"]),
    }
    fragment = request.headers.get("X-Fragment") == "1"
    return render(request, "review/_compare.html" if fragment else "review/compare.html", context)


@extend_schema(tags=["review"], responses=dict)
@api_view(["GET"])
def review_data(request: Request, ref: str) -> Response:
    """A review's marks and walk-throughs, for the room and for the reading page."""
    if (pk := numbers.row_key(ref)) is not None:
        return Response(marked.review_data(review_read(request.user, pk)))
    return Response(marked.review_data(draft_show(request.user, ref)))
