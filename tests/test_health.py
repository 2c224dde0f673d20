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
from coaching import health
from coaching.lessons import services as lessons
from coaching.notify import services as notify
from coaching.notify.models import Notice
from coaching.people.models import Student, User
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def all_well(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    monkeypatch.setattr(health, "_broker_answers", lambda: True)
    settings.READY_FREE_MIB = 1
    analysis.sweep()


def wrong(client: Client) -> list[str]:
    answer = client.get("/readyz")
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


def test_metrics_are_for_those_with_the_token(
    client: Client, settings: Any, student: Student
) -> None:
    assert client.get("/metrics").status_code == 404
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
