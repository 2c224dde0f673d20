"""Pages of asking for films."""

from __future__ import annotations

from datetime import timedelta

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from coaching.intake import access as mine
from coaching.intake import queries
from coaching.intake.forms import AngleFormSet, AskForm
from coaching.intake.services import asking
from coaching.intake.sets import preset_of, presets_of
from coaching.lessons import places
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.queries import student_day


@login_required
def ask(request: HttpRequest, pk: int) -> HttpResponse:
    """The coach asks for angles: a preset fills the rows, one press sends them."""
    student = access.student_prepare(request.user, pk)
    chosen = preset_of(student.studio, request.GET.get("preset", ""))
    due_on = student_day(student) + timedelta(days=chosen.due_days) if chosen.due_days else None
    said = {"text": places.fill(chosen.text, student), "due_on": due_on}
    form = AskForm(request.POST or None, initial=said)
    rows = AngleFormSet(request.POST or None, initial=chosen.for_student(student), prefix="angle")
    status = 200
    if request.method == "POST":
        if form.is_valid() and rows.is_valid():
            angles = [row.cleaned_data for row in rows if row.cleaned_data.get("view")]
            try:
                asking.request_angles(
                    student=student,
                    by=user_of(request),
                    angles=angles,
                    text=form.cleaned_data["text"],
                    due_on=form.cleaned_data["due_on"],
                )
            except LessonError as error:
                form.add_error(None, error.sentence)
            else:
                messages.success(request, _("Sent to %(name)s.") % {"name": student.name})
                return redirect("student", student.pk)
        status = 400
    context = {
        "student": student,
        "form": form,
        "rows": rows,
        "presets": presets_of(student.studio),
        "chosen": chosen,
        "open": list(queries.open_requests(student)),
    }
    return render(request, "intake/ask.html", context, status=status)


@require_safe
@login_required
def request_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One request: which angles are here, which are missing, what to film next."""
    row = mine.request_read(request.user, pk)
    context = {
        "asked": row,
        "angles": [(angle, queries.clips_for(angle)) for angle in row.angles.all()],
        "missing": queries.missing(row),
        "can_act": access.acts_for(request.user, row.student_id),
        "is_open": row.closed_at is None and row.suspended_at is None,
    }
    return render(request, "intake/request.html", context)


@require_POST
@login_required
def close(request: HttpRequest, pk: int) -> HttpResponse:
    row = mine.request_prepare(request.user, pk)
    asking.close_request(request=row, by=access.user_of(request))
    messages.success(request, _("Closed. What came back stays in the thread."))
    return redirect("intake:ask", row.student_id)
