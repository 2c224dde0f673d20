"""The thread's entries as letters: one for each reader and turn, sent at least once.

Entries without `told_at` are the outbox. Choosing readers is one short transaction per
entry; sending happens outside any transaction, under a lease.
"""

from __future__ import annotations

import logging
from collections import defaultdict
from collections.abc import Iterable
from datetime import timedelta
from smtplib import SMTPException

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.db.models import F, Q
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation

from coaching.lessons.models import Entry
from coaching.notify.models import Feed, Notice, new_feed_token
from coaching.notify.readers import GROUPS, readers_of
from coaching.people.models import User

logger = logging.getLogger(__name__)
MOST_ATTEMPTS = 6
BATCH = 200


def send_notices() -> int:
    """Choose readers of new entries and send what is due; how many letters went out."""
    address_entries()
    return deliver()


def address_entries() -> int:
    """Write a notice for each reader of each entry that nobody was told of yet."""
    waiting = (
        Entry.objects.filter(told_at__isnull=True)
        .order_by("pk")
        .select_related(
            "thread__student__studio", "thread__student__user", "thread__student__coach", "author"
        )
    )
    count = 0
    for entry in waiting[:BATCH]:
        with transaction.atomic():
            mine = Entry.objects.filter(pk=entry.pk, told_at__isnull=True)
            if not mine.update(told_at=timezone.now()):
                continue  # another worker has it
            rows = [Notice(entry=entry, user=user) for user in readers_of(entry)]
            count += len(Notice.objects.bulk_create(rows, ignore_conflicts=True))
    return count


def deliver() -> int:
    """Send what is due: everything one reader has of one thread in one letter."""
    now = timezone.now()
    due = (
        Notice.objects.filter(sent_at__isnull=True, attempts__lt=MOST_ATTEMPTS)
        .filter(Q(retry_at__isnull=True) | Q(retry_at__lte=now))
        .select_related("user", "entry__author", "entry__thread__student__studio")
        .order_by("entry_id")
    )
    turns: dict[tuple[int, int], list[Notice]] = defaultdict(list)
    for notice in due[:BATCH]:
        turns[notice.user_id, notice.entry.thread_id].append(notice)
    return sum(_send_turn(notices) for notices in turns.values())


def _send_turn(notices: list[Notice]) -> int:
    held = [notice for notice in notices if _lease(notice)]
    if not held:
        return 0
    if _mails(held[0]):
        try:
            _letter(held).send()
        except (OSError, SMTPException):
            logger.exception("A letter could not be sent; it is tried again.")
            return 0
    Notice.objects.filter(pk__in=[n.pk for n in held]).update(sent_at=timezone.now())
    return 1


def _lease(notice: Notice) -> bool:
    """Take a notice for as long as the next try is away: 1, 5, 25 ... minutes."""
    now = timezone.now()
    return bool(
        Notice.objects.filter(pk=notice.pk, sent_at__isnull=True, attempts=notice.attempts).update(
            attempts=F("attempts") + 1,
            retry_at=now + timedelta(minutes=5**notice.attempts),
        )
    )


def _mails(notice: Notice) -> bool:
    """The demo's people are invented: their letters only ever go to the console."""
    studio = notice.entry.thread.student.studio
    return not studio.is_demo or "console" in settings.EMAIL_BACKEND


def _letter(notices: list[Notice]) -> EmailMessage:
    user, student = notices[0].user, notices[0].entry.thread.student
    site = settings.SITE_URL.rstrip("/")
    context = {
        "user": user,
        "student": student,
        "entries": [notice.entry for notice in notices],
        "is_own": student.user_id == user.pk,
        "is_guardian": student.guardianships.filter(user=user).exists(),
        "address": site + reverse("lessons:thread", args=[student.pk]),
        "settings_address": site + reverse("notify:settings"),
    }
    with translation.override(user.language):
        text = render_to_string("notify/letter.txt", context)
    subject, _, body = text.strip().partition("\n")
    return EmailMessage(subject.strip(), body.strip() + "\n", None, [user.email])


def choose_letters(*, user: User, wanted: Iterable[str]) -> None:
    """Keep which groups of letters somebody wants."""
    off = sorted(set(GROUPS) - set(wanted))
    user.preferences = {**user.preferences, "letters_off": off}
    user.save(update_fields=["preferences"])


def feed_of(user: User) -> Feed:
    return Feed.objects.get_or_create(user=user)[0]


def renew_feed(*, user: User) -> Feed:
    """A new secret address; the old one shows nothing any more."""
    return Feed.objects.update_or_create(user=user, defaults={"token": new_feed_token()})[0]
