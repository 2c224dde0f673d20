"""One line in the log for each request, under an id that its answer carries too."""

from __future__ import annotations

import logging
import re
import time
import uuid
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from analysis import logs

logger = logging.getLogger("causeway.request")
GIVEN = re.compile(r"[A-Za-z0-9-]{8,64}")
QUIET = {"healthz", "readyz", "metrics"}  # asked every few seconds by machines


class RequestLog:
    """Stands first. The line names the address by its pattern: what a link holds is not in it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        name = request.headers.get("X-Request-ID", "") if settings.BEHIND_PROXY else ""
        name = name if GIVEN.fullmatch(name) else uuid.uuid4().hex
        with logs.at_work_on(request=name):
            began = time.perf_counter()
            response = self.get_response(request)
            response["X-Request-ID"] = name
            match = request.resolver_match
            logger.log(
                logging.DEBUG if match and match.view_name in QUIET else logging.INFO,
                "%s %s %d",
                request.method,
                f"/{match.route}" if match else "no such page",
                response.status_code,
                extra={"ms": round(1000 * (time.perf_counter() - began))},
            )
        return response
