"""Signing in, joining, students and who speaks for them."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.password_validation import validate_password
from rest_framework import serializers

from coaching.fields import Key, ModelSerializer
from coaching.people.models import BodyNote, Consent, Invitation, Region, Student, Studio
from coaching.people.stature import CLUB_CM, STATURE_CM

# What students say of themselves, whoever reads it.
ABOUT = [
    "handedness",
    "stature_cm",
    "club_cm",
    "age_band",
    "goals",
    "flight",
    "height",
    "strike",
    "usual_miss",
    "practice_place",
]


class LoginSerializer(serializers.Serializer[Any]):
    email = serializers.CharField(max_length=254)
    password = serializers.CharField(max_length=4096, trim_whitespace=False)
    code = serializers.CharField(max_length=20, required=False, allow_blank=True, default="")
    name = serializers.CharField(
        max_length=80, required=False, allow_blank=True, default="",
        help_text="What the token is for, as its list shows it.",
    )  # fmt: skip


class StudioSerializer(serializers.ModelSerializer[Studio]):
    class Meta:
        model = Studio
        fields = ["id", "name", "turnaround_hours"]


class BodyNoteSerializer(serializers.ModelSerializer[BodyNote]):
    class Meta:
        model = BodyNote
        fields = ["id", "region", "side", "kind", "text", "created_at", "accepted_as_limit_at"]
        read_only_fields = ["created_at", "accepted_as_limit_at"]


class StudentSerializer(serializers.ModelSerializer[Student]):
    class Meta:
        model = Student
        fields = [
            "id",
            "studio",
            "coach",
            "name",
            *ABOUT,
            "joined_at",
            "closed_at",
        ]
        read_only_fields = ["studio", "coach", "joined_at", "closed_at"]


MOST_NOTES = 40  # said at once: nine regions, three kinds, few of them


class BodySerializer(serializers.Serializer[Any]):
    class Note(serializers.Serializer[Any]):
        region = serializers.ChoiceField(choices=Region.choices)
        kind = serializers.ChoiceField(choices=BodyNote.Kind.choices)
        side = serializers.ChoiceField(
            choices=["left", "right", "both", ""],
            required=False,
            help_text="As the person feels it.",
        )
        text = serializers.CharField(max_length=300, required=False, allow_blank=True)

    notes: Any = serializers.ListSerializer(child=Note(), max_length=MOST_NOTES)


class AboutSerializer(ModelSerializer[Student]):
    class Meta:
        model = Student
        fields = ABOUT
        extra_kwargs = {
            "stature_cm": {
                "required": True,
                "allow_null": False,
                "min_value": STATURE_CM[0],
                "max_value": STATURE_CM[1],
            },
            "club_cm": {"min_value": CLUB_CM[0], "max_value": CLUB_CM[1]},
        }


class GuardianSerializer(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=80)
    email = serializers.EmailField()


class PurposesSerializer(serializers.Serializer[Any]):
    purposes = serializers.ListField(child=serializers.ChoiceField(choices=Consent.Purpose.choices))


class HandOverSerializer(serializers.Serializer[Any]):
    to = Key(help_text="The other coach.")


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
