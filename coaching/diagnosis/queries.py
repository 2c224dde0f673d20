"""Shared reads of findings: the graph, its plan and sentences."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.db.models import Case, Q, QuerySet, Value, When
from django.utils.translation import gettext as _

from coaching.diagnosis import causes
from coaching.diagnosis.catalogue import Catalogue, Entry, whole
from coaching.diagnosis.causes import Graph, Node, State
from coaching.diagnosis.entries import ball_entries, catalogue_of
from coaching.diagnosis.grounds import Grounds, grounds_of
from coaching.diagnosis.models import CausalLink, Finding, Plan
from coaching.diagnosis.sentences import Said, sentence
from coaching.people.ball import any_words
from coaching.people.models import BodyNote, Student
from coaching.people.sides import for_student, without_sides
from coaching.review.models import Review

# How a state is drawn and what is said beside the mark.
STONES = {
    State.ASK: "ask",
    State.WORK: "way",
    State.HELD: "next",
    State.LEAVE: "leave",
    State.UNEXPLAINED: "leave",
    State.LOOK_AGAIN: "ask",
    State.LIMIT: "leave",
    State.DONE: "done",
    State.KEEP: "keep",
    State.LET_BE: "leave",
    State.SHOWS: "ball",
}


def open_questions() -> QuerySet[Finding]:
    """Questions about the body that were sent and that nobody has answered."""
    return Finding.objects.filter(
        kind=Finding.Kind.QUESTION,
        review__published_at__isnull=False,
        answered_at__isnull=True,
        closed_at__isnull=True,
    )


def state_words(state: State) -> str:
    return {
        State.ASK: _("a question first"),
        State.WORK: _("work on this"),
        State.HELD: _("waits for the answer"),
        State.LEAVE: _("leave this for now"),
        State.UNEXPLAINED: _("what makes it needed is not found yet"),
        State.LOOK_AGAIN: _("look again"),
        State.LIMIT: _("the plan works inside this"),
        State.DONE: _("done"),
        State.KEEP: _("keep this"),
        State.LET_BE: _("harmless"),
        State.SHOWS: _("what the ball does"),
    }[state]


def kinds_of_chain() -> list[tuple[str, str, str]]:
    """Kinds as a coach gives them with one tap: value, stone, words."""
    return [
        (causes.CAUSE, "way", _("work on this")),
        (causes.COMPENSATION, "leave", _("leave for now")),
        (causes.QUESTION, "ask", _("ask first")),
        (causes.HARMLESS, "leave", _("harmless")),
        (causes.STRENGTH, "keep", _("keep")),
    ]


def visible(student: Student, review: Review | None = None) -> QuerySet[Finding]:
    """The student's findings that were sent, and those of the draft being written."""
    sent = Q(review__published_at__isnull=False)
    own = Q(review=review.pk) if review and review.pk else Q()
    return student.findings.filter(sent | own if own else sent).select_related(
        "review", "video", "body_note", "measurement"
    )


@dataclass(frozen=True)
class Line:
    """One finding with what is to be done about it now."""

    finding: Finding
    name: str  # what coaches call it; of a finding in free words, these
    state: State
    causes: tuple[Finding, ...]
    effects: tuple[Finding, ...]
    waits_for: tuple[Finding, ...] = ()
    releases: tuple[Finding, ...] = ()
    is_draft: bool = False
    grounds: Grounds | None = None  # what became of the figure it rests on

    @property
    def stone(self) -> str:
        return STONES[self.state]

    @property
    def word(self) -> str:
        return state_words(self.state)

    @property
    def takes_a_drill(self) -> bool:
        return self.state not in (State.DONE, State.ASK, State.LIMIT)


@dataclass(frozen=True)
class Diagnosis:
    """A student's findings: the graph, the plan's lines, and the picture's data."""

    student: Student
    review: Review | None
    graph: Graph
    lines: tuple[Line, ...]  # work, in the plan's order
    ball: tuple[Line, ...]  # what the ball does: the end of the chain
    asides: tuple[Line, ...]  # strengths and harmless things
    plan: Plan | None
    catalogue: Catalogue  # as the student's studio has it

    @cached_property
    def body_notes(self) -> list[BodyNote]:
        """What the student said of their body and what is not over."""
        return list(self.student.body_notes.filter(over_at__isnull=True))

    @property
    def findings(self) -> list[Finding]:
        return [line.finding for line in self.all_lines]

    @property
    def all_lines(self) -> tuple[Line, ...]:
        return (*self.lines, *self.ball, *self.asides)

    def line(self, pk: int) -> Line | None:
        return next((line for line in self.all_lines if line.finding.pk == pk), None)

    @property
    def picture(self) -> dict[str, Any]:
        """The stones: `{"nodes": [...], "edges": [[cause, effect]]}`."""
        return {
            "nodes": [
                {
                    "id": line.finding.pk,
                    "label": for_student(line.finding.text, self.student.handedness),
                    "state": line.stone,
                    "note": line.word,
                }
                for line in self.all_lines
            ],
            "edges": sorted(
                [cause.pk, line.finding.pk] for line in self.all_lines for cause in line.causes
            ),
        }


def diagnosis_of(student: Student, review: Review | None = None) -> Diagnosis:
    """The student's findings as they stand, with the draft's when one is given."""
    findings = {finding.pk: finding for finding in visible(student, review)}
    graph = graph_of(student, findings.values())
    plan = _plan_for(student, review)
    catalogue = catalogue_of(student.studio_id)
    steps = causes.plan(graph, order=plan.order if plan else ())
    done = {step.id for step in steps}
    grounds = grounds_of(findings.values(), catalogue=catalogue)

    def line(pk: int, step: causes.Step | None = None) -> Line:
        return Line(
            finding=findings[pk],
            name=_name(catalogue, findings[pk]),
            state=step.state if step else causes.state_of(graph, pk),
            causes=tuple(findings[i] for i in graph.nearest_causes(pk)),
            effects=tuple(findings[i] for i in graph.effects_of(pk)),
            waits_for=tuple(findings[i] for i in step.waits_for) if step else (),
            releases=tuple(findings[i] for i in step.releases) if step else (),
            is_draft=bool(review and review.pk and findings[pk].review_id == review.pk),
            grounds=grounds.get(pk),
        )

    rest = [pk for pk in findings if pk not in done]
    return Diagnosis(
        student=student,
        review=review,
        graph=graph,
        lines=tuple(line(step.id, step) for step in steps),
        ball=tuple(line(pk) for pk in rest if graph[pk].kind == causes.BALL),
        asides=tuple(line(pk) for pk in rest if graph[pk].kind != causes.BALL),
        plan=plan,
        catalogue=catalogue,
    )


def _name(catalogue: Catalogue, finding: Finding) -> str:
    entry = catalogue.get(finding.entry)
    text = finding.text
    return without_sides(entry.name) if entry else text[:1].upper() + text[1:]


def _plan_for(student: Student, review: Review | None) -> Plan | None:
    """The draft's own plan, else the newest that was sent."""
    draft = review.pk if review else None
    rows = Plan.objects.filter(
        Q(review=draft) | Q(review__student=student, review__published_at__isnull=False)
    )
    own = Case(When(review=draft, then=Value(0)), default=Value(1))
    return rows.order_by(own, "-review__published_at").first()


def graph_of(student: Student, findings: Iterable[Finding]) -> Graph:
    """The findings as a graph; links to findings outside it are left out."""
    rows = list(findings)
    ids = {finding.pk for finding in rows}
    links = CausalLink.objects.filter(effect__in=ids, cause__in=ids).values_list("effect", "cause")
    return Graph(tuple(_node(student, row) for row in rows), frozenset(links))


def _node(student: Student, finding: Finding) -> Node:
    return Node(
        id=finding.pk,
        kind=finding.kind,
        closed=finding.closed_at is not None,
        answered=finding.answered_at is not None,
        limit=finding.limit_at is not None,
        practicable=_practicable(student, finding),
        position=finding.position,
    )


def _practicable(student: Student, finding: Finding) -> bool:
    """What only the ball shows cannot be worked on at home by somebody who has none."""
    entry = whole().get(finding.entry)
    return student.practice_place == Student.Place.BALL or not (entry and entry.stage == "ball")


def sentences(diagnosis: Diagnosis) -> list[str]:
    """The diagnosis for the student, the first to change first, what the ball does last."""
    first = next((line for line in diagnosis.lines if line.state == State.WORK), None)
    # In the plan's order, then what the ball does, then what stays.
    written = [_sentence_of(diagnosis, line, first) for line in diagnosis.all_lines]
    return [sentence for sentence in written if sentence]


def _sentence_of(diagnosis: Diagnosis, line: Line, first: Line | None) -> str:
    return sentence(
        said(line.finding),
        line.state,
        because=[said(cause) for cause in line.causes],
        handedness=diagnosis.student.handedness,
        is_first=line is first,
        waits_for_first=first is not None and first.finding in line.waits_for,
    )


def usual_miss(review: Review, catalogue: Catalogue | None = None) -> list[Entry]:
    """What the ball does: of the newest of these clips that says so, else of the student."""
    student = review.student
    rows = [*reversed(review.clips), student]
    row = next((r for r in rows if r.flight or r.height or r.strike), student)
    return ball_entries(
        catalogue or catalogue_of(student.studio_id),
        flight=row.flight,
        height=row.height,
        strike=row.strike,
        handedness=student.handedness,
    )


def ball_words(review: Review) -> str:
    """What the student said the ball does, in words: with the clip, else when joining."""
    clips = [*reversed(review.clips)]
    row = next((r for r in clips if r.flight or r.height or r.strike), None)
    student = review.student
    return any_words(row or student, "" if row else student.usual_miss)


def usual_miss_left(review: Review, standing: Diagnosis) -> list[Entry]:
    """Of the usual miss, what does not stand in the chain yet."""
    said = {finding.entry for finding in standing.findings}
    return [entry for entry in usual_miss(review, standing.catalogue) if entry.id not in said]


def said(finding: Finding) -> Said:
    return Said(finding.text, finding.kind)


def troubled_regions(student: Student) -> set[str]:
    """Regions of the body that hurt, were hurt, or have an accepted limit."""
    notes = student.body_notes.filter(over_at__isnull=True).filter(
        Q(kind__in=[BodyNote.Kind.PAINFUL, BodyNote.Kind.INJURY])
        | Q(accepted_as_limit_at__isnull=False)
    )
    return set(notes.values_list("region", flat=True))
