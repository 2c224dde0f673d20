"""The thread's entries as letters: one for each reader and turn, sent at least once.

Entries without `notified_at` are the outbox. Choosing readers is one short transaction per
entry, which also writes their notifications (`pushing`); sending happens outside any
transaction, under a lease.
"""

from __future__ import annotations

import logging
from collections import defaultdict
from collections.abc import Iterable
from datetime import timedelta
from smtplib import SMTPException
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Case, F, Q, QuerySet, Value, When
from django.utils import timezone

from analysis import sweeping
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.notify import pushing
from coaching.notify.models import Feed, Notice, new_feed_token
from coaching.notify.readers import GROUPS, readers_of, still_reads
from coaching.notify.saying import email_of
from coaching.people.models import User
from coaching.people.queries import has_proved_address

logger = logging.getLogger(__name__)
MOST_ATTEMPTS = 6  # of every letter but one about pain, which is never given up
LONGEST_WAIT = timedelta(hours=13)
LONGEST_PAIN_WAIT = timedelta(minutes=5)
BATCH = 200
IS_PAIN = Q(entry__kind=Entry.Kind.PAIN)
# What can be undone is told only when it can be no more; a little later, for slow clocks.
HELD_FOR = lessons.UNDO_FOR + timedelta(seconds=2)


def send_notices() -> int:
    """Choose readers of new entries and send what is due; how many letters went out."""
    address_entries()
    return deliver()


def address_entries() -> int:
    """Write a notice for each reader of each entry that nobody was told of yet; pain first."""
    undoable = Q(kind__in=lessons.UNDOABLE, created_at__gt=timezone.now() - HELD_FOR)
    waiting = (
        Entry.objects.filter(notified_at__isnull=True)
        .exclude(undoable)
        .order_by(pain_first("kind"), "pk")
        .select_related(
            "thread__student__studio", "thread__student__user", "thread__student__coach", "author"
        )
    )
    return sweeping.each(waiting[:BATCH], _address, what="An entry that nobody was told of")


@transaction.atomic
def _address(entry: Entry) -> None:
    mine = Entry.objects.filter(pk=entry.pk, notified_at__isnull=True)
    if mine.update(notified_at=timezone.now()):  # else another worker has it
        readers = readers_of(entry)
        rows = [Notice(entry=entry, user=user) for user in readers]
        Notice.objects.bulk_create(rows, ignore_conflicts=True)
        pushing.address(entry, readers)


def pain_first(kind: str) -> Case:
    """Sorts rows that tell of pain before all others; `kind` leads to the entry's kind."""
    return Case(When(**{kind: Entry.Kind.PAIN}, then=Value(0)), default=Value(1))


def unsent() -> QuerySet[Notice]:
    """Letters that wait to be sent, or to be tried again."""
    return Notice.objects.filter(sent_at__isnull=True).filter(
        Q(attempts__lt=MOST_ATTEMPTS) | IS_PAIN
    )


def deliver() -> int:
    """Send what is due: everything one reader has of one thread in one letter; pain first."""
    now = timezone.now()
    due = (
        unsent()
        .filter(Q(retry_at__isnull=True) | Q(retry_at__lte=now))
        .select_related("user", "entry__author", "entry__thread__student__studio")
        .order_by(pain_first("entry__kind"), "entry_id")
    )
    turns: dict[tuple[int, int], list[Notice]] = defaultdict(list)
    for notice in due[:BATCH]:
        turns[notice.user_id, notice.entry.thread_id].append(notice)
    sent = 0

    def send(notices: list[Notice]) -> None:
        nonlocal sent
        sent += _send_turn(notices)

    sweeping.each(turns.values(), send, what="A letter")
    return sent


def _send_turn(notices: list[Notice]) -> int:
    held = [notice for notice in notices if _lease(notice)]
    if not held:
        return 0
    if _mails(held[0]):
        try:
            email_of([notice.entry for notice in held], held[0].user).send()
        except (OSError, SMTPException):
            logger.exception("A letter could not be sent; it is tried again.")
            return 0
    Notice.objects.filter(pk__in=[n.pk for n in held]).update(sent_at=timezone.now())
    return 1


def _lease(notice: Notice) -> bool:
    """Take a notice for as long as the next try is away: 1, 5, 25 ... minutes; pain at most 5."""
    now = timezone.now()
    longest = LONGEST_PAIN_WAIT if notice.entry.kind == Entry.Kind.PAIN else LONGEST_WAIT
    wait = min(timedelta(minutes=5 ** min(notice.attempts, 6)), longest)
    return bool(
        Notice.objects.filter(pk=notice.pk, sent_at__isnull=True, attempts=notice.attempts).update(
            attempts=F("attempts") + 1,
            retry_at=now + wait,
        )
    )


def _mails(notice: Notice) -> bool:
    """The demo's people are invented: their letters only ever go to the console. An address
    that nobody has proved gets nothing; nor does who has left since, but a guardian hears of
    the end."""
    if not (has_proved_address(notice.user) and still_reads(notice.user, notice.entry)):
        return False
    studio = notice.entry.thread.student.studio
    return not studio.is_demo or "console" in settings.EMAIL_BACKEND


def choose_emails(*, user: User, wanted: Iterable[str]) -> None:
    """Keep which groups of letters somebody wants."""
    off = sorted(set(GROUPS) - set(wanted))
    user.preferences = {**user.preferences, "letters_off": off}
    user.save(update_fields=["preferences"])


def feed_of(user: User) -> Feed:
    return Feed.objects.get_or_create(user=user)[0]


def close_feed(*, user: User, **_signal: Any) -> None:
    """With a new password the calendar's address opens nothing; its page gives another."""
    Feed.objects.filter(user=user).delete()


def renew_feed(*, user: User) -> Feed:
    """A new secret address; the old one shows nothing any more."""
    return Feed.objects.update_or_create(user=user, defaults={"token": new_feed_token()})[0]
