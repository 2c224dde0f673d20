"""The thread: what happened when, told by the service that did it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone

from analysis.columns import guarded
from coaching.people.models import Student, Studio


class Thread(models.Model):
    """One long conversation per student."""

    student = models.OneToOneField(Student, on_delete=models.CASCADE, related_name="thread")


@guarded
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
        PRACTISED = "practised"  # one a day; nobody is mailed about it
        CONSENT = "consent"
        GUARDIAN = "guardian"  # named, agreed, says that the student is 18, and when it counts

    thread = models.ForeignKey(Thread, on_delete=models.CASCADE, related_name="entries")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    text = models.TextField(blank=True)
    refs = models.JSONField(default=dict)
    created_at = models.DateTimeField(default=timezone.now, db_index=True)
    # A message that waits for no answer: staff have read it, or it asks for none.
    no_answer_at = models.DateTimeField(null=True, blank=True)
    # When the student's side opened the answer or verdict it tells of.
    read_at = models.DateTimeField(null=True, blank=True)
    # When they said that they understood it.
    understood_at = models.DateTimeField(null=True, blank=True)
    # When its readers were chosen: entries without it are the outbox.
    notified_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["created_at", "pk"]
        indexes = [
            models.Index(fields=["thread", "created_at"]),
            models.Index(
                fields=["id"], condition=models.Q(notified_at__isnull=True), name="entry_outbox"
            ),
            # What nobody has answered, of thousands of threads (`dashboard.rows`).
            models.Index(
                fields=["thread", "id"],
                condition=models.Q(kind="message"),
                name="entry_messages",
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


class PutOff(models.Model):
    """One waiting thing of a student that staff look at later. `thing` is its row's key."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="put_off")
    thing = models.CharField(max_length=40)
    until = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["student", "thing"], name="put_off_once_per_thing")
        ]


class StudentNote(models.Model):
    """What those who teach a student write down for themselves. No page shows it to the student,
    but it is part of the record that they may download."""

    student = models.OneToOneField(Student, on_delete=models.CASCADE, related_name="note")
    text = models.TextField(blank=True)
    # Raised by one at every save; whoever saves an older one is asked first.
    revision = models.PositiveIntegerField(default=0)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    changed_at = models.DateTimeField(default=timezone.now)


class Package(models.Model):
    """So many answers, sold by hand and counted here."""

    studio = models.ForeignKey(Studio, on_delete=models.CASCADE, related_name="packages")
    title = models.CharField(max_length=60)
    answers = models.PositiveSmallIntegerField()
    weeks = models.PositiveSmallIntegerField(null=True, blank=True)  # None: they do not run out
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["answers", "pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(answers__gte=1), name="package_has_answers")
        ]


class Purchase(models.Model):
    """A student's package as it was when it was bought: what it says later changes nothing."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="purchases")
    title = models.CharField(max_length=60)
    answers = models.PositiveSmallIntegerField()
    bought_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)  # the last day
    noted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["bought_on", "pk"]
