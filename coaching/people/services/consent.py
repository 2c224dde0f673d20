"""Who agreed to what, and guardians, who agree for minors."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.people.errors import LessonError
from coaching.people.mail import send_invitation
from coaching.people.models import Consent, Guardianship, Invitation, Student, User
from coaching.people.queries import guardians_of
from coaching.people.services.students import is_colleague, take_up
from coaching.people.telling import tell, withdraw_media

# Raise it when the words beside the boxes change their meaning.
TEXT_VERSION = "2026-11"
GUARDIAN_LINK = timedelta(days=14)


def mailbox(email: str) -> str:
    """The mailbox behind an address: lower case, without a +tag."""
    local, _at, domain = email.strip().lower().partition("@")
    return f"{local.partition('+')[0]}@{domain}"


@transaction.atomic
def name_guardian(*, student: Student, by: User, name: str, email: str) -> Invitation:
    """Write to a minor's guardian at a contact of their own; an earlier link stops working."""
    email = email.strip().lower()
    own = {student.email, student.user.email if student.user else ""}
    if mailbox(email) in {mailbox(address) for address in own if address}:
        raise LessonError(
            _("Give your guardian’s own address: it must differ from yours."), code="same_address"
        )
    if student.studio.memberships.filter(user__email=email).exists():
        raise LessonError(
            _("Somebody who works in the studio can’t be the guardian: name someone else."),
            code="staff_guardian",
        )
    student.guardianships.filter(verified_at__isnull=True).exclude(email=email).delete()
    Guardianship.objects.update_or_create(
        student=student, email=email, defaults={"name": name.strip(), "ended_at": None}
    )
    student.invitations.filter(
        kind=Invitation.Kind.GUARDIAN, used_at__isnull=True, withdrawn_at__isnull=True
    ).update(withdrawn_at=timezone.now())
    invitation = Invitation.objects.create(
        kind=Invitation.Kind.GUARDIAN,
        studio=student.studio,
        student=student,
        email=email,
        invited_by=by,
        expires_at=timezone.now() + GUARDIAN_LINK,
    )
    send_invitation(invitation)
    return invitation


@transaction.atomic
def agree_as_guardian(*, invitation: Invitation, user: User, purposes: Iterable[str]) -> Student:
    """A guardian opens the link sent to their own contact and says what may be done."""
    student = invitation.student
    if student is None or user.email != invitation.email or user.pk == student.user_id:
        raise LessonError(
            _("This link was sent to %s: sign in with that address.") % invitation.email,
            code="other_address",
            status=403,
        )
    if is_colleague(user, student.studio):
        raise LessonError(
            _("Somebody who works in the studio can’t be the guardian."),
            code="staff_guardian",
            status=409,
        )
    take_up(invitation)
    student.guardianships.filter(email=invitation.email).update(
        user=user, verified_at=timezone.now(), ended_at=None
    )
    give_consents(student=student, by=user, purposes=purposes)
    return student


@transaction.atomic
def give_consents(*, student: Student, by: User, purposes: Iterable[str]) -> list[Consent]:
    """Agree to each of `purposes`; what stands already stays as it is."""
    if student.is_minor and not guardians_of(student).filter(user=by).exists():
        raise LessonError(
            _("Your guardian agrees for you: ask them to do it."),
            code="guardian_decides",
            status=403,
        )
    wanted = [Consent.Purpose(purpose) for purpose in purposes]
    if student.is_minor:  # what was agreed to by anyone else does not count
        guardians = guardians_of(student).values("user")
        student.consents.filter(withdrawn_at__isnull=True).exclude(given_by__in=guardians).update(
            withdrawn_at=timezone.now()
        )
    standing = set(
        student.consents.filter(withdrawn_at__isnull=True).values_list("purpose", flat=True)
    )
    rows = [
        Consent.objects.create(
            student=student, purpose=purpose, given_by=by, text_version=TEXT_VERSION
        )
        for purpose in dict.fromkeys(wanted)
        if purpose not in standing
    ]
    if rows and (student.joined_at or student.is_minor):
        _tell(student, by, rows, given=True)
    return rows


@transaction.atomic
def withdraw_consents(*, student: Student, by: User) -> int:
    """Take back everything agreed to: all clips are erased, the words stay.

    Storing without showing, or showing without storing, serves nobody, so both go.
    """
    rows = list(student.consents.select_for_update().filter(withdrawn_at__isnull=True))
    now = timezone.now()
    for row in rows:
        row.withdrawn_at = now
        row.save(update_fields=["withdrawn_at"])
    if rows:
        _tell(student, by, rows, given=False)
    withdraw_media(student)  # last: a file can't be brought back by a rollback
    return len(rows)


def _tell(student: Student, by: User, rows: list[Consent], *, given: bool) -> None:
    tell(
        student=student,
        kind="consent",
        author=by,
        consents=[row.pk for row in rows],
        purposes=[row.purpose for row in rows],
        given=given,
    )
