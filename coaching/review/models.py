"""What the coach says about clips: notes, marks and spoken walk-throughs."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.utils import timezone

from analysis.models import Video
from coaching.intake.models import Submission, Upload
from coaching.people.models import Student, Studio


class Review(models.Model):
    """One answer to a student. A draft until `published_at`, then it never changes."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="reviews")
    coach = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    submissions = models.ManyToManyField(Submission, related_name="reviews")
    words = models.TextField(blank=True)
    # Raised by one at every save; a second tab that saves an older one gets a 409.
    revision = models.PositiveIntegerField(default=0)
    created_at = models.DateTimeField(default=timezone.now)
    published_at = models.DateTimeField(null=True, blank=True)


class ReviewVersion(models.Model):
    """Words that lost a race against another tab or coach: kept until somebody chooses."""

    review = models.ForeignKey(Review, on_delete=models.CASCADE, related_name="versions")
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    words = models.TextField()
    created_at = models.DateTimeField(default=timezone.now)
    settled_at = models.DateTimeField(null=True, blank=True)


class Mark(models.Model):
    """A note or a drawing on a moment or a range of a clip, in the clip's own time.

    `points` are [x, y] pairs, 0..1 of the picture. `key` is made by the page that draws,
    so that sending again after a lost answer makes no second mark.
    """

    review = models.ForeignKey(Review, on_delete=models.CASCADE, related_name="marks")
    key = models.UUIDField(default=uuid.uuid4, editable=False)
    revision = models.PositiveIntegerField(default=0)
    video = models.ForeignKey(Video, on_delete=models.CASCADE, related_name="marks")
    start_s = models.FloatField()
    end_s = models.FloatField(null=True, blank=True)
    purpose = models.CharField(max_length=24, blank=True)
    shape = models.CharField(max_length=12)
    points = models.JSONField(default=list)
    words = models.CharField(max_length=300, blank=True)
    wanted = models.BooleanField(default=False)  # shown on the student's drill page
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["start_s", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["review", "key"], name="mark_sent_once"),
            models.CheckConstraint(
                condition=models.Q(end_s__isnull=True) | models.Q(end_s__gte=models.F("start_s")),
                name="mark_ends_after_it_starts",
            ),
        ]


class WalkThrough(models.Model):
    """A spoken review: sound plus everything done, as timed events."""

    review = models.ForeignKey(Review, on_delete=models.CASCADE, related_name="walk_throughs")
    video = models.ForeignKey(Video, on_delete=models.CASCADE, related_name="walk_throughs")
    # What arrived so far, while it is spoken: a crash loses only what was not yet sent.
    upload = models.ForeignKey(
        Upload, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    sound = models.FileField(upload_to="voice/%Y/%m/", max_length=200, blank=True)
    demonstration = models.FileField(upload_to="voice/%Y/%m/", max_length=200, blank=True)
    events = models.JSONField(default=list)
    captions = models.TextField(blank=True)  # WebVTT
    duration_s = models.FloatField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    finished_at = models.DateTimeField(null=True, blank=True)


class Snippet(models.Model):
    """Something the coach says every day."""

    studio = models.ForeignKey(Studio, on_delete=models.CASCADE, related_name="snippets")
    title = models.CharField(max_length=60)
    words = models.TextField()
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["title", "pk"]
