"""Folders for films in the making, under `VAR_DIR`, gone when their work is over.

Each holds a locked file for as long as its process lives: a folder whose lock is free was
left by a process that was killed, and goes at the next start or sweep.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings

_LOCK = ".lock"


@contextmanager
def folder() -> Iterator[Path]:
    """An empty folder of one's own."""
    root = Path(settings.SCRATCH_DIR)
    root.mkdir(parents=True, exist_ok=True)
    made = Path(tempfile.mkdtemp(dir=root))
    held = os.open(made / _LOCK, os.O_CREAT | os.O_RDWR)
    try:
        fcntl.flock(held, fcntl.LOCK_EX)
        yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)
        os.close(held)


def left_behind() -> list[Path]:
    """Folders whose process is gone."""
    root = Path(settings.SCRATCH_DIR)
    if not root.exists():
        return []
    return sorted(path for path in root.iterdir() if path.is_dir() and not _is_held(path))


def _is_held(path: Path) -> bool:
    try:
        lock = os.open(path / _LOCK, os.O_RDWR)
    except FileNotFoundError:  # made in this very moment, or taken away in it
        return _age_s(path) < 60
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(lock)
    return False


def _age_s(path: Path) -> float:
    try:
        return time.time() - path.stat().st_mtime
    except FileNotFoundError:
        return 0.0


def sweep() -> int:
    """Remove what dead processes left; how many folders went."""
    left = left_behind()
    for path in left:
        remove(path)
    return len(left)


def remove(path: Path) -> None:
    shutil.rmtree(path, ignore_errors=True)
