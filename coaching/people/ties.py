"""What binds whoever reads a page to studios and students: read once for the whole page.

The frame of every page asks: the clock, the colour, the menu, whose side is shown. Rights of
services do not: those ask the database each time (`access`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from django.contrib.auth.models import AnonymousUser
from django.db.models import Exists, OuterRef, QuerySet

from coaching.people import access
from coaching.people.models import Guardianship, Membership, Student, Studio, User


@dataclass(frozen=True)
class Ties:
    """Where somebody works, and for which students they act.

    `roles` by the studio's key; `students` the own records and those of wards, by key. `studio`
    is the first of all studios they belong to in whatever way.
    """

    roles: dict[int, str]
    studios: list[Studio]  # where they work
    students: dict[int, Student]
    studio: Studio | None

    def is_staff(self, student: Student, roles: tuple[str, ...] = access.STAFF) -> bool:
        """Whether they work in the student's studio in one of `roles`."""
        return self.roles.get(student.studio_id) in roles

    def acts_for(self, student: Student) -> bool:
        return student.pk in self.students

    def taught(self) -> QuerySet[Student]:
        """`access.students_taught`, by keys in place of a query inside of every query of a page."""
        return Student.objects.filter(studio__in=list(self.roles))

    @cached_property
    def needs_second_step(self) -> bool:
        """Whether one of the studios asks its people for a second step at sign-in."""
        return any(studio.second_step_required for studio in self.studios)


def of(user: User | AnonymousUser) -> Ties:
    """Those of `user`; read once for each `user` in hand, which is once a request. Two queries."""
    if not user.is_authenticated:
        return Ties({}, [], {}, None)
    if not hasattr(user, "_ties"):
        user._ties = _read(user)  # type: ignore[attr-defined]
    found: Ties = user._ties  # type: ignore[attr-defined]
    return found


def student_read(user: User | AnonymousUser, pk: int) -> Student:
    """`access.student_read` for a page: from what its frame has read already, where it is there."""
    own = of(user).students.get(pk)
    readable = access.students_read(user).select_related("thread")
    return own or access.get_object_or_404(readable, pk=pk)


def _read(user: User) -> Ties:
    works = list(Membership.objects.filter(user=user).select_related("studio").order_by("studio"))
    # Two keys joined by UNION: with OR, PostgreSQL reads every student there is.
    wards = Guardianship.objects.filter(user=user).order_by().values("student")
    tied = Student.objects.filter(user=user).order_by().values("pk").union(wards)
    standing = Guardianship.objects.filter(
        user=user, student=OuterRef("pk"), verified_at__isnull=False, ended_at=None
    )
    students = list(
        Student.objects.filter(pk__in=tied)
        .annotate(guarded=Exists(standing))
        .select_related("studio")
        .order_by("pk")
    )
    studios = [row.studio for row in works]
    every = [*studios, *(student.studio for student in students)]
    return Ties(
        roles={row.studio_id: row.role for row in works},
        studios=studios,
        students={s.pk: s for s in students if s.user_id == user.pk or s.guarded},
        studio=min(every, key=lambda studio: studio.pk, default=None),
    )
