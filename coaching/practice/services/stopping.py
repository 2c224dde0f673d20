"""The stop rule: pain stops, a professional and the coach open again."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.intake.models import Request, RequestedAngle
from coaching.intake.services import asking
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people import access, audit
from coaching.people.errors import LessonError
from coaching.people.models import Region, Student, User
from coaching.people.once import SENT_TWICE, in_turn, own_time
from coaching.people.texts import in_one_line, short_line
from coaching.practice.models import Assignment, PainReport
from coaching.practice.services import sharing

# Of the words beside a report; what is longer is cut, because pain is never refused for its words.
MOST_LETTERS = 300
_SWUNG_HARD = (
    RequestedAngle.Effort.HALF,
    RequestedAngle.Effort.QUARTERS,
    RequestedAngle.Effort.FULL,
)


def loads(assignment: Assignment, region: str) -> bool:
    """Whether a drill loads a region: what it says, and everything once it is swung hard."""
    if region == Region.OTHER or region in assignment.drill_version.loads:
        return True
    step = assignment.steps.filter(passed_at=None, skipped_at=None).order_by("position").first()
    return step is not None and step.film_kind == "swing" and step.effort in _SWUNG_HARD


def requests_of(assignments: QuerySet[Assignment]) -> QuerySet[Request]:
    return Request.objects.filter(angles__attempts__step__assignment__in=assignments)


def _swings(student: Student) -> QuerySet[Request]:
    """Open requests outside the drills for which the student would swing."""
    moving = RequestedAngle.objects.filter(attempts=None).exclude(kind="setup")
    return student.requests.filter(closed_at=None, angles__in=moving).distinct()


def stop_assignments(assignments: QuerySet[Assignment]) -> None:
    pks = list(assignments.values_list("pk", flat=True))
    now = timezone.now()
    Assignment.objects.filter(pk__in=pks, stopped_at=None).update(stopped_at=now)
    sharing.part_from(Assignment.objects.filter(pk__in=pks))
    for student in Student.objects.filter(assignments__in=pks).distinct():
        asking.suspend_requests(
            student=student, requests=_standing(requests_of(Assignment.objects.filter(pk__in=pks)))
        )


def _standing(requests: QuerySet[Request]) -> QuerySet[Request]:
    """The same rows by key, so that they can be updated."""
    return Request.objects.filter(pk__in=list(requests.values_list("pk", flat=True)))


@transaction.atomic
def report_pain(
    *,
    student: Student,
    by: User,
    region: str,
    text: str = "",
    urgent: bool = False,
    assignment: Assignment | None = None,
    at: datetime | None = None,
) -> PainReport:
    """Stop everything that loads a region, at once, and tell the coach first of all.

    The same report sent twice is one report. `at` is when it was felt, where a phone tells late.
    """
    access.require_acting(by, student)
    if region not in Region.values:
        raise LessonError(_("Touch where it hurts."), code="region")
    if assignment is not None and assignment.student_id != student.pk:
        raise LessonError(_("That drill is another student's."), code="wrong_student")
    text = in_one_line(text)[:MOST_LETTERS]
    in_turn(student)
    again = student.pain_reports.filter(
        region=region,
        text=text,
        urgent=urgent,
        assignment=assignment,
        reopened_at=None,
        created_at__gte=timezone.now() - SENT_TWICE,
    ).first()
    if again is not None:
        return again
    report = PainReport.objects.create(
        student=student,
        region=region,
        text=text,
        urgent=urgent,
        assignment=assignment,
        reported_by=by,
        created_at=own_time(at),
    )
    running = student.assignments.filter(opened_at__isnull=False, closed_at=None)
    stopped = [a.pk for a in running if a == assignment or loads(a, region)]
    stop_assignments(Assignment.objects.filter(pk__in=stopped))
    asking.suspend_requests(student=student, requests=_standing(_swings(student)))
    lessons.record(
        student=student,
        kind=Entry.Kind.PAIN,
        author=by,
        text=text,
        at=at,
        pain_report=report.pk,
        assignments=stopped,
    )
    return report


@transaction.atomic
def stop_drill(*, assignment: Assignment, by: User, at: datetime | None = None) -> PainReport:
    """ "It hurts", in one tap: everything stops until the student has said where."""
    access.require_acting(by, assignment.student)
    return report_pain(
        student=assignment.student, by=by, region=Region.OTHER, assignment=assignment, at=at
    )


def _change_standing(report: PainReport, **fields: Any) -> None:
    """Change a report that stands; one that was opened again stays as it is."""
    if not PainReport.objects.filter(pk=report.pk, reopened_at=None).update(**fields):
        raise LessonError(_("This was opened again already."), code="reopened", status=409)


def _said_just_now(report: PainReport, by: User, **fields: Any) -> bool:
    """The same was said of the report a moment ago: the form sent twice."""
    same = all(getattr(report, name) == value for name, value in fields.items())
    return (
        same
        and Entry.objects.filter(
            thread__student=report.student_id,
            kind=Entry.Kind.PAIN if report.urgent else Entry.Kind.BODY_NOTED,
            author=by,
            refs__pain_report=report.pk,
            created_at__gt=timezone.now() - SENT_TWICE,
        ).exists()
    )


@transaction.atomic
def locate_pain(
    *, report: PainReport, by: User, region: str, text: str = "", urgent: bool = False
) -> PainReport:
    """Say where it hurts, after the one tap that stopped everything.

    Drills that do not load the region go on; the one it was said from stays stopped.
    """
    access.require_acting(by, report.student)
    if region not in Region.values:
        raise LessonError(_("Touch where it hurts."), code="region")
    text = in_one_line(text)[:MOST_LETTERS]
    in_turn(report.student)
    report.refresh_from_db()
    fields = {
        "region": region,
        "text": text or report.text,
        "urgent": urgent or report.urgent,
    }
    if _said_just_now(report, by, **fields):
        return report
    _change_standing(report, **fields)
    report.refresh_from_db()
    _release(report.student)
    running = report.student.assignments.filter(opened_at__isnull=False, closed_at=None)
    stop_assignments(Assignment.objects.filter(pk__in=[a.pk for a in running if loads(a, region)]))
    lessons.record(
        student=report.student,
        kind=Entry.Kind.PAIN if report.urgent else Entry.Kind.BODY_NOTED,
        author=by,
        text=text,
        pain_report=report.pk,
    )
    return report


@transaction.atomic
def mark_pain_seen(*, report: PainReport, by: User) -> None:
    """A coach has read it."""
    access.require_teaching(by, report.student)
    in_turn(report.student)
    PainReport.objects.filter(pk=report.pk, seen_at=None).update(seen_at=timezone.now())
    audit.saw(audit.Act.SAW_PAIN, by=by, student=report.student, report=report.pk)


@transaction.atomic
def state_professional_agreed(*, report: PainReport, by: User, text: str) -> PainReport:
    """The student states that a licensed professional agreed. It opens nothing by itself."""
    access.require_acting(by, report.student)
    text = short_line(text, most=MOST_LETTERS)
    if not text:
        raise LessonError(_("Write who agreed and when, in a few words."), code="no_words")
    in_turn(report.student)
    report.refresh_from_db()
    just_now = timezone.now() - SENT_TWICE
    if report.statement == text and report.statement_at and report.statement_at > just_now:
        return report
    _change_standing(report, statement=text, statement_at=timezone.now())
    report.refresh_from_db()
    lessons.record(
        student=report.student,
        kind=Entry.Kind.BODY_NOTED,
        author=by,
        text=text,
        pain_report=report.pk,
        stated=True,
    )
    return report


@transaction.atomic
def reopen_after_pain(*, report: PainReport, by: User) -> PainReport:
    """The coach opens again what this report stopped, after the student's statement.

    What another report still holds stays stopped.
    """
    access.require_teaching(by, report.student)
    if not report.statement:
        raise LessonError(
            _("Wait for %(name)s to state that a licensed professional agreed.")
            % {"name": report.student.name},
            code="no_statement",
        )
    now = timezone.now()
    _change_standing(report, reopened_at=now, seen_at=report.seen_at or now)
    student = report.student
    release_stopped(student=student)
    lessons.record(student=student, kind=Entry.Kind.REOPENED, author=by, pain_report=report.pk)
    report.refresh_from_db()
    return report


def release_stopped(*, student: Student) -> None:
    """Open again, in the transaction of what ended a report, what none holds any more."""
    _release(student)
    if not student.pain_reports.filter(reopened_at=None).exists():
        asking.resume_requests(student=student, requests=_standing(_swings(student)))


def _release(student: Student) -> None:
    """Open what no standing report holds any more."""
    free = Assignment.objects.filter(pk__in=[a.pk for a in _no_longer_held(student)])
    held = student.assignments.filter(stopped_at__isnull=False).exclude(pk__in=free)
    sharing.part_from(held)
    requests = _standing(requests_of(free).exclude(pk__in=requests_of(held)))
    free.update(stopped_at=None)
    asking.resume_requests(student=student, requests=requests)


def _no_longer_held(student: Student) -> list[Assignment]:
    """Stopped drills that no open report loads any more."""
    held = list(student.pain_reports.filter(reopened_at=None))
    stopped = student.assignments.filter(stopped_at__isnull=False, closed_at=None)
    return [
        a for a in stopped if not any(r.assignment_id == a.pk or loads(a, r.region) for r in held)
    ]
