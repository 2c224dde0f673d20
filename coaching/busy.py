"""A database that is locked for too long: one clear sentence, and the server goes on."""

from __future__ import annotations

from collections.abc import Callable

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _


class BusyMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Nothing was half-written: the transaction of whatever was tried is rolled back."""
        if not isinstance(exception, OperationalError):
            return None
        sentence = _("We are busy for a moment. Nothing is lost: wait a little and try again.")
        response: HttpResponse
        if "text/html" in request.headers.get("Accept", ""):
            response = render(request, "busy.html", {"sentence": sentence}, status=503)
        else:
            response = JsonResponse({"detail": sentence, "code": "busy"}, status=503)
        response["Retry-After"] = "5"
        return response
