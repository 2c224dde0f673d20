"""The coach's own picture or clip of a drill: kept, shown, taken away."""

from __future__ import annotations

from pathlib import PurePath

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from coaching import numbers
from coaching.bodies import takes_up_to
from coaching.intake import media
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.practice import access as practice_access
from coaching.practice.models import Assignment, DrillVersion, Step
from coaching.practice.queries.showing import ENDINGS
from coaching.practice.services import showing

MAX_BYTES = 64 * 1024 * 1024


def shown_of(request: HttpRequest) -> showing.Plain | None:
    """The picture or clip of a form, made plain; None where none was chosen.

    Raises
    ------
    LessonError
        `shown`: neither a picture nor a clip, or none that can be read. `too_big` (413).
    """
    shown = request.FILES.get("shown")
    if shown is None:
        return None
    if PurePath(shown.name or "").suffix.lower() not in ENDINGS:
        raise LessonError(
            _("Choose a picture (JPEG, PNG, WebP) or a clip (MP4, WebM)."), code="shown"
        )
    if (shown.size or 0) > MAX_BYTES:
        raise LessonError(_("Keep the clip of a drill under 64 MB."), code="too_big", status=413)
    return showing.plain_of(shown)


@takes_up_to(MAX_BYTES)
@require_POST
@login_required
def show(request: HttpRequest, pk: int) -> HttpResponse:
    """Show it to one student: the whole drill, or the step that `step` names."""
    assignment = practice_access.assignment_teach(request.user, pk)
    try:
        row = _row(request, assignment)
        shown = shown_of(request)
        if shown is not None:
            showing.show_student(row=row, by=user_of(request), shown=shown)
        elif request.POST.get("remove"):
            showing.show_no_more(row=row, by=user_of(request))
        else:
            raise LessonError(_("Record a clip or choose a file first."), code="no_file")
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, _("Saved."))
    return redirect("practice:drill", assignment.pk)


def _row(request: HttpRequest, assignment: Assignment) -> Assignment | Step:
    if not request.POST.get("step"):
        return assignment
    key = numbers.row_key(request.POST["step"])
    return access.get_object_or_404(assignment.steps.all(), pk=key)


@require_safe
@login_required
def of_version(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Of a drill: for the studio, and for students who have the drill."""
    return _serve(request, practice_access.shown_read(request.user, pk))


@require_safe
@login_required
def of_assignment(request: HttpRequest, pk: int) -> HttpResponseBase:
    """For one student: whoever may read the drill."""
    return _serve(request, practice_access.assignment_read(request.user, pk))


@require_safe
@login_required
def of_step(request: HttpRequest, pk: int) -> HttpResponseBase:
    return _serve(request, practice_access.step_read(request.user, pk))


def _serve(request: HttpRequest, row: DrillVersion | Assignment | Step) -> HttpResponseBase:
    if not row.shown:
        raise Http404
    ending = PurePath(str(row.shown.name)).suffix.lower()
    return media.serve(request, row.shown, filename=f"drill{ending}", content_type=ENDINGS[ending])
