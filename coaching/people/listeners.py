"""Who hears of what people's services do: lists that slices to the right fill in `AppConfig.ready`.

Nothing here knows who is there; each listener runs inside the transaction of the service.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from coaching.people.models import Student, Studio, User


class EntryWriter(Protocol):
    def __call__(
        self, *, student: Student, kind: str, author: User | None, text: str = "", **refs: Any
    ) -> object: ...


class StudentListener(Protocol):
    def __call__(self, *, student: Student) -> object: ...


class StudioListener(Protocol):
    def __call__(self, *, studio: Studio) -> object: ...


entry_writers: list[EntryWriter] = []
on_media_withdrawn: list[StudentListener] = []
on_measuring_allowed: list[StudentListener] = []
on_measuring_ended: list[StudentListener] = []
on_decider_changed: list[StudentListener] = []
on_promises_changed: list[StudioListener] = []
# What a record holds beside its rows: plain JSON by name, about the student's own account.
record_parts: dict[str, Callable[[Student], Any]] = {}


def notify(
    *, student: Student, kind: str, author: User | None, text: str = "", **refs: Any
) -> None:
    """Write what happened into the student's thread; call it inside the transaction."""
    for write in entry_writers:
        write(student=student, kind=kind, author=author, text=text, **refs)


def notify_once(*, student: Student, kind: str, **refs: Any) -> None:
    """Like `notify`, unless an entry of this kind with the same references stands already."""
    if not student.thread.entries.filter(kind=kind, refs=refs).exists():
        notify(student=student, kind=kind, author=None, **refs)


def withdraw_media(student: Student) -> None:
    """Erase every clip of the student, also those still on their way in."""
    for listener in on_media_withdrawn:
        listener(student=student)


def start_measuring(student: Student) -> None:
    """Measuring is agreed to now: clips that came before wait for it."""
    for listener in on_measuring_allowed:
        listener(student=student)


def stop_measuring(student: Student) -> None:
    """Measuring is agreed to no longer: what is under way is given up."""
    for listener in on_measuring_ended:
        listener(student=student)


def decider_changed(student: Student) -> None:
    """Somebody else decides for the student now: what others allowed ends for good."""
    for listener in on_decider_changed:
        listener(student=student)


def promises_changed(studio: Studio) -> None:
    """Promised times are counted again: holidays or the turnaround changed."""
    for listener in on_promises_changed:
        listener(studio=studio)
