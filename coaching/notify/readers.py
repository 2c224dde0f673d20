"""Who is told what. The author never is; a minor's guardian is told everything."""

from __future__ import annotations

from collections.abc import Iterable

from coaching.lessons.models import Entry
from coaching.people import access
from coaching.people.models import Membership, Student, User
from coaching.people.queries import guardians_of

Kind = Entry.Kind
# A turn of the thread, seen from each side.
FOR_STUDENT = frozenset(
    {Kind.MESSAGE, Kind.REQUESTED, Kind.REFUSED, Kind.REVIEWED, Kind.ASSIGNED, Kind.JUDGED,
     Kind.REOPENED, Kind.GUARDIAN}
)  # fmt: skip
FOR_COACH = frozenset(
    {Kind.JOINED, Kind.MESSAGE, Kind.BODY_NOTED, Kind.READY, Kind.PAIN, Kind.CONSENT,
     Kind.GUARDIAN}
)  # fmt: skip
# What somebody may switch off, by the name on the page. Pain and guardians are always told.
GROUPS = {
    "text": frozenset({Kind.MESSAGE}),
    "work": frozenset({Kind.REQUESTED, Kind.REVIEWED, Kind.ASSIGNED, Kind.JUDGED, Kind.REOPENED}),
    "clips": frozenset({Kind.REFUSED, Kind.READY}),
    "people": frozenset({Kind.JOINED, Kind.BODY_NOTED, Kind.CONSENT}),
}


def readers_of(entry: Entry) -> list[User]:
    """The people who should hear of an entry, without its author."""
    student = entry.thread.student
    guardians = [g.user for g in guardians_of(student).select_related("user")]
    readers = [user for user in guardians if user is not None]
    # Whose guardianship the entry ends still hears of it.
    readers += User.objects.filter(pk__in=entry.refs.get("guardians", []))
    if entry.kind == Kind.CONSENT and entry.refs.get("void") and student.user is not None:
        readers.append(student.user)
    if entry.kind in FOR_STUDENT and student.user is not None and _wants(student.user, entry.kind):
        readers.append(student.user)
    if entry.kind in FOR_COACH and not is_staff(entry.author, student):
        readers += [user for user in _coaches(student) if _wants(user, entry.kind)]
    unique = {user.pk: user for user in readers if user.is_active}
    return [user for pk, user in unique.items() if pk != entry.author_id]


def still_reads(user: User, entry: Entry) -> bool:
    """Whether a reader chosen a while ago may still read it; whose guardianship it ended may."""
    student = entry.thread.student
    may_read = access.students_read(user).filter(pk=student.pk).exists()
    return may_read or user.pk in entry.refs.get("guardians", [])


def _coaches(student: Student) -> Iterable[User]:
    """The student's own coach; of an orphaned student, the owners."""
    if student.coach is not None:
        return [student.coach]
    return User.objects.filter(
        memberships__studio=student.studio, memberships__role=Membership.Role.OWNER
    )


def is_staff(user: User | None, student: Student) -> bool:
    return user is not None and user.memberships.filter(studio=student.studio).exists()


def _wants(user: User, kind: str) -> bool:
    off = user.preferences.get("letters_off", [])
    return not any(kind in GROUPS[name] for name in off if name in GROUPS)
