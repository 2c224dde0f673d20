"""What can be agreed to, in words: one line for each purpose, wherever it is shown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _

from coaching.people.models import Consent


@dataclass(frozen=True)
class Wording:
    """`title` is agreed to; `meaning` says what is done; `without` what is not possible then."""

    title: Any
    meaning: Any
    without: Any


# In the order in which they are asked. Neutral, because a guardian reads the same words.
WORDING: dict[str, Wording] = {
    Consent.Purpose.STORE: Wording(
        _("Keep the films for the lessons"),
        _("On the studio’s own server, until you erase them."),
        _("Off: no film can be sent. Reading and writing work."),
    ),
    Consent.Purpose.SHARE_COACH: Wording(
        _("Let the coaches of this studio watch them"),
        _("Nobody else sees them."),
        _("Off: no film can be sent. Reading and writing work."),
    ),
    Consent.Purpose.MEASURE: Wording(
        _("Measure the swing in them"),
        _("A program of the studio finds joints and angles. It recognises no face."),
        _("Off: the coach judges by eye, and there are no numbers."),
    ),
    Consent.Purpose.CHECK: Wording(
        _("Use the numbers to check the measuring"),
        _("The studio compares them with those of others, to see how far off the program is."),
        _("Off: these numbers are left out. The lessons stay the same."),
    ),
    Consent.Purpose.SHOW_OTHERS: Wording(
        _("Show a film to others"),
        _("In a talk or a course. The coach asks again each time."),
        _("Off: no film is shown to others, and nobody asks. The lessons stay the same."),
    ),
}
