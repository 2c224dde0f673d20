"""Students: who they are, what hurts, what they or their guardian have agreed to."""

from __future__ import annotations

import secrets

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from analysis.columns import guarded
from coaching.people.ball import BallFields, any_words
from coaching.people.models.accounts import validate_name
from coaching.people.models.studios import Membership, Studio


@guarded
class Student(BallFields):
    """A learner in one studio. `user` is null until the invitation is taken up."""

    class AgeBand(models.TextChoices):
        MINOR = "under_18", "under 18"
        ADULT = "18_59", "18 to 59"
        SENIOR = "60_up", "60 or over"

    class Place(models.TextChoices):
        BALL = "ball", "a range or course, with balls"
        FOAM = "foam", "at home with foam balls"
        NONE = "none", "at home without a ball"

    studio = models.ForeignKey(Studio, on_delete=models.CASCADE, related_name="students")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="student_profiles",
    )
    coach = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="students"
    )
    name = models.CharField(max_length=80, validators=[validate_name])
    email = models.EmailField(blank=True)
    handedness = models.CharField(
        max_length=5, choices=[("right", "right"), ("left", "left")], default="right"
    )
    stature_cm = models.FloatField(null=True, blank=True)
    club_cm = models.FloatField(null=True, blank=True)
    age_band = models.CharField(max_length=8, choices=AgeBand.choices, blank=True)
    goals = models.TextField(blank=True)
    usual_miss = models.CharField(max_length=200, blank=True)  # a free line beside the choices
    practice_place = models.CharField(max_length=5, choices=Place.choices, blank=True)
    needs_captions = models.BooleanField(default=False)
    body_asked_at = models.DateTimeField(null=True, blank=True)
    profile_confirmed_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    joined_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    # Set when a consent became void while films are stored (agree again, or they are erased then),
    # or when the lessons have been over for long (begin again, or they are).
    films_erased_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(stature_cm__isnull=True)
                | (Q(stature_cm__gt=80) & Q(stature_cm__lt=250)),
                name="student_stature_plausible",
            ),
            models.UniqueConstraint(
                fields=["studio", "user"],
                condition=Q(user__isnull=False),
                name="one_record_per_studio",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def miss_words(self) -> str:
        """What the ball usually does: as chosen, and the free line."""
        return any_words(self, self.usual_miss)

    @property
    def is_minor(self) -> bool:
        return self.age_band == self.AgeBand.MINOR


class StudentTag(models.Model):
    """A coach's word on a student, to find those who belong together."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="tags")
    label = models.CharField(max_length=24)

    class Meta:
        ordering = ["label", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["student", "label"], name="tag_once_per_student")
        ]


def new_token() -> str:
    return secrets.token_urlsafe(32)


@guarded
class Invitation(models.Model):
    """A link that lets one person in, once: the student, a guardian or a colleague."""

    class Kind(models.TextChoices):
        STUDENT = "student"
        GUARDIAN = "guardian"
        MEMBER = "member"

    kind = models.CharField(max_length=8, choices=Kind.choices, default=Kind.STUDENT)
    studio = models.ForeignKey(Studio, on_delete=models.CASCADE, related_name="invitations")
    student = models.ForeignKey(
        Student, null=True, blank=True, on_delete=models.CASCADE, related_name="invitations"
    )
    role = models.CharField(max_length=10, choices=Membership.Role.choices, blank=True)
    email = models.EmailField(blank=True)
    token = models.CharField(max_length=64, unique=True, default=new_token)
    invited_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)


class Guardianship(models.Model):
    """A guardian of a minor, verified through a contact of their own."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="guardianships")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="minors",
    )
    name = models.CharField(max_length=80, blank=True, validators=[validate_name])
    email = models.EmailField()
    verified_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    # This guardian says that the student is 18: it counts once every standing guardian says so.
    of_age_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["student", "email"], name="guardian_once_per_student")
        ]


@guarded
class Consent(models.Model):
    """One purpose agreed to by one person; never changed, only withdrawn."""

    class Purpose(models.TextChoices):
        STORE = "store", "store my videos"
        SHARE_COACH = "share_coach", "share them with my coach"
        MEASURE = "measure", "measure my swing in them"
        CHECK = "check", "use the figures to check the measuring"
        SHOW_OTHERS = "show_others", "show a film to others"

    # Without these no clip is taken; without the rest the lessons go on.
    NEEDED = (Purpose.STORE, Purpose.SHARE_COACH)

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="consents")
    purpose = models.CharField(max_length=12, choices=Purpose.choices)
    given_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    text_version = models.CharField(max_length=12)
    given_at = models.DateTimeField(default=timezone.now)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["student", "purpose"],
                condition=Q(withdrawn_at__isnull=True),
                name="one_standing_consent_per_purpose",
            )
        ]


class Region(models.TextChoices):
    """Parts of the body that a drill can load or that can hurt."""

    NECK = "neck", "neck"
    SHOULDER = "shoulder", "shoulder"
    ELBOW = "elbow", "elbow"
    WRIST = "wrist", "wrist or hand"
    BACK = "back", "back"
    HIP = "hip", "hip"
    KNEE = "knee", "knee"
    ANKLE = "ankle", "ankle or foot"
    OTHER = "other", "somewhere else"


@guarded
class BodyNote(models.Model):
    """What hurts, is stiff, or cannot be done: asked before any advice.

    A limit that the coach has accepted shapes the plan; it is never an instruction
    to work through pain.
    """

    class Kind(models.TextChoices):
        PAINFUL = "painful", "hurts in some movement"
        STIFF = "stiff", "stiff or limited"
        INJURY = "injury", "an injury or operation"

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="body_notes")
    region = models.CharField(max_length=10, choices=Region.choices)
    side = models.CharField(
        max_length=5, choices=[("lead", "lead"), ("trail", "trail"), ("both", "both")], blank=True
    )
    kind = models.CharField(max_length=8, choices=Kind.choices)
    text = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    accepted_as_limit_at = models.DateTimeField(null=True, blank=True)
    over_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
