"""The studio's drills: written, imported, retired."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from coaching.people import access
from coaching.people.models import Studio, User
from coaching.practice import drills
from coaching.practice.models import Drill, DrillVersion


def _require_teaching(by: User | None, studio: Studio) -> None:
    """Who teaches in the studio; None is the command line."""
    if by is not None:
        access.require_role(by, studio, access.TEACHING)


@transaction.atomic
def save_drill(
    *, studio: Studio, by: User | None, row: Mapping[str, Any]
) -> tuple[DrillVersion, str]:
    """Write a drill down: a new one, a new version, or nothing when it says the same.

    A version that was assigned never changes; one that was not is improved in place.

    Returns
    -------
    tuple
        The version, and `made`, `changed` or `same`.
    """
    _require_teaching(by, studio)
    drills.check(row)
    drill, made = Drill.objects.select_for_update().get_or_create(
        studio=studio, slug=row["slug"], defaults={"cause": row.get("cause", "")}
    )
    says = {name: row[name] for name in drills.VERSION_FIELDS if name in row}
    if made:
        return DrillVersion.objects.create(drill=drill, number=1, **says), "made"
    drill.cause, drill.retired_at = row.get("cause", drill.cause), None
    drill.save(update_fields=["cause", "retired_at"])
    last = drills.newest(drill)
    if all(getattr(last, name) == value for name, value in says.items()):
        return last, "same"
    if last.assignments.exists():
        number = last.number + 1
        return DrillVersion.objects.create(drill=drill, number=number, shown=last.shown, **says), (
            "changed"
        )
    for name, value in says.items():
        setattr(last, name, value)
    last.save()
    return last, "changed"


@transaction.atomic
def import_drills(*, studio: Studio, by: User | None, text: str | bytes) -> dict[str, int]:
    """Take every drill of a file, or none; counts of `made`, `changed` and `same`."""
    _require_teaching(by, studio)
    counts = {"made": 0, "changed": 0, "same": 0}
    for row in drills.read(text):
        counts[save_drill(studio=studio, by=by, row=row)[1]] += 1
    return counts


def load_starter_library(*, studio: Studio, by: User | None) -> dict[str, int]:
    """The drills every studio may begin with; drills of its own are left alone."""
    return import_drills(studio=studio, by=by, text=drills.STARTER_PATH.read_bytes())


def retire_drill(*, drill: Drill, by: User) -> None:
    """Take a drill out of the library; what was assigned from it stays."""
    _require_teaching(by, drill.studio)
    Drill.objects.filter(pk=drill.pk).update(retired_at=timezone.now())
