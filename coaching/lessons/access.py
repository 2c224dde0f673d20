"""Who may answer an entry of the log."""

from __future__ import annotations

from coaching.lessons.models import Entry
from coaching.people import access


def entry_teach(user: access.AnyUser, pk: int) -> Entry:
    """An entry of a student whom `user` teaches, or 404."""
    return access.get_object_or_404(access.rows_taught(user, Entry, "thread__student"), pk=pk)
