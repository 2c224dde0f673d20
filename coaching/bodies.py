"""How much a request may bring, said before a byte of it is read.

The CSRF check reads the form of every page, signed in or not, and a form's files go to the disk:
without a limit a stranger fills it. A view that takes more says so with `takes_up_to`.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import Any, TypeVar

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from coaching import numbers

V = TypeVar("V", bound=Callable[..., Any])
ANY = None  # the view reads piece by piece, and counts itself
FORM_ROOM = 64 * 1024  # what a form adds around its file
DRAINED = 16 * 1024**2  # whoever is still sending so much hears our sentence, not a broken line


def takes_up_to(most: int | None) -> Callable[[V], V]:
    """Let a view, or every action of a class of the API, take `most` bytes of somebody known."""

    def noted(view: V) -> V:
        view.takes_up_to = most  # type: ignore[attr-defined]
        return view

    return noted


def most_of(view: Any, *, is_known: bool) -> int | None:
    """How many bytes `view` takes; of somebody unknown no more than a form's.

    What checks who it is before it reads (the API, uploads) is left to do so.
    """
    usual = int(settings.DATA_UPLOAD_MAX_MEMORY_SIZE)
    own: int | None = getattr(getattr(view, "cls", view), "takes_up_to", usual)
    checks_first = getattr(view, "csrf_exempt", False)
    return own if is_known or checks_first else usual


class BodyLimit:
    """Stands before the CSRF check."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Any, args: Any, kwargs: Any
    ) -> HttpResponse | None:
        told = request.META.get("CONTENT_LENGTH") or "0"
        try:
            length = numbers.whole(told)
        except ValueError:  # the server reads none of it either
            return None
        most = most_of(view, is_known=request.user.is_authenticated)
        if most is None or length <= most + FORM_ROOM:
            return None
        _drain(request, length)
        return _too_much(request)


def _drain(request: HttpRequest, length: int) -> None:
    left = min(length, DRAINED)
    with contextlib.suppress(OSError):
        while left > 0 and (piece := request.read(min(1 << 16, left))):
            left -= len(piece)


def _too_much(request: HttpRequest) -> HttpResponse:
    sentence = _("That is more than this page takes. Send a smaller file, or less at once.")
    if "text/html" in request.headers.get("Accept", ""):
        return render(request, "people/sentence.html", {"sentence": sentence}, status=413)
    return JsonResponse({"detail": sentence, "code": "too_big"}, status=413)
