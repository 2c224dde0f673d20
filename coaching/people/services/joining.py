"""A student joins: account, then the body, then the rest, then what he agrees to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.people.errors import LessonError
from coaching.people.models import BodyNote, Invitation, Region, Student, User
from coaching.people.queries import guardians_of, next_step
from coaching.people.services.students import is_colleague, take_up
from coaching.people.stature import CLUB_CM
from coaching.people.telling import tell

OTHER_SIDE = {"lead": "trail", "trail": "lead", "both": "both", "": ""}


def open_account(*, name: str, email: str, password: str, language: str = "en") -> User:
    """A new account; an address that has one already is told to sign in."""
    try:
        with transaction.atomic():
            return User.objects.create_user(email, password, name=name.strip(), language=language)
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
    the person feels it; kept as lead or trail.
    """
    _require_guardian(student)
    rows = [
        BodyNote.objects.create(
            student=student,
            region=Region(note["region"]),
            kind=BodyNote.Kind(note["kind"]),
            side=side_of_swing(note.get("side") or "", student.handedness),
            words=(note.get("words") or "").strip(),
        )
        for note in notes
    ]
    student.body_asked_at = timezone.now()
    student.save(update_fields=["body_asked_at"])
    if rows and student.joined_at:
        tell(student=student, kind="body_noted", author=by, body_notes=[row.pk for row in rows])
    return rows


def end_body_note(*, note: BodyNote) -> None:
    """The person says that it is over. Never said by the software or the coach."""
    BodyNote.objects.filter(pk=note.pk, over_at__isnull=True).update(over_at=timezone.now())


def side_of_swing(side: str, handedness: str) -> str:
    """`left` or `right` of the body as lead or trail: a right-hander leads with the left."""
    if side not in {"left", "right"}:
        return side if side == "both" else ""
    return "trail" if side == handedness else "lead"


@transaction.atomic
def describe_student(*, student: Student, by: User, **facts: Any) -> Student:
    """Handedness, stature, age band, goals, usual miss, where to practise.

    Only a guardian can say that a minor has come of age. Whoever turns out to be a
    minor needs a guardian's consent from then on: what he agreed to himself is void.
    """
    _require_guardian(student)
    band = facts.get("age_band", student.age_band)
    was_minor, is_minor = student.is_minor, band == Student.AgeBand.MINOR
    if was_minor and not is_minor and not guardians_of(student).filter(user=by).exists():
        raise LessonError(
            _("Only your guardian can say that you have come of age: ask them to do it."),
            code="guardian_decides",
            status=403,
        )
    if facts.get("handedness", student.handedness) != student.handedness:
        for note in student.body_notes.all():  # the body's own side does not change
            note.side = OTHER_SIDE[note.side]
            note.save(update_fields=["side"])
    for name, value in facts.items():
        setattr(student, name, value)
    student.profile_confirmed_at = timezone.now()
    student.save(update_fields=[*facts, "profile_confirmed_at"])
    if was_minor != is_minor and student.joined_at:
        _void_consents(student, came_of_age=was_minor)
    return student


def keep_club_length(*, student: Student, club_cm: float) -> None:
    """How long the club is that the student holds in films of a turn, end to end."""
    if not CLUB_CM[0] <= club_cm <= CLUB_CM[1]:
        raise LessonError(
            _("Lay a tape along the club and write its length like 94 cm or 37 in."), code="club"
        )
    Student.objects.filter(pk=student.pk).update(club_cm=club_cm)


def _void_consents(student: Student, *, came_of_age: bool) -> None:
    now = timezone.now()
    student.consents.filter(withdrawn_at__isnull=True).update(withdrawn_at=now)
    if came_of_age:
        student.guardianships.filter(ended_at__isnull=True).update(ended_at=now)


@transaction.atomic
def finish_joining(*, student: Student) -> None:
    """The last step is done: the coach is told, with what was said about the body."""
    step = next_step(student)
    if step not in {"people:consents", None}:
        raise LessonError(_("One step is still open: go on with it first."), code=step or "")
    won = Student.objects.filter(pk=student.pk, joined_at__isnull=True).update(
        joined_at=timezone.now()
    )
    if won:
        student.refresh_from_db()
        notes = list(student.body_notes.filter(over_at__isnull=True).values_list("pk", flat=True))
        tell(student=student, kind="joined", author=student.user, body_notes=notes)


def _require_guardian(student: Student) -> None:
    if student.is_minor and not guardians_of(student).exists():
        raise LessonError(
            _("Your guardian agrees first; nothing is kept until then."),
            code="guardian_missing",
            status=403,
        )
