"""Sending an answer, and ten seconds to take it back."""

from __future__ import annotations

from typing import Protocol

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.intake.models import Submission
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.review.models import Review
from coaching.review.services import films
from coaching.review.services.drafts import refuse_published


class SentListener(Protocol):
    def __call__(self, *, review: Review, by: User) -> object: ...


class TakenBackListener(Protocol):
    def __call__(self, *, review: Review) -> object: ...


# What slices to the right put into an answer, when it is sent and when that is undone: each
# fills these in `AppConfig.ready` and is called inside the transaction.
on_sent: list[SentListener] = []

on_taken_back: list[TakenBackListener] = []


def why_not_yet(review: Review) -> str:
    """Why the review cannot be sent now, as a sentence with what to do; empty when it can."""
    if (
        review.student.needs_captions
        and review.walk_throughs.filter(captions="").exclude(sound="").exists()
    ):
        return _("%(name)s reads what you say: write the captions of your walk-through first.") % {
            "name": review.student.name
        }
    return ""


@transaction.atomic
def publish_review(*, review: Review, by: User) -> Review:
    """Send an answer with everything in it: the one way, for page, API and demo.

    Freezes the review, answers its clips, tells the thread, and lets the slices to the right
    open what they put into it (`on_sent`): everything at once, or nothing.

    Raises
    ------
    LessonError
        409 when it was sent already; 400 when captions are needed first, or when a slice
        to the right refuses what it would open.
    """
    access.require_teaching(by, review.student)
    refusal = why_not_yet(review)
    if refusal:
        raise LessonError(refusal, code="captions_needed")
    now = timezone.now()
    won = Review.objects.filter(pk=review.pk, published_at=None).update(published_at=now, coach=by)
    if not won:
        refuse_published(Review.objects.get(pk=review.pk))
    review.refresh_from_db()
    review.walk_throughs.filter(Q(sound="") & Q(demonstration="")).delete()  # no file in them
    clips = list(review.submissions.values_list("pk", flat=True))
    Submission.objects.filter(pk__in=clips, answered_at=None).update(answered_at=now)
    lessons.record(
        student=review.student,
        kind=Entry.Kind.REVIEWED,
        author=by,
        text=review.text,
        review=review.pk,
        submissions=clips,
    )
    for sent in on_sent:
        sent(review=review, by=by)
    return review


@transaction.atomic
def take_back_review(*, review: Review, by: User) -> Review:
    """Make a sent answer a draft again, within ten seconds and before anybody was written to.

    Raises
    ------
    LessonError
        409 when it is too late, or when the student has begun with what was sent.
    """
    access.require_teaching(by, review.student)
    row = Review.objects.select_for_update().get(pk=review.pk)
    lessons.refuse_too_late(row.published_at)
    lessons.unrecord(student=row.student, kind=Entry.Kind.REVIEWED, review=row.pk)
    films.remove_films_of(row)
    for taken_back in on_taken_back:
        taken_back(review=row)
    answered = Submission.objects.filter(reviews=row, answered_at=row.published_at)
    Submission.objects.filter(pk__in=list(answered.values_list("pk", flat=True))).update(
        answered_at=None
    )
    row.published_at = None
    row.save(update_fields=["published_at"])
    return row
