"""What no field, address or query may hold, refused at the door with one sentence.

PostgreSQL keeps no NUL in text, UTF-8 has no lone surrogates, a row's key has at most 19
digits, and nobody writes a text of a million letters: whoever sends such things gets a
400 (or a 404 for an address), on every page, signed in or not.
"""

from __future__ import annotations

import json
import logging
import math
from collections.abc import Callable
from typing import Any

from django.core.exceptions import BadRequest, RequestDataTooBig, TooManyFieldsSent
from django.db import DataError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from coaching.numbers import LARGEST

logger = logging.getLogger(__name__)
MOST_LETTERS = 20_000
# Whole documents that come in one field.
DOCUMENTS = {"ladder": 200_000, "captions": 400_000}
QUERY_MOST = 2_000
DEEPEST = 32


def trouble_with(text: str, *, most: int = 400_000) -> str:
    """Why `text` cannot be kept, as a sentence; empty when it can."""
    if "\0" in text:
        return _("That text holds a sign that cannot be kept. Write it anew.")
    if len(text) > most:
        return _("That text is too long. Keep it under %(most)s letters.") % {"most": most}
    try:
        text.encode()
    except UnicodeEncodeError:
        return _("That text holds a sign that cannot be kept. Write it anew.")
    return ""


def check_plain(data: Any, *, depth: int = 0) -> None:
    """Refuse what came as JSON and no database keeps, or no program means.

    Raises
    ------
    ValueError
        With a sentence.
    """
    if depth > DEEPEST:
        raise ValueError(_("That is nested too deeply."))
    if isinstance(data, str):
        if trouble := trouble_with(data):
            raise ValueError(trouble)
    elif isinstance(data, float):
        if not math.isfinite(data):
            raise ValueError(_("Numbers must be finite."))
    elif isinstance(data, int):
        if abs(data) > LARGEST:
            raise ValueError(_("That number is too large."))
    elif isinstance(data, dict):
        for key, value in data.items():
            check_plain(key, depth=depth + 1)
            check_plain(value, depth=depth + 1)
    elif isinstance(data, list):
        for value in data:
            check_plain(value, depth=depth + 1)


def parse_json(text: str | bytes) -> Any:
    """JSON that came as text or as a file.

    Raises
    ------
    ValueError
    """
    try:
        data = json.loads(text)
    except RecursionError:
        raise ValueError(_("That is nested too deeply.")) from None
    check_plain(data)
    return data


class PlainInput:
    """Stands behind the CSRF check, which has read the form of every protected page."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "\0" in request.path:
            raise Http404
        for name, values in request.GET.lists():
            for text in (name, *values):
                if trouble := trouble_with(text, most=QUERY_MOST):
                    return _refused(request, trouble)
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Any, args: Any, kwargs: dict[str, Any]
    ) -> HttpResponse | None:
        for value in kwargs.values():
            if isinstance(value, int) and value > LARGEST:
                raise Http404
        # The one unprotected form checks itself: it must not be read before its size is known.
        if request.method != "POST" or getattr(view, "csrf_exempt", False):
            return None
        try:
            fields = list(request.POST.lists())
        except (BadRequest, RequestDataTooBig, TooManyFieldsSent):
            return _refused(request, _("That form is too large, or it was cut off. Send it again."))
        for name, values in fields:
            for text in (name, *values):
                if trouble := trouble_with(text, most=DOCUMENTS.get(name, MOST_LETTERS)):
                    return _refused(request, trouble)
        return None

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """A value that the database refuses came from outside and got past every field."""
        if not isinstance(error, DataError):
            return None
        logger.error("A field lets through what its column cannot hold.", exc_info=error)
        return _refused(request, _("Part of that cannot be kept. Check the numbers and texts."))


def _refused(request: HttpRequest, sentence: str) -> HttpResponse:
    if "text/html" in request.headers.get("Accept", ""):
        return render(request, "people/sentence.html", {"sentence": sentence}, status=400)
    return JsonResponse({"detail": sentence, "code": "input"}, status=400)
