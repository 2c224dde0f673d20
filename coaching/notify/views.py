"""Letters, notifications to devices and the calendar: what somebody wants to hear, and where."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from coaching import addresses
from coaching.notify import devices, pushing, queries, services
from coaching.notify.forms import LettersForm
from coaching.notify.ical import calendar as written
from coaching.notify.models import Feed
from coaching.notify.readers import GROUPS
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.queries import zone_of


@login_required
def settings(request: HttpRequest) -> HttpResponse:
    off = user_of(request).preferences.get("letters_off", [])
    form = LettersForm(
        request.POST if request.method == "POST" else None,
        initial={"wanted": [name for name in GROUPS if name not in off]},
    )
    if request.method == "POST" and form.is_valid():
        services.choose_emails(user=user_of(request), wanted=form.cleaned_data["wanted"])
        messages.success(request, _("Saved."))
        return redirect("notify:settings")
    feed = services.feed_of(user_of(request))
    address = addresses.page("notify:calendar", feed.token)
    context = {
        "form": form,
        "address": address,
        "webcal": "webcal:" + address.partition(":")[2],
        "push_key": pushing.public_key(),
        "browsers": devices.of_user(user_of(request)),
        "this_browser": devices.of_request(request),
    }
    return render(request, "notify/settings.html", context)


@login_required
@require_POST
def push_on(request: HttpRequest) -> HttpResponse:
    """Sent by the script of the settings page: nobody reads what comes back but a refusal."""
    try:
        row = devices.subscribe(
            user=user_of(request),
            session_key=request.session.session_key or "",
            endpoint=request.POST.get("endpoint", ""),
            p256dh=request.POST.get("p256dh", ""),
            auth=request.POST.get("auth", ""),
        )
    except LessonError as error:
        return HttpResponse(error.sentence, status=error.status, content_type="text/plain")
    answer = HttpResponse(status=204)
    devices.remember(answer, row)
    return answer


@login_required
@require_POST
def push_off(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(user_of(request).push_subscriptions, pk=pk)
    devices.unsubscribe(subscription=row, by=user_of(request))
    messages.success(request, _("Saved."))
    return redirect("notify:settings")


@login_required
@require_POST
def renew(request: HttpRequest) -> HttpResponse:
    services.renew_feed(user=user_of(request))
    messages.success(request, _("The calendar has a new address; the old one is closed."))
    return redirect("notify:settings")


@require_safe
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    """Read by calendar programs, which can't sign in: the address itself is the key."""
    feed = get_object_or_404(Feed.objects.select_related("user"), token=token, user__is_active=True)
    with translation.override(feed.user.language), timezone.override(zone_of(feed.user)):
        body = written(queries.events_of(feed.user), name="Causeway")
    answer = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    answer["Cache-Control"] = "private, max-age=900"
    answer["X-Robots-Tag"] = "noindex"
    return answer
