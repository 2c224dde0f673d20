"""The thread: what happened when, told by the service that did it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone

from coaching.people.models import Student


class Thread(models.Model):
    """One long conversation per student."""

    student = models.OneToOneField(Student, on_delete=models.CASCADE, related_name="thread")


class Entry(models.Model):
    """A fact in the thread. `refs` names the rows it tells of, e.g. `{"request": 3}`.

    Written in the transaction of the service it tells of; notices are sent from these
    rows, so nothing on the left of `notify` knows who listens.
    """

    class Kind(models.TextChoices):
        JOINED = "joined"
        MESSAGE = "message"
        BODY_NOTED = "body_noted"
        REQUESTED = "requested"
        SENT = "sent"
        REFUSED = "refused"
        READY = "ready"
        REVIEWED = "reviewed"
        ASSIGNED = "assigned"
        JUDGED = "judged"
        PAIN = "pain"
        REOPENED = "reopened"
        CONSENT = "consent"

    thread = models.ForeignKey(Thread, on_delete=models.CASCADE, related_name="entries")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    words = models.TextField(blank=True)
    refs = models.JSONField(default=dict)
    created_at = models.DateTimeField(default=timezone.now, db_index=True)
    # When its readers were chosen: entries without it are the outbox.
    told_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["created_at", "pk"]
        indexes = [
            models.Index(fields=["thread", "created_at"]),
            models.Index(
                fields=["id"], condition=models.Q(told_at__isnull=True), name="entry_outbox"
            ),
        ]


class Seen(models.Model):
    """How far somebody has read a thread."""

    thread = models.ForeignKey(Thread, on_delete=models.CASCADE, related_name="seen")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    entry = models.ForeignKey(Entry, on_delete=models.CASCADE, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["thread", "user"], name="one_mark_per_reader")
        ]
