"""The whole record: taken along, or erased."""

from __future__ import annotations

from allauth.account.decorators import reauthentication_required
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from coaching.people import access, audit
from coaching.people.access import user_of
from coaching.people.forms import EraseForm
from coaching.people.models import User
from coaching.people.services import record
from coaching.people.views.account import posted

LOG_ROWS = 500


@require_safe
@login_required
@reauthentication_required  # type: ignore[untyped-decorator]
def export(request: HttpRequest, pk: int) -> StreamingHttpResponse:
    """A zip with every row and every file. The student's, his guardian's or the owner's right."""
    student = access.student_record(request.user, pk)
    name = f"{slugify(student.name) or 'student'}-{timezone.localdate():%Y-%m-%d}.zip"
    return StreamingHttpResponse(
        record.export_record(student, by=user_of(request)),
        content_type="application/zip",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@require_safe
@login_required
def log(request: HttpRequest, pk: int) -> HttpResponse:
    """Who saw, handed out or changed what of this record."""
    student = access.student_record(request.user, pk)
    rows = audit.of_student(student).select_related("by")[:LOG_ROWS]
    return render(request, "people/log.html", {"student": student, "log": rows})


@login_required
@reauthentication_required  # type: ignore[untyped-decorator]
def erase(request: HttpRequest, pk: int) -> HttpResponse:
    student = access.student_record(request.user, pk)
    form = EraseForm(posted(request), student=student)
    if request.method == "POST" and form.is_valid():
        record.erase_record(student=student, by=user_of(request))
        messages.success(request, _("Erased. Nothing of this record is left here."))
        if not User.objects.filter(pk=user_of(request).pk).exists():
            logout(request)
            return redirect("account_login")
        return redirect("home")
    context = {"student": student, "form": form}
    return render(request, "people/erase.html", context, status=400 if form.errors else 200)
