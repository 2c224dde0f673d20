"""A student's whole record, handed out or erased on request.

The record is found by walking the database's own relations from the student, so a
table added later is part of it without being named here.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from pathlib import PurePath
from typing import Any

from django.contrib.auth import get_user_model
from django.core.files.storage import Storage
from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.db.models import BinaryField, FileField, Model
from django.utils import timezone
from django.utils.translation import gettext as _

from analysis import files
from coaching.people import access, audit
from coaching.people.errors import LessonError
from coaching.people.listeners import record_parts, withdraw_media
from coaching.people.models import Student, User
from coaching.people.queries import shares_with_coach

Rows = dict[type[Model], dict[Any, Model]]
# Keys to doors, and numbers that mean nothing outside.
LEFT_OUT = {"token", "raw", "claim"}
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


def export_record(student: Student, *, by: User) -> Iterator[bytes]:
    """The record as the bytes of a zip: the files, and `record.json`, which names them.

    Written as it is read, so that neither memory nor disk holds the whole. The studio gets
    no file while the consent to show them to it is void; the student's side always does. The
    files are looked for before the first byte, so that a store which does not answer is a
    sentence and not a broken archive.

    Raises
    ------
    LessonError
        503, at once, when the store does not answer.
    """
    access.require_record(by, student)
    audit.write(audit.Act.EXPORTED, by=by, student=student)
    withheld = not (access.may_act(by, student) or shares_with_coach(student))
    parts = {name: part(student) for name, part in record_parts.items()}
    return _zipped(student, parts, withheld=withheld)


def _zipped(student: Student, parts: dict[str, Any], *, withheld: bool) -> Iterator[bytes]:
    found = _published(rows_of(student))
    try:
        wanted = [] if withheld else list(_files(found))
        there = [(storage, name) for storage, name in wanted if storage.exists(name)]
    except Exception as error:
        if files.trouble(error) is None:
            raise
        raise LessonError(
            _("Our store of clips does not answer just now. Nothing is lost: try again later."),
            code="storage_away",
            status=503,
        ) from error
    missing = sorted({name for _, name in wanted} - {name for _, name in there})
    about = {**parts, "files_missing": missing, "files_withheld": "consent" if withheld else ""}
    return _archive(found, there, about)


def _archive(
    found: Rows, there: list[tuple[Storage, str]], about: dict[str, Any]
) -> Iterator[bytes]:
    stream = _Stream()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        for storage, name in there:
            with (
                storage.open(name) as source,
                archive.open(_inside(name), "w", force_zip64=True) as copy,
            ):
                while chunk := source.read(1 << 20):
                    copy.write(chunk)
                    yield stream.taken()
        record = {
            "schema": SCHEMA,
            "made_at": timezone.now(),
            **about,
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
def erase_record(*, student: Student, by: User | None) -> None:
    """Remove the student for good: rows, clips, voices, and accounts used for nothing else.

    Files go after the rows are gone for certain. `by` is None for the command line, which
    takes the demo away.
    """
    if by is not None:
        access.require_record(by, student)
    audit.write(audit.Act.ERASED, by=by, student=student)
    withdraw_media(student)
    found = rows_of(student)
    named = list(_files(found))
    people = {student.user, *(g.user for g in student.guardianships.select_related("user"))}
    student.delete()
    for model in list(found):  # the clips, now that no submission protects them
        if model is not Student and any(f.one_to_one for f in _pointing(model)):
            model._base_manager.filter(pk__in=list(found[model])).delete()
    for user in people:
        if user is not None and not _is_needed(user):
            user.delete()
    for _storage, name in named:
        files.let_go(name)


def _pointing(model: type[Model]) -> Iterator[Any]:
    return (relation for relation in model._meta.related_objects if relation.one_to_one)


def _is_needed(user: User) -> bool:
    """Whether the account still serves another record, a ward or a studio."""
    return (
        user.is_staff
        or user.is_superuser
        or user.student_profiles.exists()
        or user.memberships.exists()
        or user.minors.exists()
    )
