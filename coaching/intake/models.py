"""Requests for angles, resumable uploads and what came back."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from analysis.columns import guarded
from analysis.core.pose import KINDS, VIEWS
from analysis.models import Video, named
from coaching.people.ball import BallFields
from coaching.people.models import Student, Studio, new_token


class Request(models.Model):
    """The coach asks a student for one or more named camera angles."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="requests")
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    text = models.TextField(blank=True)
    due_on = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    suspended_at = models.DateTimeField(null=True, blank=True)  # pain: nothing more is filmed
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]


@guarded
class RequestedAngle(models.Model):
    class Effort(models.TextChoices):
        STILL = "still", "standing still"
        SLOW = "slow", "slowly"
        TENTH = "tenth", "a tenth of full speed"
        THIRD = "third", "a third of full speed"
        HALF = "half", "half speed"
        QUARTERS = "quarters", "three quarters of full speed"
        FULL = "full", "full speed"

    class Ball(models.TextChoices):
        NONE = "none", "no ball"
        FOAM = "foam", "a foam ball"
        BALL = "ball", "a ball"

    class Across(models.TextChoices):
        """Where the club of a `bar` film is held: whose turn it shows."""

        HIPS = "hips", "across the hips"
        CHEST = "chest", "across the chest"

    request = models.ForeignKey(Request, on_delete=models.CASCADE, related_name="angles")
    position = models.PositiveSmallIntegerField(default=0)
    view = models.CharField(max_length=16, choices=named(VIEWS))
    kind = models.CharField(max_length=16, choices=named(KINDS), default="swing")
    club = models.CharField(max_length=40, blank=True)
    effort = models.CharField(max_length=8, choices=Effort.choices, default=Effort.FULL)
    ball = models.CharField(max_length=4, choices=Ball.choices, default=Ball.BALL)
    bar_across = models.CharField(max_length=5, choices=Across.choices, default=Across.HIPS)
    repetitions = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["position", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(repetitions__gte=1) & Q(repetitions__lte=10), name="repetitions_1_to_10"
            )
        ]


class FilmingLink(models.Model):
    """A secret address that opens one request on a phone without an account: it is filmed and sent
    there, and nothing else. It ends by a day, by a tap, and with what is asked."""

    request = models.ForeignKey(Request, on_delete=models.CASCADE, related_name="filming_links")
    token = models.CharField(max_length=64, unique=True, default=new_token)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)


class RequestSet(models.Model):
    """What a studio asks for often: films with their words, sent in one tap."""

    studio = models.ForeignKey(Studio, on_delete=models.CASCADE, related_name="request_sets")
    title = models.CharField(max_length=60)
    note = models.CharField(max_length=80, blank=True)  # for whom it is, read by coaches
    text = models.TextField(blank=True)
    due_days = models.PositiveSmallIntegerField(null=True, blank=True)
    angles = models.JSONField(default=list)  # rows of `asking.ANGLE_FIELDS`
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["title", "pk"]


@guarded
class Submission(BallFields):
    """A clip that a student sent for an angle, and what the ball did in it.

    Its state is derived in `queries.state`.
    """

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="submissions")
    angle = models.ForeignKey(
        RequestedAngle, null=True, blank=True, on_delete=models.SET_NULL, related_name="submissions"
    )
    video = models.OneToOneField(Video, on_delete=models.PROTECT, related_name="submission")
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    text = models.TextField(blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    promised_at = models.DateTimeField()
    # The student insists although the check refused the clip.
    override_note = models.CharField(max_length=300, blank=True)
    overridden_at = models.DateTimeField(null=True, blank=True)
    replaced_by = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.SET_NULL, related_name="replaces"
    )
    # The coach has dealt with it: a published review or a verdict.
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        # What waits of a student, and what was answered today, among all they ever sent.
        indexes = [models.Index(fields=["student", "answered_at"], name="submission_answered")]


@guarded
class Upload(models.Model):
    """A resumable upload on its way to the buffer (open tus 1.0 protocol)."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="uploads"
    )
    student = models.ForeignKey(
        Student, null=True, blank=True, on_delete=models.CASCADE, related_name="uploads"
    )
    angle = models.ForeignKey(
        RequestedAngle, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Purpose(models.TextChoices):
        CLIP = "clip"  # becomes a submission as soon as it is whole
        VOICE = "voice"  # of the review room, sent while it is spoken; waits in the buffer
        DEMONSTRATION = "demonstration"

    purpose = models.CharField(max_length=16, choices=Purpose.choices, default=Purpose.CLIP)
    length = models.BigIntegerField(null=True)  # null while a voice is still being spoken
    metadata = models.JSONField(default=dict)
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    submission = models.ForeignKey(
        Submission, null=True, blank=True, on_delete=models.SET_NULL, related_name="uploads"
    )
