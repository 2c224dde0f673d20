"""How people's services reach to their right without knowing who is there."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.utils.module_loading import import_string

from coaching.people.models import Student, Studio, User


def tell(*, student: Student, kind: str, author: User | None, words: str = "", **refs: Any) -> None:
    """Write what happened into the student's thread; call it inside the transaction."""
    import_string(settings.PEOPLE_TELL)(
        student=student, kind=kind, author=author, words=words, **refs
    )


def withdraw_media(student: Student) -> None:
    """Erase every clip of the student, also those still on their way in."""
    for listener in settings.MEDIA_WITHDRAWN:
        import_string(listener)(student=student)


def promises_changed(studio: Studio) -> None:
    """Promised times are counted again: holidays or the turnaround changed."""
    for listener in settings.PROMISES_CHANGED:
        import_string(listener)(studio=studio)
