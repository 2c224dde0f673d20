"""Letters and the calendar: what somebody wants to hear, and where."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from coaching.notify import queries, services
from coaching.notify.forms import LettersForm
from coaching.notify.ical import calendar as written
from coaching.notify.models import Feed
from coaching.notify.readers import GROUPS


@login_required
def settings(request: HttpRequest) -> HttpResponse:
    off = request.user.preferences.get("letters_off", [])
    form = LettersForm(
        request.POST if request.method == "POST" else None,
        initial={"wanted": [name for name in GROUPS if name not in off]},
    )
    if request.method == "POST" and form.is_valid():
        services.choose_letters(user=request.user, wanted=form.cleaned_data["wanted"])
        messages.success(request, _("Saved."))
        return redirect("notify:settings")
    feed = services.feed_of(request.user)
    address = request.build_absolute_uri(reverse("notify:calendar", args=[feed.token]))
    return render(request, "notify/settings.html", {"form": form, "address": address})


@login_required
@require_POST
def renew(request: HttpRequest) -> HttpResponse:
    services.renew_feed(user=request.user)
    messages.success(request, _("The calendar has a new address; the old one is closed."))
    return redirect("notify:settings")


@require_safe
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    """Read by calendar programs, which can't sign in: the address itself is the key."""
    feed = get_object_or_404(Feed.objects.select_related("user"), token=token, user__is_active=True)
    with translation.override(feed.user.language):
        body = written(queries.events_of(feed.user), name="Causeway")
    answer = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    answer["Cache-Control"] = "private, max-age=900"
    answer["X-Robots-Tag"] = "noindex"
    return answer
