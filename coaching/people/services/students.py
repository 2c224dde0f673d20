"""A student as the studio sees him: inviting, handing over, putting off, closing."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.mail import send_invitation
from coaching.people.models import Invitation, Membership, Student, Studio, User

STUDENT_LINK = timedelta(days=30)


@transaction.atomic
def invite_student(*, studio: Studio, by: User, name: str, email: str = "") -> Invitation:
    """A new student of `by`, and a link that lets them in once, mailed to an address."""
    email = email.strip().lower()
    if email and studio.students.filter(email=email, closed_at__isnull=True).exists():
        raise LessonError(
            _("You already have a student with this address: open their page instead."),
            code="already_student",
        )
    student = Student.objects.create(studio=studio, coach=by, name=name.strip(), email=email)
    return _invite(student, by)


@transaction.atomic
def open_door(*, student: Student, by: User) -> Invitation:
    """A new link for a student who has not joined; the old one stops working."""
    if student.user_id is not None:
        raise LessonError(
            _("%s has already joined: no link is needed.") % student.name,
            code="already_joined",
            status=409,
        )
    withdraw_invitation(student=student)
    return _invite(student, by)


def withdraw_invitation(*, student: Student) -> int:
    """Close every door that still stands open to the student; how many there were."""
    return student.invitations.filter(
        kind=Invitation.Kind.STUDENT, used_at__isnull=True, withdrawn_at__isnull=True
    ).update(withdrawn_at=timezone.now())


def _invite(student: Student, by: User) -> Invitation:
    invitation = Invitation.objects.create(
        studio=student.studio,
        student=student,
        email=student.email,
        invited_by=by,
        expires_at=timezone.now() + STUDENT_LINK,
    )
    send_invitation(invitation)
    return invitation


def find_invitation(token: str) -> Invitation:
    """The invitation behind a link that still opens a door.

    Raises
    ------
    LessonError
        404 for an unknown link, 410 for one that is used, withdrawn or too old.
    """
    row = Invitation.objects.select_related("studio", "student", "invited_by").filter(token=token)
    invitation = row.first()
    if invitation is None:
        raise LessonError(
            _("This link is not one of ours: check that you copied all of it."),
            code="unknown_link",
            status=404,
        )
    ask = _("Ask the person who sent it for a new one.")
    if invitation.used_at:
        raise LessonError(
            _("This link has been used already: sign in with your address instead."),
            code="used_link",
            status=410,
        )
    if invitation.withdrawn_at:
        raise LessonError(
            _("This link has been withdrawn.") + " " + ask, code="withdrawn_link", status=410
        )
    if invitation.expires_at <= timezone.now():
        raise LessonError(_("This link is too old.") + " " + ask, code="expired_link", status=410)
    return invitation


def take_up(invitation: Invitation) -> None:
    """Use an invitation: one conditional UPDATE decides who came first."""
    won = Invitation.objects.filter(
        pk=invitation.pk, used_at__isnull=True, withdrawn_at__isnull=True
    ).update(used_at=timezone.now())
    if not won:
        find_invitation(invitation.token)  # says why


def rename_student(*, student: Student, name: str, email: str) -> None:
    student.name, student.email = name.strip(), email.strip().lower()
    student.save(update_fields=["name", "email"])


def snooze_student(*, student: Student, until: datetime | None, by: User) -> None:
    """Put a student's row off until a moment; None brings it back now."""
    student.snoozed_until = until
    student.save(update_fields=["snoozed_until"])


def hand_over_student(*, student: Student, to: User, by: User) -> None:
    """Another coach of the same studio takes the student over."""
    if not access.is_staff_of(to, student, roles=access.TEACHING):
        raise LessonError(_("Choose somebody who teaches in this studio."), code="not_a_coach")
    student.coach = to
    student.save(update_fields=["coach"])


def close_student(*, student: Student) -> None:
    """The lessons are over for now; nothing is lost."""
    student.closed_at = timezone.now()
    student.save(update_fields=["closed_at"])


def reopen_student(*, student: Student) -> None:
    student.closed_at = None
    student.save(update_fields=["closed_at"])


def is_colleague(user: User, studio: Studio) -> bool:
    return Membership.objects.filter(user=user, studio=studio).exists()
