"""Keeping the coach's own picture or clip of a drill, a step, or for one student."""

from __future__ import annotations

from typing import Any

from django.core.files.base import File
from django.db import transaction

from analysis import files
from coaching.people import access
from coaching.people.models import User
from coaching.practice.models import Assignment, DrillVersion, Step


def show_drill(*, version: DrillVersion, by: User, shown: File[Any]) -> DrillVersion:
    """Keep the coach's own picture or clip of a drill."""
    access.require_role(by, version.drill.studio, access.TEACHING)
    _keep(version, shown)
    return version


def show_student(*, row: Assignment | Step, by: User, shown: File[Any]) -> None:
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


def _keep(row: DrillVersion | Assignment | Step, shown: File[Any]) -> None:
    with files.stored(row.shown, shown.name or "drill", shown) as name, transaction.atomic():
        files.put(row.shown, name)
        row.save(update_fields=["shown"])
