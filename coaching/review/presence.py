"""Who has a student's lesson open just now. Kept in the cache for a few minutes, never stored."""

from __future__ import annotations

import time
from collections.abc import Iterable

from coaching.kept import cache
from coaching.people.models import User

# A page says so every 40 seconds; one that was closed is forgotten after two missed calls.
HELD_S = 100
Marks = dict[int, tuple[str, float]]  # by account: name, and when it was last heard of


def _key(student: int) -> str:
    return f"lesson-open-{student}"


def _fresh(marks: Marks | None, now: float) -> Marks:
    return {pk: mark for pk, mark in (marks or {}).items() if now - mark[1] < HELD_S}


def open_by(student: int, user: User) -> list[str]:
    """Note that `user` has the student's lesson open; the names of others who have."""
    now = time.time()
    marks = _fresh(cache.get(_key(student)), now)
    marks[user.pk] = (user.name, now)
    cache.set(_key(student), marks, HELD_S)
    return [name for pk, (name, _at) in sorted(marks.items()) if pk != user.pk]


def open_to_others(students: Iterable[int], user: User) -> dict[int, str]:
    """By student: the names of colleagues who have the lesson open, but for `user`."""
    keys = {_key(pk): pk for pk in students}
    now, found = time.time(), {}
    for key, marks in cache.get_many(keys).items():
        names = [name for pk, (name, _at) in _fresh(marks, now).items() if pk != user.pk]
        if names:
            found[keys[key]] = ", ".join(names)
    return found
