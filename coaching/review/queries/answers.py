"""The answer to a clip: begun, blank or sent, the clips it is about, what is said every day."""

from __future__ import annotations

import re
from collections.abc import Sequence

from django.db.models import Q

from analysis.models import Video
from coaching.intake import queries as intake
from coaching.intake.models import Submission
from coaching.lessons import places
from coaching.people import access
from coaching.people.models import Student
from coaching.review.models import Review, ReviewVersion, Snippet

# What stands in an address for an answer that nobody has begun: the clip it answers, and
# how many answers about that clip had been sent when the page was drawn.
BEGINS = re.compile(r"clip-(?P<clip>\d{1,18})-(?P<sent>\d{1,9})")


def blank(
    submission: Submission, clips: list[Submission] | None = None, *, sent: int | None = None
) -> Review:
    """The answer to a clip that nobody has begun: to be shown, not stored."""
    review = Review(student=submission.student)
    review.to_answer = clips_to_answer(submission) if clips is None else clips
    count = count_sent(submission) if sent is None else sent
    review.begins_at = f"clip-{submission.pk}-{count}"
    return review


def draft_of(clips: Sequence[Submission]) -> Review | None:
    """The draft that somebody has begun about any of these clips."""
    drafts = Review.objects.filter(published_at=None, submissions__in=[clip.pk for clip in clips])
    return drafts.select_related("student").order_by("pk").first()


def count_sent(submission: Submission) -> int:
    return submission.reviews.filter(published_at__isnull=False).count()


def snippets(
    user: access.AnyUser, student: Student, *, measure: str = "", target: str = ""
) -> list[Snippet]:
    """What this studio says every day, each with this student's own name in it."""
    rows = Snippet.objects.filter(studio__in=access.studios(user), studio=student.studio_id)
    return [said_to(row, student, measure=measure, target=target) for row in rows]


def said_to(snippet: Snippet, student: Student, *, measure: str = "", target: str = "") -> Snippet:
    """The sentence as it reads to one student; not to be saved."""
    for part in ("title", "text"):
        said = getattr(snippet, part)
        setattr(snippet, part, places.fill(said, student, measure=measure, target=target))
    return snippet


def clips_to_answer(submission: Submission) -> list[Submission]:
    """The clip and its siblings of the same request that are not yet answered, in order.

    A sibling that was sent back waits for its student, not for this answer.
    """
    if submission.angle is None:
        return [submission]
    open_siblings = Q(
        angle__request=submission.angle.request_id, replaced_by=None, answered_at=None
    )
    rows = Submission.objects.filter(open_siblings | Q(pk=submission.pk))
    rows = rows.select_related("student", "video", "angle")
    return [
        clip
        for clip in rows.prefetch_related("video__runs").order_by("angle__position", "pk")
        if clip.pk == submission.pk or intake.state(clip) != intake.State.REFUSED
    ]


def to_write_and_sent(
    submission: Submission, clips: list[Submission]
) -> tuple[Review, list[Review]]:
    """The answer to write, begun or blank, and what was sent about the clip, newest first."""
    rows = Review.submissions.through.objects.filter(submission__in=clips)
    about = rows.select_related("review__student").order_by("-review__published_at", "review")
    begun, sent = [], []
    for row in about:
        if row.review.published_at is None:
            begun.append(row.review)
        elif row.submission_id == submission.pk:
            sent.append(row.review)
    first = min(begun, key=lambda review: review.pk, default=None)
    return first or blank(submission, clips, sent=len(sent)), sent


def comparable_clips(video: Video) -> list[Submission]:
    """Other measured clips of the same student and angle, newest first."""
    submission = video.submission
    rows = Submission.objects.filter(student=submission.student_id, video__view=video.view)
    rows = rows.exclude(video=video.pk).exclude(video__copy="").select_related("video", "angle")
    return list(rows.order_by("-created_at")[:50])


def versions_of(review: Review) -> list[ReviewVersion]:
    """Words that lost a race against another window, until somebody has chosen."""
    if not review.is_begun:
        return []
    return list(review.versions.filter(resolved_at=None).select_related("author"))
