"""How the API reads what programs send: one parser, one paginator."""

from __future__ import annotations

from typing import Any, cast

from django.utils.translation import gettext as _
from rest_framework.exceptions import ParseError
from rest_framework.pagination import LimitOffsetPagination
from rest_framework.parsers import FormParser, JSONParser, MultiPartParser
from rest_framework.request import Request

from coaching.plain_input import check_plain

MOST_ROWS = 200
FARTHEST = 1_000_000


class PlainJSONParser(JSONParser):
    """JSON of a sane depth, with finite numbers and text that every database keeps."""

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        try:
            data = super().parse(stream, media_type, parser_context)
        except RecursionError:
            raise ParseError(_("That is nested too deeply.")) from None
        if not isinstance(data, dict):
            raise ParseError(_("Send one object: names with their values."))
        return _plain(data)


class PlainFormParser(FormParser):
    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        form = super().parse(stream, media_type, parser_context)
        _plain(dict(form.lists()))
        return form


class PlainMultiPartParser(MultiPartParser):
    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        form = super().parse(stream, media_type, parser_context)
        _plain(dict(form.data.lists()))
        return form


def _plain(data: Any) -> Any:
    try:
        check_plain(data)
    except ValueError as error:
        raise ParseError(str(error)) from None
    return data


def body(request: Request) -> dict[str, Any]:
    """What was sent: the parsers above take nothing but an object or a form."""
    return cast(dict[str, Any], request.data)


class Pages(LimitOffsetPagination):
    """`limit` and `offset`; a number out of range is taken as the nearest in range."""

    max_limit = MOST_ROWS

    def get_offset(self, request: Any) -> int:
        return min(super().get_offset(request), FARTHEST)
