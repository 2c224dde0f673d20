"""Keeping the coach's own picture or clip of a drill, a step, or for one student."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import PurePath
from typing import Any

from django.conf import settings
from django.core.files.base import File
from django.db import transaction
from django.utils.translation import gettext as _

from analysis import files, plain, scratch
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.practice.models import Assignment, DrillVersion, Step


class Plain(File):  # type: ignore[type-arg]  # Django’s own takes no type at run time
    """A picture or clip that holds nothing of where and with what it was taken: see `plain_of`."""


def plain_of(shown: File[Any]) -> Plain:
    """What the coach chose, without place, device and names. It is stored in no other form.

    Raises
    ------
    LessonError
        `shown`: no picture or clip that can be read.
    """
    ending = PurePath(shown.name or "").suffix.lower()
    with scratch.folder() as folder:
        given, made = folder / f"given{ending}", folder / f"plain{ending}"
        with given.open("wb") as file:
            shutil.copyfileobj(shown, file, 1 << 20)
        try:
            plain.make_plain(given, made)
        except ValueError as error:
            raise LessonError(
                _("This file can’t be read. Choose another picture or clip."), code="shown"
            ) from error
        kept = tempfile.TemporaryFile(dir=settings.SCRATCH_DIR)  # noqa: SIM115  it is handed on
        with made.open("rb") as file:
            shutil.copyfileobj(file, kept, 1 << 20)
    kept.seek(0)
    return Plain(kept, name=f"drill{ending}")


def show_drill(*, version: DrillVersion, by: User, shown: Plain) -> DrillVersion:
    """Keep the coach's own picture or clip of a drill."""
    access.require_role(by, version.drill.studio, access.TEACHING)
    _keep(version, shown)
    return version


def show_student(*, row: Assignment | Step, by: User, shown: Plain) -> None:
    """Keep one for a single student: of the whole drill, or of one of its steps."""
    access.require_teaching(by, _assignment_of(row).student)
    _keep(row, shown)


@transaction.atomic
def show_no_more(*, row: Assignment | Step, by: User) -> None:
    """Take it away again; the drill's own, or the drawn positions, stand there."""
    access.require_teaching(by, _assignment_of(row).student)
    files.let_go(str(row.shown.name or ""))
    type(row)._default_manager.filter(pk=row.pk).update(shown="")


def _assignment_of(row: Assignment | Step) -> Assignment:
    return row.assignment if isinstance(row, Step) else row


def _keep(row: DrillVersion | Assignment | Step, shown: Plain) -> None:
    with files.stored(row.shown, shown.name or "drill", shown) as name, transaction.atomic():
        files.put(row.shown, name)
        row.save(update_fields=["shown"])
