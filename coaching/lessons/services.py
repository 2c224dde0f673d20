"""The one way into the thread: every service that tells something calls `record`."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.lessons.models import Entry, PutOff, Seen, Thread
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.people.once import SENT_TWICE, in_turn, own_time
from coaching.people.queries import guardians_of

LONGEST_MESSAGE = 5000
# What a coach sends may be taken back for so long; letters about it wait a little longer.
UNDO_FOR = timedelta(seconds=10)
LONGEST_PUT_OFF = timedelta(days=366)
THING = re.compile(r"[a-z]{1,12}-\d{1,18}")
UNDOABLE = (Entry.Kind.REVIEWED, Entry.Kind.ASSIGNED, Entry.Kind.JUDGED)


def thread_of(student: Student) -> Thread:
    """The one thread of a student; no query where it was read with them."""
    try:
        return student.thread
    except Thread.DoesNotExist:
        return Thread.objects.get_or_create(student=student)[0]


def record(
    *,
    student: Student,
    kind: str,
    author: User | None = None,
    text: str = "",
    at: datetime | None = None,
    needs_answer: bool = True,
    **refs: Any,
) -> Entry:
    """Write an entry. Call it inside the transaction of what it tells of.

    `refs` are ids of the rows told of, plain JSON values; `at` when it happened, where a
    phone told late. `needs_answer` is for messages: whether they wait for the coach.
    """
    return Entry.objects.create(
        thread=thread_of(student),
        kind=Entry.Kind(kind),
        author=author,
        text=text,
        refs=refs,
        created_at=own_time(at),
        no_answer_at=None if needs_answer else timezone.now(),
    )


def refuse_too_late(done_at: datetime | None) -> None:
    """Say that something can be undone no more. Nothing was mailed before this ends."""
    if done_at is None or done_at < timezone.now() - UNDO_FOR:
        raise LessonError(
            _("It is too late to undo this: it has gone. Write another to add to it."),
            code="too_late",
            status=409,
        )


def unrecord(*, student: Student, kind: str, **refs: Any) -> None:
    """Take an entry out of the thread with the deed it tells of, before anybody was told."""
    named = {f"refs__{name}": pk for name, pk in refs.items()}
    rows = Entry.objects.filter(thread__student=student, kind=kind, notified_at=None, **named)
    if not rows.delete()[0]:
        refuse_too_late(None)


@transaction.atomic
def send_message(*, student: Student, author: User, text: str, at: datetime | None = None) -> Entry:
    """A word in the thread. A minor's guardian sees all of it: there is only this channel.

    The same words of the same person within a minute are the form sent twice.
    """
    access.require_writing(author, student)
    text = text.strip()
    if not text:
        raise LessonError(_("Write a word first."), code="no_words")
    if len(text) > LONGEST_MESSAGE:
        raise LessonError(
            _("That is very long: send it in two parts of at most 5000 letters."), code="too_long"
        )
    if student.is_minor and not guardians_of(student).exists():
        raise LessonError(
            _("Nobody can write here before a guardian has agreed."),
            code="guardian_missing",
            status=403,
        )
    in_turn(student)
    twin = Entry.objects.filter(
        thread=thread_of(student),
        kind=Entry.Kind.MESSAGE,
        author=author,
        text=text,
        created_at__gt=timezone.now() - SENT_TWICE,
    ).first()
    return twin or record(student=student, kind=Entry.Kind.MESSAGE, author=author, text=text, at=at)


def mark_seen(*, thread: Thread, user: User) -> None:
    last = thread.entries.last()
    if last is not None:
        Seen.objects.update_or_create(thread=thread, user=user, defaults={"entry": last})


def mark_read(*, student: Student, by: User, kind: str, **refs: Any) -> None:
    """The student's side has opened what an entry tells of: it is news no more."""
    access.require_acting(by, student)
    named = {f"refs__{name}": pk for name, pk in refs.items()}
    rows = Entry.objects.filter(thread__student=student, kind=kind, read_at=None, **named)
    rows.update(read_at=timezone.now())


def mark_understood(*, student: Student, by: User, kind: str, **refs: Any) -> None:
    """The student's side has understood what an entry tells of; saying it again changes nothing."""
    mark_read(student=student, by=by, kind=kind, **refs)
    named = {f"refs__{name}": pk for name, pk in refs.items()}
    rows = Entry.objects.filter(thread__student=student, kind=kind, understood_at=None, **named)
    rows.update(understood_at=timezone.now())


def need_no_answer(*, entry: Entry, by: User) -> int:
    """The student's messages up to this one wait no longer; how many did."""
    access.require_teaching(by, entry.thread.student)
    rows = Entry.objects.filter(
        thread=entry.thread_id, kind=Entry.Kind.MESSAGE, pk__lte=entry.pk, no_answer_at=None
    )
    return rows.update(no_answer_at=timezone.now())


def put_off(*, student: Student, thing: str, until: datetime, by: User) -> PutOff:
    """Look at one waiting thing later; every other thing of the student keeps its place.

    Raises
    ------
    LessonError
        Pain is never put off; nor is anything into the past, or beyond a year.
    """
    access.require_teaching(by, student)
    if not THING.fullmatch(thing):
        raise LessonError(_("Choose a row of the waiting list."), code="thing")
    if thing.startswith("pain-"):
        raise LessonError(_("Pain is never put off. Read the report first."), code="pain")
    now = timezone.now()
    if not now < until <= now + LONGEST_PUT_OFF:
        raise LessonError(_("Choose a day from tomorrow to a year from now."), code="until")
    return PutOff.objects.update_or_create(
        student=student, thing=thing, defaults={"until": until, "by": by}
    )[0]


def bring_back(*, student: Student, by: User, thing: str) -> None:
    """Put a thing back where it belongs in the waiting list."""
    access.require_teaching(by, student)
    PutOff.objects.filter(student=student, thing=thing).delete()
