"""Attempts and verdicts, and what follows from a verdict."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.core.files.base import File
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from analysis import files
from coaching.diagnosis.services import outcomes
from coaching.intake.models import Request, Submission
from coaching.intake.services import asking
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.people.queries import student_day, student_zone
from coaching.people.texts import short_line
from coaching.practice.models import Assignment, Attempt, Criterion, SelfAnswer, Step, Verdict
from coaching.practice.queries import judged, ladders
from coaching.practice.services import sharing
from coaching.practice.services.stopping import loads, requests_of, stop_assignments

CHECK_AFTER = timedelta(days=14)


@transaction.atomic
def open_step(*, step: Step, by: User, due_on: date | None = None) -> Attempt:
    """Ask the student to film a step, in a film that another drill asks for where one fits.

    Stopped at once when something that it loads hurts.
    """
    assignment = step.assignment
    access.require_teaching(by, assignment.student)
    due_on = due_on or _due_day(step)
    attempt = sharing.join_film(step=step, due_on=due_on) or _ask_alone(step, by, due_on)
    reported = assignment.student.pain_reports.filter(reopened_at__isnull=True)
    if any(loads(assignment, report.region) for report in reported):
        stop_assignments(Assignment.objects.filter(pk=assignment.pk))
    return attempt


def _ask_alone(step: Step, by: User, due_on: date | None) -> Attempt:
    request = asking.request_angles(
        student=step.assignment.student,
        by=by,
        angles=[ladders.angle_of(step)],
        text=step.text,
        due_on=due_on,
        tell=False,
    )
    return Attempt.objects.create(step=step, angle=request.angles.get())


def _due_day(step: Step) -> date | None:
    """By when a step that opens now is filmed; a last day that is over says no more."""
    today = student_day(step.assignment.student)
    if step.within_days:
        return today + timedelta(days=step.within_days)
    due_on = step.assignment.due_on
    return due_on if due_on and due_on >= today else None


def judge_attempt(
    *,
    attempt: Attempt,
    by: User,
    decision: str,
    cue: str = "",
    submission: Submission | None = None,
    voice: File[Any] | None = None,
    next_step: int | None = None,
    due_on: date | None = None,
) -> Verdict:
    """The coach's verdict, which alone counts, and what follows from it.

    `next_step` is the number, from 1, of the step that a pass opens: the same one repeats
    it, a later one skips those between, one past the last ends the ladder; the following
    one by itself. `due_on` is by when what opens is filmed.

    passed: the next step opens (or the same once more, on another day); the last one ends
    the ladder, closes its cause, makes what it released due for a new look, and proposes a
    check film two weeks later. nearly: the same step with one cue. not yet: the same step.
    step back: the step before. stop: the drill ends.

    Raises
    ------
    LessonError
        `no_clip`, `judged` (409), `no_cue`, `first_step`, `stopped`, `unknown`, `no_step`,
        `dates`.
    """
    access.require_teaching(by, attempt.step.assignment.student)
    assignment = attempt.step.assignment
    _refuse_next(attempt.step, next_step, due_on)
    clip = submission or ladders.latest_clip(attempt)
    cue = short_line(cue, most=300)
    _refuse_verdict(attempt, clip, decision, cue)
    assert clip is not None
    suggested = judged.judged_for(attempt, clip).suggestion.says
    now = timezone.now()  # what follows is never earlier: `undo.take_back_verdict` relies on it
    spoken = (voice.name if voice else None) or "voice"
    with files.stored(Verdict().voice, spoken, voice) as name, transaction.atomic():
        verdict = Verdict(
            attempt=attempt,
            submission=clip,
            decision=decision,
            cue=cue,
            given_by=by,
            suggested=suggested,
            created_at=now,
        )
        if name:
            files.put(verdict.voice, name)
        _keep_once(verdict)
        if not sharing.others_unjudged(attempt).exists():
            attempt.angle.submissions.filter(answered_at__isnull=True).update(answered_at=now)
            asking.close_request(request=attempt.angle.request, by=by)
        follow = _follow(verdict, by=by, next_step=next_step, due_on=due_on)
        lessons.record(
            student=assignment.student,
            kind=Entry.Kind.JUDGED,
            author=by,
            text=cue,
            verdict=verdict.pk,
            assignment=assignment.pk,
            submission=clip.pk,
            **follow,
        )
    return verdict


def _keep_once(verdict: Verdict) -> None:
    """Save a verdict; somebody who judged in the same moment was first."""
    try:
        with transaction.atomic():
            verdict.save(force_insert=True)
    except IntegrityError:
        raise LessonError(
            _("Somebody has judged this attempt already. Open it again to see the verdict."),
            code="judged",
            status=409,
        ) from None


def _refuse_verdict(attempt: Attempt, clip: Submission | None, decision: str, cue: str) -> None:
    if decision not in Verdict.Decision.values:
        raise LessonError(_("Choose one of the five verdicts."), code="unknown")
    if clip is None or clip.angle_id != attempt.angle_id:
        raise LessonError(_("No clip has come back for this attempt yet."), code="no_clip")
    if Verdict.objects.filter(attempt=attempt).exists():
        raise LessonError(
            _("This attempt has its verdict already. The next one can be judged anew."),
            code="judged",
            status=409,
        )
    if decision == Verdict.Decision.NEARLY and not cue:
        raise LessonError(_("Nearly needs one cue: say the one thing to change."), code="no_cue")
    if decision == Verdict.Decision.STEP_BACK and attempt.step.position == 0:
        raise LessonError(
            _("This is the first step. Say “not yet”, or stop the drill."), code="first_step"
        )
    assignment = attempt.step.assignment
    if assignment.stopped_at is not None and decision != Verdict.Decision.STOP:
        raise LessonError(
            _("This drill is stopped because of pain. Read the report first."),
            code="stopped",
            status=409,
        )


def _refuse_next(step: Step, next_step: int | None, due_on: date | None) -> None:
    most = step.assignment.steps.count() + 1
    if next_step is not None and not step.position + 1 <= next_step <= most:
        raise LessonError(_("Choose this step or a later one to go on with."), code="no_step")
    if due_on is not None and due_on < student_day(step.assignment.student):
        raise LessonError(_("The day to film by is over already."), code="dates")


def _follow(
    verdict: Verdict, *, by: User, next_step: int | None, due_on: date | None
) -> dict[str, Any]:
    """Carry a verdict out; returns the ids of what it opened or closed."""
    step = verdict.attempt.step
    assignment = step.assignment
    kinds = Verdict.Decision
    if verdict.decision == kinds.STOP:
        _end(assignment)
        return {}
    if verdict.decision == kinds.STEP_BACK:
        before = assignment.steps.filter(position__lt=step.position).latest("position")
        Step.objects.filter(pk=before.pk).update(passed_at=None, skipped_at=None)
        return {"request": open_step(step=before, by=by, due_on=due_on).angle.request_id}
    again = next_step == step.position + 1 or (next_step is None and not _is_passed(step))
    if verdict.decision != kinds.PASSED or again:
        return {"request": open_step(step=step, by=by, due_on=due_on).angle.request_id}
    now = timezone.now()
    Step.objects.filter(pk=step.pk).update(passed_at=now)
    ahead = assignment.steps.filter(position__gt=step.position).order_by("position")
    if next_step is not None:
        ahead.filter(position__lt=next_step - 1).update(skipped_at=now)
    following = ahead.filter(skipped_at=None).first()
    if following is not None:
        return {"request": open_step(step=following, by=by, due_on=due_on).angle.request_id}
    return _climbed(assignment)


def _is_passed(step: Step) -> bool:
    verdicts = Verdict.objects.filter(attempt__step=step).select_related("submission")
    zone = student_zone(step.assignment.student)
    return ladders.passed_days(verdicts, zone) >= step.days


def _end(assignment: Assignment) -> None:
    """No more filming for this drill."""
    Assignment.objects.filter(pk=assignment.pk).update(closed_at=timezone.now())
    shared = Attempt.objects.filter(verdict=None).exclude(step__assignment=assignment)
    mine = requests_of(Assignment.objects.filter(pk=assignment.pk)).filter(closed_at=None)
    pks = mine.exclude(angles__attempts__in=shared).values_list("pk", flat=True)
    Request.objects.filter(pk__in=list(pks)).update(closed_at=timezone.now())


def _climbed(assignment: Assignment) -> dict[str, Any]:
    """The last step passed: its cause closes, and what rested on it is looked at again."""
    _end(assignment)
    due = student_day(assignment.student) + CHECK_AFTER
    Assignment.objects.filter(pk=assignment.pk).update(check_due_on=due)
    finding = assignment.finding
    if finding is None or finding.closed_at is not None or _still_treated(assignment):
        return {}
    freed = outcomes.close_finding(finding=finding)
    return {"closed": finding.pk, "look_again": [row.pk for row in freed]}


def _still_treated(assignment: Assignment) -> bool:
    """Another ladder for the same finding is still being climbed."""
    others = Assignment.objects.filter(
        finding=assignment.finding, opened_at__isnull=False, closed_at__isnull=True
    )
    return others.exclude(pk=assignment.pk).exists()


@transaction.atomic
def ask_check_film(*, assignment: Assignment, by: User) -> Request:
    """Ask for the film that shows whether a passed move has lasted."""
    access.require_teaching(by, assignment.student)
    if assignment.check_due_on is None:
        raise LessonError(_("This ladder has not been climbed yet."), code="not_climbed")
    if assignment.check_request_id is not None:
        raise LessonError(_("The check film is asked for already."), code="asked", status=409)
    last = assignment.steps.latest("position")
    request = asking.request_angles(
        student=assignment.student,
        by=by,
        angles=[ladders.angle_of(last)],
        text=_("A check of “%(drill)s”: does it last? Play as you do now.")
        % {"drill": assignment.drill_version.title},
    )
    assignment.check_request = request
    assignment.save(update_fields=["check_request"])
    return request


@transaction.atomic
def skip_check_film(*, assignment: Assignment, by: User) -> None:
    """The coach wants no check film."""
    access.require_teaching(by, assignment.student)
    Assignment.objects.filter(pk=assignment.pk).update(check_due_on=None)


@transaction.atomic
def record_self_answer(
    *, submission: Submission, criterion: Criterion, by: User, yes: bool, text: str = ""
) -> SelfAnswer:
    """The student's own answer to a self-test; it may be changed until the verdict."""
    access.require_acting(by, submission.student)
    attempt = Attempt.objects.filter(angle=submission.angle_id, step=criterion.step_id).first()
    if attempt is None or criterion.comparison != Criterion.Comparison.SELF_TEST:
        raise LessonError(_("This question was not asked for this clip."), code="not_asked")
    if Verdict.objects.filter(attempt=attempt).exists():
        raise LessonError(
            _("Your coach has judged this attempt already."), code="judged", status=409
        )
    return SelfAnswer.objects.update_or_create(
        submission=submission,
        criterion=criterion,
        defaults={"yes": yes, "text": text.strip()[:300], "created_at": timezone.now()},
    )[0]


def record_feel(*, attempt: Attempt, by: User, count: int) -> bool:
    """How many the student feels will count, told once, before the number is shown."""
    access.require_acting(by, attempt.step.assignment.student)
    if not 0 <= count <= attempt.step.repetitions:
        raise LessonError(
            _("Choose a number from 0 to %(most)d.") % {"most": attempt.step.repetitions},
            code="count",
        )
    return bool(Attempt.objects.filter(pk=attempt.pk, felt=None).update(felt=count))
