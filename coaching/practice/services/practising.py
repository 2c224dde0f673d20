"""What a student practised alone: one line a day in the thread, with no streaks and no nagging."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.people.once import in_turn, own_time
from coaching.people.queries import student_day
from coaching.practice.models import Assignment, PracticeSeries

MOST = 300  # repetitions at one go; more is a slip of the finger
MOST_A_DAY = 100  # times; more is a program that went wrong, and the day's line holds all of them


@transaction.atomic
def record_practice(
    *,
    assignment: Assignment,
    by: User,
    key: uuid.UUID,
    repetitions: int,
    felt: str = "",
    at: datetime | None = None,
) -> PracticeSeries:
    """Note what was practised; the same `key` again is the same series.

    `at` is when it ended, by the phone. A stopped drill's practice is noted too: it is a fact,
    and no leave to go on.

    Raises
    ------
    LessonError
        `count`: not 1 to 300 repetitions. `felt`: no such feeling. `too_many` (409) of one day.
    """
    access.require_acting(by, assignment.student)
    if not 1 <= repetitions <= MOST:
        raise LessonError(_("Say how many you did, from 1 to %(most)d.") % {"most": MOST},
                          code="count")  # fmt: skip
    if felt and felt not in PracticeSeries.Felt.values:
        raise LessonError(_("Choose easy, all right or hard."), code="felt")
    student = assignment.student
    in_turn(student)
    told = PracticeSeries.objects.filter(key=key, assignment__student=student).first()
    if told is not None:
        return told
    if PracticeSeries.objects.filter(key=key).exists():  # another student's: it tells nothing
        key = uuid.uuid4()
    at = own_time(at)
    day = student_day(student, at)
    if PracticeSeries.objects.filter(assignment__student=student, day=day).count() >= MOST_A_DAY:
        raise LessonError(
            _("%(most)d times were noted for this day already.") % {"most": MOST_A_DAY},
            code="too_many",
            status=409,
        )
    series = PracticeSeries.objects.create(
        assignment=assignment,
        key=key,
        day=day,
        repetitions=repetitions,
        felt=felt,
        created_at=at,
    )
    _tell(student, series, by=by)
    return series


def _tell(student: Student, series: PracticeSeries, *, by: User) -> None:
    """The day's one line: written with the first series, longer with each that follows."""
    line = Entry.objects.filter(
        thread__student=student, kind=Entry.Kind.PRACTISED, refs__day=series.day.isoformat()
    ).first()
    if line is None:
        line = lessons.record(
            student=student,
            kind=Entry.Kind.PRACTISED,
            author=by,
            day=series.day.isoformat(),
            at=series.created_at,
            practice_series=[series.pk],
        )
        line.notified_at = timezone.now()  # seen in the thread; nobody is mailed
    else:
        line.refs = line.refs | {"practice_series": [*line.refs["practice_series"], series.pk]}
    line.save(update_fields=["refs", "notified_at"])


def practised_today(assignment: Assignment) -> int:
    """Repetitions of today that the phone told of."""
    day = student_day(assignment.student)
    return sum(row.repetitions for row in assignment.practice_series.filter(day=day))
