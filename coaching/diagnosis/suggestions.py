"""What a review's figures suggest: figures from the database, the engine, words for the coach."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from analysis.models import Measurement, Run
from coaching.diagnosis import suggest
from coaching.diagnosis.catalogue import Catalogue, Entry, Key, Sign
from coaching.diagnosis.causes import QUESTION
from coaching.diagnosis.entries import catalogue_of, clause_for
from coaching.diagnosis.models import Finding, SeenByEye
from coaching.diagnosis.queries import Diagnosis, visible
from coaching.diagnosis.suggest import Player, Tier, band_of
from coaching.intake.models import Submission
from coaching.lessons.estimates import Estimate, Reading, constant_share, mean_of
from coaching.lessons.wording.amounts import band_words, unit_of, value_words
from coaching.lessons.wording.naming import label_of
from coaching.people.models import BodyNote, Student
from coaching.people.sides import without_sides
from coaching.review import turncheck
from coaching.review.models import Review

MOST_NAMED = 4  # causes to look at: more is a list nobody reads


@dataclass(frozen=True)
class Suggested:
    """A suggestion with the figure it hangs on, as the coach reads it."""

    suggestion: suggest.Suggestion
    measurement: Measurement
    reading: Reading
    catalogue: Catalogue
    student: Student
    troubles: tuple[BodyNote, ...] = ()

    @property
    def entry(self) -> Entry:
        return self.suggestion.entry

    @property
    def is_clear(self) -> bool:
        return self.suggestion.tier == Tier.CLEAR

    @property
    def name(self) -> str:
        return without_sides(self.entry.name)

    @property
    def clause(self) -> str:
        return clause_for(self.entry, self.student)

    @property
    def kind_words(self) -> str:
        return str(Finding.Kind(self.entry.kind).label)

    @property
    def sure_percent(self) -> int:
        return min(99, int(100 * self.suggestion.shown.chance))

    @property
    def value(self) -> float:
        return self.reading[0]

    @property
    def uncertainty(self) -> float:
        return self.reading[1]

    @property
    def measure(self) -> str:
        return self.measurement.measure

    @property
    def event(self) -> str:
        return self.measurement.event

    @property
    def is_corrected(self) -> bool:
        """A correction by hand made the figure: it is said, whatever it does to the chance."""
        return self.measurement.source == "corrected"

    @property
    def look_at(self) -> list[str]:
        """Names of usual causes that no figure shows, when none is found."""
        if self.suggestion.because or self.entry.kind not in ("compensation", "cause"):
            return []
        found = (self.catalogue.get(id) for id in self.suggestion.look_at)
        return [without_sides(entry.name) for entry in found if entry][:MOST_NAMED]

    @property
    def asks(self) -> list[Entry]:
        """Questions about the body that one tap asks first."""
        found = (self.catalogue.get(id) for id in self.suggestion.asks)
        return [entry for entry in found if entry]

    @property
    def limit_words(self) -> str:
        """`Limit: at most 34°`, and the catalogue's where the studio has moved it."""
        sign = self.suggestion.shown.sign
        player = Player(self.student.stature_cm)
        own = limit_words(sign, player)
        if sign.was is None:
            return _("Limit: %(limit)s.") % {"limit": own}
        return _("Your limit: %(limit)s; the catalogue’s: %(was)s.") % {
            "limit": own,
            "was": limit_words(sign.was, player),
        }


def limit_words(sign: Sign, player: Player) -> str:
    """`at most 34°`, `between 1° and 18°`, in the figure's unit for this player."""
    band = band_of(sign, player)
    low = None if band.low == float("-inf") else band.low
    high = None if band.high == float("inf") else band.high
    comparison = "between" if low is not None and high is not None else ""
    comparison = comparison or ("at_least" if low is not None else "at_most")
    return band_words(
        comparison, low=low, high=high, measure=sign.measure, unit=unit_of(sign.measure)
    )


# Only a swing at one's own speed tells these.
_OF_A_SWING = ("backswing_s", "downswing_s", "tempo_ratio", "hand_speed_peak_m_s")


def _rows(submissions: Iterable[Submission]) -> list[Measurement]:
    """The newest figures of these clips, present and absent, that tell of a swing.

    A slow rehearsal says nothing about tempo or speed, a turn with a held club nothing about
    the swing's turn.
    """
    videos = [submission.video_id for submission in submissions]
    newest = Run.objects.newest_measured().filter(video__in=videos)
    found = Measurement.objects.filter(run__in=newest).select_related("run__video")
    return [
        row
        for row in found.order_by("repetition")
        if not (row.run.video.kind != "swing" and row.measure in _OF_A_SWING)
        and not (row.run.video.kind == "bar" and row.measure in turncheck.LINE_OF)
    ]


def figures_of(submissions: Iterable[Submission]) -> dict[Key, tuple[Reading, Measurement]]:
    """Each figure of these clips: the mean over the repetitions, and one row it hangs on.

    Of a figure that two views measure, the surer one is taken.
    """
    return _means(_rows(submissions))


def _means(rows: Iterable[Measurement]) -> dict[Key, tuple[Reading, Measurement]]:
    grouped: dict[tuple[str, str, int], list[Measurement]] = defaultdict(list)
    for row in rows:
        if row.value is not None:
            grouped[row.measure, row.event, row.run_id].append(row)
    best: dict[Key, tuple[Reading, Measurement]] = {}
    for (measure, event, _run), repeated in grouped.items():
        read = [Estimate(row.value, row.uncertainty) for row in repeated]  # type: ignore[arg-type]
        mean = mean_of(read, share=constant_share(measure))
        if (measure, event) not in best or mean.sd < best[measure, event][0][1]:
            corrected = next((r for r in repeated if r.source == "corrected"), repeated[0])
            best[measure, event] = (mean.value, mean.sd), corrected
    return best


def player_of(student: Student, submissions: Iterable[Submission]) -> Player:
    """Stature and club; clips with clubs of two kinds leave the club unknown."""
    clubs = {suggest.club_class(s.angle.club) for s in submissions if s.angle}
    return Player(student.stature_cm, clubs.pop() if len(clubs) == 1 else "")


@dataclass(frozen=True)
class EndOn:
    """A figure that is absent because the club points at the camera: the coach's eye instead."""

    measure: str
    event: str
    entries: tuple[Entry, ...]

    @property
    def label(self) -> str:
        return label_of(self.measure, self.event)


@dataclass(frozen=True)
class Offered:
    """Everything the figures of a review offer, and the figures themselves."""

    clear: list[Suggested]
    look: list[Suggested]
    end_on: list[EndOn]
    figures: dict[Key, tuple[Reading, Measurement]]
    dismissed: frozenset[str]  # for this student, whatever the figures say
    player: Player
    catalogue: Catalogue

    @property
    def readings(self) -> dict[Key, Reading]:
        return {key: reading for key, (reading, _row) in self.figures.items()}

    @property
    def has_any(self) -> bool:
        return bool(self.clear or self.look or self.end_on)


def offered(review: Review, standing: Diagnosis | None = None) -> Offered:
    """What the figures suggest and nobody has taken or dismissed, and where eyes are needed.

    `standing` is the student's diagnosis with this draft, where it was read already.
    """
    student = review.student
    if standing is None:
        found = Already(catalogue_of(student.studio_id), _notes(student), _taken(review))
    else:
        open_entries = {f.entry for f in standing.findings if f.entry and f.closed_at is None}
        found = Already(standing.catalogue, standing.body_notes, open_entries)
    judged = SeenByEye.objects.filter(review=review.pk) if review.is_begun else ()
    seen = {(row.measure, row.event) for row in judged}
    return _offered(student, review.clips, found, seen=seen)


def stand_out(
    student: Student, clips: Sequence[Submission], *, notes: Sequence[BodyNote]
) -> list[Suggested]:
    """What is clear in these clips, causes first, before any answer to them is begun.

    `notes` are the student's of their body that are not over.
    """
    found = Already(catalogue_of(student.studio_id), notes, set())
    return _offered(student, clips, found).clear


@dataclass(frozen=True)
class Already:
    """What is known beside the figures: the catalogue, the body, the entries that are taken."""

    catalogue: Catalogue
    notes: Sequence[BodyNote]
    taken: set[str]


def _notes(student: Student) -> list[BodyNote]:
    return list(student.body_notes.filter(over_at__isnull=True))


def _offered(
    student: Student, clips: Sequence[Submission], known: Already, *, seen: Iterable[Key] = ()
) -> Offered:
    rows = _rows(clips)
    figures = _means(rows)
    readings = {key: reading for key, (reading, _row) in figures.items()}
    catalogue, seen = known.catalogue, set(seen)
    player = player_of(student, clips)
    dismissed = frozenset(student.dismissals.values_list("entry", flat=True))
    found = suggest.suggest(
        readings,
        catalogue=catalogue,
        player=player,
        dismissed=dismissed | known.taken,
        seen=seen,
    )
    shown = [
        Suggested(
            one,
            figures[one.key][1],
            figures[one.key][0],
            catalogue,
            student,
            tuple(note for note in known.notes if note.region in one.entry.ask),
        )
        for one in found
    ]
    reasons = {(row.measure, row.event): row.reason for row in rows if row.value is None}
    absent = suggest.end_on(readings, reasons=reasons, catalogue=catalogue, seen=seen)
    return Offered(
        clear=[one for one in shown if one.is_clear],
        look=[one for one in shown if not one.is_clear],
        end_on=[EndOn(*key, entries) for key, entries in absent],
        figures=figures,
        dismissed=dismissed,
        player=player,
        catalogue=catalogue,
    )


@dataclass(frozen=True)
class Usual:
    """A usual cause that is not said yet, and what the figures say for or against it."""

    entry: Entry
    note: str

    @property
    def name(self) -> str:
        return without_sides(self.entry.name)

    @property
    def is_question(self) -> bool:
        return self.entry.kind == QUESTION


def usual_causes(found: Offered, finding: Finding, *, standing: set[str]) -> list[Usual]:
    """Usual causes of a finding that do not stand yet: suggested ones first, then questions."""
    causes = [e for e in found.catalogue.causes_of(finding.entry) if e.id not in standing]
    rows = [(_evidence(found, entry), entry) for entry in causes if not entry.is_hidden]
    rows.sort(key=lambda row: row[0][0])
    return [Usual(entry, note) for (_order, note), entry in rows]


def _evidence(found: Offered, entry: Entry) -> tuple[int, str]:
    """Where it stands in the list, and what the figures say."""
    suggested = next((s for s in found.clear + found.look if s.entry.id == entry.id), None)
    if suggested is not None:
        told = value_words(*suggested.reading, measure=suggested.measure, event=suggested.event)
        return 0, _("measured: %(value)s") % {"value": told}
    if entry.kind == QUESTION:
        return 1, _("ask before a drill")
    read = [sign for sign in entry.shows if sign.key in found.readings]
    if read:
        told = value_words(*found.readings[read[0].key], measure=read[0].measure)
        return 3, _("measured: %(value)s, so not likely") % {"value": told}
    return 2, _("by eye") if entry.by_eye else _("not measured here")


def _taken(review: Review) -> set[str]:
    """Entries that stand already: sent to this student and still open, or in the draft."""
    rows = visible(review.student, review).exclude(entry="").filter(closed_at__isnull=True)
    return set(rows.values_list("entry", flat=True))


def suggestions_for(review: Review) -> list[Suggested]:
    """The suggestions of both tiers, clear ones first."""
    found = offered(review)
    return found.clear + found.look
