"""The whole record: taken along, or erased."""

from __future__ import annotations

import tempfile

from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from coaching.people import access, services
from coaching.people.forms import EraseForm
from coaching.people.models import User
from coaching.people.views.account import posted


@require_safe
@login_required
def export(request: HttpRequest, pk: int) -> HttpResponse:
    """A zip with every row and every file. The student's, his guardian's or the owner's right."""
    student = access.student_record(request.user, pk)
    target = tempfile.TemporaryFile()  # noqa: SIM115 (the response closes it)
    services.write_export(student=student, target=target)
    target.seek(0)
    name = f"{slugify(student.name) or 'student'}-{timezone.localdate():%Y-%m-%d}.zip"
    return FileResponse(target, as_attachment=True, filename=name, content_type="application/zip")


@login_required
def erase(request: HttpRequest, pk: int) -> HttpResponse:
    student = access.student_record(request.user, pk)
    form = EraseForm(posted(request), student=student)
    if request.method == "POST" and form.is_valid():
        services.erase_record(student=student)
        messages.success(request, _("Erased. Nothing of this record is left here."))
        if not User.objects.filter(pk=request.user.pk).exists():
            logout(request)
            return redirect("people:login")
        return redirect("desk:home")
    context = {"student": student, "form": form}
    return render(request, "people/erase.html", context, status=400 if form.errors else 200)
