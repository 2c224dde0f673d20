"""What every page does with a refusal; the language, the clock and the privacy of whoever is
signed in."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone, translation
from django.utils.cache import add_never_cache_headers
from django.utils.translation import gettext as _

from coaching.people import queries
from coaching.people.errors import LessonError


class Sentences:
    """Shows a refusal that no form caught as a page: its one sentence, its status.

    So is an address that only takes what a form sends, where somebody comes to it without: by
    signing in again after the session ran out over a form, or by loading its answer anew.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if not isinstance(response, HttpResponseNotAllowed) or request.method != "GET":
            return response
        if "text/html" not in request.headers.get("Accept", ""):
            return response
        sentence = _("Nothing was sent just now. Go back, and send it once more.")
        page = render(request, "people/sentence.html", {"sentence": sentence}, status=405)
        page["Allow"] = response["Allow"]
        return page

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, LessonError):
            return None
        if "application/json" in request.headers.get("Accept", ""):
            answer = {"detail": error.sentence, "code": error.code, **error.extra}
            return JsonResponse(answer, status=error.status)
        return render(
            request, "people/sentence.html", {"sentence": error.sentence}, status=error.status
        )


class Idle:
    """Signs out whoever has done nothing for `SESSION_IDLE_HOURS`; 0 signs nobody out.

    What a page asks for by itself counts as doing something. The moment is written down once
    in a twentieth of that time, not with every request.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        limit = settings.SESSION_IDLE_HOURS * 3600
        if limit and request.user.is_authenticated:
            now = int(timezone.now().timestamp())
            idle = now - request.session.get("last_at", now)
            if idle > limit:
                logout(request)
            elif idle > limit / 20 or "last_at" not in request.session:
                request.session["last_at"] = now
        return self.get_response(request)


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


class OwnTimeZone:
    """Days and hours on a page are those of whoever reads it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        zone = queries.zone_of(user) if user.is_authenticated else None
        with timezone.override(zone):
            return self.get_response(request)


class Private:
    """Pages of somebody signed in are kept by no cache, also not for the back button after
    signing out; nor is what a secret link opens. No page asks the browser for what it does not
    need."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self.policy = ", ".join(
            f"{name}={who}" for name, who in settings.PERMISSIONS_POLICY.items()
        )

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", self.policy)
        kept = request.user.is_authenticated or _opens_something(request)
        if kept and not response.has_header("Cache-Control"):
            add_never_cache_headers(response)
        return response


class SecondStep:
    """Where a studio asks its people for a second step, they set one up before anything else."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view, args, kwargs) -> HttpResponse | None:  # type: ignore[no-untyped-def]
        name = request.resolver_match.view_name if request.resolver_match else ""
        if name.startswith(("mfa_", "account_", "usersessions_")) or name in STILL_OPEN:
            return None
        if not queries.lacks_second_step(request.user):
            return None
        return redirect("mfa_index")


def _opens_something(request: HttpRequest) -> bool:
    """Whether a key stands in the address."""
    match = request.resolver_match
    return match is not None and bool({"token", "key"} & match.kwargs.keys())


STILL_OPEN = {"healthz", "people:profile"}
