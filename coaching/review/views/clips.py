"""A clip's figures, pictures and the player's data, and corrections of them."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.views.decorators.http import require_GET
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from analysis.models import Video
from coaching.checking import checked
from coaching.people import access
from coaching.review import clip_cache, offers, serializers, shown, stills, turncheck
from coaching.review.access import correction_prepare, video_prepare, video_read
from coaching.review.queries import player
from coaching.review.services import corrections


@login_required
@require_GET
def figures(request: HttpRequest, pk: int) -> HttpResponse:
    """The margin's figures of a clip, alone."""
    video = video_read(request.user, pk)
    return render(request, "review/_figures.html", figures_context(video, request))


def figures_context(
    video: Video,
    request: Any,
    fresh: dict[str, Any] | None = None,
    *,
    to_staff: bool | None = None,
) -> dict[str, Any]:
    """What `review/_figures.html` shows; `to_staff` where who reads it is known already.

    `fresh` is what `player.figures_data` answered, where that was asked already.
    """
    fresh = fresh or player.figures_data(video)
    repetitions = fresh["repetitions"]
    groups = player.figure_groups(repetitions)
    if to_staff is None:
        to_staff = access.is_staff_of(request.user, video.submission.student)
    held = _held(video) if to_staff else {}
    drawn = [m["id"] for rep in repetitions for m in rep["measures"]]
    for rep in groups:
        for moment in rep["moments"]:
            moment["figures"] = [shown.figure_row(f, request.user) for f in moment["figures"]]
            if held:
                shown.turn_notes(moment, view=video.view, **held)
            if to_staff:
                offers.put_beside(moment, rep["moments"], fresh["corrections"], view=video.view)
            shown.fold(moment, kind=video.kind)
            moment["seen"] = [f for f in moment["figures"] if f["value"] is not None]
            moment["unseen"] = [f for f in moment["figures"] if f["value"] is None]
    return {
        "video": video,
        "state": player.state(video),
        "repetitions": groups,
        "drawn": drawn,
    }


def _held(video: Video) -> dict[str, Any]:
    """What held clubs have shown of this student's turn; only his coaches read it."""
    submission, run = video.submission, video.measured()
    if run is None:
        return {}
    angle = submission.angle
    return {
        "across": angle.bar_across if angle and video.kind == "bar" else "",
        "biases": turncheck.biases(submission.student, version=run.pipeline_version),
        "name": submission.student.name,
    }


@login_required
@require_GET
def still(request: HttpRequest, pk: int) -> HttpResponse:
    """One frame as JPEG: `?event=top&rep=0`, or `?time=1.234`; `&size=still` crops it."""
    video = video_read(request.user, pk)
    if video.erased_at or not video.copy:
        raise Http404
    try:
        time_s = stills.moment(video, request.GET)
    except ValueError:
        raise Http404 from None
    if time_s is None:
        raise Http404
    size = request.GET.get("size", "")
    return _jpeg(stills.cut(video, time_s, size if size in stills.SIZES else ""))


@login_required
@require_GET
def thumb(request: HttpRequest, pk: int) -> HttpResponse:
    """The clip's mark in lists: the golfer at the top of the swing, small."""
    video = video_read(request.user, pk)
    if video.erased_at or not video.copy:
        raise Http404
    size = "card" if request.GET.get("size") == "card" else "thumb"
    return _jpeg(stills.cut(video, stills.telling_moment(video), size))


def _jpeg(picture: bytes | None) -> HttpResponse:
    if picture is None:
        raise Http404
    response = HttpResponse(picture, content_type="image/jpeg")
    response["Cache-Control"] = f"private, max-age={clip_cache.KEPT_S}"
    return response


@extend_schema(tags=["review"], responses=dict)
@api_view(["GET"])
def data(request: Request, pk: int) -> Response:
    """Everything the player shows of a clip: frame times, figures, curves, corrections."""
    return Response(player.player_data(video_read(request.user, pk)))


@extend_schema(tags=["review"], request=serializers.CorrectionIn, responses={201: dict})
@api_view(["POST"])
def correct(request: Request, pk: int) -> Response:
    """Move an event, a joint or the shaft; answers with the new figures."""
    video = video_prepare(request.user, pk)
    given = checked(serializers.CorrectionIn, request)
    correction = corrections.correct(video=video, by=access.user_of(request), **given)
    return Response(_refreshed(video, request) | {"correction": correction.pk}, status=201)


@extend_schema(tags=["review"], request=None, responses=dict)
@api_view(["POST"])
def undo(request: Request, pk: int) -> Response:
    """Take a correction back."""
    correction, video = correction_prepare(request.user, pk)
    corrections.undo_correction(correction=correction, by=access.user_of(request))
    return Response(_refreshed(video, request))


def _refreshed(video: Video, request: Request) -> dict[str, Any]:
    video = player.with_figures(video.pk)
    fresh = player.figures_data(video)
    context = figures_context(video, request, fresh, to_staff=True)
    context["drawn"] = ()  # the page has the measures' pictures already
    html = render_to_string("review/_figures.html", context, request=request._request)
    return fresh | {"html": html}
