"""Findings and what causes what: the heart of a lesson."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from analysis.columns import guarded
from analysis.models import Measurement, Video
from coaching.people.models import BodyNote, Student, Studio
from coaching.review.models import Review


@guarded
class Finding(models.Model):
    """Something seen in a student's swing, and what it is in the chain of causes."""

    class Kind(models.TextChoices):
        CAUSE = "cause", "a cause to work on"
        COMPENSATION = "compensation", "a compensation: leave it for now"
        HARMLESS = "harmless", "looks odd and is harmless"
        STRENGTH = "strength", "a strength to keep"
        QUESTION = "question", "a question about the body first"
        BALL = "ball", "what the ball does"

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="findings")
    review = models.ForeignKey(Review, null=True, on_delete=models.CASCADE, related_name="findings")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    # A clause without capital or full stop, so that two of them make a sentence with "because".
    text = models.CharField(max_length=300)
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
    # Its entry in the catalogue, or nothing: written in free words, and no drill belongs to it.
    entry = models.CharField(max_length=60, blank=True)
    body_note = models.ForeignKey(
        BodyNote, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    # What the coach says about it, and the same in writing for who does not hear it.
    voice = models.FileField(upload_to="voice/%Y/%m/", max_length=200, blank=True)
    voice_s = models.FloatField(null=True, blank=True)
    voice_text = models.CharField(max_length=1000, blank=True)
    position = models.PositiveSmallIntegerField(default=0)
    created_at = models.DateTimeField(default=timezone.now)
    # A question: the student's answer. A cause: passed at its last step.
    answer = models.CharField(max_length=300, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    # A question: its answer is a limit of the body that the plan works inside.
    limit_at = models.DateTimeField(null=True, blank=True)
    # Set when the last cause of a compensation closes: the coach should look again.
    look_again_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["position", "pk"]

    @property
    def is_by_eye(self) -> bool:
        """Seen by the coach; no figure stands behind it."""
        return not self.measure


class CausalLink(models.Model):
    """`effect` is there because of `cause`. No cycles: `services.findings.link` refuses them."""

    effect = models.ForeignKey(Finding, on_delete=models.CASCADE, related_name="causal_links")
    cause = models.ForeignKey(Finding, on_delete=models.CASCADE, related_name="effects")

    class Meta:
        ordering = ["pk"]
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
    keep_note = models.TextField(blank=True)  # "when you play this week"


class Dismissal(models.Model):
    """A suggestion the coach does not want to see again for this student."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="dismissals")
    entry = models.CharField(max_length=60)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["student", "entry"], name="dismissed_once")]


class SeenByEye(models.Model):
    """A figure that could not be read and that the coach has judged by eye in a review.

    `entry` is what was seen there; empty means that it is fine.
    """

    review = models.ForeignKey(Review, on_delete=models.CASCADE, related_name="seen_by_eye")
    measure = models.CharField(max_length=32)
    event = models.CharField(max_length=16)
    entry = models.CharField(max_length=60, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["review", "measure", "event"], name="seen_once")
        ]


class StudioEntry(models.Model):
    """What a studio does with an entry of the catalogue, or an entry of its own.

    Empty words are the catalogue's. `limits` is `{"MEASURE@EVENT": {"at_least": number,
    "at_most": number}}` in the catalogue's terms; `own` holds the fields of an entry that
    the studio has added (`catalogue.Entry`), and is null for an entry of the catalogue.
    """

    studio = models.ForeignKey(Studio, on_delete=models.CASCADE, related_name="entries")
    entry = models.SlugField(max_length=60)
    name = models.CharField(max_length=80, blank=True)
    clause = models.CharField(max_length=300, blank=True)
    is_hidden = models.BooleanField(default=False)
    limits = models.JSONField(default=dict, blank=True)
    own = models.JSONField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "entry"], name="entry_once_in_a_studio")
        ]
