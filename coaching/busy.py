"""A database or Redis that is locked, full up or away: one clear sentence, and the server goes on.

Views, middleware and whatever else runs for a request end in one of two places: Django's
`process_exception`, or the handler of uncaught errors. Both answer the same and are logged.
"""

from __future__ import annotations

import logging
import sys
from collections.abc import Callable

from django.db import InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views import defaults
from redis.exceptions import RedisError

logger = logging.getLogger(__name__)
# Sign-in counts in Redis: where it cannot count it lets nobody try.
BUSY = (OperationalError, InterfaceError, RedisError)


class BusyMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Nothing was half-written: the transaction of whatever was tried is rolled back."""
        return busy(request, exception) if isinstance(exception, BUSY) else None


def server_error(request: HttpRequest) -> HttpResponseBase:
    """What nobody caught, wherever it arose: the session, a middleware, a template."""
    error = sys.exc_info()[1]
    if isinstance(error, BUSY):
        return busy(request, error)
    return defaults.server_error(request)


def busy(request: HttpRequest, error: BaseException) -> HttpResponse:
    logger.error("We are busy: %s", type(error).__name__, exc_info=error)
    sentence = _("We are busy for a moment. Nothing is lost: wait a little and try again.")
    response: HttpResponse
    if "text/html" in request.headers.get("Accept", ""):
        response = render(request, "busy.html", {"sentence": sentence}, status=503)
    else:
        response = JsonResponse({"detail": sentence, "code": "busy"}, status=503)
    response["Retry-After"] = "5"
    return response
