"""A fragment of the review room's sidebar: alone for the script, else back to its page.

Every form of the sidebar works without script: its answer leads back to the room. With
script (the header `X-Fragment`) the answer is the fragment itself, so that the clip
stays where it is.
"""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from coaching.people.errors import LessonError
from coaching.review.models import Review

Fragment = Callable[[HttpRequest, Review, str], HttpResponse]


def wants_fragment(request: HttpRequest) -> bool:
    return "X-Fragment" in request.headers


def room_of(review: Review) -> str:
    """The page whose margin it is."""
    clips = review.clips
    if not clips:
        return reverse("student", args=[review.student_id])
    return reverse("review:room", args=[clips[0].pk])


def act(
    request: HttpRequest, review: Review, call: Callable[[], object], *, fragment: Fragment
) -> HttpResponse:
    """Call a service and answer: the fragment, or the room with the sentence on top."""
    try:
        call()
    except LessonError as error:
        if wants_fragment(request):
            answer = fragment(request, review, error.sentence)
            answer.status_code = error.status
            return answer
        messages.error(request, error.sentence)
        answer = redirect(room_of(review))
        answer.refused = True  # type: ignore[attr-defined]  # see `drafting.writes_draft`
        return answer
    if wants_fragment(request):
        return fragment(request, review, "")
    return redirect(room_of(review) + "#findings")
