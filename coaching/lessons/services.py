"""The one way into the thread: every service that tells something calls `record`."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.lessons.models import Entry, Seen, Thread
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.people.queries import guardians_of

LONGEST_MESSAGE = 5000
SENT_TWICE = timedelta(seconds=60)


def thread_of(student: Student) -> Thread:
    return Thread.objects.get_or_create(student=student)[0]


def record(
    *, student: Student, kind: str, author: User | None = None, words: str = "", **refs: Any
) -> Entry:
    """Write an entry. Call it inside the transaction of what it tells of.

    `refs` are ids of the rows told of; plain JSON values.
    """
    return Entry.objects.create(
        thread=thread_of(student), kind=Entry.Kind(kind), author=author, words=words, refs=refs
    )


@transaction.atomic
def send_message(*, student: Student, author: User, words: str) -> Entry:
    """A word in the thread. A minor's guardian sees all of it: there is only this channel.

    The same words of the same person within a minute are the form sent twice.
    """
    words = words.strip()
    if not words:
        raise LessonError(_("Write a word first."), code="no_words")
    if len(words) > LONGEST_MESSAGE:
        raise LessonError(
            _("That is very long: send it in two parts of at most 5000 letters."), code="too_long"
        )
    if student.is_minor and not guardians_of(student).exists():
        raise LessonError(
            _("Nobody can write here before a guardian has agreed."),
            code="guardian_missing",
            status=403,
        )
    twin = Entry.objects.filter(
        thread=thread_of(student),
        kind=Entry.Kind.MESSAGE,
        author=author,
        words=words,
        created_at__gt=timezone.now() - SENT_TWICE,
    ).first()
    return twin or record(student=student, kind=Entry.Kind.MESSAGE, author=author, words=words)


def mark_seen(*, thread: Thread, user: User) -> None:
    last = thread.entries.last()
    if last is not None:
        Seen.objects.update_or_create(thread=thread, user=user, defaults={"entry": last})
