"""The one way into the thread: every service that tells something calls `record`."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from coaching.lessons.models import Entry, Seen, Thread
from coaching.people.models import Student, User


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
    """A word in the thread. A minor's guardian sees all of it: there is only this channel."""
    return record(student=student, kind=Entry.Kind.MESSAGE, author=author, words=words.strip())


def mark_seen(*, thread: Thread, user: User) -> None:
    last = thread.entries.last()
    if last is not None:
        Seen.objects.update_or_create(thread=thread, user=user, defaults={"entry": last})
