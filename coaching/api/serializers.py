"""What the API shows and takes. Checks of meaning stay in the services.

Every figure is `value` with `uncertainty` (one standard deviation, same unit), or null
with a `reason`.
"""

from __future__ import annotations

from typing import Any

from django.contrib.auth.password_validation import validate_password
from rest_framework import serializers

from analysis.models import (
    EVENT_CHOICES,
    KIND_CHOICES,
    VIEW_CHOICES,
    Correction,
    EventTime,
    Measurement,
)
from coaching.diagnosis.models import Finding
from coaching.intake import queries as intake
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.lessons.models import Entry
from coaching.people.models import BodyNote, Consent, Invitation, Region, Student, Studio
from coaching.people.stature import CLUB_CM
from coaching.practice.models import (
    Assignment,
    Attempt,
    Criterion,
    Drill,
    DrillVersion,
    PainReport,
    Rung,
    Verdict,
)
from coaching.review import turncheck
from coaching.review.models import Mark, Review


class StudioSerializer(serializers.ModelSerializer[Studio]):
    class Meta:
        model = Studio
        fields = ["id", "name", "turnaround_hours"]


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


class BodyNoteSerializer(serializers.ModelSerializer[BodyNote]):
    class Meta:
        model = BodyNote
        fields = ["id", "region", "side", "kind", "words", "created_at", "accepted_as_limit_at"]
        read_only_fields = ["created_at", "accepted_as_limit_at"]


class StudentSerializer(serializers.ModelSerializer[Student]):
    class Meta:
        model = Student
        fields = [
            "id",
            "studio",
            "coach",
            "name",
            "handedness",
            "stature_cm",
            "club_cm",
            "age_band",
            "goals",
            "usual_miss",
            "practice_place",
            "joined_at",
            "closed_at",
        ]
        read_only_fields = ["studio", "coach", "joined_at", "closed_at"]


class EntrySerializer(serializers.ModelSerializer[Entry]):
    author = serializers.CharField(source="author.name", default=None, read_only=True)

    class Meta:
        model = Entry
        fields = ["id", "kind", "author", "words", "refs", "created_at"]


class MessageSerializer(serializers.Serializer[Any]):
    words = serializers.CharField(max_length=5000)


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
            "words",
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
            "words",
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


class WordsSerializer(serializers.Serializer[Any]):
    words = serializers.CharField(max_length=300)


class CorrectionSerializer(serializers.ModelSerializer[Correction]):
    class Meta:
        model = Correction
        fields = ["id", "time_s", "target", "value", "created_at", "undone_at"]
        read_only_fields = ["created_at", "undone_at"]


class MarkSerializer(serializers.ModelSerializer[Mark]):
    class Meta:
        model = Mark
        fields = [
            "id",
            "video",
            "start_s",
            "end_s",
            "purpose",
            "shape",
            "points",
            "words",
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
            "words",
            "revision",
            "marks",
            "created_at",
            "published_at",
        ]
        read_only_fields = ["student", "created_at", "published_at"]


class FindingSerializer(serializers.ModelSerializer[Finding]):
    because = serializers.SerializerMethodField()

    class Meta:
        model = Finding
        fields = [
            "id",
            "review",
            "kind",
            "words",
            "measurement",
            "measure",
            "event",
            "value",
            "uncertainty",
            "video",
            "time_s",
            "tag",
            "because",
            "answer",
            "closed_at",
            "look_again_at",
        ]
        read_only_fields = fields

    def get_because(self, finding: Finding) -> list[int]:
        return [link.cause_id for link in finding.becauses.all()]


class NewFindingSerializer(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(choices=Finding.Kind.choices)
    words = serializers.CharField(max_length=300)
    measurement = serializers.IntegerField(required=False, allow_null=True)
    tag = serializers.CharField(max_length=24, required=False, default="")
    because = serializers.ListField(child=serializers.IntegerField(), required=False, default=list)


class DrillVersionSerializer(serializers.ModelSerializer[DrillVersion]):
    class Meta:
        model = DrillVersion
        fields = [
            "id",
            "number",
            "title",
            "purpose",
            "set_up",
            "steps",
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


class RungSerializer(serializers.ModelSerializer[Rung]):
    criteria = CriterionSerializer(many=True)

    class Meta:
        model = Rung
        fields = [
            "id",
            "position",
            "kind",
            "words",
            "view",
            "film_kind",
            "effort",
            "ball",
            "bar_across",
            "club",
            "need",
            "repetitions",
            "passed_at",
            "criteria",
        ]
        read_only_fields = ["position", "passed_at"]


class AssignmentSerializer(serializers.ModelSerializer[Assignment]):
    rungs = RungSerializer(many=True, read_only=True)
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
            "words",
            "override_reason",
            "starts_on",
            "due_on",
            "opened_at",
            "stopped_at",
            "closed_at",
            "rungs",
        ]


class NewAssignmentSerializer(serializers.Serializer[Any]):
    drill = serializers.IntegerField()
    finding = serializers.IntegerField(required=False, allow_null=True)
    rungs = serializers.ListField(child=serializers.DictField(), required=False)
    caution = serializers.CharField(required=False, allow_blank=True, default="")
    words = serializers.CharField(required=False, allow_blank=True, default="")
    override_reason = serializers.CharField(required=False, allow_blank=True, default="")
    starts_on = serializers.DateField(required=False, allow_null=True)
    due_on = serializers.DateField(required=False, allow_null=True)


class AttemptSerializer(serializers.ModelSerializer[Attempt]):
    decision = serializers.CharField(source="verdict.decision", default=None, read_only=True)

    class Meta:
        model = Attempt
        fields = ["id", "rung", "angle", "created_at", "decision"]


class VerdictSerializer(serializers.ModelSerializer[Verdict]):
    class Meta:
        model = Verdict
        fields = ["id", "attempt", "submission", "decision", "cue", "suggested", "created_at"]
        read_only_fields = ["attempt", "submission", "suggested", "created_at"]


class PainSerializer(serializers.ModelSerializer[PainReport]):
    region = serializers.ChoiceField(choices=Region.choices)

    class Meta:
        model = PainReport
        fields = [
            "id",
            "student",
            "region",
            "assignment",
            "words",
            "urgent",
            "created_at",
            "seen_at",
            "statement",
            "reopened_at",
        ]
        read_only_fields = ["student", "created_at", "seen_at", "statement", "reopened_at"]


class BodySerializer(serializers.Serializer[Any]):
    class Note(serializers.Serializer[Any]):
        region = serializers.ChoiceField(choices=Region.choices)
        kind = serializers.ChoiceField(choices=BodyNote.Kind.choices)
        side = serializers.ChoiceField(
            choices=["left", "right", "both", ""],
            required=False,
            help_text="As the person feels it.",
        )
        words = serializers.CharField(max_length=300, required=False, allow_blank=True)

    notes = Note(many=True)


class AboutSerializer(serializers.ModelSerializer[Student]):
    class Meta:
        model = Student
        fields = [
            "handedness",
            "stature_cm",
            "club_cm",
            "age_band",
            "goals",
            "usual_miss",
            "practice_place",
        ]
        extra_kwargs = {
            "stature_cm": {"required": True, "allow_null": False},
            "club_cm": {"min_value": CLUB_CM[0], "max_value": CLUB_CM[1]},
        }


class GuardianSerializer(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=80)
    email = serializers.EmailField()


class PurposesSerializer(serializers.Serializer[Any]):
    purposes = serializers.ListField(child=serializers.ChoiceField(choices=Consent.Purpose.choices))


class SnoozeSerializer(serializers.Serializer[Any]):
    until = serializers.DateTimeField(allow_null=True)


class HandOverSerializer(serializers.Serializer[Any]):
    to = serializers.IntegerField(help_text="The other coach.")


class EraseSerializer(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=80)


class InviteSerializer(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=80)
    email = serializers.EmailField(required=False)


class InvitationSerializer(serializers.ModelSerializer[Invitation]):
    class Meta:
        model = Invitation
        fields = ["student", "token", "expires_at"]


class JoinSerializer(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=80)
    email = serializers.EmailField()
    password = serializers.CharField(validators=[validate_password])
    is_minor = serializers.BooleanField()


class AgreeSerializer(PurposesSerializer):
    name = serializers.CharField(max_length=80)
    password = serializers.CharField(validators=[validate_password])


class JoinedSerializer(serializers.Serializer[Any]):
    student = serializers.IntegerField()
    token = serializers.CharField()


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
    points = PointSerializer(many=True)


class SuggestionSerializer(serializers.Serializer[Any]):
    rule = serializers.CharField(source="rule.id")
    title = serializers.CharField(source="rule.title")
    kind = serializers.ChoiceField(choices=Finding.Kind.choices, source="rule.kind")
    sentence = serializers.CharField(source="rule.sentence")
    source = serializers.CharField(source="rule.source")
    measure = serializers.CharField()
    event = serializers.ChoiceField(choices=EVENT_CHOICES)
    value = serializers.FloatField()
    uncertainty = serializers.FloatField()
    sure_percent = serializers.IntegerField()


class RuleSerializer(serializers.Serializer[Any]):
    rule = serializers.CharField(max_length=60)


class TakeSerializer(RuleSerializer):
    kind = serializers.ChoiceField(choices=Finding.Kind.choices, required=False)
    words = serializers.CharField(max_length=300, required=False)
