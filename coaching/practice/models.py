"""Drills, ladders, attempts, verdicts, and the stop rule."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from analysis.core.pose import KINDS, VIEWS
from analysis.models import named
from coaching.diagnosis.models import Finding
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.people.models import Region, Student, Studio
from coaching.review.models import Review


class Drill(models.Model):
    """A drill of a studio's library; what it says is in its newest version."""

    studio = models.ForeignKey(Studio, on_delete=models.CASCADE, related_name="drills")
    slug = models.SlugField(max_length=60)
    cause = models.CharField(max_length=60, blank=True)  # the rule or cause it treats
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "slug"], name="one_drill_per_slug")
        ]


class DrillVersion(models.Model):
    """What a drill says. Once used it never changes: a change is a new version."""

    drill = models.ForeignKey(Drill, on_delete=models.CASCADE, related_name="versions")
    number = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=80)
    purpose = models.TextField()
    set_up = models.TextField(blank=True)
    steps = models.JSONField(default=list)  # [{"words": "...", "picture": "..."}]
    cautions = models.TextField()
    not_for = models.TextField(blank=True)
    loads = models.JSONField(default=list)  # regions of the body, people.Region values
    ladder = models.JSONField(default=list)  # default rungs, documented in docs/drills.md
    source = models.TextField()
    # The coach's own picture or clip of the drill.
    shown = models.FileField(upload_to="drill/%Y/%m/", max_length=200, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["drill", "number"], name="one_version_per_number")
        ]


class Assignment(models.Model):
    """A drill given to a student, because of a finding, with a ladder of rungs."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="assignments")
    drill_version = models.ForeignKey(
        DrillVersion, on_delete=models.PROTECT, related_name="assignments"
    )
    finding = models.ForeignKey(
        Finding, null=True, blank=True, on_delete=models.SET_NULL, related_name="assignments"
    )
    review = models.ForeignKey(
        Review, null=True, blank=True, on_delete=models.CASCADE, related_name="assignments"
    )
    caution = models.TextField(blank=True)
    words = models.TextField(blank=True)
    # Why a compensation was targeted while its cause is open.
    override_reason = models.CharField(max_length=300, blank=True)
    show_count_at_once = models.BooleanField(default=True)
    # Ask how many the student thinks counted before showing how many did.
    ask_feel_first = models.BooleanField(default=True)
    per_day = models.PositiveSmallIntegerField(default=30)  # repetitions, filmed or not
    starts_on = models.DateField(null=True, blank=True)
    due_on = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    opened_at = models.DateTimeField(null=True, blank=True)  # published to the student
    stopped_at = models.DateTimeField(null=True, blank=True)  # pain: closed for filming
    closed_at = models.DateTimeField(null=True, blank=True)
    # Proposed when the last rung passes: does it last? The request once it was sent.
    check_due_on = models.DateField(null=True, blank=True)
    check_request = models.ForeignKey(
        Request, null=True, blank=True, on_delete=models.SET_NULL, related_name="checks"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(per_day__gte=1) & Q(per_day__lte=60), name="per_day_1_to_60"
            )
        ]


class Rung(models.Model):
    """One step of the ladder: what to film and what counts."""

    class Kind(models.TextChoices):
        HOLD = "hold", "hold the position"
        SLOW = "slow", "slow, no ball"
        SEVERAL = "several", "several in a row"
        FOAM = "foam", "a foam ball at a tenth of full speed"
        FASTER = "faster", "faster"
        BALL = "ball", "a ball at full speed"

    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="rungs")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8, choices=Kind.choices)
    words = models.CharField(max_length=300, blank=True)
    view = models.CharField(max_length=16, choices=named(VIEWS))
    film_kind = models.CharField(max_length=16, choices=named(KINDS))
    effort = models.CharField(max_length=8, choices=RequestedAngle.Effort.choices)
    ball = models.CharField(max_length=4, choices=RequestedAngle.Ball.choices, default="none")
    bar_across = models.CharField(
        max_length=5, choices=RequestedAngle.Across.choices, default=RequestedAngle.Across.HIPS
    )
    club = models.CharField(max_length=40, blank=True)
    need = models.PositiveSmallIntegerField(default=1)  # k ...
    repetitions = models.PositiveSmallIntegerField(default=1)  # ... of n
    days = models.PositiveSmallIntegerField(default=1)  # passes wanted, on different days
    passed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(
                fields=["assignment", "position"], name="one_rung_per_position"
            ),
            models.CheckConstraint(
                condition=Q(need__gte=1)
                & Q(need__lte=models.F("repetitions"))
                & Q(repetitions__lte=10),
                name="need_k_of_n",
            ),
            models.CheckConstraint(condition=Q(days__gte=1) & Q(days__lte=5), name="days_1_to_5"),
        ]


class Criterion(models.Model):
    """What counts: a measure at an event against a target, or a self-test."""

    class Comparison(models.TextChoices):
        AT_LEAST = "at_least", "at least"
        AT_MOST = "at_most", "at most"
        BETWEEN = "between", "between"
        CHANGED_BY = "changed_by", "changed from the baseline by at least"
        SELF_TEST = "self_test", "the student answers"

    rung = models.ForeignKey(Rung, on_delete=models.CASCADE, related_name="criteria")
    position = models.PositiveSmallIntegerField(default=0)
    comparison = models.CharField(max_length=10, choices=Comparison.choices)
    measure = models.CharField(max_length=32, blank=True)
    event = models.CharField(max_length=16, blank=True)
    low = models.FloatField(null=True, blank=True)
    high = models.FloatField(null=True, blank=True)
    # The signed change asked for, for `changed_by`.
    change = models.FloatField(null=True, blank=True)
    baseline = models.FloatField(null=True, blank=True)
    baseline_uncertainty = models.FloatField(null=True, blank=True)
    question = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["position", "pk"]


class Attempt(models.Model):
    """One go at a rung. The angle asks for the film; the clip comes back on it."""

    rung = models.ForeignKey(Rung, on_delete=models.CASCADE, related_name="attempts")
    angle = models.OneToOneField(RequestedAngle, on_delete=models.CASCADE, related_name="attempt")
    created_at = models.DateTimeField(default=timezone.now)
    # How many the student felt would count, told before the number was shown.
    felt = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]


class SelfAnswer(models.Model):
    """The student's own answer to a self-test criterion."""

    submission = models.ForeignKey(
        Submission, on_delete=models.CASCADE, related_name="self_answers"
    )
    criterion = models.ForeignKey(Criterion, on_delete=models.CASCADE, related_name="answers")
    yes = models.BooleanField()
    words = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["submission", "criterion"], name="one_self_answer")
        ]


class Verdict(models.Model):
    """What the coach decided about an attempt; only a coach gives it."""

    class Decision(models.TextChoices):
        PASSED = "passed", "passed"
        NEARLY = "nearly", "nearly"
        NOT_YET = "not_yet", "not yet"
        STEP_BACK = "step_back", "one step back"
        STOP = "stop", "stop"

    attempt = models.OneToOneField(Attempt, on_delete=models.CASCADE, related_name="verdict")
    submission = models.ForeignKey(Submission, on_delete=models.CASCADE, related_name="verdicts")
    decision = models.CharField(max_length=10, choices=Decision.choices)
    cue = models.CharField(max_length=300, blank=True)
    voice = models.FileField(upload_to="voice/%Y/%m/", max_length=200, blank=True)
    given_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    suggested = models.CharField(max_length=12, blank=True)
    created_at = models.DateTimeField(default=timezone.now)


class PainReport(models.Model):
    """Pain stops every drill that loads the region. Software never clears it."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="pain_reports")
    region = models.CharField(max_length=10, choices=Region.choices)
    assignment = models.ForeignKey(
        Assignment, null=True, blank=True, on_delete=models.SET_NULL, related_name="pain_reports"
    )
    words = models.CharField(max_length=300, blank=True)
    urgent = models.BooleanField(default=False)
    reported_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now)
    seen_at = models.DateTimeField(null=True, blank=True)
    # The student's own statement that a licensed professional agreed.
    statement = models.CharField(max_length=300, blank=True)
    statement_at = models.DateTimeField(null=True, blank=True)
    # A coach has read the statement and opened the drills again.
    reopened_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(reopened_at__isnull=True) | ~Q(statement=""),
                name="never_reopened_without_a_statement",
            )
        ]
