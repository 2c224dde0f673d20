"""What is seen from outside says what is wrong, and nothing of anybody."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError
from django.test import Client
from django.utils import timezone

from analysis import services as analysis
from analysis.models import Run
from coaching import health, kept
from coaching.lessons import services as lessons
from coaching.notify import services as notify
from coaching.notify.models import Notice
from coaching.people.models import Student, User
from tests import factories

pytestmark = pytest.mark.django_db
TOKEN = "of the one who watches"


@pytest.fixture(autouse=True)
def all_well(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    monkeypatch.setattr(health, "_broker_answers", lambda: True)
    settings.READY_FREE_MIB, settings.METRICS_TOKEN = 1, TOKEN
    analysis.sweep()
    forget()


def forget() -> None:
    """As some seconds later."""
    health.remembered.forget()
    kept.cache.delete("ready")


def wrong(client: Client) -> list[str]:
    forget()
    answer = client.get("/readyz", headers={"Authorization": f"Bearer {TOKEN}"})
    assert (answer.status_code == 200) == answer.json()["ok"]
    return list(answer.json()["wrong"])


def test_all_is_well(client: Client) -> None:
    assert client.get("/healthz").status_code == 200
    assert wrong(client) == []


def test_a_run_that_waits_for_hours(client: Client) -> None:
    run = factories.make_run(status="queued", queued_at=timezone.now() - timedelta(hours=3))
    assert wrong(client) == ["run_oldest_seconds"]
    Run.objects.filter(pk=run.pk).update(status="done")
    assert wrong(client) == []


def test_a_letter_about_pain_that_waits(client: Client, student: Student, coach: User) -> None:
    lessons.record(student=student, kind="pain", author=student.user)
    notify.address_entries()
    assert wrong(client) == []
    Notice.objects.update(created_at=timezone.now() - timedelta(minutes=6), attempts=50)
    assert wrong(client) == ["pain_letter_oldest_seconds"]


def test_a_clock_that_stopped_and_a_broker_that_is_away(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    analysis.beat_path().unlink()
    monkeypatch.setattr(health, "_broker_answers", lambda: False)
    assert wrong(client) == ["broker_up", "beat_age_seconds"]


def test_a_database_that_is_away(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def away() -> Any:
        raise OperationalError("no connection")

    monkeypatch.setattr(health, "readings", away)
    assert wrong(client) == ["database"]


def test_a_stranger_learns_one_word_and_costs_nothing(
    client: Client, client_for: Callable[[User], Client], student: Student,
    django_assert_num_queries: Any, monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(health, "_broker_answers", lambda: False)
    assert wrong(client) == ["broker_up"]
    for headers in ({}, {"Authorization": "Bearer guessed"}):
        with django_assert_num_queries(0):  # also while nothing is well
            answer = client.get("/readyz", headers=headers)
        assert (answer.status_code, answer.json()) == (503, {"ok": False})
    assert student.user is not None
    teaching = factories.make_coach(studio=student.studio, role="coach")
    for user in (student.user, teaching):
        assert client_for(user).get("/readyz").json() == {"ok": False}
    owner = factories.make_coach(studio=student.studio, role="owner")
    assert client_for(owner).get("/readyz").json() == {"ok": False, "wrong": ["broker_up"]}


def test_one_asks_for_all_and_nobody_waits_for_a_database_that_hangs(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = []

    def slow() -> list[str]:
        asked.append(1)
        assert health.remembered.wrong() == ["not_known_yet"]  # as in another thread
        return []

    monkeypatch.setattr(health, "_wrong_now", slow)
    assert [health.remembered.wrong() for _ in range(3)] == [[], [], []]
    health.remembered.forget()  # another process, which finds what this one has found out
    assert health.remembered.wrong() == [] and len(asked) == 1


def test_metrics_are_for_those_with_the_token(
    client: Client, settings: Any, student: Student
) -> None:
    settings.METRICS_TOKEN = ""
    assert client.get("/metrics", headers={"Authorization": "Bearer "}).status_code == 404
    settings.METRICS_TOKEN = "secret"
    assert client.get("/metrics", headers={"Authorization": "Bearer no"}).status_code == 404
    text = client.get("/metrics", headers={"Authorization": "Bearer secret"}).content.decode()
    assert "causeway_runs_waiting 0.0" in text and "causeway_beat_age_seconds" in text
    assert student.name not in text and student.email not in text


# We are busy


@pytest.mark.parametrize("where", ["view", "session"])
def test_a_database_that_is_locked_is_one_sentence_wherever_it_arises(
    where: str, coach: User, client_for: Callable[[User], Client], monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    from django.contrib.sessions.backends.db import SessionStore

    from coaching.dashboard import views

    client = client_for(coach)
    client.raise_request_exception = False

    def locked(*args: Any, **kwargs: Any) -> None:
        raise OperationalError("database is locked")

    if where == "view":
        monkeypatch.setattr(views.lists, "page_of", locked)
    else:
        monkeypatch.setattr(SessionStore, "load", locked)
    answer = client.get("/waiting/", headers={"Accept": "text/html"})
    assert answer.status_code == 503 and answer["Retry-After"] == "5"
    assert "Nothing is lost" in answer.content.decode()
    assert any("database is locked" in str(row.exc_info) for row in caplog.records)
