"""Findings, suggestions and entries of the catalogue."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from analysis.models import EVENT_CHOICES
from coaching.diagnosis.models import Finding
from coaching.fields import Key


class FindingSerializer(serializers.ModelSerializer[Finding]):
    because = serializers.SerializerMethodField()

    class Meta:
        model = Finding
        fields = [
            "id",
            "review",
            "kind",
            "text",
            "measurement",
            "measure",
            "event",
            "value",
            "uncertainty",
            "video",
            "time_s",
            "entry",
            "because",
            "answer",
            "closed_at",
            "look_again_at",
        ]
        read_only_fields = fields

    def get_because(self, finding: Finding) -> list[int]:
        return [link.cause_id for link in finding.causal_links.all()]


class NewFindingSerializer(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(choices=Finding.Kind.choices)
    text = serializers.CharField(max_length=300)
    measurement = Key(required=False, allow_null=True)
    entry = serializers.CharField(max_length=60, required=False, allow_null=True, default=None)
    because = serializers.ListField(child=Key(), required=False, default=list, max_length=50)


class SuggestionSerializer(serializers.Serializer[Any]):
    entry = serializers.CharField(source="entry.id")
    name = serializers.CharField()
    kind = serializers.ChoiceField(choices=Finding.Kind.choices, source="entry.kind")
    clause = serializers.CharField()
    tier = serializers.ChoiceField(choices=["clear", "look"], source="suggestion.tier")
    source = serializers.CharField(source="entry.source")  # type: ignore[assignment]
    limit = serializers.CharField(source="limit_words")
    measure = serializers.CharField()
    event = serializers.ChoiceField(choices=EVENT_CHOICES)
    value = serializers.FloatField()
    uncertainty = serializers.FloatField()
    sure_percent = serializers.IntegerField()
    corrected = serializers.BooleanField(source="is_corrected")
    because = serializers.ListField(child=serializers.CharField(), source="suggestion.because")
    look_at = serializers.ListField(child=serializers.CharField(), source="suggestion.look_at")


class CatalogueEntrySerializer(serializers.Serializer[Any]):
    entry = serializers.CharField(max_length=60)


class TakeSerializer(CatalogueEntrySerializer):
    kind = serializers.ChoiceField(choices=Finding.Kind.choices, required=False)
    text = serializers.CharField(max_length=300, required=False)
