"""A student joins: account, then the body, then the rest, then what he agrees to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.people import access, audit
from coaching.people.errors import LessonError
from coaching.people.listeners import notify
from coaching.people.models import BodyNote, Invitation, Region, Student, User
from coaching.people.names import plain_name
from coaching.people.once import in_turn
from coaching.people.queries import guardians_of, next_step, wards_of
from coaching.people.services.consent import declare_of_age, void_consents
from coaching.people.services.students import is_colleague, take_up
from coaching.people.sides import end_of
from coaching.people.stature import CLUB_CM

OTHER_SIDE = {"lead": "trail", "trail": "lead", "both": "both", "": ""}


def open_account(
    *, name: str, email: str, password: str, language: str = "en", time_zone: str = ""
) -> User:
    """A new account; an address that has one already is told to sign in.

    The address counts for nothing before it was proved: see `people.accounts`.
    """
    name = plain_name(name)
    try:
        with transaction.atomic():
            return User.objects.create_user(
                email, password, name=name, language=language, time_zone=time_zone
            )
    except IntegrityError:
        raise LessonError(
            _("There is an account with this address: sign in, then open the link again."),
            code="account_exists",
            status=409,
        ) from None


@transaction.atomic
def join_student(*, invitation: Invitation, user: User, is_minor: bool) -> Student:
    """Tie an account to the invited student and close the link.

    Of somebody under 18 nothing further is stored until a guardian has agreed.
    """
    student = invitation.student
    if student is None:
        raise LessonError(_("This link is for somebody else."), code="other_link")
    if is_colleague(user, invitation.studio):
        raise LessonError(
            _("You teach in this studio: let the student open the link on their own phone."),
            code="own_link",
            status=409,
        )
    if invitation.studio.students.filter(user=user).exists():
        raise LessonError(
            _("You are already a student of this studio: sign in and go on there."),
            code="already_student",
            status=409,
        )
    if is_minor and wards_of(user).exists():
        raise LessonError(
            _("You are somebody’s guardian here, so you can’t be under 18: ask the studio."),
            code="minor_guardian",
            status=409,
        )
    take_up(invitation)
    student.user = user
    student.email = student.email or user.email
    student.age_band = Student.AgeBand.MINOR if is_minor else ""
    student.save(update_fields=["user", "email", "age_band"])
    return student


@transaction.atomic
def note_body(*, student: Student, by: User, notes: Iterable[Mapping[str, Any]]) -> list[BodyNote]:
    """What hurts, is stiff or cannot be done. An empty list says that nothing does.

    Each note has `region`, `kind`, perhaps `words`, and `side`: left, right or both, as
    the person feels it; kept as lead or trail. One that stands already is the same, and
    is told to nobody again.
    """
    access.require_acting(by, student)
    _require_guardian(student)
    in_turn(student)
    rows, fresh = [], []
    for note in notes:
        row, made = BodyNote.objects.get_or_create(
            student=student,
            region=Region(note["region"]),
            kind=BodyNote.Kind(note["kind"]),
            side=side_of_swing(note.get("side") or "", student.handedness),
            text=(note.get("text") or "").strip(),
            over_at=None,
        )
        rows.append(row)
        if made:
            fresh.append(row.pk)
    student.body_asked_at = timezone.now()
    student.save(update_fields=["body_asked_at"])
    if fresh and student.joined_at:
        notify(student=student, kind="body_noted", author=by, body_notes=fresh)
    return rows


def end_body_note(*, note: BodyNote, by: User) -> None:
    """The person says that it is over. Never said by the software or the coach."""
    access.require_acting(by, note.student)
    BodyNote.objects.filter(pk=note.pk, over_at__isnull=True).update(over_at=timezone.now())


def side_of_swing(side: str, handedness: str) -> str:
    """`left` or `right` of the body as lead or trail: a right-hander leads with the left."""
    if side not in {"left", "right"}:
        return side if side == "both" else ""
    return end_of(side, handedness)


@transaction.atomic
def describe_student(*, student: Student, by: User, **facts: Any) -> Student:
    """Handedness, stature, age band, goals, usual miss, where to practise.

    Only guardians can say that a minor has come of age, and all of them who stand: until
    then the age stays. Whoever turns out to be a minor needs a guardian's consent from then
    on: what they agreed to themselves is void.
    """
    access.require_acting(by, student)
    _require_guardian(student)
    band = facts.get("age_band", student.age_band)
    was_minor, is_minor = student.is_minor, band == Student.AgeBand.MINOR
    if was_minor and not is_minor and not declare_of_age(student=student, by=by):
        facts.pop("age_band")
        is_minor = True
    if facts.get("handedness", student.handedness) != student.handedness:
        for note in student.body_notes.all():  # the body's own side does not change
            note.side = OTHER_SIDE[note.side]
            note.save(update_fields=["side"])
    for name, value in facts.items():
        setattr(student, name, value)
    student.profile_confirmed_at = timezone.now()
    student.save(update_fields=[*facts, "profile_confirmed_at"])
    audit.write(audit.Act.CHANGED, by=by, student=student, fields=sorted(facts))
    if was_minor != is_minor and student.joined_at:
        void_consents(student, by=by)
    return student


def keep_club_length(*, student: Student, by: User, club_cm: float) -> None:
    """How long the club is that the student holds in films of a turn, end to end."""
    access.require_acting(by, student)
    if not CLUB_CM[0] <= club_cm <= CLUB_CM[1]:
        raise LessonError(
            _("Lay a tape along the club and write its length like 94 cm or 37 in."), code="club"
        )
    Student.objects.filter(pk=student.pk).update(club_cm=club_cm)


@transaction.atomic
def finish_joining(*, student: Student, by: User) -> None:
    """The last step is done: the coach is told, with what was said about the body."""
    access.require_acting(by, student)
    step = next_step(student)
    if step not in {"people:consents", None}:
        raise LessonError(_("One step is still open: go on with it first."), code=step or "")
    won = Student.objects.filter(pk=student.pk, joined_at__isnull=True).update(
        joined_at=timezone.now()
    )
    if won:
        student.refresh_from_db()
        notes = list(student.body_notes.filter(over_at__isnull=True).values_list("pk", flat=True))
        notify(student=student, kind="joined", author=student.user, body_notes=notes)
        audit.write(audit.Act.JOINED, by=student.user, student=student)


def _require_guardian(student: Student) -> None:
    if student.is_minor and not guardians_of(student).exists():
        raise LessonError(
            _("Your guardian agrees first; nothing is kept until then."),
            code="guardian_missing",
            status=403,
        )
