"""Slow and many senders: the newer goes on, the silent are closed, what came stays."""

from __future__ import annotations

import io
import socket
import time
import uuid
from collections.abc import Iterator

import pytest

from coaching.intake import senders


@pytest.fixture(autouse=True)
def nobody() -> Iterator[None]:
    senders._now.clear()
    yield
    senders._now.clear()


def begin(person: int = 1, upload: uuid.UUID | None = None) -> senders.Sending:
    one = senders.Sending(person, upload or uuid.uuid4(), None)
    senders._close_others(one)
    senders._now.append(one)
    return one


def test_a_third_upload_of_one_person_closes_the_oldest() -> None:
    first, second, third = (begin() for _ in range(3))
    assert [one.closed for one in (first, second, third)] == [True, False, False]
    assert not begin(person=2).closed and not second.closed


def test_many_silent_ones_leave_two_open() -> None:
    every = [begin() for _ in range(132)]
    assert [one.closed for one in every] == [True] * 130 + [False] * 2


def test_a_newer_connection_of_the_same_upload_closes_the_older() -> None:
    upload = uuid.uuid4()
    older, newer = begin(upload=upload), begin(upload=upload)
    assert older.closed and not newer.closed


def test_what_does_not_move_is_closed() -> None:
    slow, quick = begin(person=1), begin(person=2)
    later = time.monotonic() + senders.WINDOW_S + 1
    quick.moved_at = later
    assert senders.close_slow(now=later) == 1
    assert slow.closed and not quick.closed


def test_closing_ends_a_read_that_waits() -> None:
    ours, theirs = socket.socketpair()
    with ours, theirs:
        ours.settimeout(10)
        senders.Sending(1, uuid.uuid4(), ours).close()
        assert ours.recv(10) == b""


def test_a_body_is_read_as_it_is_and_ends_when_closed() -> None:
    body = io.BytesIO(b"one two")
    with senders.sending(person=1, upload=uuid.uuid4(), sock=None, body=body) as counted:
        assert counted.read(4) == b"one "
        counted.sending.close()
        assert counted.read(4) == b""
    assert senders._now == []
