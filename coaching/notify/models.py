"""What was told to whom, so that nothing is told twice, and on which devices."""

from __future__ import annotations

import secrets

from django.conf import settings
from django.db import models
from django.utils import timezone

from coaching.lessons.models import Entry

LONGEST_ENDPOINT = 1000


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


class PushSubscription(models.Model):
    """A browser in which somebody asked for notifications. Its endpoint lets us post to that
    browser only, and only with our own key.

    `device` is the secret of a cookie in that browser, by which a sign-out there is known.
    `auth_hash` is the account's when they last signed in there: with a new password or another
    role nothing more is told until they sign in again.
    """

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="push_subscriptions"
    )
    device = models.CharField(max_length=64, unique=True)
    session_key = models.CharField(max_length=40, db_index=True)
    auth_hash = models.CharField(max_length=64)
    endpoint = models.CharField(max_length=LONGEST_ENDPOINT, unique=True)
    p256dh = models.CharField(max_length=100)
    auth = models.CharField(max_length=40)
    created_at = models.DateTimeField(default=timezone.now)
    seen_at = models.DateTimeField(default=timezone.now)

    @property
    def is_alive(self) -> bool:
        return self.user.is_active and secrets.compare_digest(
            self.auth_hash, self.user.get_session_auth_hash()
        )


class PushMessage(models.Model):
    """One entry for one browser, on its way out; the row goes once it was taken or has had its
    time. `retry_at` is also the lease of whoever is sending it now."""

    subscription = models.ForeignKey(
        PushSubscription, on_delete=models.CASCADE, related_name="messages"
    )
    entry = models.ForeignKey(Entry, on_delete=models.CASCADE, related_name="push_messages")
    expires_at = models.DateTimeField(db_index=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    retry_at = models.DateTimeField(default=timezone.now, db_index=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["subscription", "entry"], name="one_push_message_per_browser"
            )
        ]
