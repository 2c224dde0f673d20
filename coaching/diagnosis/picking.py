"""The list a coach picks findings from: by three letters, or whole by view."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from coaching.diagnosis.catalogue import Entry
from coaching.diagnosis.causes import BALL, QUESTION
from coaching.diagnosis.entries import search
from coaching.diagnosis.models import Finding
from coaching.diagnosis.queries import visible
from coaching.diagnosis.suggestions import Offered, offered
from coaching.lessons.wording.amounts import value_words
from coaching.lessons.wording.naming import view_name
from coaching.people.sides import sided, without_sides
from coaching.review.models import Review

MOST = 8  # of a search; the whole list is never cut


@dataclass(frozen=True)
class Option:
    """An entry as it is offered: its name, golfers' words, and what was measured of it."""

    entry: Entry
    also: str
    figure: str
    is_standing: bool

    @property
    def name(self) -> str:
        return without_sides(self.entry.name)

    @property
    def kind_words(self) -> str:
        return str(Finding.Kind(self.entry.kind).label)


@dataclass(frozen=True)
class Group:
    title: str
    options: list[Option]


@dataclass(frozen=True)
class Found:
    groups: list[Group]
    count: int  # that match
    total: int


def found(review: Review, query: str, view: str = "") -> Found:
    """What matches: measured in these clips first; without a query everything, by view."""
    offer = offered(review)
    handedness = review.student.handedness
    matching = search(offer.catalogue, query, handedness)
    if view:
        matching = [entry for entry in matching if entry.view in (view, "both")]
    standing = set(visible(review.student, review).values_list("entry", flat=True))
    options = [_option(entry, offer, handedness, standing) for entry in matching]
    total = len(offer.catalogue.shown)
    if query.strip():
        return Found(_measured_first(options), len(matching), total)
    return Found(_by_view(options), len(matching), total)


def _option(entry: Entry, offer: Offered, handedness: str, standing: set[str]) -> Option:
    key = next((key for key in entry.keys if key in offer.readings), None)
    suggested = next((s for s in offer.clear + offer.look if s.entry.id == entry.id), None)
    if suggested is not None:
        key = suggested.suggestion.key
    figure = value_words(*offer.readings[key], measure=key[0]) if key else ""
    also = ", ".join(sided(text, handedness) for text in entry.also[:3])
    return Option(entry, also, figure, entry.id in standing)


def _measured_first(options: list[Option]) -> list[Group]:
    shown = options[:MOST]
    measured = [option for option in shown if option.figure]
    rest = [option for option in shown if not option.figure]
    groups = [(_("Measured in these clips"), measured), (_("Not measured here"), rest)]
    return [Group(title, rows) for title, rows in groups if rows]


def _by_view(options: Iterable[Option]) -> list[Group]:
    groups: dict[str, list[Option]] = {}
    for option in options:
        groups.setdefault(_heading(option.entry), []).append(option)
    return [Group(title, rows) for title, rows in groups.items()]


def _heading(entry: Entry) -> str:
    if entry.is_own:
        return _("Your own")
    if entry.stage == "ball" or entry.kind == BALL:
        return _("What the ball does")
    if entry.kind == QUESTION:
        return _("Ask about the body")
    if entry.view == "both":
        return _("From both views")
    if entry.view == "none":
        return _("By eye, from any view")
    return view_name(entry.view).capitalize()
