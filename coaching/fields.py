"""Fields of serializers that hold outside numbers to what a column can keep."""

from __future__ import annotations

import math
from typing import Any, TypeVar

from django.db.models import FloatField, Model
from rest_framework import serializers

from coaching.numbers import LARGEST

M = TypeVar("M", bound=Model)


class Number(serializers.FloatField):
    """A finite number; DRF's own takes "nan" and "inf" as text."""

    default_error_messages = {"finite": "A finite number is required."}

    def to_internal_value(self, data: Any) -> float:
        value = super().to_internal_value(data)
        if not math.isfinite(value):
            self.fail("finite")
        return value


class Key(serializers.IntegerField):
    """The key of a row."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**({"min_value": 1, "max_value": LARGEST} | kwargs))


class ModelSerializer(serializers.ModelSerializer[M]):
    """DRF's own, whose numbers are finite."""

    serializer_field_mapping = {
        **serializers.ModelSerializer.serializer_field_mapping,
        FloatField: Number,
    }
