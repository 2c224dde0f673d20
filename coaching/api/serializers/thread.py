"""The log, messages and what is put off."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from coaching.dashboard.next import Kind
from coaching.lessons.models import Entry


class EntrySerializer(serializers.ModelSerializer[Entry]):
    author = serializers.CharField(source="author.name", default=None, read_only=True)

    class Meta:
        model = Entry
        fields = ["id", "kind", "author", "text", "refs", "created_at"]


class LineSerializer(serializers.Serializer[Any]):
    """One line of the student's page; the last one is what to do next."""

    kind = serializers.ChoiceField(choices=[(kind.value, kind.value) for kind in Kind])
    sentence = serializers.CharField()
    quote = serializers.CharField(help_text="The coach's own words.")
    label = serializers.CharField()  # type: ignore[assignment]
    url = serializers.CharField()


class MessageSerializer(serializers.Serializer[Any]):
    text = serializers.CharField(max_length=5000)


class PutOffSerializer(serializers.Serializer[Any]):
    thing = serializers.CharField(max_length=40, help_text="The `key` of a waiting row.")
    until = serializers.DateTimeField(allow_null=True)
