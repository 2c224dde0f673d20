"""What is said every day, and how a coach likes the room."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from coaching.lessons import places
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Studio, User
from coaching.people.once import in_turn
from coaching.review.models import Snippet


@transaction.atomic
def add_snippet(*, studio: Studio, by: User | None, title: str, text: str) -> Snippet:
    """Save a sentence for every day, without any student's name in it.

    `by` is None for the command line.
    """
    if by is not None:
        access.require_role(by, studio, access.STAFF)
    title, text, _names = _without_students(studio, title, text)
    in_turn(studio)
    return Snippet.objects.get_or_create(studio=studio, title=title, text=text)[0]


@transaction.atomic
def write_sentence(
    *, studio: Studio, by: User, title: str, text: str, snippet: Snippet | None = None
) -> tuple[Snippet, list[str]]:
    """A new sentence, or another wording of one, without any student's name in it.

    Returns
    -------
    tuple
        The sentence, and the names that became a place.
    """
    access.require_role(by, studio, access.STAFF)
    title, text, replaced = _without_students(studio, title, text)
    if snippet is None:
        return add_snippet(studio=studio, by=by, title=title, text=text), replaced
    snippet.title, snippet.text = title, text
    snippet.save(update_fields=["title", "text"])
    return snippet, replaced


def _without_students(studio: Studio, title: str, text: str) -> tuple[str, str, list[str]]:
    """Title and words as they are kept, and the names in them that became a place."""
    names = list(studio.students.values_list("name", flat=True))
    title, in_title = places.without_names(title.strip(), names)
    text, in_text = places.without_names(text.strip(), names)
    if not text:
        raise LessonError(_("Write the words first, then keep them."))
    return (title or text)[:60], text, list(dict.fromkeys(in_title + in_text))


def remove_snippet(*, snippet: Snippet, by: User) -> None:
    access.require_role(by, snippet.studio, access.STAFF)
    snippet.delete()


def preferences_of(user: User) -> dict[str, Any]:
    """Review-room habits; whether single keys act at all is asked on the person's own page."""
    return {**user.preferences.get("review", {}), "keys_on": user.preferences.get("keys", True)}


def save_preferences(*, user: User, **changed: Any) -> dict[str, Any]:
    """Review-room habits: speed, brightness, keys, overlays."""
    if "keys_on" in changed:
        user.preferences = {**user.preferences, "keys": changed.pop("keys_on")}
    kept = {**user.preferences.get("review", {}), **changed}
    user.preferences = {**user.preferences, "review": kept}
    user.save(update_fields=["preferences"])
    return preferences_of(user)
