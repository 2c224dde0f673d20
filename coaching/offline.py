"""Installing the site on a phone, and what it shows without a connection.

The worker keeps what says nothing of anybody: styles, scripts, letters and one page. The pages
that a student needs on a range (requests, drills, answers, verdicts) are kept by the page itself
(`static/js/offline/reading.js`), for the student's own side only, and go at signing out or when
another person signs in. What was written or filmed meanwhile waits in the browser's own store
and goes when the line is back.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from typing import cast

from csp.decorators import csp_update
from django.conf import settings
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from coaching.people.student_forms import BODY_ORDER

# Everything that the offline page needs, and what pages share.
SHELL = (
    "icon.svg",
    "css/tokens.css",
    "css/base.css",
    "css/parts.css",
    "js/offline/connect.js",
    "js/offline/queue.js",
    "js/offline/reading.js",
    "js/offline/queued-form.js",
    "js/offline/offline-page.js",
    "js/intake/unsent-clip.js",
    "js/intake/clip-store.js",
    "js/intake/persistence.js",
    "vendor/icons.svg",
    "vendor/fonts/commissioner-latin-flar-normal.woff2",
    "vendor/fonts/source-sans-3-latin-wght-normal.woff2",
)


def is_for_later(request: HttpRequest) -> bool:
    """A page fetched to be kept on the phone: nobody has read it yet."""
    return request.headers.get("X-Keep") == "1"


@lru_cache(maxsize=1)
def shell_version() -> str:
    """Changes when any file of the shell, or its page, does."""
    files = [settings.BASE_DIR / "static" / name for name in SHELL]
    files += [settings.BASE_DIR / "templates" / "offline" / "page.html"]
    known = hashlib.sha256()
    for file in files:
        if file.exists():
            known.update(file.read_bytes())
    return known.hexdigest()[:12]


@require_safe
def manifest(request: HttpRequest) -> JsonResponse:
    """https://www.w3.org/TR/appmanifest/"""
    icons = [
        {"src": staticfiles_storage.url(f"icon-{size}.png"), "sizes": f"{size}x{size}",
         "type": "image/png", "purpose": purpose}
        for size in (192, 512) for purpose in ("any", "maskable")
    ]  # fmt: skip
    answer = JsonResponse(
        {
            "id": "/",
            "name": "Causeway",
            "short_name": "Causeway",
            "description": _("Golf lessons by film."),
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": "#f2f1eb",
            "theme_color": "#f2f1eb",
            "icons": icons,
        }
    )
    answer["Content-Type"] = "application/manifest+json"
    return answer


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    context = {
        "version": shell_version(),
        "static_url": settings.STATIC_URL,
        "files": [staticfiles_storage.url(name) for name in SHELL],
        "icon": staticfiles_storage.url("icon-192.png"),
    }
    answer = render(request, "offline/worker.js", context, content_type="text/javascript")
    answer["Cache-Control"] = "no-cache"
    # Pictures pass through the worker, also those that lead on to the object storage.
    allow = csp_update({"connect-src": [*settings.MEDIA_ORIGINS]})
    return cast(HttpResponse, allow(lambda _request: answer)(request))


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """Shown in place of any page while there is no connection; the same for everybody."""
    context = {"regions": [(region.value, region.label) for region in BODY_ORDER]}
    return render(request, "offline/page.html", context)
