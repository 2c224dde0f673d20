"""What can be wrong, right or worth keeping: one catalogue, read from TOML and checked. Pure.

Tapped by eye or suggested by figures, it is the same entry with the same links, kind,
question and drills. A studio's own wording, limits and entries are laid over it by
`adapted`. Limits of figures in cm are in percent of the player's height.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from analysis.core.measures import MEASURES
from coaching.diagnosis.causes import BALL, KINDS, QUESTION, Graph, Node

PATH = Path(__file__).with_name("catalogue.toml")
COMMON = "common practice, no published source"
STAGES = ("setup", "back", "top", "down", "impact", "finish", "body", "ball")
VIEWS = ("down_the_line", "face_on", "both", "none")
REGIONS = ("neck", "shoulder", "elbow", "wrist", "back", "hip", "knee", "ankle")
CLUBS = ("wedge", "iron", "wood", "driver")

Key = tuple[str, str]
ByClub = Mapping[str, float]

# Figures that no entry reads: those that pages fold away in films of a swing, because another
# figure says it better or a phone's frame rate cannot tell them apart, ...
FOLDED: frozenset[Key] = frozenset((m.id, m.event) for m in MEASURES if "swing" in m.folded)
# ... those that are read too roughly, and toward what is usual, to suggest anything, ...
TOO_ROUGH = frozenset({("lead_elbow_deg", "follow_through")})
# ... and those that serve drills and comparisons: effort, and turn with a held club.
ELSEWHERE = frozenset({("hand_speed_peak_m_s", "impact"), ("bar_turn_deg", "top")})


@dataclass(frozen=True)
class Sign:
    """One figure with the limits past which it shows an entry.

    `at_least` and `at_most` hold one limit for each club. `when_absent` names a figure that
    says it better: this one counts only where that one could not be read. `clear_with` names
    one that must be past its limit too, where it was read, for this one to be clear. `was`
    is the catalogue's own sign where a studio has moved a limit.
    """

    measure: str
    event: str
    at_least: ByClub | None = None
    at_most: ByClub | None = None
    both: tuple[Sign, ...] = ()
    when_absent: Key | None = None
    clear_with: Key | None = None
    was: Sign | None = None

    @property
    def key(self) -> Key:
        return self.measure, self.event

    @property
    def figure(self) -> str:
        return f"{self.measure}@{self.event}"


@dataclass(frozen=True)
class Entry:
    """Something a coach says of a swing, with what usually belongs to it."""

    id: str
    name: str
    stage: str
    view: str
    kind: str
    clause: str
    also: tuple[str, ...] = ()
    shows: tuple[Sign, ...] = ()
    causes: tuple[str, ...] = ()
    ask: tuple[str, ...] = ()
    drills: tuple[str, ...] = ()
    question: str = ""
    by_eye: str = ""
    source: str = COMMON
    is_own: bool = False
    is_hidden: bool = False

    @property
    def keys(self) -> list[Key]:
        """Every figure that can show it."""
        return [sign.key for sign in self.shows]


@dataclass(frozen=True)
class Catalogue:
    """Entries in the order of the list, and their links both ways."""

    entries: tuple[Entry, ...]
    _by_id: dict[str, Entry] = field(init=False, repr=False, compare=False)
    _effects: dict[str, tuple[str, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_by_id", {entry.id: entry for entry in self.entries})
        effects: dict[str, list[str]] = {entry.id: [] for entry in self.entries}
        for entry in self.entries:
            for cause in entry.causes:
                effects.setdefault(cause, []).append(entry.id)
        object.__setattr__(self, "_effects", {id: tuple(them) for id, them in effects.items()})

    def get(self, id: str) -> Entry | None:
        return self._by_id.get(id)

    def causes_of(self, id: str) -> tuple[Entry, ...]:
        """What an entry is usually there because of."""
        entry = self.get(id)
        return tuple(self._by_id[c] for c in entry.causes if c in self._by_id) if entry else ()

    def effects_of(self, id: str) -> tuple[Entry, ...]:
        """What is usually there because of an entry."""
        return tuple(self._by_id[effect] for effect in self._effects.get(id, ()))

    def question_about(self, region: str) -> Entry | None:
        """The entry that asks about a region of the body."""
        return next((e for e in self.entries if e.kind == QUESTION and region in e.ask), None)

    @property
    def shown(self) -> tuple[Entry, ...]:
        """The entries a studio has not hidden."""
        return tuple(entry for entry in self.entries if not entry.is_hidden)


# --- reading ------------------------------------------------------------------------


def parse(text: str, *, pending: Iterable[Key] = ()) -> Catalogue:
    """The catalogue from TOML, checked. `pending`: figures that are not measured yet.

    Raises
    ------
    ValueError
        Naming the entry and what is wrong with it.
    """
    rows = tomllib.loads(text).get("entry", [])
    entries = tuple(_entry(row) for row in rows)
    check(Catalogue(entries), pending=pending)
    return Catalogue(entries)


LISTS = ("also", "causes", "ask", "drills")


def _entry(row: dict[str, Any]) -> Entry:
    id = str(row.get("id", "?"))
    row = dict(row)
    try:
        shows = tuple(_sign(one) for one in row.pop("shows", ()))
        lists: dict[str, Any] = {k: tuple(row.pop(k, ())) for k in LISTS}
        return Entry(shows=shows, **lists, **row)
    except (TypeError, KeyError, ValueError, AttributeError) as error:
        raise ValueError(f"{id}: {error}") from None


def _sign(row: Mapping[str, Any]) -> Sign:
    known = {"figure", "at_least", "at_most", "and", "when_absent", "clear_with"}
    if strange := set(row) - known:
        raise ValueError(f"a sign has no {', '.join(sorted(strange))}")
    return Sign(
        *key_of(row["figure"]),
        at_least=_by_club(row.get("at_least")),
        at_most=_by_club(row.get("at_most")),
        both=tuple(_sign(one) for one in row.get("and", ())),
        when_absent=key_of(row["when_absent"]) if "when_absent" in row else None,
        clear_with=key_of(row["clear_with"]) if "clear_with" in row else None,
    )


def key_of(figure: str) -> Key:
    """`("balance_pct", "address")` of `balance_pct@address`."""
    measure, _, event = figure.partition("@")
    return measure, event


def _by_club(limit: float | Mapping[str, float] | None) -> ByClub | None:
    if limit is None:
        return None
    if isinstance(limit, Mapping):
        if set(limit) != set(CLUBS):
            raise ValueError(f"a limit names each of {', '.join(CLUBS)}")
        return {club: float(limit[club]) for club in CLUBS}
    return dict.fromkeys(CLUBS, float(limit))


def check(catalogue: Catalogue, *, pending: Iterable[Key] = ()) -> None:
    """Refuse a catalogue that says something impossible; the first fault is named."""
    ids = [entry.id for entry in catalogue.entries]
    known = {(m.id, m.event) for m in MEASURES} | set(pending)
    for entry in catalogue.entries:
        for wrong in _faults(entry, ids, known):
            raise ValueError(f"{entry.id}: {wrong}")
    numbers = {id: number for number, id in enumerate(ids)}
    links = {(numbers[e.id], numbers[c]) for e in catalogue.entries for c in e.causes}
    try:
        Graph(tuple(Node(number, "cause") for number in numbers.values()), frozenset(links))
    except ValueError as error:
        raise ValueError(f"the causes of the catalogue: {error}") from None


def _faults(entry: Entry, ids: Sequence[str], known: set[Key]) -> Iterable[str]:
    if ids.count(entry.id) > 1:
        yield "the id is used twice"
    for name, value, values in (
        ("kind", entry.kind, KINDS),
        ("stage", entry.stage, STAGES),
        ("view", entry.view, VIEWS),
    ):
        if value not in values:
            yield f"there is no {name} {value}"
    yield from (f"there is no entry {other}" for other in entry.causes if other not in ids)
    yield from (f"there is no region {region}" for region in entry.ask if region not in REGIONS)
    if entry.kind == QUESTION and not entry.question:
        yield "a question needs its words"
    if not entry.shows and not entry.by_eye and entry.kind != BALL and not entry.is_own:
        yield "it needs a figure, or why it is seen by eye"
    for sign in entry.shows:
        yield from _sign_faults(sign, known)
        if sign.clear_with is not None and sign.clear_with not in entry.keys:
            yield f"{'@'.join(sign.clear_with)} is none of its figures"


def _sign_faults(sign: Sign, known: set[Key]) -> Iterable[str]:
    if sign.key not in known:
        yield f"{sign.figure} is not measured"
    if sign.when_absent is not None and sign.when_absent not in known:
        yield f"{'@'.join(sign.when_absent)} is not measured"
    if sign.at_least is None and sign.at_most is None:
        yield f"{sign.figure} needs at_least or at_most"
    if sign.at_least and sign.at_most and any(sign.at_least[c] > sign.at_most[c] for c in CLUBS):
        yield f"no figure can meet the limits of {sign.figure}"
    for other in sign.both:
        yield from _sign_faults(other, known)


@cache
def whole() -> Catalogue:
    """The catalogue as it is shipped."""
    return parse(PATH.read_text(encoding="utf-8"))


# --- a studio's own -------------------------------------------------------------------


@dataclass(frozen=True)
class Change:
    """What a studio does with an entry: other words, moved limits, hidden, or its own.

    `limits` is `{"MEASURE@EVENT": {"at_least": number, "at_most": number}}` in the
    catalogue's terms; `own` holds the fields of an entry that the studio has added.
    """

    entry: str
    name: str = ""
    clause: str = ""
    is_hidden: bool = False
    limits: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    own: Mapping[str, Any] | None = None


def adapted(base: Catalogue, changes: Iterable[Change]) -> Catalogue:
    """The catalogue with a studio's changes laid over it; its own entries come last."""
    rows = list(changes)
    by_id = {change.entry: change for change in rows}
    entries = [_changed(entry, by_id.get(entry.id)) for entry in base.entries]
    known = {entry.id for entry in entries}
    own = [_own(change) for change in rows if change.own is not None and change.entry not in known]
    return Catalogue((*entries, *own))


def _changed(entry: Entry, change: Change | None) -> Entry:
    if change is None:
        return entry
    return replace(
        entry,
        name=change.name or entry.name,
        clause=change.clause or entry.clause,
        is_hidden=change.is_hidden,
        shows=tuple(_moved(sign, change.limits.get(sign.figure, {})) for sign in entry.shows),
    )


def _moved(sign: Sign, limits: Mapping[str, float]) -> Sign:
    """The sign with a studio's limits, which hold for every club."""
    moved: dict[str, Any] = {
        end: _by_club(limits[end])
        for end in ("at_least", "at_most")
        if end in limits and getattr(sign, end) is not None
    }
    return replace(sign, **moved, was=sign) if moved else sign


def _own(change: Change) -> Entry:
    own = dict(change.own or {})
    shows = tuple(_sign(one) for one in own.pop("shows", ()))
    lists: dict[str, Any] = {key: tuple(own.pop(key, ())) for key in LISTS}
    return Entry(
        id=change.entry,
        name=change.name,
        clause=change.clause,
        is_hidden=change.is_hidden,
        is_own=True,
        shows=shows,
        **lists,
        **own,
    )
