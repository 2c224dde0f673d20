"""Findings and what causes what: the heart of a lesson."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from analysis.models import Measurement, Video
from coaching.people.models import BodyNote, Student
from coaching.review.models import Review


class Finding(models.Model):
    """Something seen in a student's swing, and what it is in the chain of causes."""

    class Kind(models.TextChoices):
        CAUSE = "cause", "a cause to work on"
        COMPENSATION = "compensation", "a compensation: leave it for now"
        HARMLESS = "harmless", "looks odd and is harmless"
        STRENGTH = "strength", "a strength to keep"
        QUESTION = "question", "a question about the body first"

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="findings")
    review = models.ForeignKey(Review, null=True, on_delete=models.CASCADE, related_name="findings")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    # A clause without capital or full stop, so that two of them make a sentence with "because".
    words = models.CharField(max_length=300)
    measurement = models.ForeignKey(
        Measurement, null=True, blank=True, on_delete=models.SET_NULL, related_name="findings"
    )
    # Kept beside the reference, so that the finding outlives a new run.
    measure = models.CharField(max_length=32, blank=True)
    event = models.CharField(max_length=16, blank=True)
    value = models.FloatField(null=True, blank=True)
    uncertainty = models.FloatField(null=True, blank=True)
    video = models.ForeignKey(
        Video, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    time_s = models.FloatField(null=True, blank=True)
    tag = models.CharField(max_length=24, blank=True)
    rule = models.CharField(max_length=60, blank=True)
    body_note = models.ForeignKey(
        BodyNote, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    position = models.PositiveSmallIntegerField(default=0)
    created_at = models.DateTimeField(default=timezone.now)
    # A question: the student's answer. A cause: passed at its last rung.
    answer = models.CharField(max_length=300, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    # A question: its answer is a limit of the body that the plan works inside.
    limit_at = models.DateTimeField(null=True, blank=True)
    # Set when the last cause of a compensation closes: the coach should look again.
    look_again_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["position", "pk"]


class Because(models.Model):
    """`effect` is there because of `cause`. No cycles: `services.link` refuses them."""

    effect = models.ForeignKey(Finding, on_delete=models.CASCADE, related_name="becauses")
    cause = models.ForeignKey(Finding, on_delete=models.CASCADE, related_name="effects")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["effect", "cause"], name="one_link"),
            models.CheckConstraint(
                condition=~Q(effect=F("cause")), name="no_finding_causes_itself"
            ),
        ]


class Plan(models.Model):
    """The order in which a review's findings are worked on."""

    review = models.OneToOneField(Review, on_delete=models.CASCADE, related_name="plan")
    # Finding ids in the coach's order; empty means the computed one.
    order = models.JSONField(default=list)
    keep_words = models.TextField(blank=True)  # "when you play this week"


class Dismissal(models.Model):
    """A suggestion the coach does not want to see again for this student."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="dismissals")
    rule = models.CharField(max_length=60)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["student", "rule"], name="dismissed_once")]
