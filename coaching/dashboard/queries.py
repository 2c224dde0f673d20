"""The waiting list, the student's home and how the practice runs: reads only.

Every list takes a constant number of queries, however many rows there are.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db.models import Count, F, Q, QuerySet
from django.utils import timezone

from coaching.dashboard.facts import lines_for
from coaching.dashboard.next import BEFORE_NEWS, HAPPENED, Line, first_of
from coaching.diagnosis.models import Plan
from coaching.intake import camera_sketch
from coaching.intake.models import Submission
from coaching.intake.queries import (
    State,
    codes,
    cut_edges,
    missing,
    state,
    waiting_submissions,
)
from coaching.lessons.models import Entry
from coaching.lessons.wording.codes import quality_message
from coaching.people import access, ties
from coaching.people.models import Membership, Student, User
from coaching.people.queries import agreed_purposes, decides_for, profile_is_old
from coaching.practice.queries.judged import attempts_of
from coaching.practice.queries.ladders import current_step, open_assignments, passed_drills
from coaching.practice.queries.progress import then_and_now_of
from coaching.review.models import Review


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
    )
    # A clip that was sent back waits for its student: no promise runs for it.
    waiting = [c for c in waiting_submissions(students) if state(c) != "refused"]
    return Kept(
        missed=counted["answered"] - counted["kept"],
        waiting=len(waiting),
        overdue=sum(clip.promised_at < now for clip in waiting),
        **counted,
    )


def colleagues(user: User) -> list[User]:
    """Others who teach in the studios of `user`, to hand a student to: their names."""
    teaching = Membership.objects.filter(
        studio__in=list(ties.of(user).roles), role__in=access.TEACHING
    )
    others = User.objects.filter(pk__in=teaching.values("user")).exclude(pk=user.pk)
    return list(others.only("name").order_by("name", "pk"))


def student_sheet(student: Student) -> dict[str, Any]:
    """All that a coach needs of one student on one page."""
    waiting = waiting_submissions(Student.objects.filter(pk=student.pk))
    clips = [clip for clip in waiting if state(clip) != "refused"]
    attempts = attempts_of(clips)
    body_notes = student.body_notes.filter(over_at__isnull=True).order_by("-created_at")
    return {
        "student": student,
        "agreed": agreed_purposes(student),
        "has_notes": student.goals or student.miss_words or body_notes,
        "clips": [(clip, state(clip), attempts.get(clip.pk, [None])[0]) for clip in clips],
        "requests": student.requests.filter(closed_at__isnull=True, angles__submissions=None)
        .distinct()
        .prefetch_related("angles__submissions"),
        "body_notes": body_notes,
        "pain": student.pain_reports.filter(reopened_at__isnull=True),
        "assignments": open_assignments(student),
        "passed": passed_drills(student),
        "findings": student.findings.filter(review__published_at__isnull=False).order_by(
            "-created_at"
        )[:20],
        "reviews": student.reviews.order_by("-created_at")[:5],
        "guardians": student.guardianships.filter(ended_at__isnull=True),
        "invitation": student.invitations.filter(
            used_at__isnull=True, withdrawn_at__isnull=True, expires_at__gt=timezone.now()
        ).last(),
    }


def student_home(student: Student, reader: User) -> dict[str, Any]:
    """What a student reads first: one card, what else is known, drills, then and now, words."""
    told = lines_for(student, reader)
    card, next_line = first_of(told), told[-1]
    review = student.reviews.filter(published_at__isnull=False).order_by("-published_at").first()
    assignments = list(open_assignments(student))
    pain = list(student.pain_reports.filter(reopened_at__isnull=True).order_by("-created_at"))
    return {
        "student": student,
        "child": student.name.split()[0] if reader.pk != student.user_id else "",
        "card": card,
        "happened": [line for line in told if line.kind in HAPPENED and line is not card],
        "next": next_line,
        # What pain has stopped stands above everything already.
        "show_next": next_line != card and not (next_line.stop and pain),
        "says": bool(card.url or card.quote or card.angle),
        "bare": not (card.quote or card.video or card.clip or card.angle),
        "film": film_of(card),
        "sent_back": (sent_back := _sent_back(student, card)),
        # A film that waits on the phone comes before these, but not before the body or a consent.
        "yields": card.kind not in BEFORE_NEWS,
        "films_of_card": _asked_by(card, sent_back),
        "films_of_next": _asked_by(next_line, None),
        "other_phone": _sent_on(student, reader, card, sent_back),
        "pain": pain,
        "clips": _clips_on_their_way(student),
        "drills": [(assignment, current_step(assignment)) for assignment in assignments],
        "passed": passed_drills(student),
        "then_now": then_and_now_of(student),
        "message": student.thread.entries.filter(kind=Entry.Kind.MESSAGE)
        .select_related("author")
        .last(),
        "review": review,
        "keep_note": plan_words(review),
        "ask_again": profile_is_old(student),
    }


def film_of(card: Line) -> dict[str, Any] | None:
    """Of a film that is asked for: its drawing, which of how many, and when it is due."""
    if card.angle is None:
        return None
    request = card.angle.request
    asked = list(request.angles.all())
    return {
        "sketch": camera_sketch.draw(view=card.angle.view, handedness=request.student.handedness),
        "number": len(asked) - len(missing(request)) + 1,
        "count": len(asked),
        "due_on": request.due_on,
    }


def _sent_back(student: Student, card: Line) -> dict[str, Any] | None:
    """The clip that was sent back: its still, what is wrong with it and what to do."""
    if card.clip is None:
        return None
    clip = student.submissions.select_related("video").get(pk=card.clip)
    advice = [quality_message(code) for code in codes(clip)]
    return {"clip": clip, "advice": advice, "edges": cut_edges(clip)}


def _asked_by(line: Line, sent_back: dict[str, Any] | None) -> str:
    """Which angle a line asks to film, as the page says it to its script; nothing for others."""
    angle = line.angle.pk if line.angle else sent_back and sent_back["clip"].angle_id
    return str(angle or "")


def _sent_on(
    student: Student, reader: User, card: Line, sent_back: dict[str, Any] | None
) -> int | None:
    """The request that a guardian may have filmed on the child's own phone."""
    if reader.pk == student.user_id or not decides_for(student, reader):
        return None
    angle = card.angle or (sent_back and sent_back["clip"].angle)
    return angle.request_id if angle else None


def _clips_on_their_way(student: Student) -> list[tuple[Submission, str]]:
    clips = (
        student.submissions.filter(replaced_by__isnull=True, answered_at=None)
        .select_related("video", "angle")
        .prefetch_related("video__runs")
        .order_by("-created_at")[:5]
    )
    by_state = [(clip, state(clip)) for clip in clips]
    # One that was sent back is on its way nowhere: the card says so.
    return [(clip, now) for clip, now in by_state if now != State.REFUSED]


def plan_words(review: Review | None) -> str:
    plan = Plan.objects.filter(review=review).first() if review else None
    return plan.keep_note if plan else ""
