"""Studios, who works in them, and the days on which they rest."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from analysis.columns import guarded
from coaching.people.zones import validate_zone


def default_zone() -> str:
    return settings.TIME_ZONE


@guarded
class Studio(models.Model):
    """One teaching practice; everything a coach sees belongs to exactly one."""

    class Accent(models.TextChoices):
        """Inks that were tried on every ground, by day and by night: see `tokens.css`."""

        WATER = "water", _("deep water")
        INDIGO = "indigo", _("indigo")
        HEATHER = "heather", _("heather")
        SLATE = "slate", _("slate")

    name = models.CharField(max_length=80)
    slug = models.SlugField(unique=True)
    turnaround_hours = models.PositiveSmallIntegerField(default=48)
    # The ISO days of the week on which the promised time runs: Monday is 1.
    working_days = models.CharField(
        max_length=7, default="1234567", validators=[RegexValidator(r"^(?=.)1?2?3?4?5?6?7?$")]
    )
    time_zone = models.CharField(max_length=64, default=default_zone, validators=[validate_zone])
    # The colour of the one next step on pages that this studio's students read.
    accent = models.CharField(max_length=8, choices=Accent.choices, default=Accent.WATER)
    # A small PNG, drawn anew from what the owner chose (`services.logo`).
    logo = models.FileField(upload_to="logo/%Y/%m/", max_length=200, blank=True)
    # Whether a verdict uses up one of the answers that a student bought.
    verdicts_count = models.BooleanField(default=False)
    # Whoever works here signs in with a second step, or sets one up first.
    second_step_required = models.BooleanField(default=False)
    is_demo = models.BooleanField(default=False)
    created_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return self.name

    @property
    def weekdays(self) -> frozenset[int]:
        """The ISO days of the week that count."""
        return frozenset(int(day) for day in self.working_days)


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


@guarded
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
