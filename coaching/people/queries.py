"""Shared reads about people: what is agreed to, what is still to be asked."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import QuerySet
from django.utils import timezone

from coaching.people.models import (
    BodyNote,
    Consent,
    Guardianship,
    Invitation,
    Membership,
    Student,
    Studio,
    User,
)

# Children grow: their stature and age band are asked again each quarter.
ASK_AGAIN_MINOR = timedelta(days=91)
ASK_AGAIN_ADULT = timedelta(days=365)


def guardians_of(student: Student) -> QuerySet[Guardianship]:
    """Guardians who have verified their own contact and still stand."""
    return student.guardianships.filter(verified_at__isnull=False, ended_at__isnull=True)


def guardian_asked(student: Student) -> Guardianship | None:
    """The guardian who was written to and has not answered yet."""
    return student.guardianships.filter(verified_at__isnull=True, ended_at__isnull=True).last()


def wards_of(user: User) -> QuerySet[Student]:
    return Student.objects.filter(
        guardianships__user=user,
        guardianships__verified_at__isnull=False,
        guardianships__ended_at__isnull=True,
    ).distinct()


def standing_consents(student: Student) -> QuerySet[Consent]:
    """What is agreed to now; a minor's consent counts only from a verified guardian."""
    rows = student.consents.filter(withdrawn_at__isnull=True)
    if student.is_minor:
        rows = rows.filter(given_by__in=guardians_of(student).values("user"))
    return rows


def consents_missing(student: Student) -> list[str]:
    """Purposes still to be agreed to before a clip may be stored and shown to the coach."""
    given = set(standing_consents(student).values_list("purpose", flat=True))
    return [purpose for purpose in Consent.Purpose.values if purpose not in given]


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


def standing_body_notes(student: Student) -> QuerySet[BodyNote]:
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


def setup_is_open() -> bool:
    """Whether the first studio of this installation is still to be founded."""
    return not Studio.objects.filter(is_demo=False).exists()
