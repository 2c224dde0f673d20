"""The review room, the student's reading page, and one JSON endpoint per need.

The endpoints are ordinary API views: sessions (with CSRF) and tokens both work, and a
`LessonError` becomes its sentence and status in the one handler of the API.
"""

from __future__ import annotations

import json
from typing import Any

from django.contrib.auth.decorators import login_required
from django.core.cache import cache
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.template.loader import render_to_string, select_template
from django.urls import NoReverseMatch, reverse
from django.views.decorators.http import require_GET
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer

from analysis.errors import AnalysisError
from analysis.models import Correction, EventTime, Video
from analysis.services import local_path
from coaching.intake import media
from coaching.intake.models import Submission, Upload
from coaching.intake.services import take_upload
from coaching.people import access
from coaching.review import queries, services, shown, turncheck
from coaching.review import serializers as told
from coaching.review.models import Review, ReviewVersion, Snippet, WalkThrough

STILL_KEPT_S = 3600


def _given(kind: type[Serializer[Any]], request: Request) -> dict[str, Any]:
    form = kind(data=request.data)
    form.is_valid(raise_exception=True)
    return dict(form.validated_data)


# Pages.


@login_required
@require_GET
def room(request: HttpRequest, pk: int) -> HttpResponse:
    """The coach's review room for a clip and its siblings of the same request."""
    submission = get_object_or_404(
        access.rows_taught(request.user, Submission, roles=access.STAFF).select_related(
            "student", "video", "angle"
        ),
        pk=pk,
    )
    clips = queries.clips_to_answer(submission)
    review = services.open_draft(submissions=clips, by=request.user)
    clips = list(review.submissions.select_related("video", "angle").order_by("pk"))
    return render(
        request,
        "review/room.html",
        {
            "student": submission.student,
            "submission": submission,
            "review": review,
            "submissions": clips,
            "versions": review.versions.filter(settled_at=None).select_related("author"),
            "snippets": queries.snippets(request.user, submission.student),
            "others": queries.comparable_clips(submission.video),
            "preferences_json": json.dumps(services.preferences_of(request.user)),
            "joints": shown.joint_choices(),
            "send_url": _send_url(review),
            "earlier": queries.sent_about(submission),
            "may_send": access.is_staff_of(request.user, submission.student, access.TEACHING),
            "margins": _margins(),
            **_player(),
            **_figures(queries.with_figures(submission.video_id), request),
        },
    )


def _player() -> dict[str, Any]:
    """What `review/_player.html` needs beside its clip."""
    return {"event_words": shown.event_words(), "speeds": shown.SPEEDS}


def _send_url(review: Review) -> str:
    """Where the room sends: with its drills, where that slice is installed."""
    try:
        return reverse("practice:publish", args=[review.pk])
    except NoReverseMatch:
        return reverse("review:publish", args=[review.pk])


def _margins() -> list[str]:
    """Fragments that the slices to the right put into the margin, when they are there."""
    return [
        name
        for name in ("diagnosis/_margin.html", "practice/_margin.html")
        if select_template([name, "review/_nothing.html"]).template.name == name
    ]


@login_required
@require_GET
def read(request: HttpRequest, pk: int) -> HttpResponse:
    """A sent review as its student reads it; its studio sees a draft the same way."""
    review = queries.review_read(request.user, pk)
    clips = list(review.submissions.select_related("video", "angle").order_by("pk"))
    return render(
        request,
        "review/read.html",
        {
            "review": review,
            "student": review.student,
            "submissions": clips,
            "walks": [_spoken(walk) for walk in review.walk_throughs.order_by("pk")],
            "moments": [shown.moment_row(row) for row in queries.moments(review, clips)],
            "video": clips[0].video if clips else None,
            **_player(),
            "is_staff": access.is_staff_of(request.user, review.student),
        },
    )


def _spoken(walk: WalkThrough) -> dict[str, Any]:
    return {
        "pk": walk.pk,
        "sound": bool(walk.sound),
        "demonstration": bool(walk.demonstration),
        "lines": shown.spoken_lines(walk),
    }


@login_required
@require_GET
def figures(request: HttpRequest, pk: int) -> HttpResponse:
    """The margin's figures of a clip, alone."""
    video = queries.video_read(request.user, pk)
    return render(request, "review/_figures.html", _figures(video, request))


def _figures(
    video: Video, request: Any, repetitions: list[dict[str, Any]] | None = None
) -> dict[str, Any]:
    if repetitions is None:
        repetitions = queries.figures_data(video)["repetitions"]
    groups = queries.figure_groups(repetitions)
    held = _held(video, request.user)
    drawn = [m["id"] for rep in repetitions for m in rep["measures"]]
    for rep in groups:
        for moment in rep["moments"]:
            moment["figures"] = [shown.figure_row(f, request.user) for f in moment["figures"]]
            if held:
                shown.turn_notes(moment, view=video.view, **held)
    return {
        "video": video,
        "state": queries.state(video),
        "repetitions": groups,
        "drawn": drawn,
    }


def _held(video: Video, user: Any) -> dict[str, Any]:
    """What held clubs have shown of this student's turn; only his coaches read it."""
    submission, run = video.submission, queries.newest_measuring(video)
    if run is None or not access.is_staff_of(user, submission.student):
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
    """One frame as JPEG: `?event=top&rep=0`, or `?time=1.234`."""
    video = queries.video_read(request.user, pk)
    if video.erased_at or not video.copy:
        raise Http404
    time_s = _moment(video, request.GET)
    key = f"review-still-{video.pk}-{video.copy.name}-{time_s:.4f}"
    picture = cache.get(key)
    if picture is None:
        picture = _picture(video, time_s)
        cache.set(key, picture, STILL_KEPT_S)
    response = HttpResponse(picture, content_type="image/jpeg")
    response["Cache-Control"] = f"private, max-age={STILL_KEPT_S}"
    return response


def _moment(video: Video, asked: Any) -> float:
    try:
        if "time" in asked:
            return min(max(float(asked["time"]), 0.0), video.duration_s or 0.0)
        rep = int(asked.get("rep", 0))
    except ValueError:
        raise Http404 from None
    run = queries.newest_measuring(video)
    row = EventTime.objects.filter(run=run, repetition=rep, event=asked.get("event", "")).first()
    if row is None or row.time_s is None:
        raise Http404
    return row.time_s


def _picture(video: Video, time_s: float) -> bytes:
    from analysis import video as films  # PyAV loads only where a picture is cut

    try:
        with local_path(video.copy) as path:
            return films.still(path, time_s)
    except AnalysisError:
        raise Http404 from None


@login_required
@require_GET
def compare(request: HttpRequest) -> HttpResponse:
    """Two clips of one student beside each other: what changed, in words.

    The first swing of `a` against swing `rep` of `b`.
    """
    try:
        first, second = (queries.video_read(request.user, int(request.GET[k])) for k in ("a", "b"))
        rep = int(request.GET.get("rep", 0))
    except (KeyError, ValueError):
        raise Http404 from None
    clips = [first.submission, second.submission]
    if clips[0].student_id != clips[1].student_id:
        raise Http404
    same_angle = first.view == second.view
    rows = queries.differences(first, second, reps=(0, rep)) if same_angle else []
    differences = [shown.difference_row(row, request.user) for row in rows]
    context = {
        "student": clips[0].student,
        "clips": clips,
        "conditions": queries.conditions(*clips),
        "same_angle": same_angle,
        "differences": differences,
        "cannot_tell": ", ".join(row["label"] for row in differences if not row["second_row"]),
    }
    fragment = request.headers.get("X-Fragment") == "1"
    return render(request, "review/_compare.html" if fragment else "review/compare.html", context)


@extend_schema(tags=["review"], responses=dict)
@api_view(["GET"])
def review_data(request: Request, pk: int) -> Response:
    """A review's marks and walk-throughs, for the room and for the reading page."""
    return Response(queries.review_data(queries.review_read(request.user, pk)))


# The player's data and the corrections.


@extend_schema(tags=["review"], responses=dict)
@api_view(["GET"])
def data(request: Request, pk: int) -> Response:
    """Everything the player shows of a clip: frame times, figures, curves, corrections."""
    return Response(queries.player_data(queries.video_read(request.user, pk)))


@extend_schema(tags=["review"], request=told.CorrectionIn, responses=dict)
@api_view(["POST"])
def correct(request: Request, pk: int) -> Response:
    """Move an event, a joint or the shaft; answers with the new figures."""
    video = queries.video_prepare(request.user, pk)
    given = _given(told.CorrectionIn, request)
    correction = services.correct(video=video, by=request.user, **given)
    return Response(_refreshed(video, request) | {"correction": correction.pk}, status=201)


@extend_schema(tags=["review"], request=None, responses=dict)
@api_view(["POST"])
def undo(request: Request, pk: int) -> Response:
    """Take a correction back."""
    correction = get_object_or_404(Correction.objects.select_related("video"), pk=pk)
    video = queries.video_prepare(request.user, correction.video_id)
    services.undo_correction(correction=correction)
    return Response(_refreshed(video, request))


def _refreshed(video: Video, request: Request) -> dict[str, Any]:
    video = queries.with_figures(video.pk)
    fresh = queries.figures_data(video)
    context = _figures(video, request, fresh["repetitions"])
    html = render_to_string("review/_figures.html", context, request=request._request)
    return fresh | {"html": html}


# Words.


@extend_schema(tags=["review"], request=told.WordsIn, responses=dict)
@api_view(["POST"])
def words(request: Request, pk: int) -> Response:
    """Keep the words of a draft; 409 with both versions when somebody was faster."""
    review = queries.draft_write(request.user, pk)
    given = _given(told.WordsIn, request)
    return Response({"revision": services.save_words(review=review, by=request.user, **given)})


@extend_schema(tags=["review"], request=None, responses=dict)
@api_view(["POST"])
def settle(request: Request, pk: int) -> Response:
    """A version that lost is not offered any more."""
    rows = access.rows_taught(request.user, ReviewVersion, "review__student", roles=access.STAFF)
    services.settle_version(version=get_object_or_404(rows, pk=pk))
    return Response({})


@extend_schema(tags=["review"], request=told.SnippetIn, responses=dict)
@api_view(["POST"])
def add_snippet(request: Request, pk: int) -> Response:
    """Keep words that are said every day, for the studio of this student."""
    student = access.student_prepare(request.user, pk)
    given = _given(told.SnippetIn, request)
    snippet = services.add_snippet(
        studio=student.studio, title=given.get("title", ""), words=given["words"]
    )
    return Response({"id": snippet.pk, "title": snippet.title, "words": snippet.words}, status=201)


@extend_schema(tags=["review"], request=None, responses={204: None})
@api_view(["POST"])
def remove_snippet(request: Request, pk: int) -> Response:
    rows = Snippet.objects.filter(studio__in=access.studios(request.user))
    services.remove_snippet(snippet=get_object_or_404(rows, pk=pk))
    return Response(status=204)


@extend_schema(tags=["review"], request=told.PreferencesIn, responses=dict)
@api_view(["POST"])
def preferences(request: Request) -> Response:
    """Remember speed, brightness, keys and overlays."""
    given = _given(told.PreferencesIn, request)
    return Response(services.save_preferences(user=request.user, **given))


# Marks.


@extend_schema(tags=["review"], request=told.MarkIn, responses=dict)
@api_view(["POST"])
def add_mark(request: Request, pk: int) -> Response:
    """Keep a drawing or a note on a moment."""
    review = queries.draft_write(request.user, pk)
    given = _given(told.MarkIn, request)
    video = get_object_or_404(Video, pk=given.pop("video"), submission__student=review.student_id)
    mark = services.add_mark(review=review, video=video, **given)
    return Response(queries.mark_row(mark), status=201)


@extend_schema(tags=["review"], request=told.MarkChange, responses=dict)
@api_view(["POST"])
def change_mark(request: Request, pk: int) -> Response:
    """Move or rewrite a mark; 409 with both when it was changed elsewhere."""
    mark = queries.mark_write(request.user, pk)
    given = _given(told.MarkChange, request)
    return Response(queries.mark_row(services.change_mark(mark=mark, **given)))


@extend_schema(tags=["review"], request=None, responses={204: None})
@api_view(["POST"])
def remove_mark(request: Request, pk: int) -> Response:
    services.remove_mark(mark=queries.mark_write(request.user, pk))
    return Response(status=204)


# Walk-throughs.


@extend_schema(tags=["review"], request=told.WalkIn, responses=dict)
@api_view(["POST"])
def start_walk(request: Request, pk: int) -> Response:
    """Begin a walk-through whose sound grows in a resumable upload."""
    review = queries.draft_write(request.user, pk)
    given = _given(told.WalkIn, request)
    video = get_object_or_404(Video, pk=given["video"], submission__student=review.student_id)
    upload = None
    if given.get("upload"):
        mine = Upload.objects.filter(owner=request.user).exclude(purpose=Upload.Purpose.CLIP)
        upload = get_object_or_404(mine, pk=given["upload"])
    walk = services.start_walk(review=review, video=video, upload=upload)
    return Response(queries.walk_row(walk), status=201)


@extend_schema(tags=["review"], request=told.WalkEvents, responses=dict)
@api_view(["POST"])
def save_walk(request: Request, pk: int) -> Response:
    """Keep what was done so far, as timed events."""
    walk = queries.walk_write(request.user, pk)
    return Response(
        queries.walk_row(services.save_walk(walk=walk, **_given(told.WalkEvents, request)))
    )


@extend_schema(tags=["review"], request=None, responses=dict)
@api_view(["POST"])
def finish_walk(request: Request, pk: int) -> Response:
    """Close a walk-through with the sound that has arrived."""
    walk = queries.walk_write(request.user, pk)
    if walk.upload is None or walk.sound:
        return Response(queries.walk_row(services.finish_walk(walk=walk)))
    with take_upload(upload=walk.upload, by=request.user) as sound:
        return Response(queries.walk_row(services.finish_walk(walk=walk, sound=sound)))


@extend_schema(tags=["review"], request=None, responses={204: None})
@api_view(["POST"])
def remove_walk(request: Request, pk: int) -> Response:
    services.remove_walk(walk=queries.walk_write(request.user, pk))
    return Response(status=204)


@extend_schema(tags=["review"], request=told.CaptionsIn, responses=dict)
@api_view(["POST"])
def captions(request: Request, pk: int) -> Response:
    """Keep the spoken words as WebVTT."""
    walk = queries.walk_write(request.user, pk)
    services.save_captions(walk=walk, **_given(told.CaptionsIn, request))
    return Response(queries.walk_row(walk))


@login_required
@require_GET
def sound(request: HttpRequest, pk: int) -> HttpResponseBase:
    walk = queries.walk_read(request.user, pk)
    if not walk.sound:
        raise Http404
    return media.serve(
        request,
        walk.sound,
        filename=f"walk-{walk.pk}.webm",
        content_type=_kind_of(walk.sound, "audio"),
    )


@login_required
@require_GET
def demonstration(request: HttpRequest, pk: int) -> HttpResponseBase:
    walk = queries.walk_read(request.user, pk)
    if not walk.demonstration:
        raise Http404
    film = walk.demonstration
    return media.serve(
        request, film, filename=f"shown-{walk.pk}.webm", content_type=_kind_of(film, "video")
    )


def _kind_of(file: Any, sort: str) -> str:
    """Recorders of some browsers write MP4 under any name: the first bytes tell."""
    with file.open("rb") as opened:
        head = opened.read(12)
    return f"{sort}/mp4" if head[4:8] == b"ftyp" else f"{sort}/webm"


@extend_schema(tags=["review"], request=told.WalkIn, responses=dict)
@api_view(["POST"])
def add_demonstration(request: Request, pk: int) -> Response:
    """Put the coach's own filmed demonstration, uploaded before, beside the walk-through."""
    walk = queries.walk_write(request.user, pk)
    mine = Upload.objects.filter(owner=request.user, purpose="demonstration")
    upload = get_object_or_404(mine, pk=_given(told.WalkIn, request)["upload"])
    with take_upload(upload=upload, by=request.user) as film:
        services.add_demonstration(walk=walk, film=film)
    return Response(queries.walk_row(walk))


@extend_schema(tags=["review"], request=None, responses=dict)
@api_view(["POST"])
def publish(request: Request, pk: int) -> Response:
    """Send a review that assigns nothing; with drills, the lesson is sent instead."""
    review = get_object_or_404(
        access.rows_taught(request.user, Review).select_related("student"), pk=pk
    )
    services.publish_review(review=review, by=request.user)
    return Response({"published_at": review.published_at})
