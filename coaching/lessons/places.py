"""Places in a saved sentence: what stands there is filled in for whoever it is said to."""

from __future__ import annotations

import re
from collections.abc import Iterable

from django.utils.translation import gettext_lazy as _

from coaching.people.models import Student

NAME = "{name}"
MEASURE = "{measure}"
TARGET = "{target}"
PLACES = {NAME: _("name"), MEASURE: _("measure"), TARGET: _("target")}
_SHORTEST = 3  # letters of a first name that is looked for by itself


def first_name(name: str) -> str:
    return name.split()[0] if name.split() else name


def fill(text: str, student: Student, *, measure: str = "", target: str = "") -> str:
    """The sentence as it reads to one student; a place without a value stays as it is."""
    for place, value in ((NAME, first_name(student.name)), (MEASURE, measure), (TARGET, target)):
        if value:
            text = text.replace(place, value)
    return text


def is_whole(text: str) -> bool:
    """Whether every place is filled, so that the sentence may be said as it stands."""
    return not any(place in text for place in PLACES)


def without_names(text: str, names: Iterable[str]) -> tuple[str, list[str]]:
    """`text` with a place wherever one of `names` stands, whole or by its first word.

    Another student reads it too.

    Returns
    -------
    tuple
        The text, and what was replaced in it, each once.
    """
    parts: set[str] = set()
    for name in filter(None, (name.strip() for name in names)):
        first = name.partition(" ")[0]
        parts |= {name, first} if len(first) >= _SHORTEST else {name}
    replaced: list[str] = []
    for part in sorted(parts, key=len, reverse=True):
        text, found = re.subn(rf"(?<!\w){re.escape(part)}(?!\w)", NAME, text)
        if found:
            replaced.append(part)
    return text, replaced
