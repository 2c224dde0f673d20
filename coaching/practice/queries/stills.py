"""Moments of a clip with the lines their figures are read from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from analysis.models import Video
from coaching.diagnosis.models import Finding
from coaching.diagnosis.queries import Diagnosis, diagnosis_of
from coaching.diagnosis.queries import Line as DiagnosisLine
from coaching.lessons.estimates import Standing
from coaching.practice.lines import Line, judged_lines
from coaching.practice.models import Assignment
from coaching.practice.queries.judged import Asked, Judged
from coaching.practice.queries.ladders import with_ladder
from coaching.review.models import Review
from coaching.review.queries.player import player_data, with_figures
from coaching.review.stills import part_of

SIZE = "still"


@dataclass(frozen=True)
class Still:
    """One moment of a clip, cut to the golfer, with the lines its figure is read from.

    `lines` are in 0..1 of what is shown.
    """

    video_id: int
    event: str
    repetition: int  # from 1
    lines: tuple[Line, ...]
    size: str = SIZE

    @property
    def asked(self) -> str:
        """What the address of its picture asks for; repetitions count from 0 there."""
        return urlencode({"event": self.event, "rep": self.repetition - 1, "size": self.size})


Read = dict[int, tuple[Video, dict[str, object]]]  # clips with their curves, by key


def _cropped(video: Video, event: str, repetition: int, lines: Sequence[Line]) -> Still:
    """The still cut to the golfer, its lines moved into the part that is shown."""
    left, top, right, bottom = part_of(video, event, repetition - 1, SIZE)

    def inside(point: tuple[float, float]) -> tuple[float, float]:
        x, y = point
        return round((x - left) / (right - left), 4), round((y - top) / (bottom - top), 4)

    moved = tuple((inside(a), inside(b)) for a, b in lines)
    return Still(video.pk, event, repetition, moved)


def stills_of(result: Judged) -> dict[int, Still]:
    """One still a repetition, of the moment its first figure is read at."""
    video = with_figures(result.submission.video_id)
    curves = player_data(video)["curves"]
    found: dict[int, Still] = {}
    for asked in result.asked:
        if asked.value is not None and asked.repetition not in found:
            lines = judged_lines(curves, asked.measure, asked.frame)
            found[asked.repetition] = _cropped(video, asked.event, asked.repetition, lines)
    return found


@dataclass(frozen=True)
class Swing:
    """One repetition of a film that was judged: its still, its figures and what they mean."""

    number: int  # from 1
    still: Still | None
    figures: tuple[Asked, ...]
    standing: Standing

    @property
    def stone(self) -> str:
        """Full is counted, half is close, empty did not count, dashed was not seen."""
        return {
            Standing.COUNTS: "done",
            Standing.CLOSE: "way",
            Standing.DOES_NOT: "leave",
            Standing.NOT_SEEN: "maybe",
        }[self.standing]


# A repetition means what its worst figure means.
_WORST_FIRST = (Standing.DOES_NOT, Standing.NOT_SEEN, Standing.CLOSE, Standing.COUNTS)


def swings_of(result: Judged) -> list[Swing]:
    """Each repetition in order; a repetition without a figure is left out."""
    stills = stills_of(result)
    return [
        Swing(
            number,
            stills.get(number),
            tuple(figures),
            min((f.standing for f in figures), key=_WORST_FIRST.index),
        )
        for number, figures in result.by_repetition
    ]


@dataclass(frozen=True)
class AnswerShown:
    """What an answer says beside its words: the causes, each finding, what to do."""

    diagnosis: Diagnosis
    findings: list[tuple[DiagnosisLine, Still | None]]  # of this answer, with their moments
    assignments: list[Assignment]


def answer_shown(review: Review) -> AnswerShown:
    """An answer as its student reads it; of a draft, as it would be sent now."""
    diagnosis = diagnosis_of(review.student, review)
    read: Read = {}
    lines = [
        ln for ln in (*diagnosis.lines, *diagnosis.asides) if ln.finding.review_id == review.pk
    ]
    return AnswerShown(
        diagnosis,
        [(line, _still_of(line.finding, read)) for line in lines],
        list(with_ladder(review.assignments.all()).order_by("pk")),
    )


def _still_of(finding: Finding, read: Read) -> Still | None:
    """The moment a finding's figure is read at, with its lines; None when nothing is measured."""
    row = finding.measurement
    if row is None or row.value is None or finding.video is None or not finding.video.copy:
        return None
    pk = finding.video.pk
    if pk not in read:
        video = with_figures(pk)
        read[pk] = video, player_data(video)["curves"]
    video, curves = read[pk]
    lines = judged_lines(curves, row.measure, row.frame)
    return _cropped(video, row.event, row.repetition + 1, lines)
