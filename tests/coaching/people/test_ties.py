"""What binds the reader of a page: read once, the same rights as `access`."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import AnonymousUser
from django.http import Http404
from django.utils import timezone

from coaching.people import access, ties
from coaching.people.models import Guardianship, Membership, Student, User
from tests import factories

pytestmark = pytest.mark.django_db


def again(user: User) -> User:
    """The account as the next request has it in hand."""
    return User.objects.get(pk=user.pk)


def test_two_queries_whatever_is_asked(
    coach: User, student: Student, django_assert_num_queries: Any
) -> None:
    user = again(coach)
    with django_assert_num_queries(2):
        bound = ties.of(user)
        assert bound.is_staff(student) and not bound.acts_for(student)
        assert bound.studio == student.studio and ties.of(user) is bound
    assert ties.of(AnonymousUser()).studio is None


def test_they_are_the_rights_of_access(coach: User, student: Student, stranger: User) -> None:
    """Every kind of reader: one that reads too much or too little here would see it there."""
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    guardian = factories.make_guardian(student=minor, name="Ada Reed")
    gone = factories.make_guardian(student=minor, name="Bo Reed")
    Guardianship.objects.filter(user=gone).update(ended_at=timezone.now())
    asked = factories.make_guardian(student=minor, name="Cy Reed")
    Guardianship.objects.filter(user=asked).update(verified_at=None)
    assistant = factories.make_coach(studio=student.studio, role="assistant")
    other = factories.make_student(coach=coach).user
    everybody = [coach, assistant, stranger, other, guardian, gone, asked, minor.user]
    for user in (*everybody, student.user):
        assert user is not None
        bound = ties.of(again(user))
        assert set(bound.students) == set(access.acts_as(user).values_list("pk", flat=True))
        assert set(bound.taught()) == set(access.students_taught(user))
        assert bound.studios == list(access.studios(user).order_by("pk"))
        for person in (student, minor):
            for roles in (access.STAFF, access.TEACHING, access.OWNERS):
                assert bound.is_staff(person, roles) == access.is_staff_of(user, person, roles)
            readable = access.students_read(user).filter(pk=person.pk).exists()
            if readable:
                assert ties.student_read(again(user), person.pk) == person
            else:
                with pytest.raises(Http404):
                    ties.student_read(again(user), person.pk)


def test_the_next_request_sees_that_a_role_ended(coach: User, student: Student) -> None:
    assert ties.of(again(coach)).is_staff(student)
    Membership.objects.filter(user=coach).delete()
    assert not ties.of(again(coach)).is_staff(student)


def test_the_first_studio_of_all_is_theirs(coach: User, student: Student) -> None:
    """Also of a guardian whose tie has ended, and of somebody who works in a later one."""
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    gone = factories.make_guardian(student=minor, name="Bo Reed")
    Guardianship.objects.filter(user=gone).update(ended_at=timezone.now())
    assert ties.of(again(gone)).studio == minor.studio
    later = factories.make_studio()
    factories.make_coach(studio=later)
    assert student.user is not None
    Membership.objects.create(studio=later, user=student.user, role="coach")
    assert ties.of(again(student.user)).studio == student.studio
