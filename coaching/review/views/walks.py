"""Walk-throughs and their sound."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.views.decorators.http import require_GET
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from coaching.checking import checked
from coaching.intake import media
from coaching.intake.access import recording_of
from coaching.intake.models import Upload
from coaching.intake.services.uploads import take_upload
from coaching.people.access import user_of
from coaching.review import serializers
from coaching.review.access import video_of, walk_read, walk_write
from coaching.review.drafting import writes_draft
from coaching.review.models import Review
from coaching.review.queries import marked
from coaching.review.services import walks


@extend_schema(tags=["review"], request=serializers.WalkIn, responses={201: dict})
@api_view(["POST"])
@writes_draft
def start_walk(request: Request, review: Review) -> Response:
    """Begin a walk-through whose sound grows in a resumable upload."""
    given = checked(serializers.WalkIn, request)
    video = video_of(review, given["video"])
    key = given.get("upload")
    upload = recording_of(user_of(request), key) if key else None
    walk = walks.start_walk(by=user_of(request), review=review, video=video, upload=upload)
    return Response(marked.walk_row(walk), status=201)


@extend_schema(tags=["review"], request=serializers.WalkEvents, responses=dict)
@api_view(["POST"])
def save_walk(request: Request, pk: int) -> Response:
    """Keep what was done so far, as timed events."""
    walk = walk_write(request.user, pk)
    return Response(
        marked.walk_row(
            walks.save_walk(
                by=user_of(request), walk=walk, **checked(serializers.WalkEvents, request)
            )
        )
    )


@extend_schema(tags=["review"], request=None, responses=dict)
@api_view(["POST"])
def finish_walk(request: Request, pk: int) -> Response:
    """Close a walk-through with the sound that has arrived."""
    walk = walk_write(request.user, pk)
    if walk.upload is None or walk.sound:
        return Response(marked.walk_row(walks.finish_walk(by=user_of(request), walk=walk)))
    with take_upload(upload=walk.upload, by=user_of(request)) as sound:
        return Response(
            marked.walk_row(walks.finish_walk(by=user_of(request), walk=walk, sound=sound))
        )


@extend_schema(tags=["review"], request=None, responses={204: None})
@api_view(["POST"])
def remove_walk(request: Request, pk: int) -> Response:
    walks.remove_walk(by=user_of(request), walk=walk_write(request.user, pk))
    return Response(status=204)


@extend_schema(tags=["review"], request=serializers.CaptionsIn, responses=dict)
@api_view(["POST"])
def captions(request: Request, pk: int) -> Response:
    """Keep the spoken words as WebVTT."""
    walk = walk_write(request.user, pk)
    walks.save_captions(by=user_of(request), walk=walk, **checked(serializers.CaptionsIn, request))
    return Response(marked.walk_row(walk))


@login_required
@require_GET
def sound(request: HttpRequest, pk: int) -> HttpResponseBase:
    walk = walk_read(request.user, pk)
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
    walk = walk_read(request.user, pk)
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


@extend_schema(tags=["review"], request=serializers.DemonstrationIn, responses=dict)
@api_view(["POST"])
def add_demonstration(request: Request, pk: int) -> Response:
    """Put the coach's own filmed demonstration, uploaded before, beside the walk-through."""
    walk = walk_write(request.user, pk)
    key = checked(serializers.DemonstrationIn, request)["upload"]
    upload = recording_of(user_of(request), key, Upload.Purpose.DEMONSTRATION)
    with take_upload(upload=upload, by=user_of(request)) as film:
        walks.add_demonstration(by=user_of(request), walk=walk, film=film)
    return Response(marked.walk_row(walk))
