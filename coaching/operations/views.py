"""The owner's page about the machine."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from analysis.models import Run
from coaching.notify.models import Notice
from coaching.operations import queries, services
from coaching.people import access


@require_safe
@login_required
def page(request: HttpRequest, pk: int) -> HttpResponse:
    studio = access.studio_own(request.user, pk)
    context = {"studio": studio} | queries.operations_of(studio)
    return render(request, "operations/page.html", context)


@require_POST
@login_required
def retry_run(request: HttpRequest, pk: int, run: int) -> HttpResponse:
    studio = access.studio_own(request.user, pk)
    row = get_object_or_404(Run, pk=run, video__submission__student__studio=studio)
    services.retry_run(run=row, by=access.user_of(request))
    messages.success(request, _("We are trying again."))
    return redirect("operations", studio.pk)


@require_POST
@login_required
def retry_email(request: HttpRequest, pk: int, email: int) -> HttpResponse:
    studio = access.studio_own(request.user, pk)
    row = get_object_or_404(Notice, pk=email, entry__thread__student__studio=studio)
    services.retry_email(notice=row, by=access.user_of(request))
    messages.success(request, _("It goes out with the next turn, in a few seconds."))
    return redirect("operations", studio.pk)
