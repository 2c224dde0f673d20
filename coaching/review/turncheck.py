"""The held club against the body's figures: the one truth there is on real people.

A film of kind `bar` holds both for the same moment of the same repetition. Nothing here
is stored: pairs are read from the measurements each time.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db.models import QuerySet

from analysis import PIPELINE_VERSION
from analysis.core.agreement import Agreement, Bias, agreement, film_bias, person_bias
from analysis.core.pose import MEASURED_VIEWS
from analysis.models import Measurement, Run
from coaching.people import queries
from coaching.people.models import Consent, Student

BAR, EVENT = "bar_turn_deg", "top"
# Where the club is held (`RequestedAngle.bar_across`), and whose turn it then shows.
TURNS = {"hips": "pelvis_turn_deg", "chest": "shoulder_turn_deg"}
LINE_OF = {measure: across for across, measure in TURNS.items()}


@dataclass(frozen=True)
class Pair:
    """One repetition of a bar film; `figure` is None where the body told no turn."""

    student: int
    video: int
    view: str
    across: str
    repetition: int
    bar: tuple[float, float]
    figure: tuple[float, float] | None

    @property
    def difference(self) -> float | None:
        return None if self.figure is None else self.figure[0] - self.bar[0]


@dataclass(frozen=True)
class Person:
    """One student's differences, and what they say of him."""

    student: Student
    differences: tuple[float, ...]
    bias: Bias


@dataclass(frozen=True)
class Check:
    """One turn in one view, over all students; `untold` repetitions held only the bar."""

    view: str
    across: str
    people: list[Person]
    agreement: Agreement | None
    untold: int


def pairs(students: QuerySet[Student], *, version: str = PIPELINE_VERSION) -> list[Pair]:
    """Repetitions of the students' bar films in which the bar was read, in one query.

    Left out are erased and replaced clips, figures that a hand has moved, and runs of
    another pipeline version: they would tell of another software.
    """
    rows = Measurement.objects.filter(
        run__video__submission__student__in=students,
        run__video__submission__replaced_by=None,
        run__video__submission__angle__isnull=False,
        run__video__erased_at=None,
        run__video__kind="bar",
        run__video__view__in=MEASURED_VIEWS,
        run__in=Run.objects.newest_measured(version),
        measure__in=(BAR, *TURNS.values()),
        event=EVENT,
    )
    rows = rows.order_by("run__video", "repetition").values_list(
        "run__video__submission__student", "run__video", "run__video__view",
        "run__video__submission__angle__bar_across", "repetition",
        "measure", "value", "uncertainty", "source",
    )  # fmt: skip
    found = []
    for key, group in groupby(rows, key=lambda row: row[:5]):
        student, video, view, across, repetition = key
        read = {row[5]: row[6:] for row in group}
        both = [row for measure in (BAR, TURNS[across]) if (row := read.get(measure)) is not None]
        if len(both) < 2 or any(row[2] == "corrected" for row in both):
            continue
        bar, figure = (None if row[0] is None else row[:2] for row in both)
        if bar is not None:
            found.append(Pair(student, video, view, across, repetition, bar, figure))
    return found


def bias_of(found: Iterable[Pair]) -> Bias | None:
    """What one person's pairs of one view and line say; None where there is none."""
    rows = sorted((p for p in found if p.figure is not None), key=lambda p: p.video)
    films = []
    for _video, group in groupby(rows, key=lambda p: p.video):
        read = [(*(p.figure or p.bar), *p.bar) for p in group]
        films.append(film_bias(*zip(*read, strict=True)))
    return person_bias(films) if films else None


def biases(student: Student, *, version: str = PIPELINE_VERSION) -> dict[tuple[str, str], Bias]:
    """A student's known biases by (view, measure)."""
    found = pairs(Student.objects.filter(pk=student.pk), version=version)
    rows = {(view, TURNS[across]): bias_of(own) for (view, across), own in _by_line(found).items()}
    return {key: bias for key, bias in rows.items() if bias is not None}


def checks(students: QuerySet[Student]) -> list[Check]:
    """The distribution over the students who agreed to it, by view and line.

    Only where a bar was read. What one student's own films say of their own figures is no
    check of others, and asks for nothing beyond the measuring.
    """
    students = students.filter(pk__in=queries.who_agreed(Consent.Purpose.CHECK))
    found = pairs(students)
    named = {s.pk: s for s in students.filter(pk__in={p.student for p in found})}
    here = _by_line(found)
    return [
        _check(view, across, here[view, across], named)
        for view in MEASURED_VIEWS
        for across in TURNS
        if (view, across) in here
    ]


def _by_line(found: Iterable[Pair]) -> dict[tuple[str, str], list[Pair]]:
    """Pairs by view and by where the club was held."""
    lines = defaultdict(list)
    for pair in found:
        lines[pair.view, pair.across].append(pair)
    return lines


def _check(view: str, across: str, found: list[Pair], named: dict[int, Student]) -> Check:
    people = []
    for pk in sorted({p.student for p in found}, key=lambda pk: (named[pk].name, pk)):
        own = [p for p in found if p.student == pk]
        differences = tuple(p.difference for p in own if p.difference is not None)
        bias = bias_of(own)
        if bias is not None:
            people.append(Person(named[pk], differences, bias))
    return Check(
        view=view,
        across=across,
        people=people,
        agreement=agreement([person.differences for person in people]),
        untold=sum(p.figure is None for p in found),
    )


def repetition_difference(measures: Iterable[dict[str, Any]], across: str) -> Bias | None:
    """Figure − bar of one repetition as `player.figures_data` lists it."""
    read = {
        row["id"]: (row["value"], row["uncertainty"])
        for row in measures
        if row["event"] == EVENT and row["value"] is not None
    }
    if BAR not in read or TURNS[across] not in read:
        return None
    figure, bar = read[TURNS[across]], read[BAR]
    return film_bias([figure[0]], [figure[1]], [bar[0]], [bar[1]])
