"""The log of who saw, handed out or changed what: written once, never changed.

Services write here in their own transaction. The owner reads it on the studio's page, a
student on the own profile, about the own record only.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from coaching.people import security
from coaching.people.models import AuditEntry, Student, Studio, User

Act = AuditEntry.Act
# Somebody who goes back and forth in a film looks at it once.
SAME_LOOK = timedelta(hours=12)
LOOKS = {Act.SAW_FILM, Act.SAW_BY_LINK, Act.SAW_PAIN}  # everybody's daily work: in the table only


def write(
    act: AuditEntry.Act,
    *,
    by: User | None,
    student: Student | None = None,
    studio: Studio | None = None,
    **facts: Any,
) -> AuditEntry:
    """One entry; `facts` are plain JSON values without anybody's words or address."""
    studio_id = student.studio_id if student is not None else studio.pk if studio else None
    row = AuditEntry.objects.create(
        act=act,
        by=by,
        student_id=student.pk if student is not None else None,
        studio_id=studio_id,
        facts=facts,
    )
    if act not in LOOKS:
        security.note_once_stored(
            str(act), by=row.by_id, student=row.student_id, studio=row.studio_id, entry=row.pk
        )
    return row


def saw(act: AuditEntry.Act, *, by: User | None, student: Student, **facts: Any) -> None:
    """A look, written once for the same thing in half a day; one's own things are no news.

    `by` is None for whoever holds a link.
    """
    if by is not None and student.user_id == by.pk:
        return
    since = timezone.now() - SAME_LOOK
    known = AuditEntry.objects.filter(
        act=act, by=by, student_id=student.pk, facts=facts, at__gt=since
    )
    if not known.exists():
        write(act, by=by, student=student, **facts)


def of_studio(studio: Studio) -> QuerySet[AuditEntry]:
    return AuditEntry.objects.filter(studio_id=studio.pk).order_by("-at", "-pk")


def of_student(student: Student) -> QuerySet[AuditEntry]:
    return AuditEntry.objects.filter(student_id=student.pk).order_by("-at", "-pk")
