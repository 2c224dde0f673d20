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
    return drf_handler(exc, context)  # what it does not know goes on to `coaching.busy`


REFUSAL = {
    "type": "object",
    "description": "One sentence in `detail` with a stable `code`, or sentences by field.",
    "properties": {"detail": {"type": "string"}, "code": {"type": "string"}},
    "additionalProperties": {},
}
REFUSALS = {
    400: "Something sent is missing or makes no sense.",
    401: "Nobody is signed in, or the key opens nothing.",
    403: "This person may not do it, or must sign in afresh.",
    404: "There is no such thing for this person.",
    409: "As things stand it can not be done; `code` says why.",
    410: "It was erased, or the link has been used or has expired.",
    413: "Too much was sent.",
    429: "Too often: try again later.",
}


def describe_refusals(result: dict[str, Any], **_kwargs: Any) -> dict[str, Any]:
    """Write into the OpenAPI description what each operation may refuse with."""
    result["components"]["schemas"]["Refusal"] = REFUSAL
    for path, operations in result["paths"].items():
        for method, operation in operations.items():
            for status in sorted(_refused_with(path, method, operation)):
                operation["responses"].setdefault(
                    str(status),
                    {
                        "description": REFUSALS[status],
                        "content": {
                            "application/json": {"schema": {"$ref": "#/components/schemas/Refusal"}}
                        },
                    },
                )
    return result


def _refused_with(path: str, method: str, operation: dict[str, Any]) -> set[int]:
    found = {400}
    found |= {401} if {} not in operation.get("security", [{}]) else {429}
    if "{" in path:
        found.add(404)
    if method != "get":
        found |= {403, 409}
    if method != "get" and "{" in path:
        found.add(410)
    if "requestBody" in operation:
        found.add(413)
    return found
