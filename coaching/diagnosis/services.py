"""Every write of the diagnosis: findings, what they are there because of, the plan's order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from analysis.models import Measurement, Video
from coaching.diagnosis import causes, queries, rules
from coaching.diagnosis.models import Because, Dismissal, Finding, Plan
from coaching.diagnosis.tags import all_tags
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import BodyNote, Student, User
from coaching.review.models import Review

MOST_FINDINGS = 40  # of one review: more is no diagnosis


def _refuse_sent(review: Review | None) -> None:
    if review is not None and review.published_at is not None:
        raise LessonError(
            _("This answer has been sent. Say what has changed in the next one."),
            code="published",
            status=409,
        )


@transaction.atomic
def add_finding(
    *,
    review: Review,
    by: User,
    kind: str,
    words: str,
    measurement: Measurement | None = None,
    reading: tuple[float, float] | None = None,
    video: Video | None = None,
    time_s: float | None = None,
    tag: str = "",
    rule: str = "",
    body_note: BodyNote | None = None,
    because: Iterable[Finding] = (),
) -> Finding:
    """Write down what was seen, and what it is there because of.

    `reading` is the mean of a film when the finding rests on several repetitions;
    otherwise the measurement's own figure is kept beside the reference.

    Raises
    ------
    LessonError
        Already sent, no words, an unknown kind or tag, a figure of another student, or a
        circle of causes.
    """
    _refuse_sent(review)
    if review.findings.count() >= MOST_FINDINGS:
        raise LessonError(_("Keep to the few that matter: remove a finding first."), code="many")
    finding = Finding(
        student=review.student,
        review=review,
        kind=_known(kind, Finding.Kind.values, _("Say what kind of finding it is.")),
        words=_clause(words),
        tag=_known(tag, ["", *(t.id for t in all_tags())], _("Choose one of the tags shown.")),
        rule=rule,
        body_note=body_note,
        video=video,
        time_s=time_s,
        position=review.findings.count(),
    )
    if measurement is not None:
        _hang_on(finding, measurement, reading)
    finding.save()
    for cause in because:
        link(effect=finding, cause=cause)
    return finding


def _known(value: str, values: Sequence[str], sentence: str) -> str:
    if value not in values:
        raise LessonError(sentence, code="unknown")
    return value


def _clause(words: str) -> str:
    """A clause that joins with "because": no full stop, at most what fits the thread."""
    words = " ".join(words.split()).rstrip(".")
    if not words:
        raise LessonError(_("Say in a few words what you see."), code="no_words")
    if len(words) > 300:
        raise LessonError(_("Keep a finding under 300 letters; the rest goes in the answer."))
    return words


def _hang_on(
    finding: Finding, measurement: Measurement, reading: tuple[float, float] | None
) -> None:
    video = measurement.run.video
    if not finding.student.submissions.filter(video=video).exists():
        raise LessonError(_("That figure belongs to another student."), code="wrong_student")
    if measurement.value is None:
        raise LessonError(_("That figure was not measured; say what you see instead."))
    finding.measurement, finding.video = measurement, video
    finding.measure, finding.event = measurement.measure, measurement.event
    finding.value, finding.uncertainty = reading or (measurement.value, measurement.uncertainty)
    if finding.time_s is None:
        finding.time_s = measurement.time_s


@transaction.atomic
def edit_finding(*, finding: Finding, by: User, **fields: Any) -> Finding:
    """Change words, kind or tag of a finding that was not sent yet."""
    _refuse_sent(finding.review)
    if "words" in fields:
        finding.words = _clause(fields["words"])
    if "kind" in fields:
        finding.kind = _known(
            fields["kind"], Finding.Kind.values, _("Say what kind of finding it is.")
        )
    if "tag" in fields:
        tags = ["", *(tag.id for tag in all_tags())]
        finding.tag = _known(fields["tag"], tags, _("Choose one of the tags shown."))
    finding.save(update_fields=["words", "kind", "tag"])
    return finding


@transaction.atomic
def remove_finding(*, finding: Finding) -> None:
    """Take back a finding that was not sent; its links go with it."""
    _refuse_sent(finding.review)
    finding.delete()


# --- links --------------------------------------------------------------------------


@transaction.atomic
def link(*, effect: Finding, cause: Finding) -> Because:
    """Say that `effect` is there because of `cause`.

    Raises
    ------
    LessonError
        `circle`, with the path named, when the link would close one.
    """
    if effect.student_id != cause.student_id:
        raise LessonError(_("Both findings must be the same student's."), code="wrong_student")
    _refuse_if_both_sent(effect, cause)
    pairs = Because.objects.filter(effect__student=effect.student_id)
    path = causes.circle(pairs.values_list("effect", "cause"), effect=effect.pk, cause=cause.pk)
    if path is not None:
        words = dict(Finding.objects.filter(pk__in=path).values_list("pk", "words"))
        because = _(" because ").join(words[pk] for pk in path)
        raise LessonError(
            _("That would go round in a circle: %(path)s. Remove one of its links first.")
            % {"path": because},
            code="circle",
            path=path,
        )
    return Because.objects.get_or_create(effect=effect, cause=cause)[0]


def _refuse_if_both_sent(effect: Finding, cause: Finding) -> None:
    if all(f.review is not None and f.review.published_at for f in (effect, cause)):
        _refuse_sent(effect.review)


@transaction.atomic
def unlink(*, effect: Finding, cause: Finding) -> None:
    _refuse_if_both_sent(effect, cause)
    Because.objects.filter(effect=effect, cause=cause).delete()


# --- suggestions --------------------------------------------------------------------


@transaction.atomic
def accept_suggestion(
    *, review: Review, by: User, rule: str, kind: str = "", words: str = ""
) -> Finding:
    """Take a suggested finding, perhaps in the coach's own words, and link it to its causes.

    Causes that stand already are linked at once, and so are effects taken before them.
    """
    found = next((s for s in queries.suggestions_for(review) if s.rule.id == rule), None)
    if found is None:
        raise LessonError(
            _("This suggestion does not stand any more: the figures have changed."),
            code="gone",
            status=409,
        )
    standing = {f.rule: f for f in queries.visible(review.student, review).exclude(rule="")}
    finding = add_finding(
        review=review,
        by=by,
        kind=kind or found.rule.kind,
        words=words or found.rule.sentence,
        measurement=found.measurement,
        reading=found.reading,
        rule=rule,
        because=[standing[other] for other in found.rule.because if other in standing],
    )
    for other, effect in standing.items():
        known = rules.rule_named(other)
        if known is not None and rule in known.because and effect.closed_at is None:
            link(effect=effect, cause=finding)
    return finding


def dismiss_suggestion(*, student: Student, rule: str, by: User) -> None:
    """Remember that this is not to be suggested for this student again."""
    if rules.rule_named(rule) is None:
        raise LessonError(_("There is no such suggestion."), code="unknown")
    Dismissal.objects.get_or_create(student=student, rule=rule, defaults={"by": by})


def suggest_again(*, student: Student, rule: str) -> None:
    """Take a dismissal back."""
    Dismissal.objects.filter(student=student, rule=rule).delete()


def suggest_findings(review: Review) -> list[queries.Suggested]:
    """What the review's figures suggest; reads only."""
    return queries.suggestions_for(review)


# --- the plan -----------------------------------------------------------------------


@transaction.atomic
def move_in_plan(*, review: Review, finding: Finding, earlier: bool) -> Plan:
    """Move a finding one place in the plan. The coach's order; it targets nothing by itself."""
    _refuse_sent(review)
    order = [line.finding.pk for line in queries.diagnosis_of(review.student, review).lines]
    if finding.pk not in order:
        raise LessonError(_("This finding is not part of the plan."), code="not_in_plan")
    place = order.index(finding.pk)
    other = place - 1 if earlier else place + 1
    if 0 <= other < len(order):
        order[place], order[other] = order[other], order[place]
    return _save_plan(review, order=order)


@transaction.atomic
def forget_order(*, review: Review) -> Plan:
    """Back to the computed order."""
    _refuse_sent(review)
    return _save_plan(review, order=[])


@transaction.atomic
def keep_words(*, review: Review, words: str) -> Plan:
    """What to keep in mind on the course: never a drill thought."""
    _refuse_sent(review)
    return _save_plan(review, keep_words=words.strip())


def _save_plan(review: Review, **fields: Any) -> Plan:
    return Plan.objects.update_or_create(review=review, defaults=fields)[0]


# --- the body -----------------------------------------------------------------------


@transaction.atomic
def answer_question(*, finding: Finding, by: User, words: str) -> Finding:
    """The student's answer to a question about the body; the coach reads it next."""
    words = " ".join(words.split())
    if not words:
        raise LessonError(_("Write a few words so that your coach knows."), code="no_words")
    won = Finding.objects.filter(
        pk=finding.pk, kind=Finding.Kind.QUESTION, answered_at__isnull=True
    ).update(answer=words[:300], answered_at=timezone.now())
    if not won:
        raise LessonError(
            _("This question has its answer. Write to your coach to add to it."),
            code="answered",
            status=409,
        )
    finding.refresh_from_db()
    lessons.record(
        student=finding.student,
        kind=Entry.Kind.BODY_NOTED,
        author=by,
        words=finding.answer,
        finding=finding.pk,
    )
    return finding


@transaction.atomic
def accept_limit(*, finding: Finding, by: User, body_note: BodyNote | None = None) -> Finding:
    """Take the answer as a limit that the plan works inside; the coach's decision alone.

    It is no finding about health: what hurts stays stopped.
    """
    if finding.kind != Finding.Kind.QUESTION:
        raise LessonError(_("Only a question about the body can become a limit."), code="kind")
    now = timezone.now()
    note = body_note or finding.body_note
    if note is not None:
        if note.student_id != finding.student_id:
            raise LessonError(_("That note is another student's."), code="wrong_student")
        BodyNote.objects.filter(pk=note.pk, accepted_as_limit_at__isnull=True).update(
            accepted_as_limit_at=now
        )
    finding.body_note, finding.limit_at = note, now
    finding.answered_at = finding.answered_at or now
    finding.save(update_fields=["body_note", "limit_at", "answered_at"])
    return finding


@transaction.atomic
def settle_question(*, finding: Finding, by: User) -> Finding:
    """The answer holds nothing back: close the question."""
    if finding.kind != Finding.Kind.QUESTION or finding.answered_at is None:
        raise LessonError(_("Wait for the answer first."), code="unanswered")
    finding.closed_at = timezone.now()
    finding.save(update_fields=["closed_at"])
    return finding


# --- what a pass does ---------------------------------------------------------------


@transaction.atomic
def close_finding(*, finding: Finding) -> list[Finding]:
    """Lay a finding to rest; returns the compensations that are now due for a new look."""
    findings = queries.visible(finding.student, finding.review)
    graph = queries.graph_of(finding.student, findings)
    freed = causes.released_by(graph, finding.pk) if finding.kind == Finding.Kind.CAUSE else []
    now = timezone.now()
    won = Finding.objects.filter(pk=finding.pk, closed_at__isnull=True).update(closed_at=now)
    if won:
        Finding.objects.filter(pk__in=freed).update(look_again_at=now)
    finding.refresh_from_db()
    return list(Finding.objects.filter(pk__in=freed)) if won else []


@transaction.atomic
def look_again(*, finding: Finding, by: User, still_there: bool) -> Finding:
    """The coach has looked at a freed compensation: gone, or now a cause to work on."""
    if finding.look_again_at is None or finding.closed_at is not None:
        raise LessonError(_("This one is not due for a new look."), code="not_due", status=409)
    finding.look_again_at = None
    if still_there:
        finding.kind = Finding.Kind.CAUSE
    else:
        finding.closed_at = timezone.now()
    finding.save(update_fields=["look_again_at", "kind", "closed_at"])
    return finding


def question_of(finding: Finding) -> str:
    """The question to ask: its rule's, else the finding's own words."""
    rule = rules.rule_named(finding.rule) if finding.rule else None
    if rule is not None and rule.question:
        return rule.question
    return _("Your coach saw: %(words)s. Is anything there stiff, sore or painful?") % {
        "words": finding.words
    }
