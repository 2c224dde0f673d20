"""What stands in somebody's calendar."""

from __future__ import annotations

from collections.abc import Iterator

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _

from coaching.intake.models import Request, Submission
from coaching.notify.ical import Event
from coaching.people import access
from coaching.people.models import User
from coaching.practice.models import Assignment


def events_of(user: User) -> list[Event]:
    """For a student or guardian, what is due; for a coach, what was promised."""
    return [*_due(user), *_promised(user)]


def _due(user: User) -> Iterator[Event]:
    mine = access.acts_as(user)
    requests = Request.objects.filter(
        student__in=mine, due_on__isnull=False, closed_at=None, suspended_at=None
    ).select_related("student__studio")
    for request in requests:
        yield Event(
            uid=_uid("request", request.pk),
            when=request.due_on,
            summary=_("Film for %s") % request.student.studio.name,
            url=_address("intake:request", request.pk),
            changed_at=request.created_at,
        )
    drills = Assignment.objects.filter(
        student__in=mine,
        due_on__isnull=False,
        opened_at__isnull=False,
        closed_at=None,
        stopped_at=None,
    ).select_related("drill_version")
    for drill in drills:
        yield Event(
            uid=_uid("drill", drill.pk),
            when=drill.due_on,
            summary=drill.drill_version.title,
            url=_address("practice:drill", drill.pk),
            changed_at=drill.opened_at,
        )


def _promised(user: User) -> Iterator[Event]:
    waiting = Submission.objects.filter(
        student__in=access.students_taught(user).filter(coach=user),
        answered_at=None,
        replaced_by=None,
    ).select_related("student")
    for clip in waiting:
        yield Event(
            uid=_uid("promise", clip.pk),
            when=clip.promised_at,
            summary=_("Answer %s") % clip.student.name,
            url=_address("review:room", clip.pk),
            changed_at=clip.created_at,
        )


def _uid(kind: str, pk: int) -> str:
    host = settings.SITE_URL.partition("//")[2].partition("/")[0].partition(":")[0]
    return f"{kind}-{pk}@{host or 'causeway'}"


def _address(name: str, pk: int) -> str:
    return settings.SITE_URL.rstrip("/") + reverse(name, args=[pk])
