"""Every write of the practice: assigning, filming, judging, and the stop rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from django.core.files.base import File
from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.diagnosis import causes, rules
from coaching.diagnosis import queries as diagnosis
from coaching.diagnosis import services as findings
from coaching.diagnosis.models import Finding
from coaching.intake import services as intake
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import Region, Student, Studio, User
from coaching.practice import drills, queries
from coaching.practice.models import (
    Assignment,
    Attempt,
    Criterion,
    Drill,
    DrillVersion,
    PainReport,
    Rung,
    SelfAnswer,
    Verdict,
)
from coaching.review import services as reviews
from coaching.review.models import Review

CHECK_AFTER = timedelta(days=14)
MOST_DRILLS = 3  # few drills at a time; more are practised by nobody


# --- the library --------------------------------------------------------------------


@transaction.atomic
def save_drill(*, studio: Studio, row: Mapping[str, Any]) -> tuple[DrillVersion, str]:
    """Write a drill down: a new one, a new version, or nothing when it says the same.

    A version that was assigned never changes; one that was not is improved in place.

    Returns
    -------
    tuple
        The version, and `made`, `changed` or `same`.
    """
    drills.check(row)
    drill, made = Drill.objects.select_for_update().get_or_create(
        studio=studio, slug=row["slug"], defaults={"cause": row.get("cause", "")}
    )
    says = {name: row[name] for name in drills.VERSION_FIELDS if name in row}
    if made:
        return DrillVersion.objects.create(drill=drill, number=1, **says), "made"
    drill.cause, drill.retired_at = row.get("cause", drill.cause), None
    drill.save(update_fields=["cause", "retired_at"])
    last = drills.newest(drill)
    if all(getattr(last, name) == value for name, value in says.items()):
        return last, "same"
    if last.assignments.exists():
        number = last.number + 1
        return DrillVersion.objects.create(drill=drill, number=number, shown=last.shown, **says), (
            "changed"
        )
    for name, value in says.items():
        setattr(last, name, value)
    last.save()
    return last, "changed"


@transaction.atomic
def import_drills(*, studio: Studio, text: str | bytes) -> dict[str, int]:
    """Take every drill of a file, or none; counts of `made`, `changed` and `same`."""
    counts = {"made": 0, "changed": 0, "same": 0}
    for row in drills.read(text):
        counts[save_drill(studio=studio, row=row)[1]] += 1
    return counts


def load_starter_library(*, studio: Studio) -> dict[str, int]:
    """The drills every studio may begin with; drills of its own are left alone."""
    return import_drills(studio=studio, text=drills.STARTER_PATH.read_bytes())


def retire_drill(*, drill: Drill) -> None:
    """Take a drill out of the library; what was assigned from it stays."""
    Drill.objects.filter(pk=drill.pk).update(retired_at=timezone.now())


def show_drill(*, version: DrillVersion, shown: File[Any]) -> DrillVersion:
    """Keep the coach's own picture or clip of a drill."""
    version.shown.save(shown.name or "drill", shown)
    return version


# --- assigning ----------------------------------------------------------------------


@transaction.atomic
def assign_drill(
    *,
    review: Review,
    by: User,
    drill: Drill | DrillVersion,
    finding: Finding | None = None,
    rungs: Sequence[Mapping[str, Any]] | None = None,
    caution: str = "",
    words: str = "",
    override_reason: str = "",
    starts_on: date | None = None,
    due_on: date | None = None,
    per_day: int = 30,
    show_count_at_once: bool = True,
    ask_feel_first: bool = True,
) -> Assignment:
    """Put a drill into a draft answer; it opens for the student when that is sent.

    `rungs` are as in a drill file; without them the drill's own ladder is taken.

    Raises
    ------
    LessonError
        `cause_open`: a compensation whose cause is open, without a reason; the cause and
        its drill are named. `question_open`, `no_target`: likewise. `hurts`: the drill
        loads what hurts. `ladder`, `schema`, `no_baseline`: the ladder cannot be judged.
    """
    _refuse_sent(review)
    student = review.student
    version = drill if isinstance(drill, DrillVersion) else drills.newest(drill)
    if version.drill.studio_id != student.studio_id:
        raise LessonError(_("Choose a drill of this student's studio."), code="wrong_studio")
    if review.assignments.count() >= MOST_DRILLS:
        raise LessonError(
            _("Three drills are enough for one answer. Remove one first."), code="too_many"
        )
    if due_on and starts_on and due_on < starts_on:
        raise LessonError(_("The last day lies before the first."), code="dates")
    if not 1 <= per_day <= 60:
        raise LessonError(_("Ask for 1 to 60 repetitions a day."), code="per_day")
    if finding is not None:
        refuse_wrong_target(review=review, finding=finding, reason=override_reason)
    _refuse_what_hurts(student, version, reason=override_reason)
    ladder = list(version.ladder if rungs is None else rungs)
    drills.check_rungs(ladder)
    assignment = Assignment.objects.create(
        student=student,
        review=review,
        drill_version=version,
        finding=finding,
        caution=_caution(student, version, caution),
        words=words.strip(),
        override_reason=" ".join(override_reason.split())[:300],
        starts_on=starts_on,
        due_on=due_on,
        per_day=per_day,
        show_count_at_once=show_count_at_once,
        ask_feel_first=ask_feel_first,
    )
    for position, row in enumerate(ladder):
        _make_rung(assignment, position, row)
    return assignment


def _refuse_sent(review: Review) -> None:
    if review.published_at is not None:
        raise LessonError(
            _("This answer has been sent. Assign the drill in the next one."),
            code="published",
            status=409,
        )


def refuse_wrong_target(*, review: Review, finding: Finding, reason: str = "") -> None:
    """Say why a drill must not aim at a finding yet, and what to aim at instead.

    A reason, once given, is kept and lets it through.
    """
    standing = diagnosis.diagnosis_of(review.student, review)
    line = standing.line(finding.pk)
    if line is None:
        raise LessonError(_("That finding is not this student's."), code="wrong_student")
    if causes.may_be_targeted(standing.graph, finding.pk) or reason.strip():
        return
    waits = line.waits_for[0] if line.waits_for else None
    says = {"what": finding.words, "cause": waits.words if waits else ""}
    if line.state == causes.State.LEAVE and waits is not None:
        better = drill_for(waits)
        says["drill"] = drills.newest(better).title if better else ""
        sentence = _(
            "“%(what)s” makes up for “%(cause)s”. Taken away first, the player gets worse."
        )
        if better:
            sentence += " " + _("Assign “%(drill)s” for the cause, or give a reason.")
        else:
            sentence += " " + _("Aim at the cause, or give a reason.")
        raise LessonError(
            sentence % says,
            code="cause_open",
            cause=waits.pk,
            drill=better.pk if better else None,
        )
    if line.state == causes.State.HELD:
        raise LessonError(
            _("“%(what)s” waits for the answer about “%(cause)s”. Ask first, or give a reason.")
            % says,
            code="question_open",
            cause=waits.pk if waits else None,
        )
    raise LessonError(
        _("There is nothing to treat about “%(what)s”. Aim at a cause, or give a reason.") % says,
        code="no_target",
    )


def drill_for(finding: Finding) -> Drill | None:
    """The drill of the studio's library that treats a finding."""
    rule = rules.rule_named(finding.rule) if finding.rule else None
    rows = Drill.objects.filter(studio=finding.student.studio_id, retired_at__isnull=True)
    if rule is not None and (named := rows.filter(slug=rule.drill).first()):
        return named
    keys = [key for key in (finding.rule, finding.tag) if key]
    return rows.filter(cause__in=keys).order_by("pk").first() if keys else None


def _refuse_what_hurts(student: Student, version: DrillVersion, *, reason: str) -> None:
    reported = {r.region for r in student.pain_reports.filter(reopened_at__isnull=True)}
    stopped = queries.loads_any(version.loads, reported)
    if stopped:
        raise LessonError(
            _(
                "%(name)s reported pain: %(region)s. Drills that load it stay stopped until a"
                " licensed professional has agreed."
            )
            % {"name": student.name, "region": Region(stopped[0]).label},
            code="hurts",
            region=stopped[0],
        )
    noted = queries.loads_any(version.loads, queries.hurting(student))
    if noted and not reason.strip():
        raise LessonError(
            _(
                "This drill loads what %(name)s said hurts: %(region)s (%(words)s). Choose"
                " another, or give a reason."
            )
            % {
                "name": student.name,
                "region": Region(noted[0]).label,
                "words": queries.hurting(student)[noted[0]],
            },
            code="hurts",
            region=noted[0],
        )


def _caution(student: Student, version: DrillVersion, words: str) -> str:
    """What the student reads before the exercise; a limit is always named."""
    told = [words.strip() or version.cautions]
    for region, limit in queries.limits(student).items():
        if region in version.loads:
            told.append(
                _("Only as far as your %(region)s lets you: %(limit)s.")
                % {"region": Region(region).label, "limit": limit.rstrip(".")}
            )
    return "\n".join(part for part in told if part)


def _make_rung(assignment: Assignment, position: int, row: Mapping[str, Any]) -> Rung:
    rung = Rung.objects.create(
        assignment=assignment,
        position=position,
        **{key: value for key, value in row.items() if key != "criteria"},
    )
    for place, criterion in enumerate(row["criteria"]):
        _make_criterion(rung, place, criterion)
    return rung


def _make_criterion(rung: Rung, position: int, row: Mapping[str, Any]) -> Criterion:
    criterion = Criterion(rung=rung, position=position, **row)
    if criterion.comparison != Criterion.Comparison.SELF_TEST:
        baseline = queries.baseline_of(
            rung.assignment.student,
            criterion.measure,
            criterion.event,
            view=rung.view,
            kind=rung.film_kind,
        )
        if baseline is not None:
            criterion.baseline = baseline.value
            criterion.baseline_uncertainty = baseline.uncertainty
        elif criterion.comparison == Criterion.Comparison.CHANGED_BY:
            raise LessonError(
                _("Nothing was measured yet that could change. Ask for “at least” instead."),
                code="no_baseline",
                measure=criterion.measure,
            )
    criterion.save()
    return criterion


@transaction.atomic
def remove_assignment(*, assignment: Assignment) -> None:
    """Take a drill out of a draft; what was sent is ended by a verdict, never removed."""
    if assignment.opened_at is not None:
        raise LessonError(
            _("The student has this drill already. End it with a verdict."),
            code="published",
            status=409,
        )
    assignment.delete()


@transaction.atomic
def publish_lesson(*, review: Review, by: User) -> Review:
    """Send an answer with its drills: everything at once, or nothing.

    Raises
    ------
    LessonError
        What `publish_review` refuses; or a drill that aims at a compensation whose cause
        is open, because links changed after it was chosen.
    """
    drafts = list(review.assignments.filter(opened_at__isnull=True).order_by("pk"))
    for assignment in drafts:
        if assignment.finding is not None:
            refuse_wrong_target(
                review=review, finding=assignment.finding, reason=assignment.override_reason
            )
        _refuse_what_hurts(
            assignment.student, assignment.drill_version, reason=assignment.override_reason
        )
    review = reviews.publish_review(review=review, by=by)
    for assignment in drafts:
        _open_assignment(assignment, by=by)
    return review


def _open_assignment(assignment: Assignment, *, by: User) -> None:
    assignment.opened_at = timezone.now()
    assignment.save(update_fields=["opened_at"])
    attempt = open_rung(rung=assignment.rungs.order_by("position")[0], by=by)
    lessons.record(
        student=assignment.student,
        kind=Entry.Kind.ASSIGNED,
        author=by,
        words=assignment.words,
        assignment=assignment.pk,
        request=attempt.angle.request_id,
    )


# --- attempts and verdicts ----------------------------------------------------------


@transaction.atomic
def open_rung(*, rung: Rung, by: User) -> Attempt:
    """Ask the student to film a rung. Stopped at once when something that it loads hurts."""
    assignment = rung.assignment
    request = intake.request_angles(
        student=assignment.student,
        by=by,
        angles=[queries.angle_of(rung)],
        words=rung.words,
        due_on=assignment.due_on,
        tell=False,
    )
    attempt = Attempt.objects.create(rung=rung, angle=request.angles.get())
    reported = assignment.student.pain_reports.filter(reopened_at__isnull=True)
    if any(_loads(assignment, report.region) for report in reported):
        _stop(Assignment.objects.filter(pk=assignment.pk))
    return attempt


@transaction.atomic
def judge_attempt(
    *,
    attempt: Attempt,
    by: User,
    decision: str,
    cue: str = "",
    submission: Submission | None = None,
    voice: File[Any] | None = None,
) -> Verdict:
    """The coach's verdict, which alone counts, and what follows from it.

    passed: the next rung opens (or the same once more, on another day); the last one ends
    the ladder, closes its cause, makes what it released due for a new look, and proposes a
    check film two weeks later. nearly: the same rung with one cue. not yet: the same rung.
    step back: the rung before. stop: the drill ends.

    Raises
    ------
    LessonError
        `no_clip`, `judged` (409), `no_cue`, `first_rung`, `stopped`, `unknown`.
    """
    assignment = attempt.rung.assignment
    clip = submission or queries.latest_clip(attempt)
    cue = " ".join(cue.split())[:300]
    _refuse_verdict(attempt, clip, decision, cue)
    assert clip is not None
    suggested = queries.judged([clip])[clip.pk].suggestion.says
    try:
        with transaction.atomic():
            verdict = Verdict.objects.create(
                attempt=attempt,
                submission=clip,
                decision=decision,
                cue=cue,
                given_by=by,
                suggested=suggested,
            )
    except IntegrityError:
        raise LessonError(
            _("Somebody has judged this attempt already. Open it again to see the verdict."),
            code="judged",
            status=409,
        ) from None
    if voice is not None:
        verdict.voice.save(voice.name or "voice", voice)
    now = timezone.now()
    attempt.angle.submissions.filter(answered_at__isnull=True).update(answered_at=now)
    intake.close_request(request=attempt.angle.request)
    follow = _follow(verdict, by=by)
    lessons.record(
        student=assignment.student,
        kind=Entry.Kind.JUDGED,
        author=by,
        words=cue,
        verdict=verdict.pk,
        assignment=assignment.pk,
        submission=clip.pk,
        **follow,
    )
    return verdict


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
    if decision == Verdict.Decision.STEP_BACK and attempt.rung.position == 0:
        raise LessonError(
            _("This is the first step. Say “not yet”, or stop the drill."), code="first_rung"
        )
    assignment = attempt.rung.assignment
    if assignment.stopped_at is not None and decision != Verdict.Decision.STOP:
        raise LessonError(
            _("This drill is stopped because of pain. Read the report first."),
            code="stopped",
            status=409,
        )


def _follow(verdict: Verdict, *, by: User) -> dict[str, Any]:
    """Carry a verdict out; returns the ids of what it opened or closed."""
    rung = verdict.attempt.rung
    assignment = rung.assignment
    kinds = Verdict.Decision
    if verdict.decision == kinds.STOP:
        _end(assignment)
        return {}
    if verdict.decision == kinds.STEP_BACK:
        before = assignment.rungs.filter(position__lt=rung.position).latest("position")
        Rung.objects.filter(pk=before.pk).update(passed_at=None)
        return {"request": open_rung(rung=before, by=by).angle.request_id}
    if verdict.decision != kinds.PASSED or not _is_passed(rung):
        return {"request": open_rung(rung=rung, by=by).angle.request_id}
    Rung.objects.filter(pk=rung.pk).update(passed_at=timezone.now())
    following = assignment.rungs.filter(position__gt=rung.position).order_by("position").first()
    if following is not None:
        return {"request": open_rung(rung=following, by=by).angle.request_id}
    return _climbed(assignment)


def _is_passed(rung: Rung) -> bool:
    verdicts = Verdict.objects.filter(attempt__rung=rung).select_related("submission")
    return queries.passed_days(verdicts) >= rung.days


def _end(assignment: Assignment) -> None:
    """No more filming for this drill."""
    Assignment.objects.filter(pk=assignment.pk).update(closed_at=timezone.now())
    _requests_of(Assignment.objects.filter(pk=assignment.pk)).filter(closed_at=None).update(
        closed_at=timezone.now()
    )


def _climbed(assignment: Assignment) -> dict[str, Any]:
    """The last rung passed: its cause closes, and what rested on it is looked at again."""
    _end(assignment)
    due = timezone.localdate() + CHECK_AFTER
    Assignment.objects.filter(pk=assignment.pk).update(check_due_on=due)
    finding = assignment.finding
    if finding is None or finding.closed_at is not None or _still_treated(assignment):
        return {}
    freed = findings.close_finding(finding=finding)
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
    if assignment.check_due_on is None:
        raise LessonError(_("This ladder has not been climbed yet."), code="not_climbed")
    if assignment.check_request_id is not None:
        raise LessonError(_("The check film is asked for already."), code="asked", status=409)
    last = assignment.rungs.latest("position")
    request = intake.request_angles(
        student=assignment.student,
        by=by,
        angles=[queries.angle_of(last)],
        words=_("A check of “%(drill)s”: does it last? Play as you do now.")
        % {"drill": assignment.drill_version.title},
    )
    assignment.check_request = request
    assignment.save(update_fields=["check_request"])
    return request


@transaction.atomic
def skip_check_film(*, assignment: Assignment) -> None:
    """The coach wants no check film."""
    Assignment.objects.filter(pk=assignment.pk).update(check_due_on=None)


@transaction.atomic
def record_self_answer(
    *, submission: Submission, criterion: Criterion, by: User, yes: bool, words: str = ""
) -> SelfAnswer:
    """The student's own answer to a self-test; it may be changed until the verdict."""
    attempt = Attempt.objects.filter(angle=submission.angle_id, rung=criterion.rung_id).first()
    if attempt is None or criterion.comparison != Criterion.Comparison.SELF_TEST:
        raise LessonError(_("This question was not asked for this clip."), code="not_asked")
    if Verdict.objects.filter(attempt=attempt).exists():
        raise LessonError(
            _("Your coach has judged this attempt already."), code="judged", status=409
        )
    return SelfAnswer.objects.update_or_create(
        submission=submission,
        criterion=criterion,
        defaults={"yes": yes, "words": words.strip()[:300], "created_at": timezone.now()},
    )[0]


def tell_feel(*, attempt: Attempt, count: int) -> bool:
    """How many the student feels will count, told once, before the number is shown."""
    if not 0 <= count <= attempt.rung.repetitions:
        raise LessonError(
            _("Choose a number from 0 to %(most)d.") % {"most": attempt.rung.repetitions},
            code="count",
        )
    return bool(Attempt.objects.filter(pk=attempt.pk, felt=None).update(felt=count))


# --- the stop rule ------------------------------------------------------------------

_SWUNG_HARD = (RequestedAngle.Effort.HALF, RequestedAngle.Effort.FULL)


def _loads(assignment: Assignment, region: str) -> bool:
    """Whether a drill loads a region: what it says, and everything once it is swung hard."""
    if region == Region.OTHER or region in assignment.drill_version.loads:
        return True
    rung = assignment.rungs.filter(passed_at=None).order_by("position").first()
    return rung is not None and rung.film_kind == "swing" and rung.effort in _SWUNG_HARD


def _requests_of(assignments: QuerySet[Assignment]) -> QuerySet[Request]:
    return Request.objects.filter(angles__attempt__rung__assignment__in=assignments)


def _swings(student: Student) -> QuerySet[Request]:
    """Open requests outside the drills for which the student would swing."""
    moving = RequestedAngle.objects.filter(attempt=None).exclude(kind="setup")
    return student.requests.filter(closed_at=None, angles__in=moving).distinct()


def _stop(assignments: QuerySet[Assignment]) -> None:
    pks = list(assignments.values_list("pk", flat=True))
    now = timezone.now()
    Assignment.objects.filter(pk__in=pks, stopped_at=None).update(stopped_at=now)
    for student in Student.objects.filter(assignments__in=pks).distinct():
        intake.suspend_requests(
            student=student, requests=_standing(_requests_of(Assignment.objects.filter(pk__in=pks)))
        )


def _standing(requests: QuerySet[Request]) -> QuerySet[Request]:
    """The same rows by key, so that they can be updated."""
    return Request.objects.filter(pk__in=list(requests.values_list("pk", flat=True)))


@transaction.atomic
def report_pain(
    *,
    student: Student,
    by: User,
    region: str,
    words: str = "",
    urgent: bool = False,
    assignment: Assignment | None = None,
) -> PainReport:
    """Stop everything that loads a region, at once, and tell the coach first of all.

    The same report sent twice is one report.
    """
    if region not in Region.values:
        raise LessonError(_("Touch where it hurts."), code="region")
    if assignment is not None and assignment.student_id != student.pk:
        raise LessonError(_("That drill is another student's."), code="wrong_student")
    words = " ".join(words.split())[:300]
    again = student.pain_reports.filter(
        region=region,
        words=words,
        urgent=urgent,
        assignment=assignment,
        reopened_at=None,
        created_at__gte=timezone.now() - timedelta(minutes=1),
    ).first()
    if again is not None:
        return again
    report = PainReport.objects.create(
        student=student,
        region=region,
        words=words,
        urgent=urgent,
        assignment=assignment,
        reported_by=by,
    )
    running = student.assignments.filter(opened_at__isnull=False, closed_at=None)
    stopped = [a.pk for a in running if a == assignment or _loads(a, region)]
    _stop(Assignment.objects.filter(pk__in=stopped))
    intake.suspend_requests(student=student, requests=_standing(_swings(student)))
    lessons.record(
        student=student,
        kind=Entry.Kind.PAIN,
        author=by,
        words=words,
        pain_report=report.pk,
        assignments=stopped,
    )
    return report


@transaction.atomic
def stop_drill(*, assignment: Assignment, by: User) -> PainReport:
    """ "It hurts", in one tap: everything stops until the student has said where."""
    return report_pain(
        student=assignment.student, by=by, region=Region.OTHER, assignment=assignment
    )


@transaction.atomic
def locate_pain(
    *, report: PainReport, by: User, region: str, words: str = "", urgent: bool = False
) -> PainReport:
    """Say where it hurts, after the one tap that stopped everything.

    Drills that do not load the region go on; the one it was said from stays stopped.
    """
    if region not in Region.values:
        raise LessonError(_("Touch where it hurts."), code="region")
    words = " ".join(words.split())[:300]
    won = PainReport.objects.filter(pk=report.pk, reopened_at=None).update(
        region=region, words=words or report.words, urgent=urgent or report.urgent
    )
    if not won:
        raise LessonError(_("This was opened again already."), code="reopened", status=409)
    report.refresh_from_db()
    _release(report.student)
    running = report.student.assignments.filter(opened_at__isnull=False, closed_at=None)
    _stop(Assignment.objects.filter(pk__in=[a.pk for a in running if _loads(a, region)]))
    lessons.record(
        student=report.student,
        kind=Entry.Kind.PAIN if report.urgent else Entry.Kind.BODY_NOTED,
        author=by,
        words=words,
        pain_report=report.pk,
    )
    return report


def mark_pain_seen(*, report: PainReport) -> None:
    """A coach has read it."""
    PainReport.objects.filter(pk=report.pk, seen_at=None).update(seen_at=timezone.now())


@transaction.atomic
def state_professional_agreed(*, report: PainReport, by: User, words: str) -> PainReport:
    """The student states that a licensed professional agreed. It opens nothing by itself."""
    words = " ".join(words.split())[:300]
    if not words:
        raise LessonError(_("Write who agreed and when, in a few words."), code="no_words")
    won = PainReport.objects.filter(pk=report.pk, reopened_at=None).update(
        statement=words, statement_at=timezone.now()
    )
    if not won:
        raise LessonError(_("This was opened again already."), code="reopened", status=409)
    report.refresh_from_db()
    lessons.record(
        student=report.student,
        kind=Entry.Kind.BODY_NOTED,
        author=by,
        words=words,
        pain_report=report.pk,
    )
    return report


@transaction.atomic
def reopen_after_pain(*, report: PainReport, by: User) -> PainReport:
    """The coach opens again what this report stopped, after the student's statement.

    What another report still holds stays stopped.
    """
    if not report.statement:
        raise LessonError(
            _("Wait for %(name)s to state that a licensed professional agreed.")
            % {"name": report.student.name},
            code="no_statement",
        )
    now = timezone.now()
    won = PainReport.objects.filter(pk=report.pk, reopened_at=None).update(
        reopened_at=now, seen_at=report.seen_at or now
    )
    if not won:
        raise LessonError(_("This was opened again already."), code="reopened", status=409)
    student = report.student
    _release(student)
    if not student.pain_reports.filter(reopened_at=None).exists():
        intake.resume_requests(student=student, requests=_standing(_swings(student)))
    lessons.record(student=student, kind=Entry.Kind.REOPENED, author=by, pain_report=report.pk)
    report.refresh_from_db()
    return report


def _release(student: Student) -> None:
    """Open what no standing report holds any more."""
    free = Assignment.objects.filter(pk__in=[a.pk for a in _no_longer_held(student)])
    requests = _standing(_requests_of(free))
    free.update(stopped_at=None)
    intake.resume_requests(student=student, requests=requests)


def _no_longer_held(student: Student) -> list[Assignment]:
    """Stopped drills that no open report loads any more."""
    held = list(student.pain_reports.filter(reopened_at=None))
    stopped = student.assignments.filter(stopped_at__isnull=False, closed_at=None)
    return [
        a for a in stopped if not any(r.assignment_id == a.pk or _loads(a, r.region) for r in held)
    ]
