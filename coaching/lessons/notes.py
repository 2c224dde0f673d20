"""A coach's own notes on a student: read by those who teach, never shown to the student."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.lessons.models import StudentNote
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student, User

LONGEST = 4000


def note_on(student: Student) -> StudentNote:
    """The note, or an empty one that is not stored."""
    return StudentNote.objects.filter(student=student).first() or StudentNote(student=student)


@transaction.atomic
def write_note(*, student: Student, by: User, text: str, revision: int) -> StudentNote:
    """Save the note as `text`, written over what stood there at `revision`.

    Raises
    ------
    LessonError
        409 when a colleague has written in the meantime; their words stay. 400 when too long.
    """
    access.require_staff(by, student)
    if len(text) > LONGEST:
        raise LessonError(_("Keep the note under 4,000 letters."), code="too_long")
    StudentNote.objects.get_or_create(student=student)
    rows = StudentNote.objects.filter(student=student, revision=revision)
    done = rows.update(
        text=text.strip(), revision=revision + 1, changed_by=by, changed_at=timezone.now()
    )
    if not done:
        raise LessonError(
            _("A colleague has written here in the meantime. Read it, then save yours."),
            code="conflict",
            status=409,
        )
    return StudentNote.objects.get(student=student)
