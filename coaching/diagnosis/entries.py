"""The catalogue as a studio has it: its own words, limits and entries laid over ours."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

from django.utils.translation import gettext as _

from coaching.diagnosis.catalogue import Catalogue, Change, Entry, adapted, whole
from coaching.diagnosis.models import StudioEntry
from coaching.people.models import Student, Studio
from coaching.people.sides import end_of, sided

# So like an entry's own words that they are meant: "your hips barely turn going back".
ALIKE = 0.82


def catalogue_of(studio: Studio | int) -> Catalogue:
    rows = StudioEntry.objects.filter(studio=studio)
    changes = [
        Change(row.entry, row.name, row.clause, row.is_hidden, row.limits, row.own) for row in rows
    ]
    return adapted(whole(), changes) if changes else whole()


def clause_for(entry: Entry, student: Student) -> str:
    """The entry's clause with left and right by the student's hand."""
    return sided(entry.clause, student.handedness)


def ball_entries(
    catalogue: Catalogue, *, flight: str, height: str, strike: str, handedness: str
) -> list[Entry]:
    """The entries of a miss as a student chose it, strike first."""
    ids = [f"strike-{strike}"] if strike else []
    if flight:
        ids.append("-".join(["ball", *(end_of(side, handedness) for side in flight.split("-"))]))
    ids += [f"ball-{height}"] if height else []
    found = (catalogue.get(id) for id in ids)
    return [entry for entry in found if entry is not None]


# --- finding by words -----------------------------------------------------------------


def plain(text: str) -> str:
    """Lower case without punctuation and articles, for comparing."""
    text = re.sub(r"[^a-z0-9 ]+", " ", text.lower().replace("’", "'"))
    return " ".join(w for w in text.split() if w not in {"the", "a", "an"})


def matched(catalogue: Catalogue, text: str, handedness: str) -> Entry | None:
    """The entry that free words mean, or None: then they stay free."""
    wanted = plain(text)
    if not wanted:
        return None
    best: tuple[float, Entry | None] = (0.0, None)
    for entry in catalogue.shown:
        for said in _said(entry, handedness):
            likeness = difflib.SequenceMatcher(None, wanted, said).ratio()
            if likeness > best[0]:
                best = likeness, entry
    return best[1] if best[0] >= ALIKE else None


def _said(entry: Entry, handedness: str) -> Iterable[str]:
    for text in (entry.clause, entry.name, *entry.also):
        yield plain(sided(text, handedness))


def search(catalogue: Catalogue, query: str, handedness: str) -> list[Entry]:
    """Entries whose name or golfers' words hold every word of the query, the best first.

    A name that begins with it stands before one that holds it, and both before the words
    that golfers use.
    """
    wanted = plain(query).split()
    ranked = [
        (rank, place, entry)
        for place, entry in enumerate(catalogue.shown)
        if (rank := _rank(entry, wanted, handedness)) is not None
    ]
    return [entry for _rank_, _place, entry in sorted(ranked, key=lambda row: row[:2])]


def _rank(entry: Entry, wanted: list[str], handedness: str) -> int | None:
    name = plain(sided(entry.name, handedness))
    whole_text = " ".join([name, *(plain(sided(text, handedness)) for text in entry.also)])
    if not all(word in whole_text for word in wanted):
        return None
    first = wanted[0] if wanted else ""
    ranks = (
        name.startswith(" ".join(wanted)),
        name.startswith(first),
        any(word.startswith(first) for word in name.split()),
        all(word in name for word in wanted),
        any(word.startswith(first) for word in whole_text.split()),
    )
    return ranks.index(True) if True in ranks else len(ranks)


def stage_title(stage: str) -> str:
    """The heading of one part of the catalogue."""
    return {
        "setup": _("Standing to the ball"),
        "back": _("Going back"),
        "top": _("At the top"),
        "down": _("Coming down"),
        "impact": _("At the ball"),
        "finish": _("After the ball"),
        "body": _("Ask about the body"),
        "ball": _("What the ball does"),
        "own": _("Your own"),
    }[stage]
