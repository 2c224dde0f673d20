"""What an upload may say about itself. One shape for the protocol, the form and the API."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from analysis.models import KIND_CHOICES, VIEW_CHOICES
from coaching import numbers
from coaching.people.errors import LessonError

MOST_WORDS = 2000


class Seconds(serializers.Field[Any, Any, Any, Any]):
    """How long a browser thinks a clip is; browsers also say `Infinity`: then nobody knows."""

    def to_internal_value(self, data: Any) -> float | None:
        try:
            return numbers.real(data, low=0)
        except ValueError:
            return None


class RowKey(serializers.Field[Any, Any, Any, Any]):
    """The key of a row as text; what can be none is nobody's row."""

    def to_internal_value(self, data: Any) -> int | None:
        return numbers.row_key(data)


class View(serializers.ChoiceField):
    """A place of the camera that we have no name for is an `other` one."""

    def to_internal_value(self, data: Any) -> str:
        return data if data in self.choices else "other"


class ClipMetadata(serializers.Serializer[Any]):
    """Of a clip. `duration` and `replaces` that cannot be read count as not said."""

    filename = serializers.CharField(required=False, allow_blank=True, max_length=1000)
    view = View(choices=VIEW_CHOICES, required=False, allow_blank=True)
    kind = serializers.ChoiceField(choices=KIND_CHOICES, required=False, allow_blank=True)
    text = serializers.CharField(required=False, allow_blank=True, max_length=MOST_WORDS)
    duration = Seconds(required=False)
    replaces = RowKey(required=False)


def clip_metadata(told: Mapping[str, str]) -> dict[str, Any]:
    """What `told` says about a clip, checked; keys that mean nothing here are left out.

    Raises
    ------
    LessonError
        400, naming the first key that cannot be taken.
    """
    form = ClipMetadata(data=dict(told))
    if form.is_valid():
        return dict(form.validated_data)
    name = next(iter(form.errors))
    if isinstance(form.fields[name], serializers.ChoiceField):
        sentence = _("Choose one of the listed values for %(name)s.") % {"name": name}
    else:
        sentence = _("That %(name)s is too long or holds signs that cannot be kept.") % {
            "name": name
        }
    raise LessonError(sentence, code=f"wrong_{name}")
