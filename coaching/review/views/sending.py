"""Sending an answer, and taking it back."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.review.access import draft_show, review_teach
from coaching.review.services import sending


@require_POST
@login_required
def send(request: HttpRequest, ref: str) -> HttpResponse:
    """Send the answer with everything in it: the one way, for the page."""
    draft = draft_show(request.user, ref)
    if not draft.is_begun:
        raise LessonError(
            _("There is nothing to send yet. Write a word, or assign a drill."), code="empty"
        )
    review = review_teach(request.user, draft.pk)
    try:
        sending.publish_review(review=review, by=user_of(request))
    except LessonError as error:
        if "application/json" in request.headers.get("Accept", ""):
            raise  # the room shows the sentence beside its button
        messages.error(request, error.sentence)
        return redirect("review:room", review.clips[0].pk)
    if "application/json" in request.headers.get("Accept", ""):
        names = {"read": "review:read", "take_back": "review:take_back"}
        return JsonResponse({key: reverse(name, args=[review.pk]) for key, name in names.items()})
    messages.success(request, _("Sent to %(name)s.") % {"name": review.student.name})
    return redirect("waiting")


@require_POST
@login_required
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Undo sending within ten seconds: the answer is a draft again, and nobody was written to."""
    review = review_teach(request.user, pk)
    sending.take_back_review(review=review, by=user_of(request))
    messages.success(request, _("Taken back: it is a draft again."))
    return redirect("review:room", review.clips[0].pk)
