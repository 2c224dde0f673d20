"""The promised time against what a calendar says, counted by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coaching.intake.promise import promised_time

MONDAY = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
LONG_AGO, SUNDAY = date(2026, 2, 1), date(2026, 3, 1)
TUESDAY, WEDNESDAY, THURSDAY, FRIDAY = (date(2026, 3, day) for day in (3, 4, 5, 6))


@pytest.mark.parametrize(
    ("holidays", "expected"),
    [
        ([], datetime(2026, 3, 4, 10, tzinfo=UTC)),
        # One free day in between.
        ([(TUESDAY, TUESDAY)], datetime(2026, 3, 5, 10, tzinfo=UTC)),
        # Sent on the holiday's own day: the clock starts at its end.
        ([(date(2026, 3, 2), date(2026, 3, 2))], datetime(2026, 3, 5, 0, tzinfo=UTC)),
        # Overlapping holidays count once.
        ([(TUESDAY, WEDNESDAY), (TUESDAY, TUESDAY)], datetime(2026, 3, 6, 10, tzinfo=UTC)),
        # Two apart: 14 h of Monday, 24 h of Wednesday, 10 h of Friday.
        ([(TUESDAY, TUESDAY), (THURSDAY, THURSDAY)], datetime(2026, 3, 6, 10, tzinfo=UTC)),
        # Over before, and not reached.
        ([(LONG_AGO, SUNDAY), (FRIDAY, FRIDAY)], datetime(2026, 3, 4, 10, tzinfo=UTC)),
    ],
)  # fmt: skip
def test_holidays_stand_still(holidays: list[tuple[date, date]], expected: datetime) -> None:
    assert promised_time(MONDAY, hours=48, holidays=holidays, zone=UTC) == expected


def test_days_are_the_studios_days() -> None:
    """Midnight in Berlin is 23:00 UTC the day before, in winter."""
    berlin = ZoneInfo("Europe/Berlin")
    sent = datetime(2026, 3, 2, 22, 30, tzinfo=UTC)  # 23:30 there, half an hour before the holiday
    promised = promised_time(sent, hours=1, holidays=[(TUESDAY, TUESDAY)], zone=berlin)
    assert promised == datetime(2026, 3, 3, 23, 30, tzinfo=UTC)


def test_hours_are_hours_when_the_clocks_change() -> None:
    berlin = ZoneInfo("Europe/Berlin")
    sent = datetime(2026, 3, 28, 12, tzinfo=berlin)  # the clocks go forward that night
    promised = promised_time(sent, hours=24, holidays=[], zone=berlin)
    assert promised - sent.astimezone(UTC) == timedelta(hours=24)


@given(
    st.integers(0, 24 * 60),
    st.integers(1, 200),
    st.lists(st.tuples(st.integers(0, 30), st.integers(0, 3)), max_size=4),
)
def test_exactly_the_working_hours_pass(
    minute: int, hours: int, spans: list[tuple[int, int]]
) -> None:
    """Counted hour by hour, as slowly as a person would."""
    sent = datetime(2026, 3, 2, tzinfo=UTC) + timedelta(minutes=minute)
    first = date(2026, 3, 1)
    holidays = [(first + timedelta(a), first + timedelta(a + n)) for a, n in spans]
    promised = promised_time(sent, hours=hours, holidays=holidays, zone=UTC)
    free = {a + timedelta(d) for a, b in holidays for d in range((b - a).days + 1)}
    minutes, at = hours * 60, sent
    while minutes:
        if at.date() not in free:
            minutes -= 1
        at += timedelta(minutes=1)
    assert promised == at


def test_a_day_of_the_week_that_does_not_count_stands_still() -> None:
    """Friday noon and 24 hours: over a weekend off that is Monday noon."""
    friday = datetime(2026, 3, 6, 12, tzinfo=UTC)
    promised = promised_time(friday, hours=24, holidays=[], zone=UTC, weekdays={1, 2, 3, 4, 5})
    assert promised == datetime(2026, 3, 9, 12, tzinfo=UTC)
    with pytest.raises(ValueError, match="day of the week"):
        promised_time(friday, hours=24, holidays=[], zone=UTC, weekdays=set())
