"""How the practice is doing: figures of known rows, and silence where there are too few."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from coaching.dashboard import doing, week_chart
from coaching.dashboard.doing import Answered, moved, weeks_of
from coaching.intake.models import Submission
from coaching.people.models import Student, User
from tests import factories
from tests.coaching.practice import making

SUNDAY = date(2026, 11, 29)


def answered(hours: float, *, back: int = 0, promised_h: float = 48) -> Answered:
    at = datetime(2026, 11, 27, 12, tzinfo=UTC) - timedelta(weeks=back)
    sent = at - timedelta(hours=hours)
    return Answered(sent, sent + timedelta(hours=promised_h), at)


def test_weeks_begin_on_monday_and_tell_hours_only_of_three_or_more() -> None:
    rows = [answered(10), answered(20), answered(60), answered(5, back=1)]
    weeks = weeks_of(rows, today=SUNDAY, zone=UTC)
    assert [week.monday.isoweekday() for week in weeks] == [1] * doing.WEEKS
    now, before = weeks[-1], weeks[-2]
    assert (now.monday, now.answered, now.late, now.median_h) == (date(2026, 11, 23), 3, 1, 20)
    assert now.quick_h is not None and now.slow_h is not None and now.quick_h < 20 < now.slow_h
    assert (before.answered, before.median_h) == (1, None)


def test_a_mean_change_has_no_doubt_of_its_own_below_five_students() -> None:
    few = moved("pelvis_turn_deg", "top", [(20, 30), (22, 40)])
    assert few is not None and (few.before, few.now, few.u) == (21, 35, None)
    assert not few.may_be_chance
    alike = moved("pelvis_turn_deg", "top", [(20.0, 30.0 + i % 2) for i in range(6)])
    assert alike is not None and alike.u == pytest.approx(2 * 0.5477 / 6**0.5, abs=1e-3)
    assert not alike.may_be_chance
    mixed = moved("pelvis_turn_deg", "top", [(20, 40), (40, 20), (20, 45), (45, 20), (30, 31)])
    assert mixed is not None and mixed.may_be_chance
    assert moved("x", "top", []) is None


def test_the_chart_keeps_its_columns_inside() -> None:
    weeks = weeks_of([answered(10), answered(20), answered(90)], today=SUNDAY, zone=UTC)
    chart = week_chart.draw(weeks, promised_h=48)
    last = chart.columns[-1]
    assert last.is_now and last.top == week_chart.TOP
    assert last.high is not None and last.dot is not None and last.low is not None
    assert week_chart.TOP <= last.high < last.dot < last.low <= week_chart.FLOOR
    assert chart.columns[0].height == 0


def test_the_page_counts_in_a_constant_number_of_queries(
    client: Client, coach: User, student: Student, django_assert_max_num_queries
) -> None:
    client.force_login(coach)
    address = reverse("overview")
    assert "no promise to keep" in client.get(address).content.decode()
    for _ in range(6):
        person = factories.make_student(coach=coach)
        sent = making.make_review(student=person)
        attempt = making.open_attempt(making.make_assignment(review=sent))
        making.send_film(attempt, (52.0, 2.0))
    Submission.objects.update(answered_at=timezone.now())
    with django_assert_max_num_queries(40):
        page = " ".join(client.get(address).content.decode().split())
    assert "all within their promise" in page
    (line,) = doing.drill_lines(Student.objects.all())
    assert (line.given, line.passed, line.stopped) == (6, 0, 0)
