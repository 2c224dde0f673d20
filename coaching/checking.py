"""Checking the shape of what a program sends; meaning is checked by the services."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request


def checked(shape: type[serializers.BaseSerializer[Any]], request: Request) -> dict[str, Any]:
    """The request's body after its shape was checked; DRF answers 400 otherwise."""
    form = shape(data=request.data)
    form.is_valid(raise_exception=True)
    return dict(form.validated_data)
