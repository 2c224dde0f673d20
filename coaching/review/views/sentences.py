"""The studio's sentences: said every day, with places that fill themselves."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST

from coaching.lessons import places
from coaching.people import access
from coaching.people.access import user_of
from coaching.review.models import Snippet
from coaching.review.services import habits

LONGEST = 2000
# What stands in the places of the example on the page.
EXAMPLE = {"measure": "24°", "target": "40 to 45°"}


class SentenceForm(forms.Form):
    title = forms.CharField(label=gettext_lazy("Title, for you"), max_length=60, required=False)
    text = forms.CharField(
        label=gettext_lazy("Words"),
        max_length=LONGEST,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def sentences(request: HttpRequest, pk: int) -> HttpResponse:
    """All of them, and an empty one to write."""
    studio = access.studio_read(request.user, pk)
    return _page(request, studio, None)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def sentence(request: HttpRequest, pk: int, id: int) -> HttpResponse:
    """All of them, and one of them open."""
    studio = access.studio_read(request.user, pk)
    return _page(request, studio, get_object_or_404(studio.snippets, pk=id))


def _page(request: HttpRequest, studio: Any, chosen: Snippet | None) -> HttpResponse:
    said = {"title": chosen.title, "text": chosen.text} if chosen else {}
    form = SentenceForm(request.POST or None, initial=said)
    if request.method == "POST" and form.is_valid():
        saved, replaced = habits.write_sentence(
            studio=studio, by=user_of(request), snippet=chosen, **form.cleaned_data
        )
        note = _("Saved.")
        if replaced:
            note = _("Saved. %(names)s became the place for a name, because others read it too.")
            note %= {"names": ", ".join(f"“{name}”" for name in replaced)}
        messages.success(request, note)
        return redirect("review:sentence", studio.pk, saved.pk)
    reader = studio.students.filter(closed_at__isnull=True).order_by("pk").first()
    context = {
        "studio": studio,
        "snippets": studio.snippets.all(),
        "chosen": chosen,
        "form": form,
        "places": places.PLACES,
        "reader": reader and places.first_name(reader.name),
        "example": places.fill(chosen.text, reader, **EXAMPLE) if chosen and reader else "",
    }
    return render(request, "review/sentences.html", context, status=400 if form.errors else 200)


@require_POST
@login_required
def remove(request: HttpRequest, pk: int, id: int) -> HttpResponse:
    studio = access.studio_read(request.user, pk)
    habits.remove_snippet(by=user_of(request), snippet=get_object_or_404(studio.snippets, pk=id))
    messages.success(request, _("Removed."))
    return redirect("review:sentences", studio.pk)
