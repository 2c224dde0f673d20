"""Redis is away: pages are made without what it keeps, and nobody tries passwords uncounted."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.core.cache import caches
from django.test import Client
from django.urls import reverse
from redis.exceptions import RedisError

from coaching import kept
from coaching.people.models import Student, User
from tests import factories

AWAY = "redis://127.0.0.1:1/0"  # nobody listens there


@pytest.fixture
def away(settings: Any) -> Iterator[None]:
    settings.CACHES = {
        "default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": AWAY},
        "kept": {"BACKEND": "coaching.kept.KeptCache", "LOCATION": AWAY},
    }
    yield
    kept.KeptCache._away_until = 0.0


def test_nothing_is_kept_and_nothing_fails(away: None) -> None:
    cache = kept.cache
    cache.set("a", 1)
    assert cache.get("a") is None and cache.get("a", 7) == 7
    assert cache.get_many(["a"]) == {} and cache.add("a", 1) is False and not cache.delete("a")
    assert cache.get_or_set("a", lambda: 3) == 3


def test_a_server_that_does_not_answer_is_left_alone_for_a_while(
    away: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []

    def get(self: Any, key: Any, default: Any = None, version: Any = None) -> Any:
        asked.append(key)
        raise RedisError("hangs")

    monkeypatch.setattr("django.core.cache.backends.redis.RedisCache.get", get)
    for _ in range(5):
        assert kept.cache.get("a", 7) == 7
    assert len(asked) == 1
    kept.KeptCache._away_until = 0.0
    kept.cache.get("a")
    assert len(asked) == 2


@pytest.mark.django_db
def test_a_coachs_pages_open(away: None, coach: User, student: Student, client_for) -> None:
    clip = factories.make_submission(student=student)
    client = client_for(coach)
    for page in (reverse("waiting"), reverse("student", args=[student.pk])):
        assert client.get(page).status_code == 200
    assert client.get(reverse("room", args=[clip.pk])).status_code == 200


@pytest.mark.django_db
def test_who_cannot_be_counted_does_not_come_in(away: None, coach: User) -> None:
    given = {"login": coach.email, "password": factories.PASSWORD}
    page = Client().post(reverse("account_login"), given, headers={"Accept": "text/html"})
    assert page.status_code == 503 and "try again" in page.content.decode()
    told = {"email": coach.email, "password": factories.PASSWORD}
    answer = Client().post("/api/login/", told, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (503, "busy")
    assert answer.headers["Retry-After"] == "5"


def test_what_saves_time_is_apart_from_what_counts(settings: Any) -> None:
    assert set(settings.CACHES) == {"default", "kept"}
    caches["kept"].set("a", 1)
    assert caches["default"].get("a") is None
