"""What the practice shows beside the clip, each thing read once."""

from __future__ import annotations

from typing import Any

from coaching.diagnosis.queries import Diagnosis, diagnosis_of
from coaching.people.errors import LessonError
from coaching.people.models import Student
from coaching.practice.models import Assignment, Drill
from coaching.practice.queries import pain
from coaching.practice.services import refusals
from coaching.review.models import Review


def drills_context(review: Review, trouble: str = "") -> dict[str, Any]:
    """Everything `practice/_drills.html` shows."""
    standing = getattr(review, "shown_diagnosis", None)
    standing = standing or diagnosis_of(review.student, review)
    drafts = _drafts(review)
    return {
        "student": review.student,
        "review": review,
        "diagnosis": standing,
        "drafts": [(a, _trouble_of(review, a, standing)) for a in drafts],
        "has_library": bool(drafts) or _has_library(review.student),
        "hurting": pain.hurting(review.student, notes=standing.body_notes),
        "trouble": trouble,
    }


def _drafts(review: Review) -> list[Assignment]:
    """The drills of this answer with their ladders: nothing was filmed for them yet."""
    if not review.is_begun:
        return []
    rows = review.assignments.select_related("drill_version__drill", "finding")
    return list(rows.prefetch_related("steps__criteria").order_by("pk"))


def _has_library(student: Student) -> bool:
    return Drill.objects.filter(studio=student.studio_id, retired_at=None).exists()


def _trouble_of(review: Review, assignment: Assignment, standing: Diagnosis) -> str:
    """Why a drill may not be sent as things stand; empty when it may."""
    if assignment.finding is None or review.published_at:
        return ""
    try:
        refusals.refuse_wrong_target(
            review=review,
            finding=assignment.finding,
            reason=assignment.override_reason,
            standing=standing,
        )
    except LessonError as error:
        return error.sentence
    return ""
