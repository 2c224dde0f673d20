"""The coach's review room for a clip, and for one that was sent back."""

from __future__ import annotations

import json

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from coaching.intake import queries as intake
from coaching.intake.models import Submission
from coaching.intake.services.clips import override_refusal
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.review import presence, shown, sidebar
from coaching.review.access import submission_prepare
from coaching.review.queries import answers, player
from coaching.review.services import habits
from coaching.review.views.clips import figures_context
from coaching.review.views.reading import player_context


@login_required
@require_GET
def room(request: HttpRequest, pk: int) -> HttpResponse:
    """The coach's review room for a clip and its siblings of the same request."""
    submission = submission_prepare(request.user, pk)
    clips = answers.clips_to_answer(submission)
    here = next(clip for clip in clips if clip.pk == submission.pk)  # its runs are fetched
    if intake.state(here) == intake.State.REFUSED:
        return _refused_room(request, submission)
    review, earlier = answers.to_write_and_sent(submission, clips)
    return render(
        request,
        "review/room.html",
        {
            "student": submission.student,
            "submission": submission,
            "review": review,
            "submissions": review.clips,
            "versions": answers.versions_of(review),
            "snippets": answers.snippets(request.user, submission.student),
            "others": answers.comparable_clips(submission.video),
            "preferences_json": json.dumps(habits.preferences_of(access.user_of(request))),
            "joints": shown.joint_choices(),
            "earlier": earlier[:5],
            "may_send": access.is_staff_of(request.user, submission.student, access.TEACHING),
            "fragments": sidebar.fragments,
            **player_context(),
            **figures_context(player.fill_figures(here.video), request, to_staff=True),
        },
    )


@login_required
@require_POST
def here(request: HttpRequest, pk: int) -> JsonResponse:
    """The lesson is open on somebody's screen; who else has it open, in words."""
    submission = submission_prepare(request.user, pk)
    others = presence.open_by(submission.student_id, access.user_of(request))
    words = ngettext(
        "%(names)s has this lesson open too.", "%(names)s have this lesson open too.", len(others)
    ) % {"names": ", ".join(others)}
    return JsonResponse({"words": words if others else ""})


def _refused_room(request: HttpRequest, submission: Submission, trouble: str = "") -> HttpResponse:
    """A clip that was sent back: why, what it shows, and what the coach can do about it."""
    return render(
        request,
        "review/refused.html",
        {
            "student": submission.student,
            "clip": submission,
            "told": intake.progress(submission),
            "trouble": trouble,
            # Words to send as they are, so that one press is enough; the coach may change them.
            "text": request.POST.get(
                "text", _("I can use your clip as it is. You need not film it again.")
            ),
            "may_write": access.is_staff_of(request.user, submission.student, access.TEACHING),
        },
        status=400 if trouble else 200,
    )


@login_required
@require_POST
def use_refused(request: HttpRequest, pk: int) -> HttpResponse:
    """The coach looks at a refused clip all the same: it is copied and measured."""
    submission = submission_prepare(request.user, pk)
    try:
        override_refusal(
            submission=submission, by=access.user_of(request), text=request.POST.get("text", "")
        )
    except LessonError as error:
        return _refused_room(request, submission, error.sentence)
    messages.success(request, _("It is being measured. The room opens with it in a moment."))
    return redirect("review:room", submission.pk)
