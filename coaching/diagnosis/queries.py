"""Shared reads of findings: the graph, its plan and sentences, suggestions."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from analysis.models import Measurement, Run
from coaching.diagnosis import causes, rules
from coaching.diagnosis.causes import Graph, Node, State
from coaching.diagnosis.certainty import Reading, constant_share, mean_reading
from coaching.diagnosis.models import Because, Finding, Plan
from coaching.intake.models import Submission
from coaching.people import access
from coaching.people.models import BodyNote, Student
from coaching.review import turncheck
from coaching.review.models import Review

# How a state is drawn and what is said beside the mark.
STONES = {
    State.ASK: "dashed",
    State.WORK: "filled",
    State.HELD: "crossed",
    State.LEAVE: "outlined",
    State.LOOK_AGAIN: "outlined",
    State.LIMIT: "double",
    State.DONE: "half",
    State.KEEP: "double",
    State.LET_BE: "outlined",
}


def state_words(state: State) -> str:
    return {
        State.ASK: _("a question first"),
        State.WORK: _("work on this"),
        State.HELD: _("waits for the answer"),
        State.LEAVE: _("leave this for now"),
        State.LOOK_AGAIN: _("look again"),
        State.LIMIT: _("the plan works inside this"),
        State.DONE: _("done"),
        State.KEEP: _("keep this"),
        State.LET_BE: _("harmless"),
    }[state]


def visible(student: Student, review: Review | None = None) -> QuerySet[Finding]:
    """The student's findings that were sent, and those of the draft being written."""
    sent = Q(review__published_at__isnull=False)
    return student.findings.filter(sent | Q(review=review) if review else sent).select_related(
        "review", "video", "body_note"
    )


@dataclass(frozen=True)
class Line:
    """One finding with what is to be done about it now."""

    finding: Finding
    state: State
    causes: tuple[Finding, ...]
    effects: tuple[Finding, ...]
    waits_for: tuple[Finding, ...] = ()
    releases: tuple[Finding, ...] = ()
    is_draft: bool = False

    @property
    def stone(self) -> str:
        return STONES[self.state]

    @property
    def word(self) -> str:
        return state_words(self.state)


@dataclass(frozen=True)
class Diagnosis:
    """A student's findings: the graph, the plan's lines, and the picture's data."""

    student: Student
    review: Review | None
    graph: Graph
    lines: tuple[Line, ...]  # work, in the plan's order
    asides: tuple[Line, ...]  # strengths and harmless things
    plan: Plan | None

    @property
    def findings(self) -> list[Finding]:
        return [line.finding for line in (*self.lines, *self.asides)]

    def line(self, pk: int) -> Line | None:
        return next((ln for ln in (*self.lines, *self.asides) if ln.finding.pk == pk), None)

    @property
    def picture(self) -> dict[str, Any]:
        """The stones: `{"nodes": [...], "edges": [[cause, effect]]}`."""
        return {
            "nodes": [
                {
                    "id": line.finding.pk,
                    "label": line.finding.words,
                    "state": line.stone,
                    "note": line.word,
                }
                for line in (*self.lines, *self.asides)
            ],
            "edges": sorted([cause, effect] for effect, cause in self.graph.because),
        }


def diagnosis_of(student: Student, review: Review | None = None) -> Diagnosis:
    """The student's findings as they stand, with the draft's when one is given."""
    findings = {finding.pk: finding for finding in visible(student, review)}
    graph = graph_of(student, findings.values())
    plan = _plan_for(student, review)
    steps = causes.plan(graph, order=plan.order if plan else ())
    done = {step.id for step in steps}

    def line(pk: int, step: causes.Step | None = None) -> Line:
        return Line(
            finding=findings[pk],
            state=step.state if step else causes.state_of(graph, pk),
            causes=tuple(findings[i] for i in graph.causes_of(pk)),
            effects=tuple(findings[i] for i in graph.effects_of(pk)),
            waits_for=tuple(findings[i] for i in step.waits_for) if step else (),
            releases=tuple(findings[i] for i in step.releases) if step else (),
            is_draft=review is not None and findings[pk].review_id == review.pk,
        )

    return Diagnosis(
        student=student,
        review=review,
        graph=graph,
        lines=tuple(line(step.id, step) for step in steps),
        asides=tuple(line(pk) for pk in findings if pk not in done),
        plan=plan,
    )


def _plan_for(student: Student, review: Review | None) -> Plan | None:
    """The draft's own plan, else the newest that was sent."""
    own = Plan.objects.filter(review=review).first() if review else None
    sent = Plan.objects.filter(review__student=student, review__published_at__isnull=False)
    return own or sent.order_by("-review__published_at").first()


def graph_of(student: Student, findings: Iterable[Finding]) -> Graph:
    """The findings as a graph; links to findings outside it are left out."""
    rows = list(findings)
    ids = {finding.pk for finding in rows}
    links = Because.objects.filter(effect__in=ids, cause__in=ids).values_list("effect", "cause")
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


# Seen only with a ball: whoever has none cannot work on it at home.
_NEEDS_A_BALL = ("strike", "flight")


def _practicable(student: Student, finding: Finding) -> bool:
    return student.practice_place == Student.Place.BALL or finding.tag not in _NEEDS_A_BALL


# --- sentences ----------------------------------------------------------------------


def sentences(diagnosis: Diagnosis) -> list[str]:
    """The diagnosis for the student, one sentence a finding, the first to change first."""
    first = next((line for line in diagnosis.lines if line.state == State.WORK), None)
    told = [_sentence(line, first) for line in diagnosis.lines]
    return [sentence for sentence in told if sentence] + [_aside(line) for line in diagnosis.asides]


def _sentence(line: Line, first: Line | None) -> str:
    words = {"what": _start(line.finding.words), "why": joined([c.words for c in line.causes])}
    if line.state == State.DONE:
        return ""
    if line.state == State.ASK:
        return _("%(what)s. Your coach asks about this first.") % words
    if line.state == State.HELD:
        return _("%(what)s. This waits for your answer.") % words
    if line.state == State.LIMIT:
        return _("%(what)s. The plan works inside this.") % words
    if line.state == State.LOOK_AGAIN:
        return _("%(what)s. Its cause has passed, so your coach looks again.") % words
    if line.state == State.LEAVE:
        if first is not None and first.finding in line.waits_for:
            return _("%(what)s because %(why)s; we change that first.") % words
        return _("%(what)s because %(why)s. Leave this for now.") % words
    end = _(" We start here.") if line is first else ""
    if line.causes:
        return _("%(what)s because %(why)s.") % words + end
    return words["what"] + "." + end


def _aside(line: Line) -> str:
    words = {"what": _start(line.finding.words)}
    if line.state == State.KEEP:
        return _("%(what)s: keep that.") % words
    return _("%(what)s. That is harmless.") % words


def _start(words: str) -> str:
    return words[:1].upper() + words[1:].rstrip(".")


def joined(clauses: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(clauses) < 2:
        return "".join(clauses)
    return _("%(first)s and %(last)s") % {"first": ", ".join(clauses[:-1]), "last": clauses[-1]}


# --- suggestions --------------------------------------------------------------------


@dataclass(frozen=True)
class Suggested:
    """A rule that fired on a review's figures, with the figure it hangs on."""

    suggestion: rules.Suggestion
    measurement: Measurement
    reading: Reading

    @property
    def rule(self) -> rules.Rule:
        return self.suggestion.rule

    @property
    def kind_words(self) -> str:
        return str(Finding.Kind(self.rule.kind).label)

    @property
    def sure_percent(self) -> int:
        return min(99, int(100 * self.suggestion.sure))

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


# Only a swing at one's own speed tells these.
_OF_A_SWING = ("backswing_s", "downswing_s", "tempo_ratio", "hand_speed_peak_m_s")


def figures_of(
    submissions: Iterable[Submission],
) -> dict[tuple[str, str], tuple[Reading, Measurement]]:
    """Each figure of these clips: the mean over the repetitions, and one row it hangs on.

    Of a figure that two views measure, the surer one is taken. A slow rehearsal says
    nothing about tempo or speed, a turn with a held club nothing about the swing's turn.
    """
    videos = [submission.video_id for submission in submissions]
    runs = Run.objects.filter(
        video__in=videos, kind=Run.Kind.MEASURE, status=Run.Status.DONE
    ).order_by("pk")
    newest = {run.video_id: run.pk for run in runs.only("pk", "video_id")}
    rows: dict[tuple[str, str, int], list[Measurement]] = defaultdict(list)
    found = Measurement.objects.filter(run__in=newest.values(), value__isnull=False)
    for row in found.select_related("run__video").order_by("repetition"):
        if row.run.video.kind != "swing" and row.measure in _OF_A_SWING:
            continue
        if row.run.video.kind == "bar" and row.measure in turncheck.LINE_OF:
            continue
        rows[row.measure, row.event, row.run_id].append(row)
    best: dict[tuple[str, str], tuple[Reading, Measurement]] = {}
    for (measure, event, _run), repeated in rows.items():
        readings = [(row.value, row.uncertainty) for row in repeated]
        mean = mean_reading(readings, share=constant_share(measure))  # type: ignore[arg-type]
        if (measure, event) not in best or mean[1] < best[measure, event][0][1]:
            best[measure, event] = mean, repeated[0]
    return best


def suggestions_for(review: Review) -> list[Suggested]:
    """Findings that the review's figures suggest and nobody has taken or waved off."""
    student = review.student
    figures = figures_of(review.submissions.all())
    taken = set(visible(student, review).exclude(rule="").values_list("rule", flat=True))
    dismissed = set(student.dismissals.values_list("rule", flat=True))
    found = rules.suggest(
        {key: reading for key, (reading, _row) in figures.items()},
        dismissed=dismissed,
        painful=troubled_regions(student),
    )
    return [
        Suggested(suggestion, figures[suggestion.measure][1], figures[suggestion.measure][0])
        for suggestion in found
        if suggestion.rule.id not in taken
    ]


def troubled_regions(student: Student) -> set[str]:
    """Regions of the body that hurt, were hurt, or have an accepted limit."""
    notes = student.body_notes.filter(over_at__isnull=True).filter(
        Q(kind__in=[BodyNote.Kind.PAINFUL, BodyNote.Kind.INJURY])
        | Q(accepted_as_limit_at__isnull=False)
    )
    return set(notes.values_list("region", flat=True))


# --- who may see or change ----------------------------------------------------------


def finding_draft(user: access.AnyUser, pk: int) -> Finding:
    """A finding that staff may still change: its review is a draft."""
    return access.get_object_or_404(
        access.rows_taught(user, Finding, roles=access.STAFF).select_related("student", "review"),
        pk=pk,
    )


def finding_teach(user: access.AnyUser, pk: int) -> Finding:
    return access.get_object_or_404(
        access.rows_taught(user, Finding).select_related("student", "review"), pk=pk
    )


def question_act(user: access.AnyUser, pk: int) -> Finding:
    """A question that was sent to the student who, or whose guardian, is asking."""
    return access.get_object_or_404(
        access.rows_acted(user, Finding)
        .filter(kind=Finding.Kind.QUESTION, review__published_at__isnull=False)
        .select_related("student", "body_note"),
        pk=pk,
    )
