"""What the review room's endpoints accept."""

from __future__ import annotations

from rest_framework import serializers

from coaching.fields import Key, Number


class WordsIn(serializers.Serializer[object]):
    text = serializers.CharField(allow_blank=True, max_length=20_000, trim_whitespace=False)
    revision = serializers.IntegerField(min_value=0, max_value=2**31 - 1)


class MarkFields(serializers.Serializer[object]):
    start_s = Number()
    end_s = Number(allow_null=True, required=False)
    purpose = serializers.CharField(allow_blank=True, max_length=24, required=False)
    shape = serializers.CharField(max_length=12)
    points = serializers.ListField(
        child=serializers.ListField(child=Number(), min_length=2, max_length=2),
        required=False,
        max_length=6000,
    )
    text = serializers.CharField(allow_blank=True, max_length=300, required=False)
    wanted = serializers.BooleanField(required=False)


class MarkIn(MarkFields):
    video = Key()
    key = serializers.UUIDField()


class MarkChange(MarkFields):
    revision = serializers.IntegerField(min_value=0, max_value=2**31 - 1)
    start_s = Number(required=False)
    shape = serializers.CharField(max_length=12, required=False)


class CorrectionIn(serializers.Serializer[object]):
    time_s = Number()
    target = serializers.CharField(max_length=40)
    value = serializers.DictField()


class WalkIn(serializers.Serializer[object]):
    video = Key()
    upload = serializers.UUIDField(required=False, allow_null=True)


class DemonstrationIn(serializers.Serializer[object]):
    upload = serializers.UUIDField()


class WalkEvents(serializers.Serializer[object]):
    events = serializers.ListField(child=serializers.DictField(), max_length=30_000)
    duration_s = Number(required=False, allow_null=True, min_value=0)


class CaptionsIn(serializers.Serializer[object]):
    captions = serializers.CharField(allow_blank=True, max_length=400_000, trim_whitespace=False)


class SnippetIn(serializers.Serializer[object]):
    title = serializers.CharField(allow_blank=True, max_length=60, required=False)
    text = serializers.CharField(max_length=2_000)


class PreferencesIn(serializers.Serializer[object]):
    speed = Number(min_value=0.05, max_value=2, required=False)
    bright = Number(min_value=0.5, max_value=2.5, required=False)
    keys = serializers.DictField(child=serializers.CharField(max_length=30), required=False)
    keys_on = serializers.BooleanField(required=False)
    overlays = serializers.ListField(child=serializers.CharField(max_length=24), required=False)
