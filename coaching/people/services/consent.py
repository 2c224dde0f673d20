"""Who agreed to what, and guardians, who agree for minors."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.people import access, audit
from coaching.people.accounts import prove_address
from coaching.people.errors import LessonError
from coaching.people.listeners import (
    decider_changed,
    notify,
    notify_once,
    start_measuring,
    stop_measuring,
    withdraw_media,
)
from coaching.people.mail import refuse_too_many_letters, send_invitation
from coaching.people.models import Consent, Guardianship, Invitation, Student, User
from coaching.people.names import plain_name
from coaching.people.once import in_turn
from coaching.people.queries import guardians_of, student_day
from coaching.people.services.students import is_colleague, sent_twice, take_up

logger = logging.getLogger(__name__)

# Raise it when the words beside the boxes change their meaning.
TEXT_VERSION = "2026-11-29"
GUARDIAN_LINK = timedelta(days=14)
ASKED_DAYS = 30
REMIND = timedelta(days=7)


def mailbox(email: str) -> str:
    """The mailbox behind an address: lower case, without a +tag."""
    local, _at, domain = email.strip().lower().partition("@")
    return f"{local.partition('+')[0]}@{domain}"


@transaction.atomic
def name_guardian(*, student: Student, by: User, name: str, email: str) -> Invitation:
    """Write to a minor's guardian at a contact of their own; an earlier link stops working.

    While a guardian stands, only that guardian or the studio's owner names another: else a
    minor could let somebody in who then decides.
    """
    _require_naming(student, by)
    name = plain_name(name)
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
    in_turn(student)
    kind = Invitation.Kind.GUARDIAN
    if twin := sent_twice(student.invitations, by, kind=kind, email=email):
        return twin
    if guardians_of(student).filter(email=email).exists():
        raise LessonError(
            _("This person is your guardian here already."), code="already_guardian", status=409
        )
    refuse_too_many_letters(by=by, student=student)
    student.guardianships.filter(verified_at__isnull=True).exclude(email=email).delete()
    Guardianship.objects.update_or_create(
        student=student,
        email=email,
        defaults={"name": name, "ended_at": None, "verified_at": None, "user": None},
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
    _tell_guardianship(student, by, "named", name=name)
    audit.write(audit.Act.GUARDIAN_NAMED, by=by, student=student)
    return invitation


def _require_naming(student: Student, by: User) -> None:
    standing = guardians_of(student)
    if not student.is_minor:
        raise LessonError(_("A guardian is for students under 18."), code="not_a_minor", status=409)
    is_guardian = standing.filter(user=by).exists()
    if access.is_staff_of(by, student, access.OWNERS) or is_guardian:
        return
    access.require_acting(by, student)
    if standing.exists():
        raise LessonError(
            _("Only your guardian or the studio can name another guardian: ask them to do it."),
            code="guardian_decides",
            status=403,
        )


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
    if Student.objects.filter(user=user, age_band=Student.AgeBand.MINOR).exists():
        raise LessonError(
            _("Somebody under 18 can’t be a guardian: name a parent or legal guardian."),
            code="minor_guardian",
            status=409,
        )
    take_up(invitation)
    student.guardianships.filter(email=invitation.email).update(
        user=user, verified_at=timezone.now(), ended_at=None, of_age_at=None
    )
    prove_address(user)
    _tell_guardianship(student, user, "agreed")
    audit.write(audit.Act.GUARDIAN_AGREED, by=user, student=student)
    give_consents(student=student, by=user, purposes=purposes)
    return student


@transaction.atomic
def decline_as_guardian(*, invitation: Invitation) -> Student:
    """Whoever holds the link that went to the guardian's own address says no.

    The link ends and nothing is kept of them; the student may name somebody else.
    """
    student = invitation.student
    if student is None or invitation.kind != Invitation.Kind.GUARDIAN:
        raise LessonError(_("This link is for somebody else."), code="other_link")
    take_up(invitation)
    asked = student.guardianships.filter(email=invitation.email, verified_at__isnull=True)
    row = asked.first()
    name = row.name if row else invitation.email
    asked.delete()
    notify(student=student, kind="guardian", author=None, step="declined", name=name)
    audit.write(audit.Act.GUARDIAN_DECLINED, by=None, student=student)
    return student


@transaction.atomic
def declare_of_age(*, student: Student, by: User) -> bool:
    """A guardian says that the student is 18; whether it counts now.

    It counts once every guardian who stands says so. Each step is an entry and an e-mail to
    every guardian, the student and the coach. What the guardians agreed to is then void: the
    student is asked, and without an answer the films are erased by a date.
    """
    own = guardians_of(student).filter(user=by)
    if not own.exists():
        raise LessonError(
            _("Only your guardian can say that you have come of age: ask them to do it."),
            code="guardian_decides",
            status=403,
        )
    in_turn(student)
    now = timezone.now()
    if not own.filter(of_age_at=None).update(of_age_at=now):
        return False  # said before; another guardian has not said so yet
    everybody = list(guardians_of(student).values_list("user", flat=True))
    counts = not guardians_of(student).filter(of_age_at__isnull=True).exists()
    step = "came_of_age" if counts else "says_of_age"
    _tell_guardianship(student, by, step, guardians=everybody)
    audit.write(audit.Act.CAME_OF_AGE, by=by, student=student, counts=counts)
    if counts:
        guardians_of(student).update(ended_at=now)
    return counts


@transaction.atomic
def give_consents(*, student: Student, by: User, purposes: Iterable[str]) -> list[Consent]:
    """Agree to each of `purposes`; what stands already stays as it is."""
    access.require_acting(by, student)
    in_turn(student)
    if student.is_minor and not guardians_of(student).filter(user=by).exists():
        raise LessonError(
            _("Your guardian agrees for you: ask them to do it."),
            code="guardian_decides",
            status=403,
        )
    if not student.is_minor and student.user_id != by.pk:
        raise LessonError(
            _("The student is 18 and agrees for themselves."), code="not_yours", status=403
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
    if rows:
        audit.write(
            audit.Act.CONSENTED, by=by, student=student, purposes=[row.purpose for row in rows]
        )
    if rows and (student.joined_at or student.is_minor):
        _notify(student, by, rows, given=True)
    fresh = {row.purpose for row in rows}
    if Consent.Purpose.STORE in standing | fresh:
        Student.objects.filter(pk=student.pk).update(films_erased_on=None)
    if Consent.Purpose.MEASURE in fresh:
        start_measuring(student)
    return rows


@transaction.atomic
def choose_consents(*, student: Student, by: User, purposes: Iterable[str]) -> None:
    """Each purpose as it is wanted now: what is new is agreed to, what was left is taken back.

    A purpose without which no film is kept is not taken back here: that erases the films, and
    `withdraw_consents` does it.
    """
    wanted = set(purposes)
    give_consents(student=student, by=by, purposes=[p for p in Consent.Purpose if p in wanted])
    standing = student.consents.select_for_update().filter(withdrawn_at__isnull=True)
    rows = list(standing.exclude(purpose__in={*Consent.NEEDED, *wanted}))
    standing.filter(pk__in=[row.pk for row in rows]).update(withdrawn_at=timezone.now())
    if rows:
        audit.write(
            audit.Act.WITHDREW, by=by, student=student, purposes=[row.purpose for row in rows]
        )
        _notify(student, by, rows, given=False, some=True)
    if any(row.purpose == Consent.Purpose.MEASURE for row in rows):
        stop_measuring(student)


@transaction.atomic
def withdraw_consents(*, student: Student, by: User) -> int:
    """Take back everything agreed to: all clips are erased, the words stay.

    Storing without showing, or showing without storing, serves nobody, so both go.
    """
    access.require_acting(by, student)
    in_turn(student)
    rows = list(student.consents.select_for_update().filter(withdrawn_at__isnull=True))
    now = timezone.now()
    for row in rows:
        row.withdrawn_at = now
        row.save(update_fields=["withdrawn_at"])
    if rows:
        _notify(student, by, rows, given=False)
        audit.write(audit.Act.WITHDREW, by=by, student=student)
    Student.objects.filter(pk=student.pk).update(films_erased_on=None)
    withdraw_media(student)
    return len(rows)


def void_consents(student: Student, *, by: User) -> None:
    """What was agreed to no longer counts, because somebody else has to agree now.

    Films are shown to nobody in the studio meanwhile; the one who decides is asked, and
    without an answer the films are erased after `ASKED_DAYS`.
    """
    rows = list(student.consents.filter(withdrawn_at__isnull=True))
    student.consents.filter(withdrawn_at__isnull=True).update(withdrawn_at=timezone.now())
    by_when = student_day(student) + timedelta(days=ASKED_DAYS)
    Student.objects.filter(pk=student.pk).update(films_erased_on=by_when)
    student.films_erased_on = by_when
    stop_measuring(student)
    decider_changed(student)
    notify(
        student=student,
        kind="consent",
        author=by,
        consents=[row.pk for row in rows],
        purposes=[row.purpose for row in rows],
        given=False,
        void=True,
        erased_on=by_when.isoformat(),
    )


def erase_void_films(now: datetime | None = None) -> int:
    """Erase the films of students whose consent has been void for too long; how many students.

    A week before, they are told once more. One student who fails does not stop the others.
    """
    count = 0
    for student in Student.objects.filter(films_erased_on__isnull=False).select_related("studio"):
        today = student_day(student, now)
        try:
            count += _void_on(student, today)
        except Exception:  # the others still have their right
            logger.exception("Void films of student %s could not be erased.", student.pk)
    return count


def _void_on(student: Student, today: date) -> int:
    """What is due on a day for films whose consent is void; 1 when they were erased."""
    due = student.films_erased_on
    if due is None or due - today > REMIND:
        return 0
    if due <= today:
        _erase_void(student)
        return 1
    if due - today == REMIND:
        _remind(student, due)
    return 0


def _agreed(student: Student) -> bool:
    """Consent stands, so that films go because the lessons are over."""
    return student.consents.filter(withdrawn_at=None).exists()


@transaction.atomic
def announce_end_of_films(student: Student, *, on: date) -> None:
    """Films of lessons that are over are kept until `on`: both sides read it, once.

    Opening the lessons again takes it back.
    """
    won = Student.objects.filter(pk=student.pk, films_erased_on=None, closed_at__isnull=False)
    if won.update(films_erased_on=on):
        refs: dict[str, Any] = {
            "void": True,
            "ended": True,
            "given": False,
            "erased_on": on.isoformat(),
        }
        notify(student=student, kind="consent", author=None, **refs)


@transaction.atomic
def _erase_void(student: Student) -> None:
    won = Student.objects.filter(pk=student.pk, films_erased_on__isnull=False).update(
        films_erased_on=None
    )
    if won:
        refs: dict[str, Any] = {
            "given": False,
            "void": True,
            "erased": True,
            "ended": _agreed(student),
        }
        notify(student=student, kind="consent", author=None, **refs)
        withdraw_media(student)


@transaction.atomic
def _remind(student: Student, due: date) -> None:
    refs: dict[str, Any] = {
        "void": True,
        "reminder": True,
        "erased_on": due.isoformat(),
        "given": False,
    }
    refs["ended"] = _agreed(student)
    notify_once(student=student, kind="consent", **refs)


def _tell_guardianship(student: Student, by: User, step: str, **refs: Any) -> None:
    notify(student=student, kind="guardian", author=by, step=step, **refs)


def _notify(student: Student, by: User, rows: list[Consent], *, given: bool, **refs: Any) -> None:
    notify(
        student=student,
        kind="consent",
        author=by,
        consents=[row.pk for row in rows],
        purposes=[row.purpose for row in rows],
        given=given,
        **refs,
    )
