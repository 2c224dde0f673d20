"""The same three people everywhere: coach, student, stranger."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from hypothesis import settings as hypothesis

from coaching.people.models import Student, User
from tests import factories

# No test asserts how long it took: the machine may be busy with something else.
hypothesis.register_profile("causeway", deadline=None)
hypothesis.load_profile("causeway")


@pytest.fixture
def coach(db: None) -> User:
    """The owner of a studio, who teaches `student`."""
    return factories.make_coach(role="owner", name="Robin Vale", email="coach@example.org")


@pytest.fixture
def student(coach: User) -> Student:
    """An adult who has joined; the account is `student.user`."""
    return factories.make_student(coach=coach, name="Sam Reed", email="student@example.org")


@pytest.fixture
def stranger(db: None) -> User:
    """A coach of another studio: sees nothing of ours."""
    return factories.make_coach(role="owner", name="Ash Moor", email="stranger@example.org")


@pytest.fixture
def client_for(db: None) -> Callable[[User], Client]:
    """`client_for(user)` is a signed-in test client of its own."""

    def signed_in(user: User) -> Client:
        client = Client()
        client.force_login(user)
        return client

    return signed_in
