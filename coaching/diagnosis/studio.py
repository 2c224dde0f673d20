"""What a studio makes of the catalogue: its own words, limits, entries, and what it hides."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _

from coaching.diagnosis.catalogue import (
    Catalogue,
    Change,
    Entry,
    adapted,
    check,
    key_of,
    whole,
)
from coaching.diagnosis.causes import BALL, KINDS
from coaching.diagnosis.entries import catalogue_of
from coaching.diagnosis.models import StudioEntry
from coaching.diagnosis.suggest import USUAL_STATURE_CM
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Studio, User
from coaching.people.texts import short_line

ENDS = ("at_least", "at_most")
MOST_OWN = 60  # entries of a studio's own: more is a list nobody reads
LARGEST = 1000.0


def shown_limit(figure: str, limit: float) -> float:
    """A limit as it is typed: of a figure in cm for somebody 175 cm tall, else as it stands."""
    return limit * USUAL_STATURE_CM / 100 if key_of(figure)[0].endswith("_cm") else limit


def _kept_limit(figure: str, typed: float) -> float:
    return typed / USUAL_STATURE_CM * 100 if key_of(figure)[0].endswith("_cm") else typed


@transaction.atomic
def change_entry(
    *,
    studio: Studio,
    by: User,
    entry: str,
    name: str = "",
    clause: str = "",
    is_hidden: bool = False,
    limits: Mapping[str, Mapping[str, float]] | None = None,
) -> None:
    """Word an entry, move its limits (as they are typed), or hide it; empty is the catalogue's.

    Raises
    ------
    LessonError
        No such entry, words too long, or limits that no figure can meet.
    """
    access.require_role(by, studio, access.TEACHING)
    known = _known(studio, entry)
    moved = {
        figure: {end: _kept_limit(figure, _sane(value)) for end, value in ends.items()}
        for figure, ends in (limits or {}).items()
        if ends
    }
    fields: dict[str, Any] = {
        "name": short_line(name, most=80),
        "clause": short_line(clause, most=300),
        "is_hidden": is_hidden,
        "limits": moved,
    }
    if known.is_own:
        fields["name"] = fields["name"] or known.name
        fields["clause"] = fields["clause"] or known.clause
    _refuse_senseless(Change(entry, limits=moved))
    StudioEntry.objects.update_or_create(studio=studio, entry=entry, defaults=fields)


def reset_entry(*, studio: Studio, by: User, entry: str) -> None:
    """Back to the catalogue; an entry of the studio's own is taken away."""
    access.require_role(by, studio, access.TEACHING)
    StudioEntry.objects.filter(studio=studio, entry=entry).delete()


@transaction.atomic
def add_own_entry(
    *,
    studio: Studio,
    by: User,
    name: str,
    clause: str,
    kind: str,
    view: str = "none",
    cause: str = "",
    drill: str = "",
) -> str:
    """An entry of the studio's own, seen by eye; returns its id."""
    access.require_role(by, studio, access.TEACHING)
    name, clause = short_line(name, most=80), short_line(clause, most=300).rstrip(".")
    if not name or not clause:
        raise LessonError(_("Give it a name, and the words for the student."), code="no_words")
    if StudioEntry.objects.filter(studio=studio, own__isnull=False).count() >= MOST_OWN:
        raise LessonError(_("Take one of your own away first."), code="many")
    own = {
        "kind": kind if kind in KINDS else "",
        "view": view,
        "stage": "ball" if kind == BALL else "impact",
        "causes": [cause] if cause else [],
        "drills": [drill] if drill else [],
        "by_eye": _("An entry of this studio, seen by eye."),
        "question": clause if kind == "question" else "",
    }
    id = f"own-{slugify(name)[:50] or 'entry'}"
    change = Change(id, name=name, clause=clause, own=own)
    _refuse_senseless(change)
    try:
        with transaction.atomic():
            StudioEntry.objects.create(studio=studio, entry=id, name=name, clause=clause, own=own)
    except IntegrityError:
        raise LessonError(_("There is an entry of that name already."), code="twice") from None
    return id


def _known(studio: Studio, entry: str) -> Entry:
    known = catalogue_of(studio).get(entry)
    if known is None:
        raise LessonError(_("There is no such finding."), code="unknown", status=404)
    return known


def _sane(value: float) -> float:
    if abs(value) > LARGEST:
        raise LessonError(_("Write a limit that a figure can have."), code="limit")
    return value


def _refuse_senseless(change: Change) -> None:
    """The catalogue with this one change must still make sense."""
    changed: Catalogue = adapted(whole(), [change])
    try:
        check(changed)
    except ValueError:
        raise LessonError(
            _("No figure can meet these limits, or something it names does not exist."),
            code="limit",
        ) from None
