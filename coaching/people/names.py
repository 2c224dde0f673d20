"""A person's name as it may be printed in e-mails to people who know nobody here yet."""

from __future__ import annotations

import re

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from coaching.people.errors import LessonError
from coaching.people.models import validate_name

# Mail programs make a link of `www.host.example` too; `J. R. Vale` and `Dr. Reed` are names.
_HOST = re.compile(r"\w{2,}\.\w{2,}")


def plain_name(name: str) -> str:
    """The name without spaces around it.

    Every service that stores a name asks here, so that a program is held to what a form is.

    Raises
    ------
    LessonError
        `name`: it holds a link, a second line or nothing.
    """
    name = name.strip()
    try:
        validate_name(name)
    except ValidationError as error:
        raise LessonError(str(error.messages[0]), code="name") from None
    if not name or _HOST.search(name):
        raise LessonError(_("Write a name without links or signs like / and @."), code="name")
    return name
