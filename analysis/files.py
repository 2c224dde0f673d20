"""Files and the rows that name them: neither stays without the other.

A file's name is written down as loose before its first byte is stored, and again before
the row that names it lets it go. The transaction that makes a row name the file takes the
note away. Whatever is killed in between, `sweep` finds the note and removes the file, and
`orphans` finds files that not even a note knows.
"""

from __future__ import annotations

import errno
import logging
import shutil
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path, PurePath
from typing import Any

from django.apps import apps
from django.core.files.base import File
from django.core.files.storage import Storage, default_storage
from django.db import transaction
from django.db.models import FileField, Model
from django.db.models.fields.files import FieldFile
from django.utils import timezone

from analysis import scratch, sweeping
from analysis.errors import MediaMissing, StorageAway, StorageFull
from analysis.models import LooseFile

logger = logging.getLogger(__name__)
# Longer than it takes to store the largest film; after it, nobody is still at it.
GRACE = timedelta(hours=6)
_AWAY = ("botocore.", "boto3.", "s3transfer.", "urllib3.")


def trouble(error: BaseException) -> StorageAway | StorageFull | None:
    """What a storage's own error means to us; None when it is no trouble of the storage."""
    if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
        return StorageFull(str(error))
    if isinstance(error, OSError) and not isinstance(error, FileNotFoundError):
        return StorageAway(str(error))
    if f"{type(error).__module__}.".startswith(_AWAY):
        return StorageAway(str(error))
    return None


def write(file: FieldFile, filename: str, content: File[Any]) -> str:
    """Store `content` for a file field under a name of our own, which it returns.

    Call it outside any transaction, then `put` the name inside the one that saves the row.

    Raises
    ------
    StorageAway, StorageFull
    """
    plain = PurePath(filename)
    name = file.field.generate_filename(
        file.instance, f"{plain.stem}-{uuid.uuid4().hex[:12]}{plain.suffix}"
    )
    return store(name, content)


def store(name: str, content: File[Any]) -> str:
    """Store `content` under a name that is free; loose until a row names it.

    Raises
    ------
    StorageAway, StorageFull
    """
    note = LooseFile.objects.create(name=name, due_at=timezone.now() + GRACE)
    try:
        saved = str(default_storage.save(name, content))
    except Exception as error:
        discard(name)
        if (away := trouble(error)) is not None:
            raise away from error
        raise
    if saved != name:
        LooseFile.objects.filter(pk=note.pk).update(name=saved)
    return saved


@contextmanager
def stored(file: FieldFile, filename: str, content: File[Any] | None) -> Iterator[str]:
    """As `write`, the name for the `with` block; empty without content.

    The file goes again after the block unless a row has come to name it.

    Raises
    ------
    StorageAway, StorageFull
    """
    name = write(file, filename, content) if content is not None else ""
    try:
        yield name
    finally:
        if name:
            discard(name)


def put(file: FieldFile, name: str) -> None:
    """Make a row's file field name `name`, inside the transaction that saves the row."""
    let_go(str(file.name or ""))
    claim(name)
    setattr(file.instance, file.field.name, name)


def claim(name: str) -> None:
    """A row names the file; call it inside the transaction that saves the row."""
    LooseFile.objects.filter(name=name).delete()


def let_go(name: str) -> None:
    """No row names the file any more: it goes when the transaction has committed."""
    if not name:
        return
    LooseFile.objects.get_or_create(name=name, defaults={"due_at": timezone.now()})
    transaction.on_commit(partial(discard, name), robust=True)


def discard(name: str) -> None:
    """Remove a loose file now. A storage that is away leaves it to the sweep."""
    if not LooseFile.objects.filter(name=name).exists() or is_named(name):
        return
    try:
        default_storage.delete(name)
    except Exception as error:
        if trouble(error) is None:
            raise
        logger.warning("%s could not be removed now: the sweep tries again.", name)
        LooseFile.objects.filter(name=name).update(due_at=timezone.now())
        return
    claim(name)


def sweep() -> int:
    """Remove loose files whose time has come."""
    due = LooseFile.objects.filter(due_at__lte=timezone.now()).order_by("pk")
    return sweeping.each(list(due), _sweep_one, what="A loose file")


def _sweep_one(note: LooseFile) -> None:
    if not is_named(note.name):
        default_storage.delete(note.name)
    note.delete()


def file_fields() -> Iterator[tuple[type[Model], FileField]]:
    """Every column that names a stored file."""
    for model in apps.get_models():
        for field in model._meta.local_concrete_fields:
            if isinstance(field, FileField):
                yield model, field


def is_named(name: str) -> bool:
    """Whether any row names the file."""
    return any(
        model._base_manager.filter(**{field.name: name}).exists() for model, field in file_fields()
    )


def _named_in(folder: str) -> set[str]:
    """Every name in a folder that a note or a row holds.

    Notes are read first: a file that a row takes over meanwhile is found with the rows.
    """
    within = f"{folder}/"
    found = set(LooseFile.objects.filter(name__startswith=within).values_list("name", flat=True))
    for model, field in file_fields():
        rows = model._base_manager.filter(**{f"{field.name}__startswith": within})
        found.update(rows.values_list(field.name, flat=True).iterator())
    return found


def orphans(*, before: datetime, storage: Storage = default_storage) -> Iterator[str]:
    """Files in the storage that nothing names, and that were there `before`.

    One folder at a time, which is one kind of file in one month: no more than that is held.
    """
    tops = sorted({str(field.upload_to).partition("/")[0] for _, field in file_fields()})
    for top in tops:
        for folder, names in _folders(storage, top):
            known = _named_in(folder)
            for name in names:
                if name not in known and storage.get_modified_time(name) < before:
                    yield name


def _folders(storage: Storage, folder: str) -> Iterator[tuple[str, list[str]]]:
    """Each folder that holds files, from `folder` down, with their names."""
    try:
        folders, names = storage.listdir(folder)
    except FileNotFoundError:
        return
    if names := [f"{folder}/{name}" for name in names if name]:
        yield folder, names
    for inner in folders:
        yield from _folders(storage, f"{folder}/{inner}")


def sweep_orphans() -> int:
    """Remove stored files that nothing has named for a day."""
    found = orphans(before=timezone.now() - timedelta(days=1))
    return sweeping.each(found, _remove_stray, what="A stray file")


def _remove_stray(name: str) -> None:
    logger.warning("%s is named by nothing and goes.", name)
    default_storage.delete(name)


def missing() -> list[tuple[Model, str]]:
    """Rows that name a file which the storage does not hold, with that name."""
    return [
        (row, str(getattr(row, field.name).name))
        for model, field in file_fields()
        for row in model._base_manager.exclude(**{field.name: ""}).iterator()
        if not default_storage.exists(getattr(row, field.name).name)
    ]


@contextmanager
def local_path(file: FieldFile) -> Iterator[Path]:
    """The file as a path on this machine, fetched from object storage when it must be.

    Raises
    ------
    MediaMissing
        When the storage does not hold the file.
    StorageAway
        When the storage does not answer.
    """
    try:
        path = Path(file.path)
    except NotImplementedError:
        path = None
    except ValueError as error:
        raise MediaMissing("no file was stored") from error
    if path is not None:
        if not path.exists():
            raise MediaMissing(str(file.name))
        yield path
        return
    with scratch.folder() as folder:
        fetched = folder / f"fetched{Path(file.name or '').suffix}"
        try:
            with file.storage.open(str(file.name), "rb") as source, fetched.open("wb") as kept:
                shutil.copyfileobj(source, kept, 1 << 20)
        except FileNotFoundError as error:
            raise MediaMissing(str(file.name)) from error
        except Exception as error:
            if (away := trouble(error)) is not None:
                raise away from error
            raise
        yield fetched
