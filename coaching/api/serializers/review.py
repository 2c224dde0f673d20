"""Answers, marks, and turn against the held club."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from coaching.fields import Key, ModelSerializer
from coaching.review import turncheck
from coaching.review.models import Mark, Review


class TurnCheckStudentSerializer(serializers.Serializer[Any]):
    """How much one student's turn reads above the held club; `uncertainty` of the mean."""

    student = serializers.IntegerField(source="student.pk")
    value = serializers.FloatField(source="bias.mean")
    uncertainty = serializers.FloatField(source="bias.u")
    repetitions = serializers.IntegerField(source="bias.pairs")
    films = serializers.IntegerField(source="bias.films")


class AgreementSerializer(serializers.Serializer[Any]):
    """Over all students, degrees; `low` and `high` are the limits of agreement (95 %)."""

    mean = serializers.FloatField()
    mean_uncertainty = serializers.FloatField(source="mean_u")
    sd = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    limit_uncertainty = serializers.FloatField(source="limit_u")


class TurnCheckSerializer(serializers.Serializer[Any]):
    """One turn in one view; `untold` repetitions held only the club's turn."""

    view = serializers.CharField()
    measure = serializers.SerializerMethodField()
    untold = serializers.IntegerField()
    students = TurnCheckStudentSerializer(many=True, source="people")
    agreement = AgreementSerializer(allow_null=True)

    def get_measure(self, check: turncheck.Check) -> str:
        return turncheck.TURNS[check.across]


class MarkSerializer(ModelSerializer[Mark]):
    video = Key(source="video_id")
    key = serializers.UUIDField(required=False)

    class Meta:
        model = Mark
        fields = [
            "id",
            "key",
            "video",
            "start_s",
            "end_s",
            "purpose",
            "shape",
            "points",
            "text",
            "wanted",
        ]


class ReviewSerializer(serializers.ModelSerializer[Review]):
    marks = MarkSerializer(many=True, read_only=True)

    class Meta:
        model = Review
        fields = [
            "id",
            "student",
            "submissions",
            "text",
            "revision",
            "marks",
            "created_at",
            "published_at",
        ]
        read_only_fields = ["student", "created_at", "published_at"]
