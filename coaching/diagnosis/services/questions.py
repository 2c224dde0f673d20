"""Findings that the body may explain: asked, answered, accepted as a limit."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.diagnosis import queries
from coaching.diagnosis.catalogue import whole
from coaching.diagnosis.models import Finding
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import BodyNote, User
from coaching.people.sides import for_student
from coaching.people.texts import short_line


@transaction.atomic
def answer_question(*, finding: Finding, by: User, text: str) -> Finding:
    """The student's answer to a question about the body; the coach reads it next."""
    access.require_acting(by, finding.student)
    text = short_line(text, most=300)
    if not text:
        raise LessonError(_("Write a few words so that your coach knows."), code="no_words")
    won = Finding.objects.filter(
        pk=finding.pk, kind=Finding.Kind.QUESTION, answered_at__isnull=True
    ).update(answer=text, answered_at=timezone.now())
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
        text=finding.answer,
        finding=finding.pk,
    )
    return finding


@transaction.atomic
def accept_limit(*, finding: Finding, by: User, body_note: BodyNote | None = None) -> Finding:
    """Take the answer as a limit that the plan works inside; the coach's decision alone.

    It is no finding about health: what hurts stays stopped.
    """
    access.require_teaching(by, finding.student)
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
def resolve_question(*, finding: Finding, by: User) -> Finding:
    """The answer holds nothing back: close the question."""
    access.require_teaching(by, finding.student)
    if finding.kind != Finding.Kind.QUESTION or finding.answered_at is None:
        raise LessonError(_("Wait for the answer first."), code="unanswered")
    finding.closed_at = timezone.now()
    finding.save(update_fields=["closed_at"])
    return finding


def question_of(finding: Finding) -> str:
    """The question to ask: its entry's, the finding's own, else one made of its words."""
    entry = whole().get(finding.entry)
    if entry is not None and entry.question:
        return entry.question
    own = queries.said(finding)
    text = for_student(finding.text, finding.student.handedness)
    if own.is_question:
        return text[:1].upper() + text[1:].rstrip("?. ") + "?"
    return _("Your coach saw: %(text)s. Is anything there stiff, sore or painful?") % {"text": text}
