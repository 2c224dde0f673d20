"""What a studio asks for often: its own sets of films, beside those that come with the app."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from coaching.intake.models import Request, RequestedAngle, RequestSet
from coaching.intake.presets import PRESETS, Preset
from coaching.intake.services.asking import (
    ANGLE_FIELDS,
    MAX_ANGLES,
    check_angle,
    request_angles,
)
from coaching.lessons import places
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student, Studio, User
from coaching.people.once import in_turn
from coaching.people.queries import student_day

MOST_DAYS = 60


def presets_of(studio: Studio) -> list[Preset]:
    """The studio's own sets first, then what coaches ask for most."""
    own = [_preset(row) for row in RequestSet.objects.filter(studio=studio)]
    return [*own, *PRESETS]


def preset_of(studio: Studio, slug: str) -> Preset:
    """The set of this name, else the first one."""
    known = presets_of(studio)
    return next((row for row in known if row.slug == slug), known[0])


def send_set(*, student: Student, by: User, slug: str) -> Request:
    """Ask one student for a set, with its words and its day.

    Raises
    ------
    LessonError
        When the student's studio has no such set.
    """
    chosen = next((row for row in presets_of(student.studio) if row.slug == slug), None)
    if chosen is None:
        raise LessonError(_("Choose what to ask for."), code="no_set")
    due_on = student_day(student) + timedelta(days=chosen.due_days) if chosen.due_days else None
    text = places.fill(chosen.text, student)
    angles = chosen.for_student(student)
    return request_angles(student=student, by=by, angles=angles, text=text, due_on=due_on)


def _preset(row: RequestSet) -> Preset:
    angles = tuple(row.angles)
    return Preset(f"set-{row.pk}", row.title, angles, text=row.text, due_days=row.due_days)


@transaction.atomic
def save_set(
    *,
    studio: Studio,
    by: User,
    title: str,
    angles: Sequence[dict[str, Any]],
    note: str = "",
    text: str = "",
    due_days: int | None = None,
    row: RequestSet | None = None,
) -> RequestSet:
    """A new set, or other films in one; what was asked with it before stays.

    A student's name in the words becomes a place: another student reads them too.
    """
    access.require_role(by, studio, access.TEACHING)
    if not title.strip():
        raise LessonError(_("Give the set a name."), code="no_title")
    wanted = [{key: one[key] for key in ANGLE_FIELDS if key in one} for one in angles]
    if not wanted:
        raise LessonError(_("Choose at least one film."), code="no_angle")
    if len(wanted) > MAX_ANGLES:
        raise LessonError(_("Ask for at most eight angles at a time."), code="too_many_angles")
    for one in wanted:
        check_angle(RequestedAngle(**one))
    if due_days is not None and not 1 <= due_days <= MOST_DAYS:
        raise LessonError(_("It is due after 1 to 60 days, or has no day."), code="wrong_days")
    names = studio.students.values_list("name", flat=True)
    said: dict[str, Any] = {
        "title": title.strip()[:60],
        "note": note.strip()[:80],
        "text": places.without_names(text.strip(), names)[0],
        "due_days": due_days,
        "angles": wanted,
    }
    in_turn(studio)
    if row is None:
        return RequestSet.objects.get_or_create(studio=studio, **said)[0]
    RequestSet.objects.filter(pk=row.pk).update(**said)
    row.refresh_from_db()
    return row


def remove_set(*, row: RequestSet, by: User) -> None:
    """It is no longer offered; what was asked with it stays."""
    access.require_role(by, row.studio, access.TEACHING)
    row.delete()
