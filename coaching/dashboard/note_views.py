"""A coach's own notes on a student, saved while they are written."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from coaching import numbers
from coaching.dashboard.views import student_page
from coaching.lessons import notes
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError


@login_required
@require_POST
def note(request: HttpRequest, pk: int) -> HttpResponse:
    """Save the note; a script gets its revision and the time, a form goes back to the student."""
    student = access.student_prepare(request.user, pk)
    wants_json = "application/json" in request.headers.get("Accept", "")
    text = request.POST.get("text", "")
    try:
        revision = numbers.whole(request.POST.get("revision", "0"))
        saved = notes.write_note(student=student, by=user_of(request), text=text, revision=revision)
    except ValueError:
        raise LessonError(_("Load the page again, then save."), code="revision") from None
    except LessonError as error:
        if wants_json:
            return JsonResponse({"detail": error.sentence}, status=error.status)
        said = {"note_text": text, "note_trouble": error.sentence}
        return student_page(request, student, status=error.status, **said)
    if wants_json:
        at = timezone.localtime(saved.changed_at)
        return JsonResponse({"revision": saved.revision, "at": f"{at:%H:%M}"})
    messages.success(request, _("Saved."))
    return redirect("student", student.pk)
