"""Filming on a phone without an account: the link's own page, and where it is made and ended."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import qrcode
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST, require_safe

from coaching import addresses, numbers
from coaching.bodies import ANY, takes_up_to
from coaching.intake import access as mine
from coaching.intake import queries
from coaching.intake.models import FilmingLink, Request
from coaching.intake.services import filming_links as services
from coaching.intake.views import film_context, take_form
from coaching.lessons.wording.codes import quality_message
from coaching.people import secret_links
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.queries import decides_for


@require_safe
@login_required
def phone_link(request: HttpRequest, pk: int) -> HttpResponse:
    """Where a request is sent to another phone: the link, its picture, and its end."""
    return _link_page(request, mine.request_act(request.user, pk))


def _link_page(
    request: HttpRequest, asked: Request, *, trouble: str = "", status: int = 200
) -> HttpResponse:
    links = [
        (link, address := addresses.page("intake:phone", link.token), _squares(address))
        for link in services.open_links(asked)
    ]
    student = asked.student
    context = {
        "asked": asked,
        "student": student,
        "missing": queries.missing(asked),
        "can_make": decides_for(student, user_of(request)),
        "is_own": student.user_id == user_of(request).pk,
        "links": links,
        "days": services.DAYS,
        "trouble": trouble,
    }
    return secret_links.unkept(render(request, "intake/phone_link.html", context, status=status))


def _squares(address: str) -> dict[str, Any]:
    """The address as a picture for a camera (a QR code): one path of squares, with its margin."""
    code = qrcode.QRCode(border=0, error_correction=qrcode.constants.ERROR_CORRECT_M)
    code.add_data(address)
    code.make()
    rows = enumerate(code.modules)
    path = "".join(f"M{x},{y}h1v1h-1z" for y, row in rows for x, dark in enumerate(row) if dark)
    return {"path": path, "size": len(code.modules)}


@require_POST
@login_required
def make(request: HttpRequest, pk: int) -> HttpResponse:
    asked = mine.request_act(request.user, pk)
    try:
        days = numbers.whole(request.POST.get("days", ""), high=1000)
    except ValueError:
        days = 0  # refused by the service, as any other number that is not offered
    try:
        services.make_link(request=asked, by=user_of(request), days=days)
    except LessonError as error:
        return _link_page(request, asked, trouble=error.sentence, status=error.status)
    return redirect("intake:phone_link", asked.pk)


@require_POST
@login_required
def end(request: HttpRequest, pk: int) -> HttpResponse:
    link = mine.filming_link_act(request.user, pk)
    services.end_link(link=link, by=user_of(request))
    messages.success(request, _("Ended. Nothing can be filmed by this link any more."))
    return redirect("intake:phone_link", link.request_id)


# Without an account


@require_safe
def phone(request: HttpRequest, token: str) -> HttpResponseBase:
    """What a link asks for: the next film that is missing, or that all is here. It names nobody."""
    return _of_link(request, token, "page", _phone_page)


@require_safe
def phone_part(request: HttpRequest, token: str) -> HttpResponseBase:
    """The part of the page that changes by itself while a film is checked."""
    return _of_link(
        request,
        token,
        "part",
        lambda request, link: render(request, "intake/_phone_sent.html", _sent(link)),
    )


@csrf_exempt  # only until the link is known; `take_form` is protected
@takes_up_to(ANY)
@require_POST
def phone_send(request: HttpRequest, token: str, pk: int) -> HttpResponseBase:
    """A clip from a plain form, without script."""

    def take(request: HttpRequest, link: FilmingLink) -> HttpResponse:
        angle = services.angle_of(link, pk)
        assert link.made_by is not None
        return take_form(
            request,
            angle,
            by=link.made_by,
            page=partial(_phone_page, request, link),
            arrived=lambda clip: redirect("intake:phone", token),
        )

    return _of_link(request, token, "page", take)


def _of_link(
    request: HttpRequest, token: str, action: str, show: Callable[..., HttpResponse]
) -> HttpResponse:
    if (busy := secret_links.too_often(request, action, what="phone")) is not None:
        return busy
    try:
        answer = show(request, services.link_open(token))
    except LessonError as error:
        context = {"sentence": error.sentence}
        answer = render(request, "intake/phone_over.html", context, status=error.status)
    return secret_links.hidden(answer)


def _phone_page(
    request: HttpRequest, link: FilmingLink, *, trouble: str = "", status: int = 200
) -> HttpResponse:
    sent = _sent(link)
    if not sent["missing"]:
        return render(request, "intake/phone.html", sent)
    angle = sent["missing"][0]
    context = film_context(request, angle, sent["asked"]) | {
        "can_film": True,
        "trouble": trouble,
        "advice": sent["advice"],
        "link": link,
        "endpoint": reverse("intake:phone_uploads", args=[link.token]),
        "send_url": reverse("intake:phone_send", args=[link.token, angle.pk]),
    }
    return render(request, "intake/film.html", context, status=status)


def _sent(link: FilmingLink) -> dict[str, Any]:
    """How far the films of a link's request are."""
    asked = queries.with_clips(Request.objects.filter(pk=link.request_id)).get()
    missing = queries.missing(asked)
    clips = [clip for angle in asked.angles.all() for clip in queries.clips_for(angle)]
    checking = any(queries.state(clip) == queries.State.CHECKING for clip in clips)
    back = [clip for clip in clips if missing and clip.angle_id == missing[0].pk]
    return {
        "link": link,
        "asked": asked,
        "missing": missing,
        "advice": [quality_message(code) for clip in back[-1:] for code in queries.codes(clip)],
        "state": "missing" if missing else "checking" if checking else "here",
    }
