"""Taking back what was sent or judged a moment ago, and a pain report tapped by mistake."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from analysis import files
from coaching.diagnosis.models import Finding
from coaching.diagnosis.services import outcomes
from coaching.intake.models import Request, Submission
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.practice.models import Assignment, Attempt, PainReport, Step, Verdict
from coaching.practice.services import sharing, stopping
from coaching.review.models import Review

kinds = Verdict.Decision


def close_drills(*, review: Review) -> None:
    """Make the drills of an answer that is being taken back drafts again.

    Raises
    ------
    LessonError
        409 when the student has filmed one already, or reported pain since.
    """
    opened = review.assignments.filter(opened_at__isnull=False)
    _refuse_begun(review.student, Attempt.objects.filter(step__assignment__in=opened))
    for assignment in opened:
        lessons.unrecord(student=review.student, kind=Entry.Kind.ASSIGNED, assignment=assignment.pk)
        asked = Request.objects.filter(angles__attempts__step__assignment=assignment)
        sharing.unask(asked, assignment=assignment)
    opened.update(opened_at=None, stopped_at=None)


@transaction.atomic
def take_back_verdict(*, verdict: Verdict, by: User) -> Attempt:
    """Undo a verdict within ten seconds, with all that followed from it.

    Raises
    ------
    LessonError
        409 when it is too late, or the student has begun with what it opened.
    """
    row = (
        Verdict.objects.select_for_update()
        .select_related("attempt__step__assignment")
        .get(pk=verdict.pk)
    )
    access.require_teaching(by, row.attempt.step.assignment.student)
    lessons.refuse_too_late(row.created_at)
    attempt, assignment = row.attempt, row.attempt.step.assignment
    entry = Entry.objects.filter(
        thread__student=assignment.student, kind=Entry.Kind.JUDGED, refs__verdict=row.pk
    ).first()
    follow = entry.refs if entry is not None else {}
    opened = Request.objects.filter(pk=follow.get("request") or 0)
    _refuse_begun(assignment.student, Attempt.objects.filter(angle__request__in=opened))
    lessons.unrecord(student=assignment.student, kind=Entry.Kind.JUDGED, verdict=row.pk)
    sharing.unask(opened, assignment=assignment)
    _unfollow(row, follow)
    attempt.angle.submissions.filter(answered_at__gte=row.created_at).update(answered_at=None)
    Request.objects.filter(
        angles__attempts__step__assignment=assignment, closed_at__gte=row.created_at
    ).update(closed_at=None)
    files.let_go(str(row.voice.name or ""))
    row.delete()
    return attempt


def _unfollow(verdict: Verdict, follow: dict[str, Any]) -> None:
    """Put the ladder, its cause and what that released back to where they were."""
    step, assignment = verdict.attempt.step, verdict.attempt.step.assignment
    Step.objects.filter(pk=step.pk, passed_at__gte=verdict.created_at).update(passed_at=None)
    assignment.steps.filter(skipped_at__gte=verdict.created_at).update(skipped_at=None)
    if verdict.decision == kinds.STEP_BACK:
        _pass_again(assignment, before=step.position)
    Assignment.objects.filter(pk=assignment.pk, closed_at__gte=verdict.created_at).update(
        closed_at=None, check_due_on=None
    )
    if "closed" in follow:
        outcomes.reopen_finding(
            finding=Finding.objects.get(pk=follow["closed"]), freed=follow["look_again"]
        )


def _pass_again(assignment: Assignment, *, before: int) -> None:
    """The step that was opened again had been passed by its last passing verdict."""
    step = assignment.steps.filter(position__lt=before).latest("position")
    passed = Verdict.objects.filter(attempt__step=step, decision=kinds.PASSED)
    Step.objects.filter(pk=step.pk).update(passed_at=passed.latest("created_at").created_at)


def _refuse_begun(student: Student, attempts: QuerySet[Attempt]) -> None:
    filmed = Submission.objects.filter(angle__attempts__in=attempts).exists()
    moment = timezone.now() - lessons.UNDO_FOR
    if filmed or student.pain_reports.filter(created_at__gte=moment).exists():
        raise LessonError(
            _("%(name)s has begun with it already. Write to them instead.")
            % {"name": student.name},
            code="begun",
            status=409,
        )


@transaction.atomic
def take_back_pain(*, report: PainReport, by: User) -> PainReport:
    """A part of the body was touched by mistake: within ten minutes, by the student's side.

    The record stays, both sides are told, and what this report alone had stopped opens
    again. It clears nothing: a report with an urgent sign, or one that somebody has acted
    on, is not taken back.

    Raises
    ------
    LessonError
        409 when it is too late or more than a tap.
    """
    access.require_acting(by, report.student)
    row = PainReport.objects.select_for_update().get(pk=report.pk)
    if not row.may_be_taken_back:
        raise LessonError(
            _("This report stands. If nothing hurts, write that to your coach."),
            code="too_late",
            status=409,
        )
    now = timezone.now()
    row.reopened_at = row.taken_back_at = now
    row.save(update_fields=["reopened_at", "taken_back_at"])
    stopping.release_stopped(student=row.student)
    lessons.record(
        student=row.student,
        kind=Entry.Kind.PAIN,
        author=by,
        pain_report=row.pk,
        taken_back=True,
    )
    return row
