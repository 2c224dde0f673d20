"""The diagnosis in whole sentences for the student. Pure: words and states in, sentences out.

A finding's words are a clause without capital or full stop, so that two of them join with
"because". A question typed as a question is asked as one and never joined.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from coaching.diagnosis.causes import QUESTION, State
from coaching.people.sides import for_student
from coaching.people.texts import in_one_line

_ASKS = re.compile(
    r"^(do|does|did|is|are|was|were|has|have|can|could|may|will|would|when|where|how|what|which)"
    r"\b",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Said:
    """A finding as a sentence needs it."""

    text: str
    kind: str

    @property
    def is_question(self) -> bool:
        """Typed as a question, and asked as one."""
        asks = self.kind == QUESTION and bool(_ASKS.match(self.text))
        return asks or self.text.rstrip().endswith("?")

    @property
    def joins(self) -> bool:
        """Has a subject first, so that it can follow "because"."""
        return not (self.text.rstrip().endswith("?") or _ASKS.match(self.text))


def sentence(
    said: Said,
    state: State,
    *,
    because: Sequence[Said] = (),
    handedness: str = "right",
    is_first: bool = False,
    waits_for_first: bool = False,
) -> str:
    """One whole sentence or two about a finding; empty when there is nothing to say of it.

    Parameters
    ----------
    because : sequence of Said
        What it is directly there because of.
    is_first, waits_for_first : bool
        This is where the work starts; or what it waits for is.
    """
    if state == State.DONE:
        return ""
    what = start(for_student(said.text, handedness))
    why = because_of(because, handedness=handedness)
    if said.is_question:
        return _question(what, state)
    if state == State.LEAVE and waits_for_first and why:
        return _("%(what)s %(why)s; we change that first.") % {"what": what, "why": why}
    end = _end_of_question(state) if said.kind == QUESTION else _end(state)
    if state == State.WORK and is_first:
        end = _("We start here.")
    whole = f"{what} {why}" if why and state in _JOINED else what
    if state == State.KEEP:
        return _("%(what)s: keep that.") % {"what": whole}
    return f"{whole}. {end}".strip()


# States in which the cause is said with it.
_JOINED = (State.WORK, State.LEAVE, State.SHOWS, State.LOOK_AGAIN)


def _end(state: State) -> str:
    return {
        State.WORK: "",
        State.HELD: _("This waits for your answer."),
        State.LEAVE: _("Leave this for now."),
        State.UNEXPLAINED: _("What makes it needed is not found yet, so leave it for now."),
        State.LOOK_AGAIN: _("That has changed, so your coach looks at this again."),
        State.LET_BE: _("That is harmless."),
        State.SHOWS: "",
        State.KEEP: "",
    }.get(state, _("Your coach asks about this first."))


def _end_of_question(state: State) -> str:
    if state == State.LIMIT:
        return _("The plan works inside this.")
    return _("Your coach asks about this first.")


def _question(what: str, state: State) -> str:
    asked = what.rstrip("?") + "?"
    if state == State.LIMIT:
        return _("You were asked: “%(asked)s” The plan works inside your answer.") % {
            "asked": asked
        }
    return _("%(asked)s Your coach asks this first.") % {"asked": asked}


def start(text: str) -> str:
    """A clause as the start of a sentence."""
    text = clause(text)
    return text[:1].upper() + text[1:]


def clause(text: str) -> str:
    """Words as they join: one line, no full stop, a small letter first unless it is `I`."""
    text = in_one_line(text).rstrip(".;: ")
    first = text.split(" ", 1)[0]
    if first[1:] == first[1:].lower() and first not in ("I", "I’m", "I'm"):
        text = text[:1].lower() + text[1:]
    return text


def because_of(causes: Iterable[Said], *, handedness: str = "") -> str:
    """`because a`, `because a, and because b`; empty where nothing joins, as a question never does.

    With a hand in left and right, for a student; without one in a coach's lead and trail.
    """
    texts = [for_student(c.text, handedness) if handedness else c.text for c in causes if c.joins]
    parts = [_("because %(cause)s") % {"cause": clause(text)} for text in texts]
    if len(parts) < 2:
        return "".join(parts)
    return _("%(first)s, and %(last)s") % {"first": ", ".join(parts[:-1]), "last": parts[-1]}
