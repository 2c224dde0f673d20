"""A studio that was written as one file, brought in with numbers of its own."""

from __future__ import annotations

import base64
import hashlib
import json
import zipfile
from pathlib import Path, PurePath
from typing import IO, Any

from django.apps import apps
from django.core.exceptions import SuspiciousOperation, ValidationError
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.db import DataError, IntegrityError, connection, transaction
from django.db.models import BinaryField, FileField, ForeignKey, Max, Model

from analysis import files
from coaching.operations.moving import (
    ACCOUNT,
    CHUNK,
    OF_ACCOUNTS,
    SCHEMA,
    Renumber,
    Row,
    kinds,
    migrations,
    renumbered,
)
from coaching.people.errors import LessonError
from coaching.people.models import Studio, User

# What a file that was written by somebody else makes of reading it.
BROKEN = (
    zipfile.BadZipFile, EOFError, TypeError, ValueError, LookupError,
    SuspiciousOperation, ValidationError, IntegrityError, DataError,
)  # fmt: skip


def import_studio(source: Path | IO[bytes]) -> tuple[Studio, list[str]]:
    """Bring in a studio that `export_studio` wrote; the studio, and addresses known here before.

    Somebody whose address has an account here keeps that account, with its password. All rows
    come in one transaction; files are stored before it and go again when it fails.

    Raises
    ------
    LessonError
        When the file is no studio, is damaged, was made by another version, or is here already.
    """
    try:
        with zipfile.ZipFile(source) as archive:
            about = json.loads(archive.read("studio.json"))
            _check(about)
            _refuse_packed(archive)
            rows = {
                PurePath(name).stem: [json.loads(line) for line in archive.open(name)]
                for name in archive.namelist()
                if name.startswith("rows/")
            }
            _refuse_foreign(rows, about["files"])
            return _stored(rows, archive, about["files"])
    except BROKEN as error:
        raise LessonError(f"This file is no whole studio: {error}.", code="damaged") from error


def _refuse_packed(archive: zipfile.ZipFile) -> None:
    """We store and pack nothing: what is packed may be a thousand times as large."""
    if any(entry.compress_type != zipfile.ZIP_STORED for entry in archive.infolist()):
        raise LessonError("This file is no whole studio: it was packed anew.", code="damaged")


def _refuse_foreign(rows: dict[str, list[Row]], sums: dict[str, str]) -> None:
    """Only what hangs on one studio, and no file of anybody else's.

    A row that named a file that stands here already would show it, and take it away with itself.
    """
    if foreign := sorted(rows.keys() - kinds()):
        raise LessonError(f"{foreign[0]} is no part of a studio.", code="damaged")
    if len(rows["people.studio"]) != 1:
        raise LessonError("This file holds more than one studio.", code="damaged")
    named = {
        row[field.attname]
        for label, some in rows.items()
        for field in apps.get_model(label)._meta.concrete_fields
        if isinstance(field, FileField)
        for row in some
        if row[field.attname]
    }
    if strange := sorted(named ^ sums.keys(), key=str):
        raise LessonError(f"{strange[0]} is not in this file, or nothing of it.", code="damaged")


def _check(about: Row) -> None:
    if about["schema"] != SCHEMA or about["migrations"] != migrations():
        raise LessonError(
            "The studio was exported by another version: bring both places to the same one first.",
            code="other_version",
        )


def _stored(
    rows: dict[str, list[Row]], archive: zipfile.ZipFile, sums: dict[str, str]
) -> tuple[Studio, list[str]]:
    _refuse_twin(rows["people.studio"][0])
    names: dict[str, str] = {}
    try:
        for name, digest in sums.items():
            names[name] = _store_file(archive, name, digest)
        with transaction.atomic():
            return _insert(rows, names)
    except BaseException:
        for name in names.values():
            files.discard(name)
        raise


def _refuse_twin(row: Row) -> None:
    if Studio.objects.filter(slug=row["slug"], created_at=row["created_at"]).exists():
        raise LessonError("This studio is here already.", code="here_already", status=409)


def _store_file(archive: zipfile.ZipFile, name: str, digest: str) -> str:
    with archive.open(f"files/{name}") as source:
        told = hashlib.sha256()
        while piece := source.read(1 << 20):
            told.update(piece)
    if told.hexdigest() != digest:
        raise LessonError(f"{name} is damaged in this file.", code="damaged")
    with archive.open(f"files/{name}") as source:
        return files.store(default_storage.get_available_name(name), File(source, name=name))


def _insert(rows: dict[str, list[Row]], names: dict[str, str]) -> tuple[Studio, list[str]]:
    numbers: dict[str, dict[Any, Any]] = {label: {} for label in rows}
    known = dict(
        User.objects.filter(email__in=[row["email"] for row in rows[ACCOUNT]]).values_list(
            "email", "pk"
        )
    )
    at_home = {row["id"] for row in rows[ACCOUNT] if row["email"] in known}
    numbers[ACCOUNT] = {r["id"]: known[r["email"]] for r in rows[ACCOUNT] if r["id"] in at_home}
    fresh = {ACCOUNT: [row for row in rows[ACCOUNT] if row["id"] not in at_home]}
    for label in OF_ACCOUNTS:
        fresh[label] = [row for row in rows.get(label, ()) if row["user_id"] not in at_home]
    fresh = {label: fresh.get(label, some) for label, some in rows.items()}
    for label, some in fresh.items():
        model = apps.get_model(label)
        key = model._meta.pk
        if isinstance(key, ForeignKey):
            continue  # numbered like the row it belongs to
        old = [row[key.attname] for row in some]
        numbers[label] |= dict(zip(old, _free(model, len(old)), strict=True))

    def number(label: str, pk: Any) -> Any:
        return numbers.get(label, {}).get(pk)

    linked: list[tuple[Model, str, list[Any]]] = []
    for label, some in fresh.items():
        model = apps.get_model(label)
        made = [_made(model, renumbered(label, row, number), number, names) for row in some]
        for row_made, many in made:
            linked += [(row_made, name, pks) for name, pks in many.items()]
        for start in range(0, len(made), CHUNK):
            model._base_manager.bulk_create([row for row, _ in made[start : start + CHUNK]])
    for row_made, name, pks in linked:
        getattr(row_made, name).set(pks)
    for name in names.values():
        files.claim(name)
    studio = Studio.objects.get(pk=number("people.studio", rows["people.studio"][0]["id"]))
    return studio, sorted(known)


def _free(model: type[Model], count: int) -> list[int]:
    """Numbers that no row of the model has, and that nobody else is given."""
    if not count:
        return []
    table, column = model._meta.db_table, model._meta.pk.column
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT nextval(pg_get_serial_sequence(%s, %s)) FROM generate_series(1, %s)",
                [f'"{table}"', column, count],
            )
            return [row[0] for row in cursor.fetchall()]
        # SQLite: one transaction writes at a time. Numbers of removed rows are not given again.
        cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
        used = cursor.fetchone()
        last = max(used[0] if used else 0, model._base_manager.aggregate(m=Max("pk"))["m"] or 0)
    return list(range(last + 1, last + 1 + count))


def _made(
    model: type[Model], row: Row, number: Renumber, names: dict[str, str]
) -> tuple[Model, dict[str, list[Any]]]:
    """The row as an object that is not stored yet, and what it is linked with."""
    many = {
        field.name: row.pop(field.name) for field in model._meta.many_to_many if field.name in row
    }
    label, key = model._meta.label_lower, model._meta.pk
    if not isinstance(key, ForeignKey):
        row[key.attname] = number(label, row[key.attname])
    for field in model._meta.concrete_fields:
        value = row[field.attname]
        if isinstance(field, FileField):
            row[field.attname] = names[value] if value else ""
        elif isinstance(field, BinaryField):
            row[field.attname] = base64.b64decode(value)
        elif value is not None and not isinstance(field, ForeignKey):
            row[field.attname] = field.to_python(value)
    if model is User:
        row |= {"is_staff": False, "is_superuser": False}
    if model is Studio:
        row["slug"] = _free_slug(row["slug"])
    return model(**row), many


def _free_slug(slug: str) -> str:
    free, place = slug, 1
    while Studio.objects.filter(slug=free).exists():
        place += 1
        free = f"{slug[:44]}-{place}"
    return free
