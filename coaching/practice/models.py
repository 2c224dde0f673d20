"""Drills, ladders, attempts, verdicts, and the stop rule."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from analysis.columns import guarded
from analysis.core.pose import KINDS, VIEWS
from analysis.models import Video, named
from coaching.diagnosis.models import Finding
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.people.models import Region, Student, Studio
from coaching.review.models import Review

TAKE_BACK_PAIN_FOR = timedelta(minutes=10)


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
    feel = models.CharField(max_length=200, blank=True)  # one line, read while doing it
    set_up = models.TextField(blank=True)
    instructions = models.JSONField(default=list)  # [{"words": "...", "picture": "..."}]
    cautions = models.TextField()
    not_for = models.TextField(blank=True)
    loads = models.JSONField(default=list)  # regions of the body, people.Region values
    ladder = models.JSONField(default=list)  # default steps, documented in docs/drills.md
    source = models.TextField()
    # The coach's own picture or clip of the drill.
    shown = models.FileField(upload_to="drill/%Y/%m/", max_length=200, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["drill", "number"], name="one_version_per_number")
        ]


class Assignment(models.Model):
    """A drill given to a student, because of a finding, with a ladder of steps."""

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
    text = models.TextField(blank=True)
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
    # The coach's own picture or clip, for this student.
    shown = models.FileField(upload_to="drill/%Y/%m/", max_length=200, blank=True)
    # Proposed when the last step passes: does it last? The request once it was sent.
    check_due_on = models.DateField(null=True, blank=True)
    check_request = models.ForeignKey(
        Request, null=True, blank=True, on_delete=models.SET_NULL, related_name="checks"
    )

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(per_day__gte=1) & Q(per_day__lte=60), name="per_day_1_to_60"
            )
        ]


@guarded
class Step(models.Model):
    """One step of the ladder: what to film and what counts."""

    class Kind(models.TextChoices):
        HOLD = "hold", "hold the position"
        SLOW = "slow", "slow, no ball"
        SEVERAL = "several", "several in a row"
        THROUGH = "through", "back and through"
        FOAM = "foam", "a foam ball"
        FASTER = "faster", "faster"
        BALL = "ball", "a ball"

    assignment = models.ForeignKey(Assignment, on_delete=models.CASCADE, related_name="steps")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8, choices=Kind.choices)
    text = models.CharField(max_length=300, blank=True)
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
    # Days in which to film it, from when it opens; the assignment's last day otherwise.
    within_days = models.PositiveSmallIntegerField(null=True, blank=True)
    # The coach's own picture or clip of this step, for this student.
    shown = models.FileField(upload_to="drill/%Y/%m/", max_length=200, blank=True)
    passed_at = models.DateTimeField(null=True, blank=True)
    skipped_at = models.DateTimeField(null=True, blank=True)  # the coach went past it

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(
                fields=["assignment", "position"], name="one_step_per_position"
            ),
            models.CheckConstraint(
                condition=Q(need__gte=1)
                & Q(need__lte=models.F("repetitions"))
                & Q(repetitions__lte=10),
                name="need_k_of_n",
            ),
            models.CheckConstraint(condition=Q(days__gte=1) & Q(days__lte=5), name="days_1_to_5"),
            models.CheckConstraint(
                condition=Q(within_days__gte=1) & Q(within_days__lte=60), name="within_1_to_60_days"
            ),
        ]


@guarded
class Criterion(models.Model):
    """What counts: a measure at an event against a target, or a self-test."""

    class Comparison(models.TextChoices):
        AT_LEAST = "at_least", "at least"
        AT_MOST = "at_most", "at most"
        BETWEEN = "between", "between"
        CHANGED_BY = "changed_by", "changed from the baseline by at least"
        SELF_TEST = "self_test", "the student answers"
        COACH_EYE = "coach_eye", "the coach looks"

    # Answered by a person: no figure is read.
    BY_EYE = (Comparison.SELF_TEST, Comparison.COACH_EYE)

    step = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="criteria")
    position = models.PositiveSmallIntegerField(default=0)
    comparison = models.CharField(max_length=10, choices=Comparison.choices)
    measure = models.CharField(max_length=32, blank=True)
    event = models.CharField(max_length=16, blank=True)
    low = models.FloatField(null=True, blank=True)
    high = models.FloatField(null=True, blank=True)
    # What the words ask for; the limits leave room for what the camera misreads.
    aim = models.FloatField(null=True, blank=True)
    # The signed change asked for, for `changed_by`.
    change = models.FloatField(null=True, blank=True)
    baseline = models.FloatField(null=True, blank=True)
    baseline_uncertainty = models.FloatField(null=True, blank=True)
    # Where the baseline was read: figures of another pipeline version are no change from it.
    baseline_video = models.ForeignKey(
        Video, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    baseline_version = models.CharField(max_length=40, blank=True)
    question = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["position", "pk"]


class Attempt(models.Model):
    """One go at a step. The angle asks for the film; the clip comes back on it.

    One film may answer the steps of several drills: then their attempts share its angle.
    """

    step = models.ForeignKey(Step, on_delete=models.CASCADE, related_name="attempts")
    angle = models.ForeignKey(RequestedAngle, on_delete=models.CASCADE, related_name="attempts")
    created_at = models.DateTimeField(default=timezone.now)
    # How many the student felt would count, told before the number was shown.
    felt = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["step", "angle"], name="one_attempt_per_step_and_film")
        ]


class SelfAnswer(models.Model):
    """The student's own answer to a self-test criterion."""

    submission = models.ForeignKey(
        Submission, on_delete=models.CASCADE, related_name="self_answers"
    )
    criterion = models.ForeignKey(Criterion, on_delete=models.CASCADE, related_name="answers")
    yes = models.BooleanField()
    text = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["submission", "criterion"], name="one_self_answer")
        ]


@guarded
class PracticeSeries(models.Model):
    """What a student practised of a drill at one go, told by their phone; nobody judged it."""

    class Felt(models.TextChoices):
        EASY = "easy", "easy"
        RIGHT = "right", "all right"
        HARD = "hard", "hard"

    assignment = models.ForeignKey(
        Assignment, on_delete=models.CASCADE, related_name="practice_series"
    )
    # The phone's own name for it: the same one told twice is one.
    key = models.UUIDField(unique=True)
    day = models.DateField()  # at the student's place
    repetitions = models.PositiveSmallIntegerField()
    felt = models.CharField(max_length=8, choices=Felt.choices, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pk"]


@guarded
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


@guarded
class PainReport(models.Model):
    """Pain stops every drill that loads the region. Software never clears it."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="pain_reports")
    region = models.CharField(max_length=10, choices=Region.choices)
    assignment = models.ForeignKey(
        Assignment, null=True, blank=True, on_delete=models.SET_NULL, related_name="pain_reports"
    )
    text = models.CharField(max_length=300, blank=True)
    urgent = models.BooleanField(default=False)
    reported_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now)
    seen_at = models.DateTimeField(null=True, blank=True)
    # The student's own statement that a licensed professional agreed.
    statement = models.CharField(max_length=300, blank=True)
    statement_at = models.DateTimeField(null=True, blank=True)
    # A coach has read the statement and opened the drills again, or it was taken back:
    # from then on it holds nothing.
    reopened_at = models.DateTimeField(null=True, blank=True)
    # A mistaken tap, taken back within ten minutes by the student's side. The row stays.
    taken_back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(reopened_at__isnull=True)
                | ~Q(statement="")
                | Q(taken_back_at=F("reopened_at")),
                name="never_reopened_without_a_statement",
            )
        ]

    @property
    def may_be_taken_back(self) -> bool:
        """For ten minutes, while nobody has named a sign, stated or decided anything."""
        young = timezone.now() - self.created_at < TAKE_BACK_PAIN_FOR
        return young and not (self.urgent or self.statement or self.reopened_at)
