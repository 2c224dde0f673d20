"""What an owner sees of how the studio's machine runs: read when the page is opened, never kept."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from allauth.mfa.models import Authenticator
from django.conf import settings
from django.db.models import Count, Q, QuerySet, Sum
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from analysis.models import Run, Video
from coaching import health
from coaching.dashboard import queries as dashboard
from coaching.intake.models import Submission
from coaching.lessons.wording.codes import run_error_message
from coaching.notify.models import Notice
from coaching.people.models import ApiToken, Membership, Student, Studio, User
from coaching.people.queries import staff_of

MOST = 50  # rows of one list; the sentence above it counts all
FAILED_FOR = timedelta(days=90)
# An email that has waited so long, or was tried before, is worth a look.
SLOW_EMAIL = timedelta(minutes=15)
DOING = {
    Run.Kind.CHECK: gettext_lazy("being checked"),
    Run.Kind.COPY: gettext_lazy("being made ready to play"),
    Run.Kind.MEASURE: gettext_lazy("being measured"),
    Run.Kind.RENDER: gettext_lazy("being drawn"),
}
WAITS = {
    Run.Kind.CHECK: gettext_lazy("waits to be checked"),
    Run.Kind.COPY: gettext_lazy("waits to be made ready to play"),
    Run.Kind.MEASURE: gettext_lazy("waits to be measured"),
    Run.Kind.RENDER: gettext_lazy("waits to be drawn"),
}
# What an owner can do about a failure; where nothing stands, trying again is all.
REMEDY = {
    "storage_away": gettext_lazy("See that the storage of films answers, then try again."),
    "disk_full": gettext_lazy("Make room on the disk, then try again."),
    "internal": gettext_lazy("The log has the details under the number of this run."),
    "timed_out": gettext_lazy("Ask for a shorter film."),
    "too_heavy": gettext_lazy("Trying again will not help: ask for another film."),
    "unreadable": gettext_lazy("Trying again will not help: ask for another film."),
    "too_long": gettext_lazy("Trying again will not help: ask for a shorter film."),
    "too_short": gettext_lazy("Trying again will not help: ask for a longer film."),
    "missing": gettext_lazy("Bring the file back from a backup, then try again."),
}
# What is wrong with the machine as a whole, by the figure of `health` that says so.
TROUBLE = {
    "broker_up": gettext_lazy("The queue does not answer: films and emails wait."),
    "beat_age_seconds": gettext_lazy("No worker is heard: films and emails wait."),
    "run_oldest_seconds": gettext_lazy("A film has waited too long: are there enough workers?"),
    "pain_letter_oldest_seconds": gettext_lazy("An email about pain does not get out."),
    "account_letter_oldest_seconds": gettext_lazy("Emails with a way to sign in do not get out."),
    "disk_free_mib": gettext_lazy("The disk is nearly full."),
}  # fmt: skip


@dataclass(frozen=True)
class Work:
    """A run that waits or goes on."""

    run: Run
    submission: Submission

    @property
    def state(self) -> str:
        kind = Run.Kind(self.run.kind)
        if self.run.status == Run.Status.QUEUED:
            return str(WAITS[kind])
        done = round(100 * self.run.progress)
        return f"{DOING[kind]}, {done} %" if done else str(DOING[kind])

    @property
    def since(self) -> datetime:
        return self.run.started_at or self.run.queued_at


@dataclass(frozen=True)
class Failure:
    """A run that came to nothing, and what can be done."""

    run: Run
    submission: Submission

    @property
    def reason(self) -> str:
        return str(run_error_message(self.run.error_code).seen)

    @property
    def remedy(self) -> str:
        return str(REMEDY.get(self.run.error_code, ""))

    @property
    def helps(self) -> bool:
        """Whether trying again can end otherwise."""
        return self.run.error_code not in {"too_heavy", "unreadable", "too_long", "too_short"}


@dataclass(frozen=True)
class Member:
    """Somebody who works here, and by which ways they come in."""

    membership: Membership
    students: int
    second_step: bool
    programs: int
    last_here: datetime | None


def operations_of(studio: Studio) -> dict[str, Any]:
    """Everything on the page, of this studio alone but for the machine that all share."""
    failures, failed = _failures(studio), _runs(studio, Run.Status.FAILED).count()
    emails = list(stuck_emails(studio)[:MOST])
    trouble = [TROUBLE[r.name] for r in health.readings() if not r.good and r.name in TROUBLE]
    students = studio.students.all()
    return {
        "headline": headline(failed=failed, emails=len(emails), trouble=len(trouble)),
        "trouble": trouble,
        "queue": _queue(studio),
        "queued": _runs(studio, Run.Status.QUEUED, Run.Status.RUNNING).count(),
        "failures": failures,
        "failed": failed,
        "emails": emails,
        "storage": storage_of(studio),
        "month": dashboard.promises(students, days=30),
        "members": members_of(studio),
        "accounts": _accounts(students),
    }


def headline(*, failed: int, emails: int, trouble: int) -> str:
    """The page in one sentence, or two."""
    if trouble:
        return _("Something does not run as it should.")
    said = []
    if failed:
        said.append(
            ngettext(
                "One film could not be worked on.", "%(n)d films could not be worked on.", failed
            )
            % {"n": failed}
        )
    if emails:
        said.append(
            ngettext("One email has not got out.", "%(n)d emails have not got out.", emails)
            % {"n": emails}
        )
    return " ".join([*said, _("All else runs.")]) if said else _("Everything runs.")


def _runs(studio: Studio, *status: str) -> QuerySet[Run]:
    rows = Run.objects.filter(video__submission__student__studio=studio, status__in=status)
    if Run.Status.FAILED in status:  # what was filmed again, answered or is long ago is settled
        open_clip = Q(video__submission__replaced_by=None, video__submission__answered_at=None)
        rows = rows.filter(
            open_clip | Q(kind=Run.Kind.RENDER), finished_at__gt=timezone.now() - FAILED_FOR
        )
    return rows.select_related("video__submission__student", "video__submission__angle")


def _queue(studio: Studio) -> list[Work]:
    rows = _runs(studio, Run.Status.QUEUED, Run.Status.RUNNING)
    rows = rows.order_by("background", "-status", "pk")  # what runs, then what waits
    return [Work(run, run.video.submission) for run in rows[:MOST]]


def _failures(studio: Studio) -> list[Failure]:
    rows = _runs(studio, Run.Status.FAILED).order_by("-finished_at", "-pk")
    return [Failure(run, run.video.submission) for run in rows[:MOST]]


def stuck_emails(studio: Studio) -> QuerySet[Notice]:
    """Emails of the thread that were tried in vain, given up, or have waited for long."""
    slow = Q(attempts__gte=1) | Q(created_at__lt=timezone.now() - SLOW_EMAIL)
    return (
        Notice.objects.filter(slow, sent_at=None, entry__thread__student__studio=studio)
        .exclude(attempts=1, retry_at__gt=timezone.now())  # somebody is at it for the first time
        .select_related("user", "entry__thread__student")
        .order_by("pk")
    )


@dataclass(frozen=True)
class Storage:
    films: int
    films_gb: float
    free_gb: float
    whole_gb: float

    @property
    def shares(self) -> tuple[float, float]:
        """Percent of the disk: this studio's films, and everything else that is stored."""
        own = 100 * min(self.films_gb / self.whole_gb, 1.0)
        return own, max(100 * (1 - self.free_gb / self.whole_gb) - own, 0.0)


def storage_of(studio: Studio) -> Storage:
    """Films as they were sent; what we make of them is not counted. The disk is the machine's."""
    films = Video.objects.filter(submission__student__studio=studio, erased_at=None)
    told = films.aggregate(n=Count("pk"), size=Sum("size_bytes"))
    disk = shutil.disk_usage(settings.VAR_DIR)
    return Storage(told["n"], (told["size"] or 0) / 1e9, disk.free / 1e9, disk.total / 1e9)


def members_of(studio: Studio) -> list[Member]:
    rows = list(staff_of(studio))
    people = [row.user_id for row in rows]
    students = dict(
        studio.students.filter(closed_at=None, coach__in=people)
        .values_list("coach")
        .annotate(Count("pk"))
    )
    second = set(Authenticator.objects.filter(user__in=people).values_list("user_id", flat=True))
    alive = ApiToken.objects.filter(user__in=people, expires_at__gt=timezone.now())
    programs = dict(alive.values_list("user").annotate(Count("pk")))
    return [
        Member(
            membership=row,
            students=students.get(row.user_id, 0),
            second_step=row.user_id in second,
            programs=programs.get(row.user_id, 0),
            last_here=row.user.last_login,
        )
        for row in rows
    ]


def _accounts(students: QuerySet[Student]) -> dict[str, int]:
    """How many students and guardians can sign in."""
    learners = students.filter(user__isnull=False, closed_at=None).count()
    guardians = User.objects.filter(
        minors__student__in=students, minors__verified_at__isnull=False, minors__ended_at=None
    )
    return {"students": learners, "guardians": guardians.distinct().count()}
