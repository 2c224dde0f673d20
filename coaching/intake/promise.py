"""When an answer is promised: the studio's hours, standing still on its holidays."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta, tzinfo


def promised_time(
    sent_at: datetime, *, hours: float, holidays: Iterable[tuple[date, date]], zone: tzinfo
) -> datetime:
    """The moment `hours` after `sent_at`, not counting the studio's holidays.

    Parameters
    ----------
    sent_at : datetime
        Aware.
    holidays : iterable of (first day, last day)
        Both included, from midnight to midnight in `zone`; may overlap.
    zone : tzinfo
        The studio's time zone.

    Returns
    -------
    datetime
        Aware, in UTC.
    """
    at, left = sent_at.astimezone(UTC), timedelta(hours=hours)
    for first, last in sorted(holidays):
        start = datetime.combine(first, time.min, zone).astimezone(UTC)
        end = datetime.combine(last + timedelta(days=1), time.min, zone).astimezone(UTC)
        if end <= at:
            continue
        if at + left <= start:
            break
        left -= max(start - at, timedelta(0))
        at = end
    return at + left
