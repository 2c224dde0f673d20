"""What hurts, what limits, and what a drill loads."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import QuerySet

from coaching.people.models import BodyNote, Region, Student
from coaching.practice.models import PainReport


def open_pain(students: QuerySet[Student]) -> QuerySet[PainReport]:
    """Pain that no coach has reopened after, newest first; the unseen ones lead."""
    return (
        PainReport.objects.filter(student__in=students, reopened_at__isnull=True)
        .select_related("student", "assignment__drill_version")
        .order_by("seen_at", "-created_at")
    )


def report_sheet(report: PainReport) -> dict[str, Any]:
    """What stands beside a pain report: what stopped, what was said before, the films before it."""
    student = report.student
    stopped = list(
        student.assignments.filter(stopped_at__isnull=False, closed_at=None).select_related(
            "drill_version"
        )
    )
    loads = {region for assignment in stopped for region in assignment.drill_version.loads}
    films = student.submissions.filter(
        created_at__lte=report.created_at, replaced_by__isnull=True, video__erased_at=None
    )
    return {
        "report": report,
        "student": student,
        "stopped": stopped,
        "loads": [label for value, label in Region.choices if value in loads],
        "told": student.body_notes.order_by("-created_at")[:6],
        "before": student.pain_reports.exclude(pk=report.pk).order_by("-created_at")[:6],
        "films": films.exclude(video__copy="").select_related("video", "angle").order_by("-pk")[:4],
    }


def hurting(student: Student, *, notes: Iterable[BodyNote] | None = None) -> dict[str, str]:
    """Regions that hurt now, each with where that was said.

    `notes` are those of the body that are not over, where they were read already.
    """
    if notes is None:
        notes = student.body_notes.filter(over_at__isnull=True)
    regions = {
        note.region: note.text or note.get_region_display()
        for note in notes
        if note.kind in (BodyNote.Kind.PAINFUL, BodyNote.Kind.INJURY)
    }
    for report in student.pain_reports.filter(reopened_at__isnull=True):
        regions[report.region] = report.text or report.get_region_display()
    return regions


def limits(student: Student) -> dict[str, str]:
    """Limits of the body that were accepted: the plan works inside them."""
    notes = student.body_notes.filter(accepted_as_limit_at__isnull=False, over_at__isnull=True)
    return {note.region: note.text or note.get_region_display() for note in notes}


def loads_any(loads: Sequence[str], regions: Iterable[str]) -> list[str]:
    """Which of `regions` a drill loads; pain somewhere unnamed counts for every drill."""
    return [region for region in regions if region in loads or region == Region.OTHER]
