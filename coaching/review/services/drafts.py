"""Drafts of an answer: begun, written, held against a second window."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator

from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.intake.models import Submission
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.review.models import Review, ReviewVersion
from coaching.review.queries import answers


@transaction.atomic
def open_draft(*, submissions: Iterable[Submission], by: User) -> Review:
    """The draft that answers these clips: the one begun before, by whomever, or a new one.

    The student's row is locked, so that two windows that begin at once begin one draft.
    """
    clips = list(submissions)
    access.require_staff(by, clips[0].student)
    student = Student.objects.select_for_update().get(pk=clips[0].student_id)
    access.require_staff(by, student)
    if any(clip.student_id != student.pk for clip in clips):
        raise access.Http404
    review = answers.draft_of(clips) or Review.objects.create(student=student, coach=by)
    missing = {clip.pk for clip in clips} - set(review.submissions.values_list("pk", flat=True))
    if missing:
        review.submissions.add(*missing)
    return review


@contextlib.contextmanager
def begun_draft(*, submission: Submission, sent: int, by: User) -> Iterator[Review]:
    """The draft that answers a clip, begun by the write that happens inside.

    Looking begins nothing. What is refused inside leaves no empty draft behind.

    Parameters
    ----------
    sent : int
        How many answers about the clip were sent when the page was drawn. One more since
        then means that this page writes into an answer that has gone: 409.
    """
    access.require_staff(by, submission.student)
    with transaction.atomic():
        access.require_staff(by, Student.objects.select_for_update().get(pk=submission.student_id))
        if answers.count_sent(submission) != sent:
            raise sent_already()
        clips = answers.clips_to_answer(submission)
        begun = answers.draft_of(clips)
        if begun is None:
            yield open_draft(submissions=clips, by=by)
            return
    yield begun  # somebody else's begin: not rolled back with what happens inside


def save_words(*, review: Review, text: str, revision: int, by: User) -> int:
    """Keep what is written; returns the new revision.

    Raises
    ------
    LessonError
        409 `changed_elsewhere` when another tab or coach was faster: the words of this one
        are kept as a version, and both come back. Not atomic, or the version would be lost.
    """
    access.require_staff(by, review.student)
    draft = Review.objects.filter(pk=review.pk, published_at=None)
    # A draft without a word has nothing to lose, whatever the window last knew.
    if draft.filter(Q(revision=revision) | Q(revision=0, text="")).update(
        text=text, revision=F("revision") + 1
    ):
        return draft.values_list("revision", flat=True).get()
    standing = Review.objects.get(pk=review.pk)
    refuse_published(standing)
    if standing.text == text:
        return standing.revision
    waiting = ReviewVersion.objects.filter(review=review, text=text, resolved_at=None)
    version = waiting.first() or ReviewVersion.objects.create(review=review, author=by, text=text)
    raise LessonError(
        _("These words were changed in another window. Both are kept: choose one, or join them."),
        code="changed_elsewhere",
        status=409,
        theirs=standing.text,
        yours=text,
        revision=standing.revision,
        version=version.pk,
    )


def resolve_version(*, version: ReviewVersion, by: User) -> None:
    """Somebody has chosen: the version that lost is not offered again."""
    access.require_staff(by, version.review.student)
    ReviewVersion.objects.filter(pk=version.pk, resolved_at=None).update(resolved_at=timezone.now())


def hold_draft(review: Review) -> None:
    """Lock a draft until the transaction ends: sending waits, and what was sent refuses.

    Call it first in the transaction of everything that writes into a draft. The row in
    hand may be old; only the locked one tells.
    """
    refuse_published(Review.objects.select_for_update().get(pk=review.pk))


def refuse_published(review: Review) -> None:
    if review.published_at is not None:
        raise sent_already()


def sent_already() -> LessonError:
    return LessonError(
        _("This answer was sent and no longer changes. Open the clip again to add another."),
        code="published",
        status=409,
    )
