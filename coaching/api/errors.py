"""The one place where a domain error becomes an answer of the API."""

from __future__ import annotations

from typing import Any

from rest_framework.response import Response
from rest_framework.views import exception_handler as drf_handler

from coaching.people.errors import LessonError


def exception_handler(exc: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's own format; `LessonError` carries its status, code and one clear sentence."""
    if isinstance(exc, LessonError):
        return Response({"detail": exc.sentence, "code": exc.code, **exc.extra}, status=exc.status)
    return drf_handler(exc, context)
