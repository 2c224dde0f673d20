"""A whole studio written as one file: rows found by the database's relations, then files."""

from __future__ import annotations

import base64
import hashlib
import json
import zipfile
from collections.abc import Iterator, Sequence
from datetime import date
from typing import IO, Any
from uuid import UUID

from django.apps import apps
from django.core.files.storage import default_storage
from django.db import connection, transaction
from django.db.models import BinaryField, Field, FileField, Model
from django.utils import timezone

from coaching.operations.moving import (
    ACCOUNT,
    CHUNK,
    LEFT_BEHIND,
    OF_ACCOUNTS,
    SCHEMA,
    Row,
    migrations,
    renumbered,
)
from coaching.people.models import Studio, User


def export_studio(studio: Studio, target: IO[bytes]) -> dict[str, int]:
    """Write the studio to `target` as a zip; how many rows of each kind.

    One transaction reads everything, so that no row points at one that came later.

    Raises
    ------
    LookupError
        When a number inside JSON is not declared in `REFERENCES`.
    FileNotFoundError
        When a stored file is missing: `manage.py audit` names it.
    """
    outermost = not connection.in_atomic_block
    with transaction.atomic(), zipfile.ZipFile(target, "w", zipfile.ZIP_STORED) as archive:
        if outermost and connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        keys = _keys(studio)
        sums: dict[str, str] = {}
        for label, pks in keys.items():
            with archive.open(f"rows/{label}.jsonl", "w", force_zip64=True) as lines:
                for row in _rows(apps.get_model(label), pks):
                    plain = _plain(row)
                    renumbered(label, plain, lambda _label, pk: pk)  # everything is declared
                    lines.write(json.dumps(plain, ensure_ascii=False).encode() + b"\n")
                    sums |= dict.fromkeys(_names(row), "")
        for name in sums:
            with (
                default_storage.open(name) as source,
                archive.open(f"files/{name}", "w", force_zip64=True) as copy,
            ):
                sums[name] = _copied(source, copy)
        about = {
            "schema": SCHEMA,
            "made_at": timezone.now().isoformat(),
            "studio": studio.slug,
            "migrations": migrations(),
            "files": sums,
        }
        archive.writestr("studio.json", json.dumps(about, indent=1))
    return {label: len(pks) for label, pks in keys.items()}


def _keys(studio: Studio) -> dict[str, list[Any]]:
    """The numbers of every row of the studio and of its people, by model."""
    found: dict[type[Model], dict[Any, None]] = {Studio: {studio.pk: None}}
    fresh: list[tuple[type[Model], list[Any]]] = [(Studio, [studio.pk])]
    while fresh:
        model, pks = fresh.pop()
        for other, more in _neighbours(model, pks):
            known = found.setdefault(other, {})
            new = [pk for pk in dict.fromkeys(more) if pk not in known]
            known.update(dict.fromkeys(new))
            if new:
                fresh.append((other, new))
    people: set[int] = set()
    for model, keys in found.items():
        for field in model._meta.concrete_fields:
            if field.related_model is User:
                for some in _chunks(list(keys)):
                    rows = model._base_manager.filter(pk__in=some)
                    people.update(rows.values_list(field.attname, flat=True))
    # An entry of the log may name somebody who has left for good.
    here = User.objects.filter(pk__in=people - {None}).values_list("pk", flat=True)
    told = {ACCOUNT: sorted(here)}
    for label in OF_ACCOUNTS:
        of = apps.get_model(label)._base_manager.filter(user__in=told[ACCOUNT])
        told[label] = sorted(of.values_list("pk", flat=True))
    return told | {model._meta.label_lower: sorted(keys) for model, keys in found.items() if keys}


def _neighbours(model: type[Model], pks: list[Any]) -> Iterator[tuple[type[Model], list[Any]]]:
    """Rows that hang on these, and rows that belong to one of these alone (a submission's clip)."""
    for relation in model._meta.related_objects:
        other = relation.related_model
        if other._meta.label_lower in LEFT_BEHIND or relation.many_to_many:
            continue
        for some in _chunks(pks):
            rows = other._base_manager.filter(**{f"{relation.field.name}__in": some})
            yield other, list(rows.values_list("pk", flat=True))
    for field in model._meta.concrete_fields:
        held_by = field.related_model
        if field.one_to_one and held_by is not None and held_by is not User:
            for some in _chunks(pks):
                rows = model._base_manager.filter(pk__in=some)
                held = rows.values_list(field.attname, flat=True)
                yield held_by, [pk for pk in held if pk is not None]


def _chunks(pks: Sequence[Any]) -> Iterator[Sequence[Any]]:
    for start in range(0, len(pks), CHUNK):
        yield pks[start : start + CHUNK]


def _rows(model: type[Model], pks: Sequence[Any]) -> Iterator[Model]:
    for some in _chunks(pks):
        yield from model._base_manager.filter(pk__in=some).order_by("pk")


def _plain(row: Model) -> Row:
    """Every column as JSON holds it without loss, and the numbers of what it is linked with."""
    plain = {field.attname: _value(field, row) for field in row._meta.concrete_fields}
    for many in row._meta.many_to_many:
        if row._meta.label_lower != ACCOUNT:  # groups and permissions are the server's
            plain[many.name] = sorted(getattr(row, many.name).values_list("pk", flat=True))
    return plain


def _value(field: Field[Any, Any], row: Model) -> Any:
    value = field.value_from_object(row)
    if isinstance(field, FileField):
        return str(value.name or "")
    if isinstance(field, BinaryField):
        return base64.b64encode(bytes(value)).decode()
    if isinstance(value, date | UUID):  # whole microseconds, which Django's own encoder cuts
        return str(value) if isinstance(value, UUID) else value.isoformat()
    return value


def _names(row: Model) -> Iterator[str]:
    for field in row._meta.concrete_fields:
        if isinstance(field, FileField) and (file := getattr(row, field.name)):
            yield str(file.name)


def _copied(source: IO[bytes], copy: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while piece := source.read(1 << 20):
        digest.update(piece)
        copy.write(piece)
    return digest.hexdigest()
