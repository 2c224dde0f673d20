"""What was told to whom, so that nothing is told twice."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone

from coaching.lessons.models import Entry


class Notice(models.Model):
    entry = models.ForeignKey(Entry, on_delete=models.CASCADE, related_name="notices")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="notices"
    )
    created_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["entry", "user"], name="one_notice_per_reader")
        ]
