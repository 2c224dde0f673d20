"""The students of a studio as a table, and one student's course over time. Reads only."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _

from coaching.dashboard.rows import Row, waiting_list
from coaching.dashboard.waiting import ICONS, newest_videos
from coaching.diagnosis.queries import open_questions
from coaching.intake.models import RequestedAngle
from coaching.intake.queries import State, is_wanted_again, state, waiting_submissions
from coaching.lessons.queries import heard_from
from coaching.people.models import Student
from coaching.practice.queries.ladders import current_step, open_assignments

PAGE = 100


@dataclass(frozen=True)
class Entrant:
    """One student's line: what is now, in a mark and a few words."""

    student: Student
    icon: str
    now: str
    more: str
    drill: str
    video: int | None
    promised_at: datetime | None = None


@dataclass(frozen=True)
class Roster:
    lines: list[Entrant]
    found: int
    active: int
    waiting: int
    number: int
    pages: int

    @property
    def before(self) -> int:
        return self.number - 1

    @property
    def after(self) -> int:
        return self.number + 1


def roster(
    students: QuerySet[Student], *, text: str = "", show: str = "", number: int = 1
) -> Roster:
    """A page of students, those who wait for an answer first, then by name.

    Parameters
    ----------
    show : str
        `waiting` keeps those who wait, `closed` those whose lessons are over.
    """
    active = students.filter(closed_at__isnull=True)
    waits: dict[int, Row] = {}
    for row in waiting_list(active):
        waits.setdefault(row.student.pk, row)
    rows = students.filter(closed_at__isnull=False) if show == "closed" else active
    if show == "waiting":
        rows = rows.filter(pk__in=waits)
    if text:
        rows = rows.filter(Q(name__icontains=text) | Q(email__icontains=text))
    order = {pk: place for place, pk in enumerate(waits)}
    keys = list(rows.order_by("name", "pk").values_list("pk", flat=True))
    keys.sort(key=lambda pk: order.get(pk, len(order)))
    pages = max(1, -(-len(keys) // PAGE))
    number = min(max(number, 1), pages)
    return Roster(
        lines=_lines(keys[(number - 1) * PAGE : number * PAGE], waits),
        found=len(keys),
        active=active.filter(joined_at__isnull=False).count(),
        waiting=len(waits),
        number=number,
        pages=pages,
    )


def _lines(keys: list[int], waits: dict[int, Row]) -> list[Entrant]:
    people = heard_from(Student.objects.filter(pk__in=keys)).select_related("coach").in_bulk()
    videos = newest_videos(keys)
    drills = _drills(keys)
    fresh = RequestedAngle.objects.filter(
        request__student__in=keys, request__closed_at=None, submissions=None
    ).values_list("request__student", flat=True)
    asked = dict.fromkeys(fresh, _("asked for a film"))
    asked |= dict.fromkeys(_asked_again(keys), _("asked to film again"))
    questions = open_questions().filter(student__in=keys)
    asked |= dict.fromkeys(
        questions.values_list("student", flat=True), _("has a question to answer")
    )
    return [
        _line(
            people[pk],
            waits.get(pk),
            drills.get(pk, ""),
            videos.get(pk),
            asked=asked.get(pk, ""),
        )
        for pk in keys
    ]


def _asked_again(keys: list[int]) -> set[int]:
    """Students whose clip was sent back, and who have not filmed it again."""
    clips = waiting_submissions(Student.objects.filter(pk__in=keys))
    waiting = clips.prefetch_related("angle__request", "angle__submissions__video__runs")
    refused = [clip for clip in waiting if state(clip) == State.REFUSED]
    return {clip.student_id for clip in refused if is_wanted_again(clip)}


def _line(
    student: Student, row: Row | None, drill: str, video: int | None, *, asked: str
) -> Entrant:
    said: dict[str, Any] = {"student": student, "drill": drill, "video": video, "more": ""}
    if row is not None:
        return Entrant(**said, icon=ICONS[row.kind], now=row.what, promised_at=row.promised_at)
    if student.closed_at:
        return Entrant(**said, icon="tick", now=_("lessons closed"))
    if not student.joined_at:
        return Entrant(**said, icon="mail", now=_("invited, has not joined"))
    if asked:
        return Entrant(**said, icon="clock", now=asked)
    return Entrant(**said, icon="repeat", now=_("practises") if drill else _("nothing waits"))


def _drills(keys: Iterable[int]) -> dict[int, str]:
    """`Turn, then lay it down 2/5` by student: the newest open drill."""
    found = {}
    for assignment in open_assignments(Student.objects.filter(pk__in=keys)):
        step = current_step(assignment)
        found[assignment.student_id] = _("%(drill)s %(step)d/%(all)d") % {
            "drill": assignment.drill_version.title,
            "step": step.number or len(assignment.steps.all()),
            "all": len(assignment.steps.all()),
        }
    return found


# --- one student's course -----------------------------------------------------------


@dataclass(frozen=True)
class Mark:
    """One thing that happened, on the line of time: theirs stands above, yours below."""

    at: datetime
    label: str
    url: str = ""
    video: int | None = None
    state: str = ""  # a state mark, where it is a step

    @property
    def theirs(self) -> bool:
        return self.video is not None


def course_of(student: Student, *, most: int = 10) -> list[Mark]:
    """The newest things between the two, in order of time."""
    marks = []
    if student.joined_at:
        marks.append(Mark(student.joined_at, _("joined")))
    for clip in student.submissions.filter(replaced_by=None).select_related("video"):
        shown = clip.video_id if clip.video.copy and clip.video.erased_at is None else None
        marks.append(
            Mark(clip.created_at, _("sent a film"), reverse("review:room", args=[clip.pk]), shown)
        )
    for review in student.reviews.all():
        if review.published_at:
            address = reverse("review:read", args=[review.pk])
            marks.append(Mark(review.published_at, _("your answer"), address))
    for assignment in student.assignments.prefetch_related("steps").select_related("drill_version"):
        for step in assignment.steps.all():
            if step.passed_at:
                passed = _("passed: %(step)s") % {"step": step.get_kind_display()}
                marks.append(Mark(step.passed_at, passed, state="done"))
    for report in student.pain_reports.all():
        hurts = _("%(region)s hurts") % {"region": report.get_region_display()}
        marks.append(Mark(report.created_at, hurts, state="stop"))
    return sorted(marks, key=lambda mark: mark.at)[-most:]
