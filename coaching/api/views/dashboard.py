"""The waiting list, and the description of the API as a page."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.request import Request as ApiRequest
from rest_framework.response import Response
from rest_framework.views import APIView

from coaching.dashboard import rows as waiting
from coaching.people import access

RowShape = inline_serializer(
    "WaitingRow",
    {
        "group": serializers.ChoiceField(choices=waiting.GROUPS),
        "key": serializers.CharField(help_text="Names this thing when it is put off."),
        "student": serializers.IntegerField(),
        "sentence": serializers.CharField(),
        "since": serializers.DateTimeField(),
        "promised_at": serializers.DateTimeField(allow_null=True),
        "submission": serializers.IntegerField(allow_null=True),
        "attempt": serializers.IntegerField(allow_null=True),
        "action": serializers.CharField(),
        "url": serializers.CharField(),
    },
    many=True,
)


class Waiting(APIView):
    """Everything that waits for the coach, most urgent first."""

    @extend_schema(
        responses=RowShape,
        parameters=[OpenApiParameter("text", str, description="Only rows holding these words.")],
    )
    def get(self, request: ApiRequest) -> Response:
        students = access.students_taught(request.user).filter(closed_at__isnull=True)
        rows = waiting.waiting_list(students, text=request.query_params.get("text", ""))
        return Response(
            [
                {
                    "group": row.group,
                    "key": row.key,
                    "student": row.student.pk,
                    "sentence": row.sentence,
                    "since": row.since,
                    "promised_at": row.promised_at,
                    "submission": row.submission.pk if row.submission else None,
                    "attempt": row.attempt.pk if row.attempt else None,
                    "action": row.action,
                    "url": row.url,
                }
                for row in rows
            ]
        )


def reference(request: HttpRequest) -> HttpResponse:
    """The schema as a page to read, without script from anywhere."""
    generator = SchemaGenerator()  # type: ignore[no-untyped-call]
    schema = generator.get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    groups: dict[str, list[dict[str, Any]]] = {}
    for path, operations in schema["paths"].items():
        for method, operation in operations.items():
            group = path.split("/")[2] if path.count("/") > 2 else path
            groups.setdefault(group, []).append(
                {
                    "method": method.upper(),
                    "path": path,
                    "text": operation.get("description", ""),
                    "takes": _shape_names(operation.get("requestBody", {}).get("content", {})),
                    "parameters": [p["name"] for p in operation.get("parameters", [])],
                    "gives": [
                        {"status": code, "shapes": _shape_names(answer.get("content", {}))}
                        for code, answer in operation.get("responses", {}).items()
                    ],
                }
            )
    shown = [
        {"name": name, "fields": _fields(shape)}
        for name, shape in sorted(schema["components"]["schemas"].items())
        if shape.get("properties")
    ]
    return render(request, "api/reference.html", {"groups": groups, "shapes": shown})


def _shape_names(content: dict[str, Any]) -> list[str]:
    names = []
    for media in content.values():
        shape = media.get("schema", {})
        reference_to = shape.get("$ref") or shape.get("items", {}).get("$ref") or ""
        name = reference_to.rsplit("/", 1)[-1] or shape.get("type", "")
        if name and name not in names:
            names.append(name)
    return names


def _fields(shape: dict[str, Any]) -> list[dict[str, Any]]:
    required = shape.get("required", [])
    return [
        {
            "name": name,
            "kind": field.get("format") or field.get("type") or "see its own shape",
            "required": name in required,
            "read_only": field.get("readOnly", False),
        }
        for name, field in shape["properties"].items()
    ]
