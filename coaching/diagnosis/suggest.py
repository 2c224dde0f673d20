"""Which entries the figures of a swing suggest, and how sure that is. Pure.

Each figure stands by itself: what causes an effect is never a condition of seeing it. Two
tiers: *clear* when the true value lies past the limit at one-sided 95 %, *worth a look*
when the value is past it and the chance is 70 to 95 %. Strengths and harmless things are
suggested only when clear: a value whose uncertainty cannot show them says nothing good. A
wider uncertainty never makes anything clearer, and an absent figure shows nothing.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from coaching.diagnosis.catalogue import CLUBS, ByClub, Catalogue, Entry, Key, Sign
from coaching.diagnosis.causes import BALL, HARMLESS, QUESTION, STRENGTH
from coaching.lessons.estimates import SURE_OF_A_FINDING, Band, Estimate, Reading

Figures = Mapping[Key, Reading]

# Past the limit, but not surely: folded and counted, for a coach who has time.
WORTH_A_LOOK = 0.70
# Lengths are scaled by the stature, so without one there are none; this is only for tests
# and pages that explain a limit.
USUAL_STATURE_CM = 175.0


class Tier(StrEnum):
    CLEAR = "clear"
    LOOK = "look"


@dataclass(frozen=True)
class Player:
    """What a limit depends on beside the figure. `club` is one of CLUBS or unknown."""

    stature_cm: float | None = None
    club: str = ""


@dataclass(frozen=True)
class Shown:
    """A sign that the figures meet, with the chance that its limit is truly passed."""

    sign: Sign
    band: Band
    chance: float
    is_disputed: bool = False  # another figure of the same thing says otherwise

    @property
    def tier(self) -> Tier:
        sure = self.chance >= SURE_OF_A_FINDING and not self.is_disputed
        return Tier.CLEAR if sure else Tier.LOOK


@dataclass(frozen=True)
class Suggestion:
    """An entry that figures show.

    `because` are usual causes that are suggested too, `look_at` those that no figure shows.
    `asks` are questions about the body that come first.
    """

    entry: Entry
    shown: Shown
    because: tuple[str, ...] = ()
    look_at: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()

    @property
    def tier(self) -> Tier:
        return self.shown.tier

    @property
    def key(self) -> Key:
        return self.shown.sign.key


_WOODS = re.compile(r"wood|hybrid|rescue|fairway|\b[2-9]\s?w\b|\b[2-7]\s?h\b")
_WEDGES = re.compile(r"wedge|\b[psgl]w\b|\b(4[4-9]|5\d|6[0-4])\b")
_IRONS = re.compile(r"iron|\b[1-9]\s?i\b|^[1-9]$")


def club_class(name: str) -> str:
    """`iron` of `7 iron`; empty when the name says nothing we know."""
    name = name.lower().replace("°", "").replace("-", " ").strip()
    if "driver" in name or re.search(r"\b1\s?w", name):
        return "driver"
    for kind, pattern in (("wood", _WOODS), ("wedge", _WEDGES), ("iron", _IRONS)):
        if pattern.search(name):
            return kind
    return ""


def band_of(sign: Sign, player: Player) -> Band:
    """The limits of a sign for this player and club, in the figure's unit.

    A club that is not known takes the limit that is passed by none of the four too early.
    """
    scale = 1.0
    if sign.measure.endswith("_cm"):
        scale = (player.stature_cm or USUAL_STATURE_CM) / 100
    low = _limit(sign.at_least, player.club, max)
    high = _limit(sign.at_most, player.club, min)
    return Band(
        float("-inf") if low is None else low * scale,
        float("inf") if high is None else high * scale,
    )


def _limit(limits: ByClub | None, club: str, strictest: object) -> float | None:
    if limits is None:
        return None
    if club in CLUBS:
        return limits[club]
    return max(limits.values()) if strictest is max else min(limits.values())


def shown_by(
    sign: Sign, figures: Figures, player: Player, *, seen: Collection[Key] = ()
) -> Shown | None:
    """The sign, when the figures are past its limits surely enough to be worth a look."""
    better = sign.when_absent
    if sign.key not in figures or (better and (better in figures or better in seen)):
        return None
    chances = []
    for one in (sign, *sign.both):
        band = band_of(one, player)
        if one.key not in figures or not band.low <= figures[one.key][0] <= band.high:
            return None
        chances.append(band.chance(Estimate(*figures[one.key])))
    if min(chances) < WORTH_A_LOOK:
        return None
    return Shown(sign, band_of(sign, player), min(chances))


def best_sign(
    entry: Entry, figures: Figures, player: Player, *, seen: Collection[Key] = ()
) -> Shown | None:
    """The surest of an entry's signs; good and harmless things only when clear."""
    found = [s for sign in entry.shows if (s := shown_by(sign, figures, player, seen=seen))]
    found = [replace(s, is_disputed=_disputed(entry, s.sign, figures, player)) for s in found]
    best = max(found, key=lambda s: (s.tier == Tier.CLEAR, s.chance), default=None)
    if best is not None and entry.kind in (STRENGTH, HARMLESS) and best.tier != Tier.CLEAR:
        return None
    return best


def _disputed(entry: Entry, sign: Sign, figures: Figures, player: Player) -> bool:
    """Whether the figure that should agree with a sign was read and is not past its limit."""
    if sign.clear_with is None or sign.clear_with not in figures:
        return False
    value = figures[sign.clear_with][0]
    bands = [band_of(s, player) for s in entry.shows if s.key == sign.clear_with]
    return not any(band.low <= value <= band.high for band in bands)


def suggest(
    figures: Figures,
    *,
    catalogue: Catalogue,
    player: Player = Player(),
    dismissed: Collection[str] = (),
    seen: Collection[Key] = (),
) -> list[Suggestion]:
    """What the figures suggest: clear ones first; in each tier what is to be mended before what is
    to be kept, each in the order of the catalogue.

    Parameters
    ----------
    figures : mapping
        (measure, event) -> (value, uncertainty). Absent figures are left out.
    dismissed : collection of str
        Ids of entries the coach does not want to see again for this student.
    seen : collection of key
        Figures that could not be read and that the coach has judged by eye.
    """
    found = {
        entry.id: (entry, shown)
        for entry in catalogue.shown
        if entry.id not in dismissed and (shown := best_sign(entry, figures, player, seen=seen))
    }
    found = _said_once(found)
    rows = [_suggestion(catalogue, entry, shown, found) for entry, shown in found.values()]
    return sorted(rows, key=lambda row: (row.tier != Tier.CLEAR, row.entry.kind == STRENGTH))


def _said_once(found: dict[str, tuple[Entry, Shown]]) -> dict[str, tuple[Entry, Shown]]:
    """Without those that only fall back on a figure which another entry reads for itself: one
    figure is no proof of two faults. What they would have said is that entry's usual cause."""
    own = {shown.sign.key for _entry, shown in found.values() if shown.sign.when_absent is None}
    return {
        id: (entry, shown)
        for id, (entry, shown) in found.items()
        if shown.sign.when_absent is None or shown.sign.key not in own
    }


def _suggestion(
    catalogue: Catalogue, entry: Entry, shown: Shown, found: Collection[str]
) -> Suggestion:
    causes = [cause for cause in catalogue.causes_of(entry.id) if not cause.is_hidden]
    return Suggestion(
        entry,
        shown,
        because=tuple(c.id for c in causes if c.id in found),
        look_at=tuple(c.id for c in causes if c.id not in found and c.kind != QUESTION),
        asks=questions_for(catalogue, entry),
    )


def questions_for(catalogue: Catalogue, entry: Entry) -> tuple[str, ...]:
    """The entries that ask about the regions an entry names: one sign is reason enough."""
    asked = (catalogue.question_about(region) for region in entry.ask)
    if entry.kind in (QUESTION, STRENGTH, HARMLESS, BALL):
        return ()
    return tuple(dict.fromkeys(question.id for question in asked if question is not None))


def end_on(
    figures: Figures,
    *,
    reasons: Mapping[Key, str],
    catalogue: Catalogue,
    seen: Collection[Key] = (),
) -> list[tuple[Key, tuple[Entry, ...]]]:
    """Figures absent because the club points at the camera, with what they would show.

    Each offers the coach one tap in place of the figure: one of the entries, or "fine".
    """
    asked = [
        key
        for key, why in reasons.items()
        if why == "shaft_end_on" and key not in figures and key not in seen
    ]
    rows = ((key, _shown_there(catalogue.shown, key)) for key in asked)
    return [(key, entries) for key, entries in rows if entries]


def _shown_there(entries: Iterable[Entry], key: Key) -> tuple[Entry, ...]:
    """Entries whose better figure this is: those that fall back on other moments without it."""
    return tuple(e for e in entries if any(sign.when_absent == key for sign in e.shows))
