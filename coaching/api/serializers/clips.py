"""Requests, clips and their figures."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from analysis.models import KIND_CHOICES, VIEW_CHOICES, Correction, EventTime, Measurement
from coaching.fields import ModelSerializer
from coaching.intake import queries as intake
from coaching.intake.models import Request, RequestedAngle, Submission


class AngleSerializer(serializers.ModelSerializer[RequestedAngle]):
    class Meta:
        model = RequestedAngle
        fields = ["id", "view", "kind", "club", "effort", "ball", "bar_across", "repetitions"]


class RequestSerializer(serializers.ModelSerializer[Request]):
    angles = AngleSerializer(many=True)

    class Meta:
        model = Request
        fields = [
            "id",
            "student",
            "text",
            "due_on",
            "angles",
            "created_at",
            "suspended_at",
            "closed_at",
        ]
        read_only_fields = ["student", "created_at", "suspended_at", "closed_at"]


class EventSerializer(serializers.ModelSerializer[EventTime]):
    class Meta:
        model = EventTime
        fields = ["repetition", "event", "time_s", "frame", "uncertainty_s", "reason", "source"]


class MeasurementSerializer(serializers.ModelSerializer[Measurement]):
    class Meta:
        model = Measurement
        fields = [
            "id",
            "repetition",
            "measure",
            "event",
            "value",
            "uncertainty",
            "unit",
            "reason",
            "source",
            "frame",
            "time_s",
        ]


class SubmissionSerializer(serializers.ModelSerializer[Submission]):
    state = serializers.SerializerMethodField()
    view = serializers.ChoiceField(choices=VIEW_CHOICES, source="video.view", read_only=True)
    kind = serializers.ChoiceField(choices=KIND_CHOICES, source="video.kind", read_only=True)
    video = serializers.IntegerField(source="video_id", read_only=True)

    class Meta:
        model = Submission
        fields = [
            "id",
            "student",
            "angle",
            "video",
            "view",
            "kind",
            "text",
            "state",
            "created_at",
            "promised_at",
            "answered_at",
            "replaced_by",
        ]

    def get_state(self, clip: Submission) -> str:
        return intake.state(clip)


class FiguresSerializer(serializers.Serializer[Any]):
    """The newest figures of a clip."""

    events = EventSerializer(many=True)
    measurements = MeasurementSerializer(many=True)
    quality = serializers.ListField(child=serializers.DictField())
    version = serializers.CharField(help_text="The pipeline; figures of two are never compared.")


class WordsSerializer(serializers.Serializer[Any]):
    text = serializers.CharField(max_length=300)


class CorrectionSerializer(ModelSerializer[Correction]):
    value = serializers.DictField(help_text="Where it is: its shape depends on the target.")

    class Meta:
        model = Correction
        fields = ["id", "time_s", "target", "value", "created_at", "undone_at"]
        read_only_fields = ["created_at", "undone_at"]
