"""The same three people everywhere: coach, student, stranger."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import pytest
from allauth.account.internal.userkit import user_id_to_str
from django.core.cache import caches
from django.core.signals import setting_changed
from django.test import Client
from hypothesis import settings as hypothesis

from coaching.people.models import Student, User
from coaching.people.words import use_our_words
from tests import factories
from tests.spec import SpeccedPatch

# No test asserts how long it took: the machine may be busy with something else.
hypothesis.register_profile("causeway", deadline=None)
hypothesis.load_profile("causeway")


def keep_our_words(*, setting: str, **_: object) -> None:
    """A test of another language empties Django's catalogues, and our words stood in one."""
    if setting in {"LANGUAGES", "LANGUAGE_CODE", "LOCALE_PATHS"}:
        use_our_words()


setting_changed.connect(keep_our_words)


@pytest.fixture(autouse=True)
def nobody_is_limited() -> None:
    """Attempts at signing in are counted in a cache that all tests of a process share."""
    for name in ("default", "kept"):
        caches[name].clear()


@pytest.fixture
def monkeypatch() -> Iterator[pytest.MonkeyPatch]:
    """pytest's own, except that every fake is held to the signature of what it replaces."""
    patch = SpeccedPatch()
    yield patch
    patch.undo()


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


def make_fresh(client: Client, user: User) -> None:
    """As after typing the password a moment ago."""
    session = client.session
    session["account_authentication_methods"] = [
        {"method": "password", "at": time.time(), "reauthenticated": True}
    ]
    session["account_authentication_methods_user"] = user_id_to_str(user)
    session.save()


@pytest.fixture
def client_for(db: None) -> Callable[[User], Client]:
    """`client_for(user)` is a signed-in test client of its own.

    With `fresh=False` what cannot be taken back asks for the password first.
    """

    def signed_in(user: User, *, fresh: bool = True) -> Client:
        client = Client()
        client.force_login(user)
        if fresh:
            make_fresh(client, user)
        return client

    return signed_in
