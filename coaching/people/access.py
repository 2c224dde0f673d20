"""Who may see or change what: every view and every API call asks here.

Someone else's object is a 404, never a 403: a stranger does not learn that it exists.
`for_*` functions return querysets; the others fetch one object or raise Http404.
Roles: owner and coach do everything in their studio; an assistant reads and prepares
but neither publishes, assigns nor judges. A guardian sees and does what the minor does.
"""

from __future__ import annotations

from typing import TypeVar

from django.contrib.auth.models import AnonymousUser
from django.db.models import Model, Q, QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404

from coaching.people.models import Membership, Student, Studio, User

TEACHING = (Membership.Role.OWNER, Membership.Role.COACH)
STAFF = (*TEACHING, Membership.Role.ASSISTANT)
M = TypeVar("M", bound=Model)
AnyUser = User | AnonymousUser


def studios(user: AnyUser, roles: tuple[str, ...] = STAFF) -> QuerySet[Studio]:
    """Studios in which `user` has one of `roles`."""
    if not user.is_authenticated:
        return Studio.objects.none()
    return Studio.objects.filter(memberships__user=user, memberships__role__in=roles).distinct()


def studio_read(user: AnyUser, pk: int) -> Studio:
    return get_object_or_404(studios(user), pk=pk)


def studio_teach(user: AnyUser, pk: int) -> Studio:
    return get_object_or_404(studios(user, TEACHING), pk=pk)


def studio_own(user: AnyUser, pk: int) -> Studio:
    return get_object_or_404(studios(user, (Membership.Role.OWNER,)), pk=pk)


def _theirs(user: User, prefix: str = "") -> Q:
    """The rows of the student himself, or of a verified guardian's ward."""
    return Q(**{f"{prefix}user": user}) | Q(
        **{
            f"{prefix}guardianships__user": user,
            f"{prefix}guardianships__verified_at__isnull": False,
            f"{prefix}guardianships__ended_at__isnull": True,
        }
    )


def _staffed(user: User, roles: tuple[str, ...], prefix: str = "") -> Q:
    return Q(
        **{
            f"{prefix}studio__memberships__user": user,
            f"{prefix}studio__memberships__role__in": roles,
        }
    )


def students_read(user: AnyUser) -> QuerySet[Student]:
    """Students whom `user` may see: his studio's, himself, his wards."""
    if not user.is_authenticated:
        return Student.objects.none()
    return Student.objects.filter(_staffed(user, STAFF) | _theirs(user)).distinct()


def student_read(user: AnyUser, pk: int) -> Student:
    return get_object_or_404(students_read(user), pk=pk)


def students_taught(user: AnyUser, roles: tuple[str, ...] = STAFF) -> QuerySet[Student]:
    """Students of the studios in which `user` works."""
    if not user.is_authenticated:
        return Student.objects.none()
    return Student.objects.filter(_staffed(user, roles)).distinct()


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
    return get_object_or_404(Student.objects.filter(_theirs(user)).distinct(), pk=pk)


def student_record(user: AnyUser, pk: int) -> Student:
    """For taking the whole record along or erasing it: the student, a guardian, the owner."""
    if not user.is_authenticated:
        raise Http404
    own = _theirs(user) | _staffed(user, (Membership.Role.OWNER,))
    return get_object_or_404(Student.objects.filter(own).distinct(), pk=pk)


def acts_as(user: AnyUser) -> QuerySet[Student]:
    """The student records that `user` may act for."""
    if not user.is_authenticated:
        return Student.objects.none()
    return Student.objects.filter(_theirs(user)).distinct()


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


def is_staff_of(user: AnyUser, student: Student, roles: tuple[str, ...] = STAFF) -> bool:
    return (
        user.is_authenticated
        and Membership.objects.filter(
            user=user, studio_id=student.studio_id, role__in=roles
        ).exists()
    )
