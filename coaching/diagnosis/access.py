"""Who may see or change findings, and the catalogue of a studio."""

from __future__ import annotations

from django.db.models import QuerySet

from coaching.diagnosis.models import Finding
from coaching.people import access


def finding_draft(user: access.AnyUser, pk: int) -> Finding:
    """A finding that staff may still change: its review is a draft."""
    return access.get_object_or_404(
        access.rows_taught(user, Finding, roles=access.STAFF).select_related("student", "review"),
        pk=pk,
    )


def finding_teach(user: access.AnyUser, pk: int) -> Finding:
    return access.get_object_or_404(
        access.rows_taught(user, Finding).select_related("student", "review"), pk=pk
    )


def voice_read(user: access.AnyUser, pk: int) -> Finding:
    """A finding that `user` may read and of which something was said, or 404."""
    return access.get_object_or_404(findings_read(user).exclude(voice=""), pk=pk)


def question_act(user: access.AnyUser, pk: int) -> Finding:
    """A question that was sent to the student who, or whose guardian, is asking."""
    return access.get_object_or_404(
        access.rows_acted(user, Finding)
        .filter(kind=Finding.Kind.QUESTION, review__published_at__isnull=False)
        .select_related("student", "body_note"),
        pk=pk,
    )


def findings_read(user: access.AnyUser) -> QuerySet[Finding]:
    """What was sent to those whom `user` may see, and the drafts of the own studio."""
    taught = access.rows_taught(user, Finding, roles=access.STAFF)
    read = access.rows_read(user, Finding).filter(review__published_at__isnull=False)
    return taught | read
