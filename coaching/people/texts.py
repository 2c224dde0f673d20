"""What somebody typed as one line, as it is kept."""

from __future__ import annotations

from django.utils.translation import gettext as _

from coaching.people.errors import LessonError


def in_one_line(text: str) -> str:
    """The text without line breaks, and without spaces around it or in a row."""
    return " ".join(text.split())


def short_line(text: str, *, most: int) -> str:
    """The text in one line of at most `most` letters: nothing that was typed is cut off.

    Raises
    ------
    LessonError
        `too_long`
    """
    text = in_one_line(text)
    if len(text) > most:
        raise LessonError(_("Write at most %(most)d letters.") % {"most": most}, code="too_long")
    return text
