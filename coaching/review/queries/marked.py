"""Marks and walk-throughs as plain rows."""

from __future__ import annotations

from typing import Any

from django.urls import reverse

from coaching.intake.models import Submission
from coaching.people.models import Student
from coaching.review.models import Mark, Review, WalkThrough


def moments(review: Review, clips: list[Submission]) -> list[dict[str, Any]]:
    """The noted moments of a review in order, each with its still: readable without script."""
    order = {clip.video_id: place for place, clip in enumerate(clips)}
    kept: dict[tuple[int, float], dict[str, Any]] = {}
    for mark in review.marks.all():
        key = (mark.video_id, round(mark.start_s, 2))
        row = kept.setdefault(
            key, {"video": mark.video_id, "time_s": mark.start_s, "text": [], "marks": []}
        )
        row["marks"].append(mark_row(mark))
        if mark.text:
            row["text"].append(mark.text)
    return sorted(kept.values(), key=lambda row: (order.get(row["video"], 99), row["time_s"]))


def mark_row(mark: Mark) -> dict[str, Any]:
    return {
        "id": mark.pk,
        "key": str(mark.key),
        "revision": mark.revision,
        "video": mark.video_id,
        "start_s": mark.start_s,
        "end_s": mark.end_s,
        "purpose": mark.purpose,
        "shape": mark.shape,
        "points": mark.points,
        "text": mark.text,
        "wanted": mark.wanted,
    }


def walk_row(walk: WalkThrough) -> dict[str, Any]:
    return {
        "id": walk.pk,
        "video": walk.video_id,
        "events": walk.events,
        "captions": walk.captions,
        "duration_s": walk.duration_s,
        "sound": reverse("review:sound", args=[walk.pk]) if walk.sound else "",
        "demonstration": reverse("review:demonstration", args=[walk.pk])
        if walk.demonstration
        else "",
        "finished": walk.finished_at is not None,
    }


def review_data(review: Review) -> dict[str, Any]:
    """A review's marks and walk-throughs, for the room and the reading page."""
    if not review.is_begun:
        return {"id": None, "revision": 0, "published": False, "marks": [], "walks": []}
    return {
        "id": review.pk,
        "revision": review.revision,
        "published": review.published_at is not None,
        "marks": [mark_row(mark) for mark in review.marks.all()],
        "walks": [walk_row(walk) for walk in review.walk_throughs.order_by("pk")],
    }


def wanted_marks(student: Student, *, review: Review | None = None) -> list[dict[str, Any]]:
    """Lines the coach wants to see next time, newest first, each with its still.

    Those of one sent review, or of all; lines on erased clips are left out.
    """
    rows = Mark.objects.filter(
        review__student=student,
        review__published_at__isnull=False,
        wanted=True,
        video__erased_at=None,
    )
    if review is not None:
        rows = rows.filter(review=review)
    return [
        mark_row(mark)
        | {"still": f"{reverse('review:still', args=[mark.video_id])}?time={mark.start_s:.3f}"}
        for mark in rows.order_by("-review__published_at", "start_s")[:12]
    ]
