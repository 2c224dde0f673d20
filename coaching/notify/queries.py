"""What stands in somebody's calendar."""

from __future__ import annotations

from collections.abc import Iterator

from django.conf import settings
from django.db.models import Q
from django.utils.translation import gettext as _

from coaching import addresses
from coaching.intake.models import Request
from coaching.intake.queries import State, state, waiting_submissions
from coaching.notify.ical import Event
from coaching.people import access
from coaching.people.models import User
from coaching.practice.models import Assignment


def events_of(user: User) -> list[Event]:
    """For a student or guardian, what is due and when answers come; for a coach, promises."""
    return [*_due(user), *_awaited(user), *_promised(user)]


def _due(user: User) -> Iterator[Event]:
    mine = access.acts_as(user)
    requests = Request.objects.filter(
        student__in=mine, due_on__isnull=False, closed_at=None, suspended_at=None
    ).select_related("student__studio")
    for request in requests:
        assert request.due_on  # asked for above
        yield Event(
            uid=_uid("request", request.pk),
            when=request.due_on,
            summary=_("Film for %s") % request.student.studio.name,
            url=addresses.page("intake:request", request.pk),
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
        assert drill.due_on and drill.opened_at
        yield Event(
            uid=_uid("drill", drill.pk),
            when=drill.due_on,
            summary=drill.drill_version.title,
            url=addresses.page("practice:drill", drill.pk),
            changed_at=drill.opened_at,
        )


def _awaited(user: User) -> Iterator[Event]:
    """Answers that were promised to the student."""
    for clip in waiting_submissions(access.acts_as(user)):
        if state(clip) == State.REFUSED:
            continue
        yield Event(
            uid=_uid("answer", clip.pk),
            when=clip.promised_at,
            summary=_("An answer from %s") % clip.student.studio.name,
            url=addresses.page("intake:submission", clip.pk),
            changed_at=clip.created_at,
        )


def _promised(user: User) -> Iterator[Event]:
    """Of their own students; of students whom nobody coaches, all who teach there."""
    taught = access.students_taught(user, access.TEACHING)
    theirs = taught.filter(Q(coach=user) | Q(coach=None))
    for clip in waiting_submissions(theirs):
        if state(clip) == State.REFUSED:
            continue  # it waits for its student
        yield Event(
            uid=_uid("promise", clip.pk),
            when=clip.promised_at,
            summary=_("Answer %s") % clip.student.name,
            url=addresses.page("review:room", clip.pk),
            changed_at=clip.created_at,
        )


def _uid(kind: str, pk: int) -> str:
    host = settings.SITE_URL.partition("//")[2].partition("/")[0].partition(":")[0]
    return f"{kind}-{pk}@{host or 'causeway'}"
