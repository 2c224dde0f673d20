"""How long each kind of thing is kept. What a person made is told a month before it goes.

Films go by date through `people.erase_void_films`; rows without anybody's words just go. Kept until
the record is erased: words, figures, verdicts, pain reports, consents, and the log.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib.sessions.models import Session
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone

from analysis import sweeping
from coaching.intake.models import Submission
from coaching.lessons.models import PutOff
from coaching.notify.models import Notice, PushSubscription
from coaching.people.models import ApiToken, Invitation, Student
from coaching.people.queries import student_day
from coaching.people.services import consent

logger = logging.getLogger(__name__)
TOLD_BEFORE = timedelta(days=30)
BATCH = 5000


@dataclass(frozen=True)
class Kept:
    """Rows of one kind, and for how long after their end they stay."""

    kind: str
    after: timedelta
    rows: Callable[[], QuerySet]  # type: ignore[type-arg]  # of one model or another
    ended: str  # the column that says when

    def over(self) -> QuerySet:  # type: ignore[type-arg]
        return self.rows().filter(**{f"{self.ended}__lt": timezone.now() - self.after})


KINDS = (
    Kept("sessions", timedelta(0), Session.objects.all, "expire_date"),
    Kept("devices", timedelta(days=90), UserSession.objects.all, "last_seen_at"),
    Kept(
        "browsers with notifications", timedelta(days=90), PushSubscription.objects.all, "seen_at"
    ),
    Kept("invitations", timedelta(days=90), Invitation.objects.all, "expires_at"),
    Kept("keys of programs", timedelta(days=90), ApiToken.objects.all, "expires_at"),
    Kept("marks of sent emails", timedelta(days=180), Notice.objects.all, "sent_at"),
    Kept("things put off", timedelta(days=30), PutOff.objects.all, "until"),
)


def keep_no_longer() -> dict[str, int]:
    """Remove what has had its time, announce what will; how many of each kind."""
    told = {"films announced": announce()}

    def clear(kept: Kept) -> None:
        pks = list(kept.over().values_list("pk", flat=True)[:BATCH])
        told[kept.kind] = kept.rows().filter(pk__in=pks).delete()[0]

    sweeping.each(KINDS, clear, what="A kind that is kept no longer")
    return told


def announce() -> int:
    """Tell those whose lessons have long been closed when their films go; how many."""
    if not settings.KEEP_FILMS_DAYS:
        return 0
    since = timezone.now() - timedelta(days=settings.KEEP_FILMS_DAYS) + TOLD_BEFORE
    stored = Submission.objects.filter(student=OuterRef("pk"), video__erased_at=None)
    due = Student.objects.filter(Exists(stored), closed_at__lt=since, films_erased_on=None)

    def tell(student: Student) -> None:
        consent.announce_end_of_films(student, on=student_day(student) + TOLD_BEFORE)

    return sweeping.each(list(due.select_related("studio")), tell, what="The end of films")
