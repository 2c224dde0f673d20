"""The owner sees what waits, what failed and why, and tries it again; nobody else does."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from analysis import services as analysis
from analysis.models import Run
from coaching import health
from coaching.lessons import services as lessons
from coaching.notify import services as notify
from coaching.notify.models import Notice
from coaching.operations import queries
from coaching.people.models import ApiToken, Student, Studio, User
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def machine(monkeypatch: pytest.MonkeyPatch, settings: object) -> None:
    monkeypatch.setattr(health, "_broker_answers", lambda: True)
    settings.READY_FREE_MIB = 1  # type: ignore[attr-defined]
    analysis.sweep()


@pytest.fixture
def studio(coach: User) -> Studio:
    return coach.memberships.get().studio


def page(client: Client, studio: Studio) -> str:
    answer = client.get(reverse("operations", args=[studio.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def failed(student: Student, code: str = "internal") -> Run:
    clip = factories.make_submission(student=student)
    return factories.make_run(
        video=clip.video, kind="measure", status="failed", error_code=code, attempts=3
    )


def stuck(student: Student, **fields: object) -> Notice:
    entry = lessons.send_message(
        student=student, author=student.user, text=f"Hello {Notice.objects.count()}"
    )
    notice = Notice.objects.create(entry=entry, user=student.coach)
    Notice.objects.filter(pk=notice.pk).update(**fields)
    return notice


def test_an_empty_studio_has_a_sentence_for_everything(
    coach: User, studio: Studio, client_for: Callable[[User], Client]
) -> None:
    text = page(client_for(coach), studio)
    assert "Everything runs." in text
    for sentence in ("Nothing waits", "every e-mail came through", "no promise to keep"):
        assert sentence in text


def test_what_waits_and_what_failed(
    coach: User, student: Student, studio: Studio, client_for: Callable[[User], Client]
) -> None:
    run = failed(student)
    waits = factories.make_submission(student=student)
    factories.make_run(video=waits.video, kind="check", status="queued")
    text = page(client_for(coach), studio)
    assert "One film could not be worked on. All else runs." in text
    assert f"run {run.pk}" in text and "tried 3 times" in text
    assert "Something went wrong on our side." in text and "waits to be checked" in text


def test_trying_again_queues_the_run_once(
    coach: User, student: Student, studio: Studio, client_for: Callable[[User], Client]
) -> None:
    run, client = failed(student), client_for(coach)
    again = reverse("operations_run", args=[studio.pk, run.pk])
    assert client.post(again).status_code == 302
    run.refresh_from_db()
    assert (run.status, run.attempts, run.error_code) == ("queued", 0, "")
    assert client.post(again).status_code == 409
    assert "Everything runs." in page(client, studio)


def test_a_clip_that_is_at_fault_has_no_button_but_another_way(
    coach: User, student: Student, studio: Studio, client_for: Callable[[User], Client]
) -> None:
    run = failed(student, "unreadable")
    text = page(client_for(coach), studio)
    assert reverse("operations_run", args=[studio.pk, run.pk]) not in text
    assert reverse("intake:ask", args=[student.pk]) in text


def test_what_was_answered_or_filmed_again_is_settled(student: Student, studio: Studio) -> None:
    for change in ({"answered_at": timezone.now()}, {}):
        clip = failed(student).video.submission
        change = change or {"replaced_by": factories.make_submission(student=student)}
        type(clip).objects.filter(pk=clip.pk).update(**change)
    failed(student)
    Run.objects.order_by("-pk").update(finished_at=timezone.now() - timedelta(days=200))
    assert queries.operations_of(studio)["failures"] == []


def test_an_email_that_was_given_up_goes_again(
    coach: User, student: Student, studio: Studio, client_for: Callable[[User], Client]
) -> None:
    lost = stuck(student, attempts=notify.MOST_ATTEMPTS)
    slow = stuck(student, created_at=timezone.now() - timedelta(hours=1))
    under_way = stuck(student, attempts=1, retry_at=timezone.now() + timedelta(minutes=1))
    fresh = stuck(student)
    found = list(queries.stuck_emails(studio))
    assert found == [lost, slow] and under_way not in found and fresh not in found
    client = client_for(coach)
    assert "2 emails have not got out." in page(client, studio)
    assert not notify.unsent().filter(pk=lost.pk).exists()
    client.post(reverse("operations_email", args=[studio.pk, lost.pk]))
    assert notify.unsent().filter(pk=lost.pk).exists()
    Notice.objects.filter(pk=lost.pk).update(sent_at=timezone.now())
    assert client.post(reverse("operations_email", args=[studio.pk, lost.pk])).status_code == 409


def test_a_machine_in_trouble_says_so_first(
    coach: User, student: Student, studio: Studio, client_for: Callable[[User], Client]
) -> None:
    analysis.beat_path().unlink()
    failed(student)
    text = page(client_for(coach), studio)
    assert "Something does not run as it should." in text and "No worker is heard" in text


def test_who_has_access(
    coach: User, student: Student, studio: Studio, client_for: Callable[[User], Client]
) -> None:
    factories.make_coach(studio=studio, role="assistant", name="Ada Fenn")
    ApiToken.issue(coach, name="a program")
    first, second = queries.members_of(studio)
    owner = first if first.membership.user == coach else second
    assert (owner.students, owner.programs, owner.second_step) == (1, 1, False)
    text = " ".join(page(client_for(coach), studio).split())
    assert "Ada Fenn" in text and "One student can sign in, and 0 guardians." in text


def test_one_studio_sees_nothing_of_another(
    coach: User, student: Student, studio: Studio, stranger: User,
    client_for: Callable[[User], Client],
) -> None:  # fmt: skip
    run, notice = failed(student), stuck(student, attempts=6)
    theirs, client = stranger.memberships.get().studio, client_for(stranger)
    assert student.name not in page(client, theirs)
    assert client.get(reverse("operations", args=[studio.pk])).status_code == 404
    for studio_pk in (studio.pk, theirs.pk):
        for name, pk in (("operations_run", run.pk), ("operations_email", notice.pk)):
            assert client.post(reverse(name, args=[studio_pk, pk])).status_code == 404
    run.refresh_from_db()
    assert run.status == "failed"


def test_queries_do_not_grow_with_rows(
    coach: User, student: Student, studio: Studio, client_for: Callable[[User], Client]
) -> None:
    client = client_for(coach)

    def count() -> int:
        with CaptureQueriesContext(
            connection,
        ) as told:
            page(client, studio)
        return len(told)

    failed(student)
    stuck(student, attempts=6)
    count()  # the menu keeps its own number for a minute
    few = count()
    for _ in range(5):
        other = factories.make_student(coach=coach)
        failed(other)
        stuck(other, attempts=6)
        factories.make_coach(studio=studio)
    assert count() == few
