"""The whole record: taken along, or erased."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
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
def export(request: HttpRequest, pk: int) -> StreamingHttpResponse:
    """A zip with every row and every file. The student's, his guardian's or the owner's right."""
    student = access.student_record(request.user, pk)
    name = f"{slugify(student.name) or 'student'}-{timezone.localdate():%Y-%m-%d}.zip"
    return StreamingHttpResponse(
        services.export_record(student),
        content_type="application/zip",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


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
