"""Asking a student to film, and stopping to ask."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.intake.models import Request, RequestedAngle
from coaching.lessons.models import Entry
from coaching.lessons.services import record
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.people.once import SENT_TWICE, in_turn

ANGLE_FIELDS = ("view", "kind", "club", "effort", "ball", "bar_across", "repetitions")

MAX_ANGLES = 8


@transaction.atomic
def request_angles(
    *,
    student: Student,
    by: User,
    angles: Iterable[Mapping[str, Any]],
    text: str = "",
    due_on: date | None = None,
    tell: bool = True,
) -> Request:
    """Ask a student to film. Each of `angles` gives some of `ANGLE_FIELDS`; `view` is needed.

    `tell=False` leaves the thread alone, for a service that writes its own entry.
    """
    access.require_staff(by, student)
    wanted = [{key: row[key] for key in ANGLE_FIELDS if key in row} for row in angles]
    if not wanted:
        raise LessonError(_("Choose at least one angle."), code="no_angle")
    if len(wanted) > MAX_ANGLES:
        raise LessonError(_("Ask for at most eight angles at a time."), code="too_many_angles")
    if student.closed_at:
        raise LessonError(
            _("This student has left. Open the student again first."), code="student_closed"
        )
    in_turn(student)
    if tell and (twin := _asked_just_now(student, by, wanted, text.strip(), due_on)):
        return twin
    request = Request.objects.create(student=student, asked_by=by, text=text.strip(), due_on=due_on)
    for position, row in enumerate(wanted):
        angle = RequestedAngle(request=request, position=position, **row)
        check_angle(angle)
        angle.save()
    if tell:
        record(
            student=student,
            kind=Entry.Kind.REQUESTED,
            author=by,
            text=request.text,
            request=request.pk,
        )
    return request


def ask_apart(*, request: Request, angle: Mapping[str, Any]) -> RequestedAngle:
    """A film of its own for one who was asked to share it; the thread is left alone."""
    alone = Request.objects.create(
        student=request.student, asked_by=request.asked_by, due_on=request.due_on
    )
    row = RequestedAngle(request=alone, **angle)
    check_angle(row)
    row.save()
    return row


def _asked_just_now(
    student: Student, by: User, wanted: list[dict[str, Any]], text: str, due_on: date | None
) -> Request | None:
    """The same request of the same person, when the form was sent twice."""
    rows = student.requests.filter(
        asked_by=by,
        text=text,
        due_on=due_on,
        closed_at=None,
        created_at__gt=timezone.now() - SENT_TWICE,
    )
    for row in rows.prefetch_related("angles"):
        angles = list(row.angles.all())
        if len(angles) == len(wanted) and all(
            getattr(angle, name) == value
            for angle, one in zip(angles, wanted, strict=True)
            for name, value in one.items()
        ):
            return row
    return None


def check_angle(angle: RequestedAngle) -> None:
    """Raise LessonError unless every choice of the film is a listed one."""
    for name in ("view", "kind", "effort", "ball", "bar_across"):
        field: Any = angle._meta.get_field(name)
        if getattr(angle, name) not in dict(field.choices or ()):
            raise LessonError(
                _("Choose one of the listed values for %(name)s.") % {"name": name},
                code=f"wrong_{name}",
            )
    if not 1 <= int(angle.repetitions) <= 10:
        raise LessonError(_("Ask for 1 to 10 repetitions."), code="wrong_repetitions")


def close_request(*, request: Request, by: User) -> None:
    """Nothing more is filmed for it; what came back stays."""
    access.require_staff(by, request.student)
    Request.objects.filter(pk=request.pk, closed_at__isnull=True).update(closed_at=timezone.now())


def suspend_requests(*, student: Student, requests: QuerySet[Request] | None = None) -> int:
    """Pain: nothing more is filmed for the student's open requests (or for `requests`)."""
    rows = student.requests.all() if requests is None else requests.filter(student=student)
    open_now = rows.filter(closed_at__isnull=True, suspended_at__isnull=True)
    return open_now.update(suspended_at=timezone.now())


def resume_requests(*, student: Student, requests: QuerySet[Request] | None = None) -> int:
    """A person has reopened filming; the software never does by itself."""
    rows = student.requests.all() if requests is None else requests.filter(student=student)
    return rows.filter(closed_at__isnull=True, suspended_at__isnull=False).update(suspended_at=None)
