"""What was told to whom, so that nothing is told twice."""

from __future__ import annotations

import secrets

from django.conf import settings
from django.db import models
from django.utils import timezone

from coaching.lessons.models import Entry


class Notice(models.Model):
    """One entry for one reader. `retry_at` is the lease of whoever is sending it now, and
    when to try again if that came to nothing."""

    entry = models.ForeignKey(Entry, on_delete=models.CASCADE, related_name="notices")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="notices"
    )
    created_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    retry_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["entry", "user"], name="one_notice_per_reader")
        ]
        indexes = [
            models.Index(
                fields=["id"], condition=models.Q(sent_at__isnull=True), name="notice_unsent"
            )
        ]


def new_feed_token() -> str:
    return secrets.token_urlsafe(24)


class Feed(models.Model):
    """The secret address of somebody's calendar. A new token closes the old address."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="feed"
    )
    token = models.CharField(max_length=64, unique=True, default=new_feed_token)
    created_at = models.DateTimeField(default=timezone.now)
