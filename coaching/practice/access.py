"""Who may see, do or judge what of the practice."""

from __future__ import annotations

from django.db.models import QuerySet

from coaching.intake.models import Submission
from coaching.people import access
from coaching.practice.models import (
    Assignment,
    Attempt,
    Drill,
    DrillVersion,
    PainReport,
    PracticeSeries,
    Step,
    Verdict,
)
from coaching.practice.queries.ladders import with_ladder

# From a verdict to its student.
VERDICT = "attempt__step__assignment__student"


def assignment_read(user: access.AnyUser, pk: int) -> Assignment:
    """A drill that was sent, for whom it was sent to; a draft for its studio only; or 404."""
    rows = with_ladder(access.rows_read(user, Assignment))
    assignment = access.get_object_or_404(rows, pk=pk)
    if assignment.opened_at is None and not access.is_staff_of(user, assignment.student):
        raise access.Http404
    return assignment


def verdict_read(user: access.AnyUser, pk: int) -> Verdict:
    """A verdict, for its student, guardians and studio; or 404."""
    rows = access.rows_read(user, Verdict, VERDICT)
    return access.get_object_or_404(
        rows.select_related(
            "attempt__step__assignment__drill_version", "submission__video", "given_by"
        ),
        pk=pk,
    )


def assignment_act(user: access.AnyUser, pk: int) -> Assignment:
    """A drill of the student himself, or of a guardian's ward."""
    rows = access.rows_acted(user, Assignment).filter(opened_at__isnull=False)
    return access.get_object_or_404(rows.select_related("student", "drill_version"), pk=pk)


def assignment_teach(user: access.AnyUser, pk: int) -> Assignment:
    rows = access.rows_taught(user, Assignment).select_related("student", "drill_version", "review")
    return access.get_object_or_404(rows, pk=pk)


def attempt_teach(user: access.AnyUser, pk: int) -> Attempt:
    """An attempt that `user` may judge."""
    rows = access.rows_taught(user, Attempt, "step__assignment__student")
    return access.get_object_or_404(
        rows.select_related("step__assignment__student", "angle__request", "verdict"), pk=pk
    )


def attempt_act(user: access.AnyUser, pk: int) -> Attempt:
    rows = access.rows_acted(user, Attempt, "step__assignment__student")
    return access.get_object_or_404(rows.select_related("step__assignment__student"), pk=pk)


def drill_read(user: access.AnyUser, pk: int) -> Drill:
    """A drill of a studio in which `user` works."""
    rows = drills_read(user).prefetch_related("versions")
    return access.get_object_or_404(rows.select_related("studio"), pk=pk)


def drill_teach(user: access.AnyUser, pk: int) -> Drill:
    rows = Drill.objects.filter(studio__in=access.studios(user, access.TEACHING))
    return access.get_object_or_404(rows.select_related("studio"), pk=pk)


def verdict_teach(user: access.AnyUser, **which: int) -> Verdict:
    """A verdict that `user` may take back, by its key or its attempt; or 404."""
    return access.get_object_or_404(access.rows_taught(user, Verdict, VERDICT), **which)


def voice_read(user: access.AnyUser, pk: int) -> Verdict:
    """A verdict that was spoken, for whoever may read it; or 404."""
    return access.get_object_or_404(
        access.rows_read(user, Verdict, VERDICT).exclude(voice=""), pk=pk
    )


def assignments_read(user: access.AnyUser) -> QuerySet[Assignment]:
    """Drills that were opened, and those in drafts of the own studio."""
    taught = access.rows_taught(user, Assignment, roles=access.STAFF)
    read = access.rows_read(user, Assignment).filter(opened_at__isnull=False)
    return taught | read


def attempts_read(user: access.AnyUser) -> QuerySet[Attempt]:
    return access.rows_read(user, Attempt, "step__assignment__student")


def filmed_act(user: access.AnyUser, pk: int) -> Submission:
    """A clip filmed for a step, of the person himself or of his ward; or 404."""
    rows = access.rows_acted(user, Submission).filter(angle__attempts__isnull=False)
    return access.get_object_or_404(rows.distinct(), pk=pk)


def practised_read(user: access.AnyUser) -> QuerySet[PracticeSeries]:
    """What was practised alone, of the students that `user` may see."""
    return access.rows_read(user, PracticeSeries, "assignment__student")


def reports_read(user: access.AnyUser) -> QuerySet[PainReport]:
    return access.rows_read(user, PainReport)


def report_act(user: access.AnyUser, pk: int) -> PainReport:
    """A pain report of the person himself or of his ward; or 404."""
    return access.get_object_or_404(
        access.rows_acted(user, PainReport).select_related("student"), pk=pk
    )


def report_teach(
    user: access.AnyUser, pk: int, roles: tuple[str, ...] = access.TEACHING
) -> PainReport:
    """A pain report of a student whom `user` teaches; or 404."""
    rows = access.rows_taught(user, PainReport, roles=roles)
    return access.get_object_or_404(
        rows.select_related("student", "assignment__drill_version", "reported_by"), pk=pk
    )


def drills_read(user: access.AnyUser) -> QuerySet[Drill]:
    """Drills of the studios in which `user` works."""
    return Drill.objects.filter(studio__in=access.studios(user))


def step_read(user: access.AnyUser, pk: int) -> Step:
    """A step of a drill that the person may read; or 404."""
    step = access.get_object_or_404(Step.objects.all(), pk=pk)
    assignment_read(user, step.assignment_id)
    return step


def shown_read(user: access.AnyUser, pk: int) -> DrillVersion:
    """A version with the coach's own picture: for the studio, and students who have the drill."""
    version = access.get_object_or_404(DrillVersion.objects.select_related("drill"), pk=pk)
    ours = drills_read(user).filter(pk=version.drill_id)
    theirs = version.assignments.filter(student__in=access.acts_as(user), opened_at__isnull=False)
    if not version.shown or not (ours.exists() or theirs.exists()):
        raise access.Http404
    return version
