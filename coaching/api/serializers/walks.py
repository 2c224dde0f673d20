"""Walk-throughs, their lesson films, and the links that show those."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from coaching import addresses
from coaching.fields import Key
from coaching.review import shown
from coaching.review.models import WalkThrough
from coaching.review.queries.films import Listed, Making
from coaching.review.services.films import DAYS

STATES = ("none", "waiting", "making", "failed", "ready")


class WalkThroughSerializer(serializers.ModelSerializer[WalkThrough]):
    """What was said and done over a clip; `spoken` says whether there is a voice."""

    student = Key(source="review.student_id", read_only=True)
    spoken = serializers.SerializerMethodField()

    class Meta:
        model = WalkThrough
        fields = [
            "id", "student", "review", "video", "spoken", "captions", "duration_s", "created_at",
            "finished_at",
        ]  # fmt: skip
        read_only_fields = fields

    def get_spoken(self, walk: WalkThrough) -> bool:
        return bool(walk.sound)


class WholeWalkThroughSerializer(WalkThroughSerializer):
    """With `events`: what was done, in order of `t` (seconds)."""

    events = serializers.ListField(child=serializers.DictField(), read_only=True)

    class Meta(WalkThroughSerializer.Meta):
        fields = [*WalkThroughSerializer.Meta.fields, "events"]
        read_only_fields = fields


class FilmSerializer(serializers.Serializer[Any]):
    """How far a lesson film is. One that is `stale` was made before captions were changed; one
    that `is_there` stays to be seen while a newer one is made."""

    state = serializers.ChoiceField(choices=STATES)
    share = serializers.FloatField(min_value=0.0, max_value=1.0)
    is_there = serializers.SerializerMethodField()
    stale = serializers.BooleanField()
    duration_s = serializers.FloatField(source="film.duration_s", default=None, allow_null=True)
    failure = serializers.SerializerMethodField()
    page = serializers.SerializerMethodField()

    def get_is_there(self, making: Making) -> bool:
        return making.film is not None and bool(making.film.file)

    def get_failure(self, making: Making) -> str:
        return shown.film_failure(making.error_code)

    def get_page(self, making: Making) -> str:
        """Where it is watched and downloaded by whoever is signed in there."""
        return addresses.page("review:film", self.context["walk"].pk)


class NewLinkSerializer(serializers.Serializer[Any]):
    days = serializers.ChoiceField(choices=DAYS)
    label = serializers.CharField(max_length=60, allow_blank=True, required=False)  # type: ignore[assignment]


class FilmLinkSerializer(serializers.Serializer[Any]):
    """A secret `address`: whoever has it sees the film, until the day is over or it is ended."""

    id = serializers.IntegerField(source="link.pk")
    label = serializers.CharField(source="link.label", allow_blank=True)  # type: ignore[assignment]
    address = serializers.SerializerMethodField()
    is_open = serializers.BooleanField()
    created_at = serializers.DateTimeField(source="link.created_at")
    expires_at = serializers.DateTimeField(source="link.expires_at")
    ended_at = serializers.DateTimeField(source="link.ended_at", allow_null=True)
    looks = serializers.IntegerField()
    last_look_at = serializers.DateTimeField(source="last_at", allow_null=True)

    def get_address(self, row: Listed) -> str:
        return addresses.page("review:watch", row.link.token)
