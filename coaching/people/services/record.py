"""A student's whole record, handed out or erased on request.

The record is found by walking the database's own relations from the student, so a
table added later is part of it without being named here.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from functools import partial
from pathlib import PurePath
from typing import Any

from django.contrib.auth import get_user_model
from django.core.files.storage import Storage
from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.db.models import BinaryField, FileField, Model
from django.utils import timezone

from coaching.people.models import Student, User
from coaching.people.telling import withdraw_media

Rows = dict[type[Model], dict[Any, Model]]
# Keys to doors, and numbers that mean nothing outside.
LEFT_OUT = {"token", "frame_times_raw", "claim"}
SCHEMA = 1


def rows_of(student: Student) -> Rows:
    """Every row that hangs on the student, and the clips that those rows point at."""
    found: Rows = {Student: {student.pk: student}}
    fresh: list[Model] = [student]
    while fresh:
        by_model: dict[type[Model], list[Model]] = {}
        for row in fresh:
            by_model.setdefault(type(row), []).append(row)
        fresh = []
        for model, rows in by_model.items():
            for row in (*_hanging(model, rows), *_held(model, rows)):
                known = found.setdefault(type(row), {})
                if row.pk not in known:
                    known[row.pk] = row
                    fresh.append(row)
    return found


def _hanging(model: type[Model], rows: list[Model]) -> Iterator[Model]:
    """Rows whose foreign key points at one of `rows`."""
    for relation in model._meta.related_objects:
        if relation.one_to_many or relation.one_to_one:
            yield from relation.related_model._base_manager.filter(
                **{f"{relation.field.name}__in": rows}
            )


def _held(model: type[Model], rows: list[Model]) -> Iterator[Model]:
    """Rows that belong to one of `rows` alone: the clip of a submission."""
    for field in model._meta.get_fields():
        if field.one_to_one and field.concrete:
            yield from (held for row in rows if (held := getattr(row, field.name)) is not None)


def _published(found: Rows) -> Rows:
    """The record without drafts that were never sent, and without what hangs on them."""
    hidden = {
        (model, pk)
        for model, rows in found.items()
        for pk, row in rows.items()
        if hasattr(row, "published_at") and row.published_at is None
    }
    grown = True
    while grown:
        size = len(hidden)
        for model, rows in found.items():
            links = [f for f in model._meta.concrete_fields if f.many_to_one or f.one_to_one]
            hidden |= {
                (model, pk)
                for pk, row in rows.items()
                for f in links
                if (not f.null or f.name == "review")
                and (f.related_model, getattr(row, f.attname)) in hidden
            }
        grown = len(hidden) > size
    return {
        model: {pk: row for pk, row in rows.items() if (model, pk) not in hidden}
        for model, rows in found.items()
    }


def export_record(student: Student) -> Iterator[bytes]:
    """The record as the bytes of a zip: the files, and `record.json`, which names them.

    Written as it is read, so that neither memory nor disk holds the whole.
    """
    found = _published(rows_of(student))
    stream, missing = _Stream(), []
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        for storage, name in _files(found):
            try:
                source = storage.open(name)
            except OSError:
                missing.append(name)
                continue
            with source, archive.open(_inside(name), "w", force_zip64=True) as copy:
                while chunk := source.read(1 << 20):
                    copy.write(chunk)
                    yield stream.taken()
        record = {
            "schema": SCHEMA,
            "made_at": timezone.now(),
            "files_missing": missing,
            "rows": {
                model._meta.label_lower: [_plain(row) for row in rows.values()]
                for model, rows in found.items()
                if rows
            },
        }
        archive.writestr(
            "record.json", json.dumps(record, cls=DjangoJSONEncoder, indent=1, ensure_ascii=False)
        )
    yield stream.taken()


class _Stream(io.RawIOBase):
    """Where a zip is written to and taken from, piece by piece."""

    def __init__(self) -> None:
        self._pieces: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, piece: Any) -> int:
        self._pieces.append(bytes(piece))
        return len(piece)

    def taken(self) -> bytes:
        pieces, self._pieces = self._pieces, []
        return b"".join(pieces)


def _inside(name: str) -> str:
    return str(PurePath("files") / name)


def _files(found: Rows) -> Iterator[tuple[Storage, str]]:
    for model, rows in found.items():
        for field in model._meta.concrete_fields:
            if isinstance(field, FileField):
                for row in rows.values():
                    if file := getattr(row, field.name):
                        yield file.storage, file.name


def _plain(row: Model) -> dict[str, Any]:
    plain: dict[str, Any] = {}
    for field in row._meta.concrete_fields:
        if field.name in LEFT_OUT or isinstance(field, BinaryField):
            continue
        if field.related_model is get_user_model():
            plain[field.name] = str(getattr(row, field.name) or "")
        elif isinstance(field, FileField):
            name = getattr(row, field.name).name
            plain[field.name] = _inside(name) if name else ""
        else:
            plain[field.attname] = field.value_from_object(row)
    for many in row._meta.many_to_many:
        plain[many.name] = [other.pk for other in getattr(row, many.name).all()]
    return plain


@transaction.atomic
def erase_record(*, student: Student) -> None:
    """Remove the student for good: rows, clips, voices, and accounts used for nothing else.

    Files go after the rows are gone for certain.
    """
    withdraw_media(student)
    found = rows_of(student)
    files = list(_files(found))
    people = {student.user, *(g.user for g in student.guardianships.select_related("user"))}
    student.delete()
    for model in list(found):  # the clips, now that no submission protects them
        if model is not Student and any(f.one_to_one for f in _pointing(model)):
            model._base_manager.filter(pk__in=list(found[model])).delete()
    for user in people:
        if user is not None and not _is_needed(user):
            user.delete()
    for storage, name in files:
        transaction.on_commit(partial(storage.delete, name))


def _pointing(model: type[Model]) -> Iterator[Any]:
    return (relation for relation in model._meta.related_objects if relation.one_to_one)


def _is_needed(user: User) -> bool:
    """Whether the account still serves another record, a ward or a studio."""
    return (
        user.is_staff
        or user.is_superuser
        or user.studies.exists()
        or user.memberships.exists()
        or user.wards.exists()
    )
