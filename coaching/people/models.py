"""Accounts, studios, students, guardians and what they have agreed to."""

from __future__ import annotations

import secrets

from django.conf import settings
from django.contrib.auth.models import AbstractUser, UserManager
from django.db import models
from django.db.models import Q
from django.utils import timezone


class EmailUserManager(UserManager):
    """Accounts are known by their e-mail address, kept in lower case."""

    def _create_user_object(self, username, email, password, **extra):  # type: ignore[no-untyped-def]
        raise NotImplementedError("use create_user(email, password, name=...)")

    def create_user(self, email, password=None, **extra):  # type: ignore[no-untyped-def,override]
        user = self.model(email=email.strip().lower(), **extra)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email, password=None, **extra):  # type: ignore[no-untyped-def,override]
        return self.create_user(email, password, is_staff=True, is_superuser=True, **extra)

    def get_by_natural_key(self, username):  # type: ignore[no-untyped-def]
        return self.get(email=(username or "").strip().lower())


class User(AbstractUser):
    """Somebody who can sign in: coach, assistant, student or guardian."""

    class Units(models.TextChoices):
        METRIC = "metric", "centimetres and metres"
        IMPERIAL = "imperial", "inches and feet"

    username = None  # type: ignore[assignment]
    first_name = None  # type: ignore[assignment]
    last_name = None  # type: ignore[assignment]
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=80)
    units = models.CharField(max_length=8, choices=Units.choices, default=Units.METRIC)
    language = models.CharField(max_length=8, default="en")  # one of settings.LANGUAGES
    # Review-room habits: speed, keys, overlays. Never anything the app relies on.
    preferences = models.JSONField(default=dict, blank=True)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]
    objects = EmailUserManager()  # type: ignore[misc]

    def __str__(self) -> str:
        return self.name or self.email

    def get_full_name(self) -> str:
        return self.name


class Studio(models.Model):
    """One teaching practice; everything a coach sees belongs to exactly one."""

    name = models.CharField(max_length=80)
    slug = models.SlugField(unique=True)
    turnaround_hours = models.PositiveSmallIntegerField(default=48)
    is_demo = models.BooleanField(default=False)
    created_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return self.name


class Holiday(models.Model):
    """Days on which the promised time stands still."""

    studio = models.ForeignKey(Studio, on_delete=models.CASCADE, related_name="holidays")
    starts_on = models.DateField()
    ends_on = models.DateField()
    note = models.CharField(max_length=80, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_on__gte=models.F("starts_on")), name="holiday_in_order"
            )
        ]


class Membership(models.Model):
    class Role(models.TextChoices):
        OWNER = "owner", "owner"
        COACH = "coach", "coach"
        ASSISTANT = "assistant", "assistant"  # reads and prepares, never publishes or judges

    studio = models.ForeignKey(Studio, on_delete=models.CASCADE, related_name="memberships")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="memberships"
    )
    role = models.CharField(max_length=10, choices=Role.choices)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "user"], name="one_role_per_studio")
        ]


class Student(models.Model):
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
        related_name="studies",
    )
    coach = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="students"
    )
    name = models.CharField(max_length=80)
    email = models.EmailField(blank=True)
    handedness = models.CharField(
        max_length=5, choices=[("right", "right"), ("left", "left")], default="right"
    )
    stature_cm = models.FloatField(null=True, blank=True)
    club_cm = models.FloatField(null=True, blank=True)
    age_band = models.CharField(max_length=8, choices=AgeBand.choices, blank=True)
    goals = models.TextField(blank=True)
    usual_miss = models.CharField(max_length=200, blank=True)
    practice_place = models.CharField(max_length=5, choices=Place.choices, blank=True)
    needs_captions = models.BooleanField(default=False)
    body_asked_at = models.DateTimeField(null=True, blank=True)
    profile_confirmed_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    joined_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    snoozed_until = models.DateTimeField(null=True, blank=True)

    class Meta:
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
    def is_minor(self) -> bool:
        return self.age_band == self.AgeBand.MINOR


def new_token() -> str:
    return secrets.token_urlsafe(32)


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
        related_name="wards",
    )
    name = models.CharField(max_length=80, blank=True)
    email = models.EmailField()
    verified_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["student", "email"], name="guardian_once_per_student")
        ]


class Consent(models.Model):
    """One purpose agreed to by one person; never changed, only withdrawn."""

    class Purpose(models.TextChoices):
        STORE = "store", "store and measure my videos"
        SHARE_COACH = "share_coach", "share them with my coach"

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="consents")
    purpose = models.CharField(max_length=12, choices=Purpose.choices)
    given_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    text_version = models.CharField(max_length=12)
    given_at = models.DateTimeField(default=timezone.now)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
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
    words = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    accepted_as_limit_at = models.DateTimeField(null=True, blank=True)
    over_at = models.DateTimeField(null=True, blank=True)
