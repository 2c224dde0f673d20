"""A student as the studio sees him: inviting, handing over, closing."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.people import access, audit
from coaching.people.errors import LessonError
from coaching.people.mail import refuse_too_many_letters, send_invitation
from coaching.people.models import Invitation, Membership, Student, StudentTag, Studio, User
from coaching.people.names import plain_name
from coaching.people.once import SENT_TWICE, in_turn
from coaching.people.texts import short_line

STUDENT_LINK = timedelta(days=30)


@transaction.atomic
def invite_student(*, studio: Studio, by: User, name: str, email: str = "") -> Invitation:
    """A new student of `by`, and a link that lets them in once, mailed to an address.

    The same name and address of the same person within a minute is the form sent twice.
    """
    access.require_role(by, studio, access.TEACHING)
    email, name = email.strip().lower(), plain_name(name)
    in_turn(studio)
    if twin := sent_twice(studio.invitations, by, student__name=name, email=email):
        return twin
    if email and studio.students.filter(email=email, closed_at__isnull=True).exists():
        raise LessonError(
            _("You already have a student with this address: open their page instead."),
            code="already_student",
        )
    refuse_too_many_letters(by=by)
    student = Student.objects.create(studio=studio, coach=by, name=name, email=email)
    return _invite(student, by)


def sent_twice(invitations: Any, by: User, **fields: Any) -> Invitation | None:
    """The invitation that this very form made a moment ago."""
    found: Invitation | None = invitations.filter(
        invited_by=by,
        created_at__gt=timezone.now() - SENT_TWICE,
        withdrawn_at__isnull=True,
        used_at__isnull=True,
        **fields,
    ).first()
    return found


@transaction.atomic
def renew_invitation(*, student: Student, by: User) -> Invitation:
    """A new link for a student who has not joined; the old one stops working."""
    access.require_teaching(by, student)
    if student.user_id is not None:
        raise LessonError(
            _("%s has already joined: no link is needed.") % student.name,
            code="already_joined",
            status=409,
        )
    in_turn(student)
    just_now = timezone.now() - SENT_TWICE
    if student.invitations.filter(withdrawn_at__gt=just_now).exists():
        kind = Invitation.Kind.STUDENT
        if twin := sent_twice(student.invitations, by, kind=kind):
            return twin
    refuse_too_many_letters(by=by)
    withdraw_invitation(student=student, by=by)
    return _invite(student, by)


def withdraw_invitation(*, student: Student, by: User) -> int:
    """Close every door that still stands open to the student; how many there were."""
    access.require_teaching(by, student)
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
    audit.write(audit.Act.INVITED, by=by, student=student)
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


@transaction.atomic
def rename_student(*, student: Student, by: User, name: str, email: str) -> None:
    access.require_teaching(by, student)
    audit.write(audit.Act.CHANGED, by=by, student=student, fields=["email", "name"])
    student.name, student.email = plain_name(name), email.strip().lower()
    student.save(update_fields=["name", "email"])


TAG_LONGEST = 24


def tag_student(*, student: Student, by: User, label: str) -> None:
    """Put a word on a student; the same word twice is one."""
    access.require_teaching(by, student)
    label = short_line(label, most=TAG_LONGEST)
    if not label:
        raise LessonError(_("Write the tag first."), code="no_tag")
    StudentTag.objects.get_or_create(student=student, label=label)


def untag_student(*, student: Student, by: User, label: str) -> None:
    access.require_teaching(by, student)
    student.tags.filter(label=label).delete()


@transaction.atomic
def hand_over_student(*, student: Student, to: User, by: User) -> None:
    """Another coach of the same studio takes the student over."""
    access.require_teaching(by, student)
    if not access.is_staff_of(to, student, roles=access.TEACHING):
        raise LessonError(_("Choose somebody who teaches in this studio."), code="not_a_coach")
    student.coach = to
    student.save(update_fields=["coach"])
    audit.write(audit.Act.HANDED_OVER, by=by, student=student, to=to.pk)


@transaction.atomic
def close_student(*, student: Student, by: User) -> None:
    """The lessons are over for now; nothing is lost."""
    access.require_teaching(by, student)
    now = timezone.now()
    if Student.objects.filter(pk=student.pk, closed_at=None).update(closed_at=now):
        student.closed_at = now
        audit.write(audit.Act.CLOSED, by=by, student=student, closed=True)


@transaction.atomic
def reopen_student(*, student: Student, by: User) -> None:
    access.require_teaching(by, student)
    audit.write(audit.Act.CLOSED, by=by, student=student, closed=False)
    student.closed_at = None
    if student.consents.filter(withdrawn_at=None).exists():  # films were to go with the lessons
        student.films_erased_on = None
    student.save(update_fields=["closed_at", "films_erased_on"])


def is_colleague(user: User, studio: Studio) -> bool:
    return Membership.objects.filter(user=user, studio=studio).exists()
