"""Who is sending bytes to this process now: nobody holds its threads by sending slowly.

At most two uploads of one person are read at a time, and one connection of one upload: a
newer one closes the oldest. A connection that brings less than a piece in `WINDOW_S` is
closed too. What has arrived is kept either way; the sender goes on with `HEAD`.
"""

from __future__ import annotations

import contextlib
import socket
import threading
import time
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

MOST_OF_ONE_PERSON = 2
WINDOW_S = 30.0
LOOK_EVERY_S = 5.0


@dataclass(eq=False)
class Sending:
    """One request body that is being read. `moved_at` is when the last piece came."""

    person: int
    upload: uuid.UUID
    sock: socket.socket | None
    since: float = field(default_factory=time.monotonic)
    moved_at: float = field(default_factory=time.monotonic)
    closed: bool = False

    def close(self) -> None:
        self.closed = True
        if self.sock is not None:
            with contextlib.suppress(OSError):
                self.sock.shutdown(socket.SHUT_RDWR)


class Counted:
    """A body that notes when it moves, and ends for whoever was closed."""

    def __init__(self, body: Any, sending: Sending) -> None:
        self.body, self.sending = body, sending

    def read(self, size: int, /) -> bytes:
        piece: bytes = b"" if self.sending.closed else self.body.read(size)
        self.sending.moved_at = time.monotonic()
        return piece


_lock = threading.Lock()
_now: list[Sending] = []
_watching = False


@contextlib.contextmanager
def sending(
    *, person: int, upload: uuid.UUID, sock: socket.socket | None, body: Any
) -> Iterator[Counted]:
    """Read `body` as one of the person's few; older ones that are too many are closed."""
    mine = Sending(person, upload, sock)
    with _lock:
        _close_others(mine)
        _now.append(mine)
        _watch()
    try:
        yield Counted(body, mine)
    finally:
        with _lock:
            _now.remove(mine)


def _close_others(mine: Sending) -> None:
    open_now = [one for one in _now if one.person == mine.person and not one.closed]
    for one in open_now:
        if one.upload == mine.upload:
            one.close()
    others = sorted((one for one in open_now if not one.closed), key=lambda one: one.since)
    for one in others[: max(len(others) - MOST_OF_ONE_PERSON + 1, 0)]:
        one.close()


def close_slow(*, now: float | None = None) -> int:
    """Close what has not moved for `WINDOW_S`; how many."""
    at = time.monotonic() if now is None else now
    with _lock:
        slow = [one for one in _now if not one.closed and at - one.moved_at > WINDOW_S]
        for one in slow:
            one.close()
    return len(slow)


def _watch() -> None:
    """Start the one thread that looks at all of them; call it with the lock held."""
    global _watching
    if not _watching:
        _watching = True
        threading.Thread(target=_look, daemon=True, name="slow-senders").start()


def _look() -> None:
    global _watching
    while True:
        time.sleep(LOOK_EVERY_S)
        close_slow()
        with _lock:
            if not _now:
                _watching = False
                return
