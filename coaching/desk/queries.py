"""The waiting list, the student's home and how the practice runs: reads only.

Every list takes a constant number of queries, however many rows there are.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Count, Exists, F, Max, OuterRef, Q, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from analysis.models import Measurement, Run
from coaching.diagnosis.models import Finding, Plan
from coaching.intake.models import RequestedAngle, Submission
from coaching.intake.queries import next_angle, state, waiting_submissions
from coaching.intake.sentences import filming_sentence
from coaching.lessons.models import Entry, Seen
from coaching.lessons.words import view_from
from coaching.people import access
from coaching.people.models import Student, User
from coaching.people.queries import profile_is_old
from coaching.practice.models import Assignment, Attempt
from coaching.practice.queries import (
    Asked,
    attempts_by_submission,
    checks_due,
    current_step,
    due_for_new_look,
    measured_against_asked,
    open_assignments,
    open_pain,
)
from coaching.review.models import Review

QUIET_AFTER = timedelta(days=14)
HEADLINES = (
    ("pelvis_turn_deg", "top"),
    ("shaft_pitch_deg", "late_back"),
    ("bar_turn_deg", "top"),
    ("balance_pct", "address"),
    ("side_tilt_deg", "address"),
)
FILMS = {
    "setup": _l("the set-up"),
    "hold": _l("a held position"),
    "rehearsal": _l("a slow rehearsal"),
    "swing": _l("a swing"),
    "bar": _l("a turn with a held club"),
}
GROUPS = ("pain", "promised", "look_again", "rest")


@dataclass(frozen=True)
class Row:
    """One line of the waiting list: a sentence, what was measured, one action."""

    group: str
    student: Student
    sentence: str
    since: datetime
    action: str
    url: str
    promised_at: datetime | None = None
    # What can be done without leaving the list: a label, and where its button posts.
    posts: Sequence[tuple[str, str]] = ()
    submission: Submission | None = None
    attempt: Attempt | None = None
    asked: Sequence[Asked] = ()
    headline: Sequence[Measurement] = ()

    @property
    def order(self) -> tuple[int, datetime]:
        """Pain first, then what is closest to its promise, then new looks, then the rest."""
        return (GROUPS.index(self.group), self.promised_at or self.since)


def waiting_list(students: QuerySet[Student], *, user: User, words: str = "") -> list[Row]:
    """Everything that waits for the coach, most urgent first.

    Parameters
    ----------
    students : QuerySet
        Whose things are shown; see `people.access.students_taught`.
    user : User
        The reader, for what he has not read yet.
    words : str
        Only rows whose student or sentence holds every one of these words.
    """
    now = timezone.now()
    awake = students.filter(Q(snoozed_until__isnull=True) | Q(snoozed_until__lte=now))
    rows = [
        *_pain(students),  # pain is never snoozed
        *_clips(awake, now=now),
        *_new_looks(awake),
        *_answers(awake),
        *_messages(awake, user=user),
        *_quiet(awake, now=now),
    ]
    wanted = words.lower().split()
    kept = [
        row
        for row in rows
        if all(w in f"{row.student.name} {row.sentence}".lower() for w in wanted)
    ]
    return sorted(kept, key=lambda row: row.order)


def _pain(students: QuerySet[Student]) -> Iterable[Row]:
    for report in open_pain(students):
        urgent = _(" Urgent signs were named.") if report.urgent else ""
        yield Row(
            group="pain" if report.seen_at is None else "rest",
            student=report.student,
            sentence=_("reports pain: %(region)s.%(urgent)s Drills that load it are stopped.")
            % {"region": report.get_region_display(), "urgent": urgent},
            since=report.created_at,
            action=_("Read the report"),
            url=reverse("practice:pain_report", args=[report.pk]),
        )


def _clips(students: QuerySet[Student], *, now: datetime) -> Iterable[Row]:
    """Attempts one by one; clips of one request together, as they are reviewed together."""
    waiting = waiting_submissions(students).filter(
        Q(snoozed_until__isnull=True) | Q(snoozed_until__lte=now)
    )
    clips = [clip for clip in waiting if state(clip) in {"ready", "failed"}]
    attempts = attempts_by_submission(clips)
    asked = measured_against_asked(clips)
    together: dict[tuple[str, int], list[Submission]] = {}
    for clip in clips:
        alone = clip.pk in attempts or clip.angle is None
        key = ("clip", clip.pk) if alone else ("request", clip.angle.request_id)
        together.setdefault(key, []).append(clip)
    shown = _headlines([row[0] for row in together.values() if row[0].pk not in attempts])
    for row in together.values():
        yield _clip_row(row, attempts.get(row[0].pk), asked.get(row[0].pk, ()), shown)


def _clip_row(
    clips: Sequence[Submission],
    attempt: Attempt | None,
    asked: Sequence[Asked],
    headlines: Mapping[int, list[Measurement]],
) -> Row:
    clip = clips[0]  # the one with the nearest promise
    failed = next((c for c in clips if state(c) == "failed"), None)
    if attempt:
        action, url = _("Judge"), reverse("practice:judge", args=[attempt.pk])
    else:
        action, url = _("Review"), reverse("review:room", args=[clip.pk])
    sentence = _tried(attempt) if attempt else _sent(clips)
    if failed:
        sentence += " " + _("It could not be measured; look at it or try again.")
    return Row(
        group="promised",
        student=clip.student,
        sentence=sentence,
        since=clip.created_at,
        promised_at=clip.promised_at,
        action=action,
        url=url,
        submission=clip,
        attempt=attempt,
        asked=asked,
        headline=headlines.get(clip.video_id, ()),
    )


def _tried(attempt: Attempt) -> str:
    return _("tried “%(drill)s”, step %(step)d, %(view)s.") % {
        "drill": attempt.rung.assignment.drill_version.title,
        "step": attempt.rung.position + 1,
        "view": view_from(attempt.rung.view),
    }


def _sent(clips: Sequence[Submission]) -> str:
    """Such as: sent a swing from behind the line and a swing from the front."""
    parts = [f"{FILMS[c.video.kind]} {view_from(c.video.view)}" for c in clips]
    listed = parts[0]
    if len(parts) > 1:
        listed = _("%(some)s and %(last)s") % {"some": ", ".join(parts[:-1]), "last": parts[-1]}
    return _("sent %(films)s.") % {"films": listed}


def _headlines(clips: Sequence[Submission]) -> dict[int, list[Measurement]]:
    """The two figures that say most of a first clip, by video; one query for all."""
    wanted = Q()
    for measure, event in HEADLINES:
        wanted |= Q(measure=measure, event=event)
    rows = Measurement.objects.filter(
        wanted,
        run__video__in=[clip.video_id for clip in clips],
        run__kind=Run.Kind.MEASURE,
        repetition=0,
        value__isnull=False,
    )
    newest: dict[int, dict[tuple[str, str], Measurement]] = {}
    for figure in rows.select_related("run").order_by("run_id"):
        newest.setdefault(figure.run.video_id, {})[figure.measure, figure.event] = figure
    return {
        video: [found[key] for key in HEADLINES if key in found][:2]
        for video, found in newest.items()
    }


def _new_looks(students: QuerySet[Student]) -> Iterable[Row]:
    for finding in due_for_new_look(students):
        yield Row(
            group="look_again",
            student=finding.student,
            sentence=_("The cause has passed; look again whether “%(words)s” is still there.")
            % {"words": finding.words},
            since=finding.look_again_at,
            action=_("Look again"),
            url=reverse("diagnosis:shown", args=[finding.student_id]),
        )
    for assignment in checks_due(students):
        yield Row(
            group="look_again",
            student=assignment.student,
            sentence=_("climbed “%(drill)s”; a check film is due.")
            % {"drill": assignment.drill_version.title},
            since=assignment.closed_at or assignment.created_at,
            action=_("Look at the drill"),
            url=reverse("practice:drill", args=[assignment.pk]),
            posts=(
                (_("Ask for a check film"), reverse("practice:check_film", args=[assignment.pk])),
                (_("No check film"), reverse("practice:skip_check", args=[assignment.pk])),
            ),
        )


def _answers(students: QuerySet[Student]) -> Iterable[Row]:
    answered = Finding.objects.filter(
        student__in=students,
        kind=Finding.Kind.QUESTION,
        answered_at__isnull=False,
        closed_at__isnull=True,
    ).select_related("student")
    for finding in answered:
        yield Row(
            group="rest",
            student=finding.student,
            sentence=_("answered “%(words)s”: %(answer)s")
            % {"words": finding.words, "answer": finding.answer},
            since=finding.answered_at,
            action=_("Read the answer"),
            url=reverse("diagnosis:shown", args=[finding.student_id]),
        )


def _messages(students: QuerySet[Student], *, user: User) -> Iterable[Row]:
    """Words of students and guardians that the reader has not seen yet."""
    read = Seen.objects.filter(thread=OuterRef("thread"), user=user, entry__gte=OuterRef("pk"))
    unread = (
        Entry.objects.filter(thread__student__in=students, kind=Entry.Kind.MESSAGE)
        .filter(
            Q(author=F("thread__student__user")) | Q(author__wards__student=F("thread__student"))
        )
        .exclude(Exists(read))
        .select_related("thread__student")
        .distinct()
    )
    for entry in unread:
        yield Row(
            group="rest",
            student=entry.thread.student,
            sentence=_("wrote: %(words)s") % {"words": entry.words[:160]},
            since=entry.created_at,
            action=_("Answer"),
            url=reverse("lessons:thread", args=[entry.thread.student_id]),
        )


def _quiet(students: QuerySet[Student], *, now: datetime) -> Iterable[Row]:
    """Students with something to film who have not been heard of for two weeks."""
    open_angles = RequestedAngle.objects.filter(
        request__student=OuterRef("pk"),
        request__closed_at__isnull=True,
        request__suspended_at__isnull=True,
        submissions__isnull=True,
    )
    quiet = (
        students.filter(joined_at__isnull=False, closed_at__isnull=True)
        .annotate(last_at=Max("thread__entries__created_at"))
        .filter(Exists(open_angles), last_at__lt=now - QUIET_AFTER)
    )
    for student in quiet:
        days = (now - student.last_at).days
        yield Row(
            group="rest",
            student=student,
            sentence=_("has been quiet for %(days)d days.") % {"days": days},
            since=student.last_at,
            action=_("Write a word"),
            url=reverse("lessons:thread", args=[student.pk]),
        )


@dataclass(frozen=True)
class Kept:
    """How a studio kept its promises over a stretch of days."""

    answered: int
    kept: int
    missed: int
    waiting: int
    overdue: int


def promises(students: QuerySet[Student], *, days: int = 30) -> Kept:
    """Turnaround kept or missed: clips answered before or after the promised time."""
    now = timezone.now()
    clips = Submission.objects.filter(student__in=students, replaced_by__isnull=True)
    recent = Q(answered_at__gte=now - timedelta(days=days))
    counted = clips.aggregate(
        answered=Count("pk", filter=recent),
        kept=Count("pk", filter=recent & Q(answered_at__lte=F("promised_at"))),
        waiting=Count("pk", filter=Q(answered_at__isnull=True)),
        overdue=Count("pk", filter=Q(answered_at__isnull=True, promised_at__lt=now)),
    )
    return Kept(missed=counted["answered"] - counted["kept"], **counted)


def colleagues(user: User) -> list[User]:
    """Others who teach in the studios of `user`, to hand a student to."""
    return list(
        User.objects.filter(
            memberships__studio__in=access.studios(user), memberships__role__in=access.TEACHING
        )
        .exclude(pk=user.pk)
        .distinct()
        .order_by("name")
    )


def quiet_students(students: QuerySet[Student]) -> list[Row]:
    return sorted(_quiet(students, now=timezone.now()), key=lambda row: row.since)


def student_sheet(student: Student) -> dict[str, Any]:
    """All that a coach needs of one student on one page."""
    clips = list(waiting_submissions(Student.objects.filter(pk=student.pk)))
    return {
        "student": student,
        "clips": [(clip, state(clip)) for clip in clips],
        "requests": student.requests.filter(closed_at__isnull=True).prefetch_related(
            "angles__submissions"
        ),
        "body_notes": student.body_notes.filter(over_at__isnull=True).order_by("-created_at"),
        "pain": student.pain_reports.filter(reopened_at__isnull=True),
        "assignments": open_assignments(student),
        "findings": student.findings.filter(review__published_at__isnull=False).order_by(
            "-created_at"
        )[:20],
        "reviews": student.reviews.order_by("-created_at")[:5],
        "guardians": student.guardianships.filter(ended_at__isnull=True),
        "invitation": student.invitations.filter(
            used_at__isnull=True, withdrawn_at__isnull=True, expires_at__gt=timezone.now()
        ).last(),
    }


@dataclass(frozen=True)
class Next:
    """The one thing a student should do now: a sentence and, mostly, one button."""

    sentence: str
    label: str = ""
    url: str = ""
    why: str = ""
    stop: bool = False


def student_home(student: Student, *, user: User) -> dict[str, Any]:
    """What the student's home shows, the one next thing first."""
    pain = student.pain_reports.filter(reopened_at__isnull=True).order_by("-created_at")
    clips = list(
        student.submissions.filter(replaced_by__isnull=True)
        .select_related("video", "angle")
        .prefetch_related("video__runs")
        .order_by("-created_at")[:5]
    )
    assignments = list(open_assignments(student))
    review = student.reviews.filter(published_at__isnull=False).order_by("-published_at").first()
    return {
        "student": student,
        "next": next_thing(student, clips=clips, assignments=assignments),
        "pain": pain,
        "clips": [(clip, state(clip)) for clip in clips if clip.answered_at is None],
        "assignments": assignments,
        "steps": [(assignment, current_step(assignment)) for assignment in assignments],
        "review": review,
        "keep_words": plan_words(review),
        "ask_again": profile_is_old(student),
    }


def plan_words(review: Review | None) -> str:
    plan = Plan.objects.filter(review=review).first() if review else None
    return plan.keep_words if plan else ""


def next_thing(
    student: Student, *, clips: Sequence[Submission], assignments: Sequence[Assignment]
) -> Next:
    """Order of what a student is told: body first, then a refused clip, then filming."""
    if student.body_asked_at is None:
        return Next(
            sentence=_("Before anything else, tell your coach what hurts or is stiff."),
            label=_("Tell about your body"),
            url=reverse("people:body", args=[student.pk]),
        )
    question = (
        student.findings.filter(
            kind=Finding.Kind.QUESTION,
            review__published_at__isnull=False,
            answered_at__isnull=True,
            closed_at__isnull=True,
        )
        .order_by("pk")
        .first()
    )
    if question:
        return Next(
            sentence=_("Your coach has a question about your body before you go on."),
            label=_("Answer the question"),
            url=reverse("diagnosis:answer", args=[question.pk]),
        )
    refused = next((clip for clip in clips if state(clip) == "refused"), None)
    if refused:
        return Next(
            sentence=_("Your last clip can't be judged yet. See what to change and film again."),
            label=_("See how to film again"),
            url=reverse("intake:submission", args=[refused.pk]),
        )
    angle = next_angle(student)
    if angle:
        return Next(
            sentence=filming_sentence(angle),
            label=_("Film it"),
            url=reverse("intake:film", args=[angle.pk]),
            why=angle.request.words,
        )
    stopped = [assignment for assignment in assignments if assignment.stopped_at]
    if stopped:
        return Next(
            sentence=_(
                "Your drill is stopped because it hurt. See a licensed health professional"
                " before you do it again."
            ),
            label=_("What happens next"),
            url=reverse("practice:drill", args=[stopped[0].pk]),
            stop=True,
        )
    waiting = [clip for clip in clips if clip.answered_at is None]
    if waiting:
        return Next(
            sentence=_("Your coach has your clip and answers by %(time)s.")
            % {
                "time": date_format(
                    timezone.localtime(min(clip.promised_at for clip in waiting)), "D j M, H:i"
                )
            },
        )
    return Next(sentence=_("Nothing to film now. Your coach will ask for the next clip."))
