"""When an answer is promised: the studio's hours, standing still on days that do not count."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import UTC, date, datetime, time, timedelta, tzinfo

WEEK = frozenset(range(1, 8))  # as ISO counts them: Monday is 1


def promised_time(
    sent_at: datetime,
    *,
    hours: float,
    holidays: Iterable[tuple[date, date]],
    zone: tzinfo,
    weekdays: Collection[int] = WEEK,
) -> datetime:
    """The moment `hours` after `sent_at`, not counting days on which the studio is closed.

    Parameters
    ----------
    sent_at : datetime
        Aware.
    holidays : iterable of (first day, last day)
        Both included, from midnight to midnight in `zone`; may overlap.
    zone : tzinfo
        The studio's time zone.
    weekdays : collection of int
        The days of every week that count, Monday is 1.

    Returns
    -------
    datetime
        Aware, in UTC.

    Raises
    ------
    ValueError
        When no day of the week counts: nothing would ever be answered.
    """
    if not WEEK & set(weekdays):
        raise ValueError("at least one day of the week must count")
    closed = list(holidays)
    at, left = sent_at.astimezone(UTC), timedelta(hours=hours)
    while True:
        day = at.astimezone(zone).date()
        midnight = datetime.combine(day + timedelta(days=1), time.min, zone).astimezone(UTC)
        if day.isoweekday() in weekdays and not any(a <= day <= b for a, b in closed):
            if left <= midnight - at:
                return at + left
            left -= midnight - at
        at = midnight
