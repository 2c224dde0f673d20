"""Shared reads of the thread."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from importlib import import_module
from typing import Any

from django.conf import settings
from django.utils import timezone

from coaching.lessons.models import Entry, Seen, Thread
from coaching.people.models import Student, User

PAGE = 40


@dataclass(frozen=True)
class Told:
    """An entry as the page shows it: complete in itself."""

    entry: Entry
    day: date
    is_mine: bool
    is_new: bool
    rows: dict[str, Any]  # what it tells of, by the name of its reference

    @property
    def template(self) -> str:
        return f"lessons/entry_{self.entry.kind}.html"


@dataclass(frozen=True)
class Page:
    told: list[Told]
    earlier: int | None  # the entry before which there is more


def page_of(thread: Thread, *, user: User, before: int | None = None, size: int = PAGE) -> Page:
    """The newest entries, in order of time; `before` an entry's id for older ones."""
    entries = thread.entries.select_related("author").order_by("-created_at", "-pk")
    if before is not None:
        entries = entries.filter(pk__lt=before)
    found = list(entries[: size + 1])
    shown = found[:size][::-1]
    seen = Seen.objects.filter(thread=thread, user=user).values_list("entry_id", flat=True)
    last = seen.first() or 0
    rows = import_module(settings.THREAD_ROWS).rows_of(shown)
    told = [
        Told(
            entry=entry,
            day=timezone.localtime(entry.created_at).date(),
            is_mine=entry.author_id == user.pk,
            is_new=entry.pk > last and entry.author_id != user.pk,
            rows=rows.get(entry.pk, {}),
        )
        for entry in shown
    ]
    return Page(told=told, earlier=shown[0].pk if len(found) > size else None)


def summary_of(student: Student) -> dict[str, Any]:
    """What the printed lesson holds."""
    found: dict[str, Any] = import_module(settings.THREAD_ROWS).summary_of(student)
    return found
