"""What decides what a student reads first, from what is stored."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from django.utils import timezone

from coaching.dashboard.next import MOST_NEWS, Answered, Facts, JudgedStep, Line, lines
from coaching.diagnosis.queries import open_questions
from coaching.intake.models import Submission
from coaching.intake.queries import State, is_wanted_again, next_angle, state
from coaching.lessons.models import Entry
from coaching.lessons.queries import of_students
from coaching.people.models import Student, User
from coaching.people.queries import consents_missing, wards_of
from coaching.people.texts import in_one_line
from coaching.practice.models import Verdict
from coaching.review.models import Review

NEWS_FOR = timedelta(days=30)
QUOTED = 280


def lines_for(
    student: Student, reader: User | None = None, *, in_letter: bool = False
) -> list[Line]:
    """The student's lines; a guardian's sentences name the child."""
    return lines(replace(facts_of(student, reader), in_letter=in_letter))


def line_of(entry: Entry, reader: User) -> Line | None:
    """The line of one answer or verdict, as its reader reads it; None for other entries."""
    student = entry.thread.student
    row: Answered | JudgedStep | None = None
    if entry.kind == Entry.Kind.REVIEWED and "review" in entry.refs:
        row = _answered(entry, Review.objects.in_bulk([entry.refs["review"]]))
    elif entry.kind == Entry.Kind.JUDGED and "verdict" in entry.refs:
        row = _judged(entry, _verdicts([entry.refs["verdict"]]))
    if row is None:
        return None
    child = "" if reader.pk == student.user_id else student.name.split()[0]
    return lines(Facts(student=student.pk, child=child, happened=[row]))[0]


def _verdicts(keys: list[int]) -> dict[int, Verdict]:
    found = Verdict.objects.select_related(
        "attempt__step__assignment__drill_version", "submission__video"
    )
    return found.in_bulk(keys)


def facts_of(student: Student, reader: User | None = None) -> Facts:
    clips = list(
        student.submissions.filter(replaced_by__isnull=True, answered_at=None)
        .select_related("video", "angle__request")
        .prefetch_related("video__runs")
        .order_by("-created_at", "-pk")
    )
    by_state = [(state(clip), clip) for clip in clips]
    with_coach = [clip for now, clip in by_state if now in (State.READY, State.FAILED)]
    refused = next(
        (clip for now, clip in by_state if now == State.REFUSED and is_wanted_again(clip)), None
    )
    moving = next((clip for now, clip in by_state if now in State.MOVING), None)
    promised = min(with_coach, key=lambda clip: clip.promised_at, default=None)
    question = open_questions().filter(student=student)
    stopped = student.assignments.filter(stopped_at__isnull=False, closed_at=None)
    is_guardian = (
        reader is not None
        and reader.pk != student.user_id
        and wards_of(reader).filter(pk=student.pk).exists()
    )
    return Facts(
        student=student.pk,
        child=student.name.split()[0] if is_guardian else "",
        coach=student.coach.name if student.coach else "",
        happened=_news(student),
        body_asked=student.body_asked_at is not None,
        question=question.order_by("pk").values_list("pk", flat=True).first(),
        consent_missing=bool(consents_missing(student)),
        may_consent=is_guardian or not student.is_minor,
        refused=refused.pk if refused else None,
        angle=next_angle(student),
        stopped=stopped.order_by("pk").values_list("pk", flat=True).first(),
        checking=moving.pk if moving else None,
        promised_at=promised.promised_at if promised else None,
        promised_video=_shown(promised),
    )


def _shown(clip: Submission | None) -> int | None:
    """The clip's video, when a picture can be cut from it."""
    if clip is None or clip.video.erased_at or not clip.video.copy:
        return None
    return clip.video_id


def _news(student: Student) -> list[Answered | JudgedStep]:
    """Answers and verdicts since the student last sent a clip, newest first."""
    entries = Entry.objects.filter(thread__student=student)
    sent = of_students(entries.filter(kind=Entry.Kind.SENT)).order_by("-pk").first()
    news = entries.filter(
        kind__in=(Entry.Kind.REVIEWED, Entry.Kind.JUDGED),
        pk__gt=sent.pk if sent else 0,
        created_at__gt=timezone.now() - NEWS_FOR,
    )
    rows = list(news.select_related("author").order_by("-pk")[:MOST_NEWS])
    verdicts = _verdicts([row.refs["verdict"] for row in rows if "verdict" in row.refs])
    reviews = Review.objects.prefetch_related("submissions__video").in_bulk(
        [row.refs["review"] for row in rows if "review" in row.refs]
    )
    found = [
        _answered(row, reviews) if "review" in row.refs else _judged(row, verdicts) for row in rows
    ]
    return [row for row in found if row is not None]


def _answered(entry: Entry, reviews: dict[int, Review]) -> Answered | None:
    """None for an entry whose row was erased."""
    review = reviews.get(entry.refs["review"])
    if review is None:
        return None
    videos = [v for clip in review.submissions.all() if (v := _shown(clip)) is not None]
    return Answered(
        review.pk,
        entry.author.name if entry.author else "",
        _quoted(entry.text),
        video=videos[0] if videos else None,
        is_read=entry.read_at is not None,
    )


def _judged(entry: Entry, verdicts: dict[int, Verdict]) -> JudgedStep | None:
    verdict = verdicts.get(entry.refs.get("verdict", 0))
    if verdict is None:
        return None
    step = verdict.attempt.step
    return JudgedStep(
        assignment=step.assignment_id,
        drill=step.assignment.drill_version.title,
        step=step.position + 1,
        decision=verdict.decision,
        cue=_quoted(verdict.cue),
        step_is_passed=step.passed_at is not None,
        is_climbed=step.assignment.closed_at is not None,
        verdict=verdict.pk,
        name=entry.author.name if entry.author else "",
        video=_shown(verdict.submission),
        is_read=entry.read_at is not None,
    )


def _quoted(text: str) -> str:
    text = in_one_line(text)
    return text if len(text) <= QUOTED else text[: QUOTED - 1].rstrip() + "…"
