"""Who may see or change what: every view and every API call asks here.

Someone else's object is a 404, never a 403: a stranger does not learn that it exists.
Plural names return querysets; singular ones fetch one object or raise Http404; `require_*`
raise Http404 and are called first by every service that changes something, so that pages,
API and command line have the same rights. `tests/test_access.py` tries every URL and
operation in every role.

Roles: owner and coach teach in their studio; an assistant reads and prepares but neither
publishes, assigns, judges nor writes to the student. A guardian sees and does what the
minor does.
"""

from __future__ import annotations

from typing import Any, TypeVar

from django.contrib.auth.models import AnonymousUser
from django.db.models import Model, Q, QuerySet
from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404
from rest_framework.request import Request

from coaching.people.models import Guardianship, Membership, Student, Studio, User

OWNERS = (Membership.Role.OWNER,)
TEACHING = (Membership.Role.OWNER, Membership.Role.COACH)
STAFF = (*TEACHING, Membership.Role.ASSISTANT)
M = TypeVar("M", bound=Model)
AnyUser = User | AnonymousUser


def studios(user: AnyUser, roles: tuple[str, ...] = STAFF) -> QuerySet[Studio]:
    """Studios in which `user` has one of `roles`."""
    if not user.is_authenticated:
        return Studio.objects.none()
    return Studio.objects.filter(pk__in=_workplaces(user, roles))


def studio_read(user: AnyUser, pk: int) -> Studio:
    return get_object_or_404(studios(user), pk=pk)


def studio_known(user: AnyUser, pk: int) -> Studio:
    """For who works there, and for its students and their guardians."""
    theirs = Q(students__in=acts_as(user)) | Q(pk__in=studios(user))
    return get_object_or_404(Studio.objects.filter(theirs).distinct(), pk=pk)


def studio_teach(user: AnyUser, pk: int) -> Studio:
    return get_object_or_404(studios(user, TEACHING), pk=pk)


def studio_own(user: AnyUser, pk: int) -> Studio:
    return get_object_or_404(studios(user, (Membership.Role.OWNER,)), pk=pk)


# Rights are subqueries of keys, never joins: a row comes once, and no list has to be made
# DISTINCT over all its columns (which cost more than the rest of the waiting list).


def _workplaces(user: User, roles: tuple[str, ...]) -> QuerySet[Membership, Any]:
    return Membership.objects.filter(user=user, role__in=roles).values("studio")


def _theirs(user: User) -> Q:
    """The rows of the student himself, or of a verified guardian's ward."""
    wards = Guardianship.objects.filter(user=user, verified_at__isnull=False, ended_at=None)
    return Q(user=user) | Q(pk__in=wards.values("student"))


def _staffed(user: User, roles: tuple[str, ...]) -> Q:
    return Q(studio__in=_workplaces(user, roles))


def students_read(user: AnyUser) -> QuerySet[Student]:
    """Students whom `user` may see: his studio's, himself, his wards."""
    if not user.is_authenticated:
        return Student.objects.none()
    return Student.objects.filter(_staffed(user, STAFF) | _theirs(user))


def student_read(user: AnyUser, pk: int) -> Student:
    return get_object_or_404(students_read(user), pk=pk)


def students_taught(user: AnyUser, roles: tuple[str, ...] = STAFF) -> QuerySet[Student]:
    """Students of the studios in which `user` works."""
    if not user.is_authenticated:
        return Student.objects.none()
    return Student.objects.filter(_staffed(user, roles))


def student_prepare(user: AnyUser, pk: int) -> Student:
    """For staff of any role: preparing a request or a draft."""
    return get_object_or_404(students_taught(user), pk=pk)


def student_teach(user: AnyUser, pk: int) -> Student:
    """For owners and coaches only: publishing, assigning, judging."""
    return get_object_or_404(students_taught(user, TEACHING), pk=pk)


def student_act(user: AnyUser, pk: int) -> Student:
    """For the student himself or his guardian: sending clips, answering, reporting pain."""
    if not user.is_authenticated:
        raise Http404
    return get_object_or_404(Student.objects.filter(_theirs(user)), pk=pk)


def records(user: AnyUser) -> QuerySet[Student]:
    """Whose whole record `user` may take along or erase: the own, a ward's, the studio's."""
    if not user.is_authenticated:
        return Student.objects.none()
    return Student.objects.filter(_theirs(user) | _staffed(user, OWNERS))


def student_record(user: AnyUser, pk: int) -> Student:
    return get_object_or_404(records(user), pk=pk)


def require_record(by: AnyUser, student: Student) -> None:
    if not records(by).filter(pk=student.pk).exists():
        raise Http404


def acts_as(user: AnyUser) -> QuerySet[Student]:
    """The student records that `user` may act for."""
    if not user.is_authenticated:
        return Student.objects.none()
    return Student.objects.filter(_theirs(user))


def rows_read(user: AnyUser, model: type[M], path: str = "student") -> QuerySet[M]:
    """Rows of `model` that hang on a student `user` may see; `path` leads to the student."""
    return model._default_manager.filter(**{f"{path}__in": students_read(user)})


def rows_taught(
    user: AnyUser, model: type[M], path: str = "student", roles: tuple[str, ...] = TEACHING
) -> QuerySet[M]:
    """Rows of `model` that hang on a student whom `user` teaches."""
    return model._default_manager.filter(**{f"{path}__in": students_taught(user, roles)})


def rows_acted(user: AnyUser, model: type[M], path: str = "student") -> QuerySet[M]:
    """Rows of `model` that hang on a student `user` may act for."""
    return model._default_manager.filter(**{f"{path}__in": acts_as(user)})


def acts_for(user: AnyUser, student: int) -> bool:
    """Whether `user` is the student with this key, or a guardian who speaks for them."""
    return acts_as(user).filter(pk=student).exists()


def works_in(user: AnyUser, studio: int, roles: tuple[str, ...] = STAFF) -> bool:
    """Whether `user` has one of `roles` in the studio with this key."""
    return studios(user, roles).filter(pk=studio).exists()


def is_staff_of(user: AnyUser, student: Student, roles: tuple[str, ...] = STAFF) -> bool:
    return (
        user.is_authenticated
        and Membership.objects.filter(
            user=user, studio_id=student.studio_id, role__in=roles
        ).exists()
    )


def require_staff(by: AnyUser, student: Student, roles: tuple[str, ...] = STAFF) -> None:
    """`by` works in the student's studio in one of `roles`."""
    if not is_staff_of(by, student, roles):
        raise Http404


def require_teaching(by: AnyUser, student: Student) -> None:
    """`by` publishes, assigns and judges for the student."""
    require_staff(by, student, TEACHING)


def require_role(by: AnyUser, studio: Studio, roles: tuple[str, ...] = OWNERS) -> None:
    """`by` has one of `roles` in the studio."""
    if not studios(by, roles).filter(pk=studio.pk).exists():
        raise Http404


def may_act(by: AnyUser, student: Student) -> bool:
    """Whether `by` is the student or a guardian who stands."""
    return acts_as(by).filter(pk=student.pk).exists()


def require_acting(by: AnyUser, student: Student) -> None:
    if not may_act(by, student):
        raise Http404


def require_reading(by: AnyUser, student: Student) -> None:
    """`by` may see the student's things, from either side."""
    if not students_read(by).filter(pk=student.pk).exists():
        raise Http404


def may_write(by: AnyUser, student: Student) -> bool:
    """Who speaks in the messages: those who teach, the student and the guardians."""
    return is_staff_of(by, student, TEACHING) or may_act(by, student)


def require_writing(by: AnyUser, student: Student) -> None:
    if not may_write(by, student):
        raise Http404


def user_of(request: HttpRequest | Request) -> User:
    """The person who is signed in, on a page that asks for it."""
    assert isinstance(request.user, User)
    return request.user
