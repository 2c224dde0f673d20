"""Notes and drawings on a moment."""

from __future__ import annotations

import math
import uuid
from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from analysis.models import Video
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.people.once import SENT_TWICE
from coaching.review.models import Mark, Review
from coaching.review.queries import marked
from coaching.review.services.drafts import hold_draft

MOST_POINTS = 400

MOST_MARKS = 200

SHAPES = ("upright", "line", "across", "arrow", "angle", "ring", "free", "text", "note")


@transaction.atomic
def add_mark(
    *, review: Review, by: User, video: Video, key: uuid.UUID | None = None, **fields: Any
) -> Mark:
    """Keep a drawing or note; sent twice, with the same key or without any, it is one."""
    access.require_staff(by, review.student)
    hold_draft(review)
    check_belongs(review, video)
    fields = _checked_mark(video, **fields)
    if sent := review.marks.filter(key=key).first() if key else _twin(review, video, fields):
        return sent
    if review.marks.count() >= MOST_MARKS:
        raise LessonError(
            _("This review holds %(most)d marks, more than anyone can follow. Remove some first.")
            % {"most": MOST_MARKS}
        )
    return Mark.objects.create(review=review, video=video, key=key or uuid.uuid4(), **fields)


def _twin(review: Review, video: Video, fields: dict[str, Any]) -> Mark | None:
    """The same mark, made a moment ago. Call it while the draft is held."""
    recent = review.marks.filter(video=video, created_at__gt=timezone.now() - SENT_TWICE)
    return next((row for row in recent if _content(row) == fields), None)


def _content(mark: Mark) -> dict[str, Any]:
    return {name: getattr(mark, name) for name in _MARK_FIELDS}


def change_mark(*, mark: Mark, by: User, revision: int, **fields: Any) -> Mark:
    """Move or rewrite a mark.

    Raises
    ------
    LessonError
        409 when it was changed elsewhere meanwhile: this version is kept as a second mark,
        whose row comes back as `copy`.
    """
    access.require_staff(by, mark.review.student)
    whole = _checked_mark(mark.video, **_content(mark) | fields)
    with transaction.atomic():  # ends before the refusal, or the second mark would be lost
        hold_draft(mark.review)
        rows = Mark.objects.filter(pk=mark.pk, revision=revision)
        if rows.update(revision=F("revision") + 1, **whole):
            mark.refresh_from_db()
            return mark
        mark.refresh_from_db()
        if _content(mark) == whole:  # the same change, sent twice
            return mark
        second = _twin(mark.review, mark.video, whole) or Mark.objects.create(
            review=mark.review, video=mark.video, **whole
        )
    raise LessonError(
        _("This mark was changed in another window. Both are kept; remove the one you don’t want."),
        code="changed_elsewhere",
        status=409,
        theirs=marked.mark_row(mark),
        copy=marked.mark_row(second),
    )


@transaction.atomic
def remove_mark(*, mark: Mark, by: User) -> None:
    access.require_staff(by, mark.review.student)
    hold_draft(mark.review)
    mark.delete()


_MARK_FIELDS = ("start_s", "end_s", "purpose", "shape", "points", "text", "wanted")


def _checked_mark(video: Video, *, start_s: float, end_s: float | None = None, purpose: str = "",
                  shape: str, points: list[Any] | None = None, text: str = "",
                  wanted: bool = False) -> dict[str, Any]:  # fmt: skip
    points = points or []
    if shape not in SHAPES:
        raise LessonError(_("Choose what the mark is for first."), code="shape")
    if len(points) > MOST_POINTS:
        raise LessonError(
            _("This drawing has more points than can be shown. Draw it in fewer strokes."),
            code="too_many_points",
            status=413,
        )
    if not all(is_inside(point) for point in points):
        raise LessonError(
            _("The mark lies outside the picture. Place it on the picture."), code="outside"
        )
    check_time(video, start_s)
    if end_s is not None:
        check_time(video, end_s)
        start_s, end_s = sorted((start_s, end_s))
    return {
        "start_s": start_s, "end_s": end_s, "purpose": purpose, "shape": shape,
        "points": points, "text": text.strip(), "wanted": wanted,
    }  # fmt: skip


def is_inside(point: Any) -> bool:
    return len(point) == 2 and all(math.isfinite(v) and 0 <= v <= 1 for v in point)


def check_belongs(review: Review, video: Video) -> None:
    if not review.submissions.filter(video=video).exists():
        raise LessonError(_("This clip is not part of the review. Open it from the waiting list."))


def check_time(video: Video, time_s: float) -> None:
    if not (math.isfinite(time_s) and 0 <= time_s <= (video.duration_s or math.inf) + 1):
        raise LessonError(
            _("That moment lies outside the clip. Choose one inside it."), code="time"
        )
