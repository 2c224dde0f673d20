"""Shared reads about people: what is agreed to, what is still to be asked."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from allauth.account.models import EmailAddress
from allauth.mfa.utils import is_mfa_enabled
from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from coaching.people import ties
from coaching.people.models import (
    ApiToken,
    AuditEntry,
    BodyNote,
    Consent,
    Guardianship,
    Invitation,
    Membership,
    Student,
    Studio,
    User,
)
from coaching.people.zones import zone

# Children grow: their stature and age band are asked again each quarter.
ASK_AGAIN_MINOR = timedelta(days=91)
ASK_AGAIN_ADULT = timedelta(days=365)


def guardians_of(student: Student) -> QuerySet[Guardianship]:
    """Guardians who have verified their own contact and still stand."""
    return student.guardianships.filter(verified_at__isnull=False, ended_at__isnull=True)


def decides_for(student: Student, by: User) -> bool:
    """Who makes links that need no account: a grown-up alone, for a minor the guardian."""
    if student.is_minor:
        return guardians_of(student).filter(user=by).exists()
    return student.user_id == by.pk


def guardian_asked(student: Student) -> Guardianship | None:
    """The guardian who was written to and has not answered yet."""
    return student.guardianships.filter(verified_at__isnull=True, ended_at__isnull=True).last()


def guardian_declined(student: Student) -> bool:
    """Whether the guardian who was asked last said no."""
    return AuditEntry.objects.filter(
        student_id=student.pk, act=AuditEntry.Act.GUARDIAN_DECLINED
    ).exists()


def wards_of(user: User) -> QuerySet[Student]:
    return Student.objects.filter(
        guardianships__user=user,
        guardianships__verified_at__isnull=False,
        guardianships__ended_at__isnull=True,
    ).distinct()


def active_consents(student: Student) -> QuerySet[Consent]:
    """What is agreed to now; a minor's consent counts only from a verified guardian."""
    rows = student.consents.filter(withdrawn_at__isnull=True)
    if student.is_minor:
        rows = rows.filter(given_by__in=guardians_of(student).values("user"))
    return rows


def consents_missing(student: Student) -> list[str]:
    """Purposes still to be agreed to before a clip may be stored and shown to the coach."""
    given = agreed_purposes(student)
    return [str(purpose) for purpose in Consent.NEEDED if purpose not in given]


def agreed_purposes(student: Student) -> set[str]:
    """The purposes that are agreed to now."""
    return set(active_consents(student).values_list("purpose", flat=True))


def who_agreed(purpose: str) -> QuerySet[Student]:
    """Students for whom `purpose` is agreed to now; for a minor by a guardian who stands."""
    given = Consent.objects.filter(purpose=purpose, withdrawn_at__isnull=True)
    standing = Guardianship.objects.filter(
        student=OuterRef("student"),
        user=OuterRef("given_by"),
        verified_at__isnull=False,
        ended_at__isnull=True,
    )
    minor = Q(student__age_band=Student.AgeBand.MINOR)
    return Student.objects.filter(pk__in=given.filter(~minor | Exists(standing)).values("student"))


def may_measure(student: Student) -> bool:
    """Whether the program may look for joints and angles in the student's clips."""
    return Consent.Purpose.MEASURE in agreed_purposes(student)


def shares_with_coach(student: Student) -> bool:
    """Whether the studio may look at the student's clips now."""
    return Consent.Purpose.SHARE_COACH not in consents_missing(student)


def next_step(student: Student) -> str | None:
    """The url name (argument: the student) of the joining step that is still open."""
    if student.is_minor and not guardians_of(student).exists():
        return "people:guardian_wait"
    if student.body_asked_at is None:
        return "people:body"
    if student.profile_confirmed_at is None:
        return "people:about"
    return "people:consents" if student.joined_at is None else None


def profile_is_old(student: Student) -> bool:
    """Whether stature and age band should be asked again."""
    if student.profile_confirmed_at is None:
        return False
    limit = ASK_AGAIN_MINOR if student.is_minor else ASK_AGAIN_ADULT
    return timezone.now() - student.profile_confirmed_at > limit


def active_body_notes(student: Student) -> QuerySet[BodyNote]:
    return student.body_notes.filter(over_at__isnull=True).order_by("created_at", "pk")


def open_invitation(student: Student) -> Invitation | None:
    """The newest invitation of the student himself that still opens a door."""
    return (
        student.invitations.filter(
            kind=Invitation.Kind.STUDENT,
            used_at__isnull=True,
            withdrawn_at__isnull=True,
            expires_at__gt=timezone.now(),
        )
        .order_by("created_at", "pk")
        .last()
    )


def staff_of(studio: Studio) -> QuerySet[Membership]:
    return studio.memberships.select_related("user").order_by("user__name", "pk")


def colleague(studio: Studio, pk: str | int) -> User | None:
    """Who works in the studio under this id, as it came from outside."""
    known = {str(row.user_id): row.user for row in staff_of(studio)}
    return known.get(str(pk))


def setup_is_open() -> bool:
    """Whether the first studio of this installation is still to be founded."""
    return not Studio.objects.filter(is_demo=False).exists()


def may_create_first_studio(user: User | AnonymousUser) -> bool:
    """On the page only where the app runs for one machine, or by a superuser; elsewhere with
    `manage.py createstudio`."""
    return bool(settings.EMBEDDED or user.is_superuser) and setup_is_open()


def zone_of(user: User) -> ZoneInfo:
    """Whose clock `user` reads: the own one, else that of the studio they belong to."""
    if user.time_zone:
        return zone(user.time_zone, settings.TIME_ZONE)
    studio = studio_of(user)
    return studio_zone(studio) if studio else zone(settings.TIME_ZONE)


def studio_of(user: User) -> Studio | None:
    """The studio somebody belongs to, by whatever tie: its clock and its colour are theirs."""
    return ties.of(user).studio


def studio_zone(studio: Studio) -> ZoneInfo:
    return zone(studio.time_zone, settings.TIME_ZONE)


def student_zone(student: Student) -> ZoneInfo:
    """The student's own clock, else the studio's."""
    if student.user is not None and student.user.time_zone:
        return zone(student.user.time_zone, settings.TIME_ZONE)
    return studio_zone(student.studio)


def student_day(student: Student, at: datetime | None = None) -> date:
    """The calendar day at the student's place, now or at a moment."""
    return timezone.localdate(at, student_zone(student))


def has_proved_address(user: User) -> bool:
    """Whether somebody opened a link that was mailed to the account's address."""
    rows = EmailAddress.objects.filter(user=user, email=user.email, verified=True)
    return bool(rows.exists())


def lacks_second_step(user: User | AnonymousUser) -> bool:
    """Whether a studio asks for a second step at sign-in that `user` has not set up."""
    return user.is_authenticated and ties.of(user).needs_second_step and not is_mfa_enabled(user)


def living_tokens(user: User) -> list[ApiToken]:
    """Keys of programs that still open something, the newest first."""
    rows = user.api_tokens.select_related("user").order_by("-pk")
    return [token for token in rows if token.is_alive]
