"""Drills, ladders, attempts, verdicts, pain and progress."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from analysis.models import EVENT_CHOICES, KIND_CHOICES, VIEW_CHOICES
from coaching.fields import Key
from coaching.people.models import Region
from coaching.practice.models import (
    Assignment,
    Attempt,
    Criterion,
    Drill,
    DrillVersion,
    PainReport,
    PracticeSeries,
    Step,
    Verdict,
)
from coaching.practice.services.practising import MOST


class DrillVersionSerializer(serializers.ModelSerializer[DrillVersion]):
    class Meta:
        model = DrillVersion
        fields = [
            "id",
            "number",
            "title",
            "purpose",
            "set_up",
            "instructions",
            "cautions",
            "not_for",
            "loads",
            "ladder",
            "source",
        ]


class DrillSerializer(serializers.ModelSerializer[Drill]):
    version = serializers.SerializerMethodField()

    class Meta:
        model = Drill
        fields = ["id", "slug", "cause", "version"]

    def get_version(self, drill: Drill) -> dict[str, Any]:
        newest = max(drill.versions.all(), key=lambda version: version.number)
        return dict(DrillVersionSerializer(newest).data)


class CriterionSerializer(serializers.ModelSerializer[Criterion]):
    event = serializers.ChoiceField(choices=EVENT_CHOICES, required=False, allow_blank=True)

    class Meta:
        model = Criterion
        fields = [
            "id",
            "comparison",
            "measure",
            "event",
            "low",
            "high",
            "change",
            "baseline",
            "baseline_uncertainty",
            "question",
        ]


class StepSerializer(serializers.ModelSerializer[Step]):
    criteria = CriterionSerializer(many=True)

    class Meta:
        model = Step
        fields = [
            "id",
            "position",
            "kind",
            "text",
            "view",
            "film_kind",
            "effort",
            "ball",
            "bar_across",
            "club",
            "need",
            "repetitions",
            "within_days",
            "passed_at",
            "skipped_at",
            "criteria",
        ]
        read_only_fields = ["position", "passed_at"]


class AssignmentSerializer(serializers.ModelSerializer[Assignment]):
    steps = StepSerializer(many=True, read_only=True)
    drill = DrillVersionSerializer(source="drill_version", read_only=True)

    class Meta:
        model = Assignment
        fields = [
            "id",
            "student",
            "drill",
            "finding",
            "review",
            "caution",
            "text",
            "override_reason",
            "starts_on",
            "due_on",
            "opened_at",
            "stopped_at",
            "closed_at",
            "steps",
        ]


class NewAssignmentSerializer(serializers.Serializer[Any]):
    drill = Key()
    finding = Key(required=False, allow_null=True)
    steps = serializers.ListField(child=serializers.DictField(), required=False)
    caution = serializers.CharField(required=False, allow_blank=True, default="")
    text = serializers.CharField(required=False, allow_blank=True, default="")
    override_reason = serializers.CharField(required=False, allow_blank=True, default="")
    starts_on = serializers.DateField(required=False, allow_null=True)
    due_on = serializers.DateField(required=False, allow_null=True)


class AttemptSerializer(serializers.ModelSerializer[Attempt]):
    decision = serializers.CharField(source="verdict.decision", default=None, read_only=True)

    class Meta:
        model = Attempt
        fields = ["id", "step", "angle", "created_at", "decision"]


class VerdictSerializer(serializers.ModelSerializer[Verdict]):
    next_step = serializers.IntegerField(
        required=False,
        write_only=True,
        min_value=1,
        max_value=9,
        help_text="Number of the step that a pass opens; one past the last ends the drill.",
    )
    due_on = serializers.DateField(required=False, write_only=True)

    class Meta:
        model = Verdict
        fields = [
            "id",
            "attempt",
            "submission",
            "decision",
            "cue",
            "next_step",
            "due_on",
            "suggested",
            "created_at",
        ]
        read_only_fields = ["attempt", "submission", "suggested", "created_at"]


class PracticeSerializer(serializers.ModelSerializer[PracticeSeries]):
    key = serializers.UUIDField(
        required=False,
        help_text="The phone's own name for it: the same one told twice is one.",
    )
    student = serializers.IntegerField(source="assignment.student_id", read_only=True)
    drill = serializers.CharField(source="assignment.drill_version.title", read_only=True)
    repetitions = serializers.IntegerField(min_value=1, max_value=MOST)
    at = serializers.DateTimeField(
        source="created_at", required=False, help_text="When it ended; now, if it is left out."
    )

    class Meta:
        model = PracticeSeries
        fields = ["id", "key", "student", "assignment", "drill", "day", "repetitions", "felt", "at"]
        read_only_fields = ["assignment", "day"]


class PainSerializer(serializers.ModelSerializer[PainReport]):
    region = serializers.ChoiceField(choices=Region.choices)
    assignment = Key(source="assignment_id", required=False, allow_null=True)

    class Meta:
        model = PainReport
        fields = [
            "id",
            "student",
            "region",
            "assignment",
            "text",
            "urgent",
            "created_at",
            "seen_at",
            "statement",
            "reopened_at",
            "taken_back_at",
        ]
        read_only_fields = [
            "student",
            "created_at",
            "seen_at",
            "statement",
            "reopened_at",
            "taken_back_at",
        ]


class PointSerializer(serializers.Serializer[Any]):
    at = serializers.DateTimeField()
    value = serializers.FloatField()
    uncertainty = serializers.FloatField()
    repetitions = serializers.IntegerField()
    submission = serializers.IntegerField(source="submission.pk")
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)


class SeriesSerializer(serializers.Serializer[Any]):
    measure = serializers.CharField()
    event = serializers.ChoiceField(choices=EVENT_CHOICES)
    view = serializers.ChoiceField(choices=VIEW_CHOICES)
    kind = serializers.ChoiceField(choices=KIND_CHOICES)
    effort = serializers.CharField()
    ball = serializers.CharField()
    club = serializers.CharField()
    version = serializers.CharField(help_text="The one pipeline that measured every point.")
    left_out = serializers.IntegerField(help_text="Clips that only another version measured.")
    points = PointSerializer(many=True)
