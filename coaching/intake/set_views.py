"""The studio's request sets, by forms."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from coaching.intake import sets
from coaching.intake.forms import AngleFormSet, SetForm
from coaching.intake.models import RequestedAngle, RequestSet
from coaching.intake.presets import PRESETS
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import Studio

# What a new set begins with: most are of a swing from there.
FIRST_FILM = {"view": "down_the_line", "kind": "swing"}


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def sets_page(request: HttpRequest, pk: int) -> HttpResponse:
    """All of them, and an empty one to fill."""
    return _page(request, access.studio_teach(request.user, pk), None)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def set_page(request: HttpRequest, pk: int, id: int) -> HttpResponse:
    """All of them, and one of them open."""
    studio = access.studio_teach(request.user, pk)
    return _page(request, studio, get_object_or_404(studio.request_sets, pk=id))


def _page(request: HttpRequest, studio: Studio, chosen: RequestSet | None) -> HttpResponse:
    said = ("title", "note", "text", "due_days")
    initial = {name: getattr(chosen, name) for name in said} if chosen else {}
    form = SetForm(request.POST or None, initial=initial)
    films = list(chosen.angles) if chosen else [FIRST_FILM]
    rows = AngleFormSet(request.POST or None, initial=films, prefix="angle")
    if request.method == "POST" and form.is_valid() and rows.is_valid():
        angles = [row.cleaned_data for row in rows if row.cleaned_data.get("view")]
        try:
            saved = sets.save_set(
                studio=studio, by=user_of(request), row=chosen, angles=angles, **form.cleaned_data
            )
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            messages.success(request, _("Saved. It stands first where you ask for a film."))
            return redirect("intake:set", studio.pk, saved.pk)
    context = {
        "studio": studio,
        "sets": [(row, _films(row.angles)) for row in studio.request_sets.all()],
        "shipped": [(preset, _films(preset.angles)) for preset in PRESETS],
        "chosen": chosen,
        "form": form,
        "rows": rows,
    }
    wrong = request.method == "POST"
    return render(request, "intake/sets.html", context, status=400 if wrong else 200)


def _films(angles: object) -> list[RequestedAngle]:
    assert isinstance(angles, list | tuple)
    return [RequestedAngle(**one) for one in angles]


@require_POST
@login_required
def remove(request: HttpRequest, pk: int, id: int) -> HttpResponse:
    studio = access.studio_teach(request.user, pk)
    sets.remove_set(row=get_object_or_404(studio.request_sets, pk=id), by=user_of(request))
    messages.success(request, _("Removed. What you asked with it stays."))
    return redirect("intake:sets", studio.pk)
