"""What every page does with a refusal, and the language of whoever is signed in."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import translation

from coaching.people.errors import LessonError


class Sentences:
    """Shows a refusal that no form caught as a page: its one sentence, its status."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, LessonError):
            return None
        if "application/json" in request.headers.get("Accept", ""):
            answer = {"detail": error.sentence, "code": error.code, **error.extra}
            return JsonResponse(answer, status=error.status)
        return render(
            request, "people/sentence.html", {"sentence": error.sentence}, status=error.status
        )


class OwnLanguage:
    """Speaks the language a person chose, on whatever device they sign in."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        language = request.session.get(settings.LANGUAGE_COOKIE_NAME)
        if language:
            translation.activate(language)
            request.LANGUAGE_CODE = translation.get_language()
        return self.get_response(request)
