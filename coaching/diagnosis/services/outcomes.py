"""What a passed drill does to a finding, and the new look afterwards."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.diagnosis import causes, queries
from coaching.diagnosis.models import Finding
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import User


@transaction.atomic
def close_finding(*, finding: Finding) -> list[Finding]:
    """Lay a finding to rest; returns the compensations that are now due for a new look."""
    findings = queries.visible(finding.student, finding.review)
    graph = queries.graph_of(finding.student, findings)
    freed = causes.released_by(graph, finding.pk) if finding.kind == Finding.Kind.CAUSE else []
    now = timezone.now()
    won = Finding.objects.filter(pk=finding.pk, closed_at__isnull=True).update(closed_at=now)
    if won:
        Finding.objects.filter(pk__in=freed).update(look_again_at=now)
    finding.refresh_from_db()
    return list(Finding.objects.filter(pk__in=freed)) if won else []


@transaction.atomic
def reopen_finding(*, finding: Finding, freed: Iterable[int]) -> None:
    """Undo `close_finding`: the cause is open, and what it released is left alone again."""
    Finding.objects.filter(pk=finding.pk).update(closed_at=None)
    Finding.objects.filter(pk__in=list(freed), closed_at=None).update(look_again_at=None)


@transaction.atomic
def look_again(*, finding: Finding, by: User, still_there: bool) -> Finding:
    """The coach has looked at a freed compensation: gone, or now a cause to work on."""
    access.require_teaching(by, finding.student)
    if finding.look_again_at is None or finding.closed_at is not None:
        raise LessonError(_("This one is not due for a new look."), code="not_due", status=409)
    finding.look_again_at = None
    if still_there:
        finding.kind = Finding.Kind.CAUSE
    else:
        finding.closed_at = timezone.now()
    finding.save(update_fields=["look_again_at", "kind", "closed_at"])
    return finding
