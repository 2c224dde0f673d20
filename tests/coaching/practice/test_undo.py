"""A verdict is undone for ten seconds, with all that followed from it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.apps import apps
from django.core.files.base import ContentFile
from django.urls import reverse
from django.utils import timezone

from coaching.diagnosis.models import Finding
from coaching.diagnosis.services import findings
from coaching.lessons.models import Entry
from coaching.notify.readers import readers_of
from coaching.people.errors import LessonError
from coaching.practice import undo
from coaching.practice.models import Attempt, PainReport, Step, Verdict
from coaching.practice.services import judging, stopping
from tests import factories
from tests.coaching.practice.making import (
    TURN_RUNG,
    make_assignment,
    make_finding,
    make_review,
    open_attempt,
    send_film,
)

pytestmark = pytest.mark.django_db
SLICES = ("practice", "intake", "diagnosis", "lessons", "review")


def everything() -> dict[str, list[Any]]:
    """Every row of the lesson, so that nothing that a verdict moved can be forgotten."""
    return {
        model._meta.label: list(model._base_manager.order_by("pk").values())
        for name in SLICES
        for model in apps.get_app_config(name).get_models()
    }


def judge(attempt: Attempt, decision: str, **fields: Any) -> Verdict:
    by = attempt.step.assignment.student.coach
    return judging.judge_attempt(attempt=attempt, by=by, decision=decision, **fields)


def on_the_first_step() -> Attempt:
    attempt = open_attempt(make_assignment())
    send_film(attempt, (52, 4), (51, 4), (53, 4))
    return attempt


def on_the_second_step() -> Attempt:
    first = on_the_first_step()
    judge(first, "passed")
    attempt = open_attempt(first.step.assignment)
    send_film(attempt, (52, 4), (51, 4), (53, 4))
    return attempt


def on_the_last_step_of_a_cause() -> Attempt:
    """Its pass closes the cause and makes what rests on it due for a new look."""
    review = make_review()
    cause = make_finding(review=review)
    effect = make_finding(review=review, kind="compensation", text="you stand up")
    findings.link(by=effect.student.coach, effect=effect, cause=cause)
    attempt = open_attempt(make_assignment(review=review, finding=cause, steps=[TURN_RUNG]))
    send_film(attempt, (52, 4), (51, 4), (53, 4))
    return attempt


@pytest.mark.parametrize(
    ("standing", "decision"),
    [
        (on_the_first_step, "passed"),
        (on_the_first_step, "nearly"),
        (on_the_first_step, "not_yet"),
        (on_the_first_step, "stop"),
        (on_the_second_step, "passed"),
        (on_the_second_step, "stop"),
        (on_the_last_step_of_a_cause, "passed"),
    ],
)
def test_everything_is_as_before(standing: Any, decision: str) -> None:
    attempt = standing()
    before = everything()
    verdict = judge(attempt, decision, cue="Turn more.")
    assert everything() != before
    undo.take_back_verdict(verdict=verdict, by=verdict.given_by)
    assert everything() == before


def test_the_pass_closed_a_cause_and_that_is_undone_too() -> None:
    attempt = on_the_last_step_of_a_cause()
    verdict = judge(attempt, "passed")
    assert Finding.objects.filter(closed_at__isnull=False).exists()
    assert Finding.objects.filter(look_again_at__isnull=False).exists()
    undo.take_back_verdict(verdict=verdict, by=verdict.given_by)
    assert not Finding.objects.filter(closed_at__isnull=False).exists()
    assert not Finding.objects.filter(look_again_at__isnull=False).exists()


def test_a_step_back_is_undone_and_the_step_before_stays_passed() -> None:
    attempt = on_the_second_step()
    before = everything()
    verdict = judge(attempt, "step_back")
    undo.take_back_verdict(verdict=verdict, by=verdict.given_by)
    passed = before["practice.Step"][0]["passed_at"]
    first = Step.objects.get(pk=before["practice.Step"][0]["id"])
    assert abs(first.passed_at - passed) < timedelta(seconds=5)
    after = everything()
    before["practice.Step"][0]["passed_at"] = after["practice.Step"][0]["passed_at"] = None
    assert after == before


def test_what_was_spoken_goes_with_the_verdict(
    settings: Any, tmp_path: Any, django_capture_on_commit_callbacks: Any
) -> None:
    settings.MEDIA_ROOT = tmp_path
    verdict = judge(on_the_first_step(), "passed", voice=ContentFile(b"well", name="a.webm"))
    with django_capture_on_commit_callbacks(execute=True):
        undo.take_back_verdict(verdict=verdict, by=verdict.given_by)
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_what_was_spoken_goes_again_when_its_verdict_is_not_stored(
    settings: Any, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.MEDIA_ROOT = tmp_path
    kept: list[int] = []

    def breaks(verdict: Verdict, *, by: Any, next_step: Any, due_on: Any) -> dict[str, Any]:
        kept.append(len([path for path in tmp_path.rglob("*") if path.is_file()]))
        raise RuntimeError("the next step went wrong")

    monkeypatch.setattr(judging, "_follow", breaks)
    with pytest.raises(RuntimeError):
        judge(on_the_first_step(), "passed", voice=ContentFile(b"well", name="a.webm"))
    assert kept == [1] and not Verdict.objects.exists()
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def refused(verdict: Verdict) -> str:
    with pytest.raises(LessonError) as raised:
        undo.take_back_verdict(verdict=verdict, by=verdict.given_by)
    assert raised.value.status == 409
    assert Verdict.objects.filter(pk=verdict.pk).exists()
    return raised.value.code


def test_it_is_refused_when_it_is_too_late() -> None:
    verdict = judge(on_the_first_step(), "passed")
    Entry.objects.filter(kind="judged").update(notified_at=timezone.now())
    assert refused(verdict) == "too_late"
    Entry.objects.filter(kind="judged").update(notified_at=None)
    Verdict.objects.update(created_at=timezone.now() - timedelta(seconds=11))
    assert refused(verdict) == "too_late"


def test_it_is_refused_when_the_student_has_begun() -> None:
    attempt = on_the_first_step()
    verdict = judge(attempt, "passed")
    send_film(open_attempt(attempt.step.assignment), (52, 4))
    assert refused(verdict) == "begun"


def test_the_page_offers_it_and_it_can_be_judged_again(client_for: Any) -> None:
    attempt = on_the_first_step()
    coach = attempt.step.assignment.student.coach
    client = client_for(coach)
    client.post(reverse("practice:verdict", args=[attempt.pk]), {"decision": "stop"})
    address = reverse("practice:take_back", args=[Verdict.objects.get().pk])
    assert address in client.get(reverse("waiting")).content.decode()
    assert client.post(address).url == reverse("practice:judge", args=[attempt.pk])
    assert judge(attempt, "passed").decision == "passed"


def test_it_is_offered_to_nobody_else_and_not_for_long(client_for: Any) -> None:
    attempt = on_the_first_step()
    student = attempt.step.assignment.student
    verdict = judge(attempt, "passed")
    address = reverse("practice:take_back", args=[verdict.pk])
    colleague = factories.make_coach(studio=student.studio)
    assert address not in client_for(colleague).get(reverse("waiting")).content.decode()
    for user in (student.user, factories.make_coach(role="assistant", studio=student.studio)):
        assert client_for(user).post(address).status_code == 404
    Verdict.objects.update(created_at=timezone.now() - timedelta(seconds=11))
    assert address not in client_for(student.coach).get(reverse("waiting")).content.decode()


# A part of the body touched by mistake.


def standing_drill() -> tuple[Any, Any]:
    assignment = make_assignment()
    student = assignment.student
    factories.make_angle(request=factories.make_request(student=student, angles=0))
    return assignment, student


def open_again(assignment: Any, student: Any) -> bool:
    assignment.refresh_from_db()
    suspended = student.requests.filter(suspended_at__isnull=False)
    return assignment.stopped_at is None and not suspended.exists()


def test_a_mistaken_tap_is_taken_back_and_the_record_stays(client_for: Any) -> None:
    assignment, student = standing_drill()
    client = client_for(student.user)
    client.post(reverse("practice:pain", args=[student.pk]), {"region": "hip"})
    report = student.pain_reports.get()
    assert not open_again(assignment, student)
    address = reverse("practice:take_back_pain", args=[report.pk])
    assert address in client.get(reverse("practice:pain_where", args=[report.pk])).text
    page = client.post(address, follow=True)
    assert "Taken back. Your coach has been told." in page.text
    assert open_again(assignment, student)
    report.refresh_from_db()
    assert report.taken_back_at == report.reopened_at is not None
    entry = Entry.objects.filter(thread__student=student).latest("pk")
    assert (entry.kind, entry.refs["taken_back"]) == ("pain", True)
    assert student.coach in readers_of(entry)
    coach = client_for(student.coach)
    assert "mistaken tap" in coach.get(reverse("practice:pain_report", args=[report.pk])).text
    assert "by mistake" in coach.get(reverse("thread", args=[student.pk])).text


def test_what_another_report_holds_stays_stopped() -> None:
    assignment, student = standing_drill()
    first = stopping.report_pain(student=student, by=student.user, region="back")
    second = stopping.report_pain(student=student, by=student.user, region="hip")
    undo.take_back_pain(report=second, by=student.user)
    undo.take_back_pain(report=first, by=student.user)
    assert open_again(assignment, student)
    third = stopping.report_pain(student=student, by=student.user, region="hip", text="sharp")
    undo.take_back_pain(
        report=stopping.report_pain(student=student, by=student.user, region="hip"),
        by=student.user,
    )
    assert not open_again(assignment, student)
    assert student.pain_reports.filter(reopened_at=None).get() == third


@pytest.mark.parametrize(
    "more_than_a_tap",
    [
        {"created_at": timezone.now() - timedelta(minutes=10)},
        {"urgent": True},
        {"statement": "My physiotherapist agreed."},
    ],
    ids=["too late", "an urgent sign", "a statement"],
)
def test_more_than_a_tap_stands(client_for: Any, more_than_a_tap: dict[str, Any]) -> None:
    assignment, student = standing_drill()
    report = stopping.report_pain(student=student, by=student.user, region="hip")
    PainReport.objects.filter(pk=report.pk).update(**more_than_a_tap)
    address = reverse("practice:take_back_pain", args=[report.pk])
    client = client_for(student.user)
    assert address not in client.get(reverse("practice:pain_where", args=[report.pk])).text
    client.post(address)
    assert not open_again(assignment, student)


def test_only_the_students_side_takes_pain_back(client_for: Any, stranger: Any) -> None:
    _assignment, student = standing_drill()
    report = stopping.report_pain(student=student, by=student.user, region="hip")
    for user in (student.coach, stranger):
        address = reverse("practice:take_back_pain", args=[report.pk])
        assert client_for(user).post(address).status_code == 404
    report.refresh_from_db()
    assert report.reopened_at is None


def test_where_it_hurts_is_no_statement_of_a_professional(client_for: Any) -> None:
    """Locating pain and stating that somebody agreed are two things in the thread."""
    _assignment, student = standing_drill()
    report = stopping.report_pain(student=student, by=student.user, region="other")
    stopping.locate_pain(report=report, by=student.user, region="hip", text="when I turn")
    thread = reverse("thread", args=[student.pk])
    assert "has agreed" not in client_for(student.coach).get(thread).text
    stopping.state_professional_agreed(report=report, by=student.user, text="Dr. X, today")
    assert "has agreed" in client_for(student.coach).get(thread).text
