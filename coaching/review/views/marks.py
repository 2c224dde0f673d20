"""Marks on a moment."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from coaching.checking import checked
from coaching.people.access import user_of
from coaching.review import serializers
from coaching.review.access import mark_write, video_of
from coaching.review.drafting import writes_draft
from coaching.review.models import Review
from coaching.review.queries import marked
from coaching.review.services import marks


@extend_schema(tags=["review"], request=serializers.MarkIn, responses={201: dict})
@api_view(["POST"])
@writes_draft
def add_mark(request: Request, review: Review) -> Response:
    """Keep a drawing or a note on a moment."""
    given = checked(serializers.MarkIn, request)
    video = video_of(review, given.pop("video"))
    mark = marks.add_mark(by=user_of(request), review=review, video=video, **given)
    return Response(marked.mark_row(mark), status=201)


@extend_schema(tags=["review"], request=serializers.MarkChange, responses=dict)
@api_view(["POST"])
def change_mark(request: Request, pk: int) -> Response:
    """Move or rewrite a mark; 409 with both when it was changed elsewhere."""
    mark = mark_write(request.user, pk)
    given = checked(serializers.MarkChange, request)
    return Response(marked.mark_row(marks.change_mark(by=user_of(request), mark=mark, **given)))


@extend_schema(tags=["review"], request=None, responses={204: None})
@api_view(["POST"])
def remove_mark(request: Request, pk: int) -> Response:
    marks.remove_mark(by=user_of(request), mark=mark_write(request.user, pk))
    return Response(status=204)
