"""Acts that a form may send twice: equal ones come one after the other, so each sees the last.

What a phone wrote without a line comes late and perhaps twice, hours apart: it carries a key
and its own time.
"""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta

from django.db.models import Model
from django.utils import timezone

from coaching import numbers
from coaching.people.models import Posted, User

# The same act of the same person within this time is a form sent twice.
SENT_TWICE = timedelta(minutes=1)
# Older than this, a phone's own time is not believed.
OLDEST = timedelta(days=30)
LATEST = 10**11  # seconds; a phone's clock says less


def in_turn(row: Model) -> None:
    """Hold `row` until the transaction ends; call it first, inside the transaction.

    Whoever else wants it waits. Rows that only point at it are not held up. SQLite lets one
    transaction write at a time anyway.
    """
    held = row._meta.model._base_manager.select_for_update(no_key=True).filter(pk=row.pk)
    held.values_list("pk", flat=True).first()


def first_time(user: User, key: str) -> bool:
    """Whether `user` posts this key for the first time; true for none. Call it in a transaction."""
    try:
        known = uuid.UUID(key)
    except ValueError:
        return True
    return Posted.objects.get_or_create(user=user, key=known)[1]


def moment(text: str) -> datetime | None:
    """When something was written, in seconds of the phone's clock; None for anything odd."""
    try:
        return datetime.fromtimestamp(numbers.whole(text, high=LATEST), UTC)
    except (ValueError, OverflowError, OSError):
        return None


def own_time(at: datetime | None) -> datetime:
    """`at` where it can be true, else now."""
    now = timezone.now()
    return at if at is not None and now - OLDEST < at <= now else now
