"""Shared reads of the thread."""

from __future__ import annotations

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery

from coaching.lessons.models import Entry
from coaching.people.models import Guardianship, Student


def of_students(entries: QuerySet[Entry]) -> QuerySet[Entry]:
    """Those that the student or a guardian has written or caused."""
    own = Q(author__isnull=False, author=F("thread__student__user"))
    ward = Guardianship.objects.filter(user=OuterRef("author"), student=OuterRef("thread__student"))
    return entries.filter(own | Exists(ward))


def heard_from(students: QuerySet[Student]) -> QuerySet[Student]:
    """With `heard_at`: when the student or a guardian last did something here, or None."""
    theirs = of_students(Entry.objects.filter(thread__student=OuterRef("pk")))
    newest = theirs.order_by("-created_at").values("created_at")[:1]
    return students.annotate(heard_at=Subquery(newest))
