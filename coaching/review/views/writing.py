"""Words, saved sentences and habits."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response

from coaching.checking import checked
from coaching.people import access
from coaching.people.access import user_of
from coaching.review import serializers
from coaching.review.access import snippet_write, version_write
from coaching.review.drafting import writes_draft
from coaching.review.models import Review
from coaching.review.queries import answers
from coaching.review.services import drafts, habits


@extend_schema(tags=["review"], request=serializers.WordsIn, responses=dict)
@api_view(["POST"])
@writes_draft
def text(request: Request, review: Review) -> Response:
    """Keep the words of a draft; 409 with both versions when somebody was faster."""
    given = checked(serializers.WordsIn, request)
    revision = drafts.save_words(review=review, by=access.user_of(request), **given)
    return Response({"revision": revision})


@extend_schema(tags=["review"], request=None, responses=dict)
@api_view(["POST"])
def resolve(request: Request, pk: int) -> Response:
    """A version that lost is not offered any more."""
    drafts.resolve_version(version=version_write(request.user, pk), by=access.user_of(request))
    return Response({})


@extend_schema(tags=["review"], request=serializers.SnippetIn, responses={201: dict})
@api_view(["POST"])
def add_snippet(request: Request, pk: int) -> Response:
    """Keep words that are said every day, for the studio of this student."""
    student = access.student_prepare(request.user, pk)
    given = checked(serializers.SnippetIn, request)
    snippet = habits.add_snippet(
        by=user_of(request),
        studio=student.studio,
        title=given.get("title", ""),
        text=given["text"],
    )
    snippet = answers.said_to(snippet, student)
    return Response({"id": snippet.pk, "title": snippet.title, "text": snippet.text}, status=201)


@extend_schema(tags=["review"], request=None, responses={204: None})
@api_view(["POST"])
def remove_snippet(request: Request, pk: int) -> Response:
    habits.remove_snippet(by=user_of(request), snippet=snippet_write(request.user, pk))
    return Response(status=204)


@extend_schema(tags=["review"], request=serializers.PreferencesIn, responses=dict)
@api_view(["POST"])
def preferences(request: Request) -> Response:
    """Remember speed, brightness, keys and overlays."""
    given = checked(serializers.PreferencesIn, request)
    return Response(habits.save_preferences(user=access.user_of(request), **given))
