"""The buffer: bytes of resumable uploads on this machine's disk.

The offset of an upload is the size of its file, so nothing can disagree with it. Whoever
wants to write takes the lock first; the newer taker wins. The file is locked only while a
piece is appended, never while waiting for the network, so a writer that hangs on a dead
connection blocks nobody: when it wakes up, its lock is gone and it may not write.
"""

from __future__ import annotations

import errno
import fcntl
import hashlib
import os
import shutil
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Protocol

from django.conf import settings
from django.core.files.base import File
from django.core.files.uploadedfile import TemporaryUploadedFile, UploadedFile
from django.core.files.uploadhandler import FileUploadHandler, TemporaryFileUploadHandler

# At most this much is lost when a connection is reset. One piece in `senders.WINDOW_S` is
# the slowest that is waited for.
PIECE = 16 * 1024
RESERVE = 64 * 1024**2  # room left for the database when an upload is let in
CHECKSUMS = ("sha1", "sha256")


class Source(Protocol):
    def read(self, size: int, /) -> bytes: ...


class LockLost(Exception):
    """A newer writer has taken the upload over."""


class WrongOffset(Exception):
    """The writer wants to go on from somewhere else than where the file ends."""


class WrongChecksum(Exception):
    """The bytes that came are not the bytes that were sent; they were dropped."""


class NoRoom(Exception):
    """The disk is full; what is there already is whole and stays."""


def path(pk: uuid.UUID) -> Path:
    return Path(settings.UPLOAD_BUFFER) / str(pk)


def create(pk: uuid.UUID, *, length: int) -> None:
    """Make an empty file for an upload of `length` bytes.

    Raises
    ------
    NoRoom
        When the disk could not lock it.
    """
    folder = Path(settings.UPLOAD_BUFFER)
    folder.mkdir(parents=True, exist_ok=True)
    if shutil.disk_usage(folder).free < length + RESERVE:
        raise NoRoom
    with _full_disk_as_no_room():
        path(pk).touch(exist_ok=True)
        _sync(folder)


def offset(pk: uuid.UUID) -> int:
    """How many bytes are kept.

    Raises
    ------
    FileNotFoundError
    """
    return path(pk).stat().st_size


def acquire(pk: uuid.UUID, *, expected: int | None = None) -> tuple[str, int]:
    """Become the one who may write; returns the lock and the offset.

    Raises
    ------
    FileNotFoundError
    WrongOffset
        When `expected` is not where the file ends; the lock stays whose it was.
    """
    with _locked(pk) as fd:
        size = os.fstat(fd).st_size
        if expected is not None and expected != size:
            raise WrongOffset
        lock = uuid.uuid4().hex
        with _full_disk_as_no_room():
            _lock_file(pk).write_text(lock)
        return lock, size


def append(pk: uuid.UUID, data: bytes, *, lock: str) -> None:
    """Add `data` at the end.

    Raises
    ------
    LockLost
        When a newer writer has taken over, or has finished or given up the upload.
    NoRoom
    """
    try:
        with _locked(pk) as fd:
            if _lock_file(pk).read_text() != lock:
                raise LockLost
            os.lseek(fd, 0, os.SEEK_END)
            left = memoryview(data)
            with _full_disk_as_no_room():
                while left:
                    left = left[os.write(fd, left) :]
    except FileNotFoundError:
        raise LockLost from None


def receive(
    pk: uuid.UUID,
    source: Source,
    *,
    lock: str,
    room: int,
    checksum: tuple[str, bytes] | None = None,
) -> int:
    """Append what `source` gives, at most `room` bytes; returns the new offset.

    A connection that breaks keeps what arrived, unless a checksum was promised for the
    whole: then what arrived is dropped again.

    Raises
    ------
    LockLost, NoRoom, WrongChecksum
    """
    try:
        start = offset(pk)
    except FileNotFoundError:
        raise LockLost from None
    digest = hashlib.new(checksum[0]) if checksum else None
    while room > 0:
        try:
            piece = source.read(min(PIECE, room))
        except OSError:  # reset or silent for too long
            break
        if not piece:
            break
        append(pk, piece, lock=lock)
        room -= len(piece)
        if digest:
            digest.update(piece)
    if checksum and digest and digest.digest() != checksum[1]:
        _cut(pk, start, lock=lock)
        raise WrongChecksum
    try:
        with _locked(pk) as fd, _full_disk_as_no_room():
            os.fsync(fd)
            return os.fstat(fd).st_size
    except FileNotFoundError:
        raise LockLost from None


def adopt(pk: uuid.UUID, file: File[Any]) -> None:
    """Make a whole file that a form brought the upload's bytes, without copying if possible."""
    where = getattr(file, "temporary_file_path", None)
    with _full_disk_as_no_room():
        if where is not None:
            with suppress(OSError):  # another disk
                os.link(where(), fresh := path(pk).with_suffix(".form"))
                os.replace(fresh, path(pk))
                return
        lock, _ = acquire(pk, expected=0)
        for piece in file.chunks(PIECE):
            append(pk, piece, lock=lock)


def sha256(pk: uuid.UUID) -> str:
    with path(pk).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


class Linked(File):  # type: ignore[type-arg]
    """The upload's bytes under a second name, which a storage on this disk may move away."""

    def temporary_file_path(self) -> str:
        return str(self.name)


@contextmanager
def opened(pk: uuid.UUID) -> Iterator[File[Any]]:
    """The bytes as a file for a storage to save; the buffer keeps its own until `remove`."""
    second = path(pk).with_suffix(f".{uuid.uuid4().hex}")
    try:
        os.link(path(pk), second)
    except OSError as error:
        if error.errno in (errno.ENOENT, errno.ENOSPC, errno.EDQUOT):
            raise
        with path(pk).open("rb") as plain:  # a disk without links
            yield File(plain)
        return
    try:
        with second.open("rb") as file:
            yield Linked(file, name=str(second))
    finally:
        second.unlink(missing_ok=True)


class FormFile(TemporaryUploadedFile):
    """A form's file, kept in the buffer from its first byte, never in memory or elsewhere."""

    def __init__(self, name: Any, content_type: Any, size: int, charset: Any, extra: Any) -> None:
        folder = Path(settings.UPLOAD_BUFFER)
        folder.mkdir(parents=True, exist_ok=True)
        file = tempfile.NamedTemporaryFile(prefix="form-", dir=folder)  # noqa: SIM115
        UploadedFile.__init__(self, file, name, content_type, size, charset, extra)


class BufferUploadHandler(TemporaryFileUploadHandler):
    def new_file(self, *args: Any, **kwargs: Any) -> None:
        FileUploadHandler.new_file(self, *args, **kwargs)
        self.file = FormFile(
            self.file_name, self.content_type, 0, self.charset, self.content_type_extra
        )


def remove(pk: uuid.UUID) -> None:
    path(pk).unlink(missing_ok=True)
    _lock_file(pk).unlink(missing_ok=True)


def orphans(known: set[str]) -> list[Path]:
    """Files in the buffer that belong to no upload in `known`."""
    folder = Path(settings.UPLOAD_BUFFER)
    if not folder.exists():
        return []
    return [file for file in folder.iterdir() if file.name.split(".")[0] not in known]


def _lock_file(pk: uuid.UUID) -> Path:
    return path(pk).with_suffix(".lock")


@contextmanager
def _locked(pk: uuid.UUID) -> Iterator[int]:
    fd = os.open(path(pk), os.O_RDWR)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX)
        yield fd
    finally:
        os.close(fd)


def _cut(pk: uuid.UUID, size: int, *, lock: str) -> None:
    with _locked(pk) as fd:
        if _lock_file(pk).read_text() != lock:
            raise LockLost
        os.ftruncate(fd, size)
        os.fsync(fd)


def _sync(folder: Path) -> None:
    """A new name is on the disk only once its folder is."""
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


@contextmanager
def _full_disk_as_no_room() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise NoRoom from error
        raise
