"""What happened comes first, then one next thing, in one order for home, letters and API."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from coaching.dashboard.facts import lines_for
from coaching.dashboard.next import (
    BEFORE_NEWS,
    HAPPENED,
    MOST_NEWS,
    Answered,
    Facts,
    JudgedStep,
    Kind,
    Line,
    first_of,
    lines,
)
from coaching.intake.models import Request, RequestedAngle
from coaching.lessons.models import Entry
from coaching.lessons.wording.deadlines import promise_words
from coaching.notify import services as notify
from coaching.people.models import Student, User
from coaching.practice.models import Verdict
from coaching.practice.services import judging
from coaching.review.services import drafts, sending
from tests import factories
from tests.coaching.practice.making import make_assignment, open_attempt, send_film

ANGLE = RequestedAngle(pk=5, request=Request(text="From behind, please."), view="face_on")
# Each fact alone, in the order in which it decides.
DECIDES: list[tuple[Kind, dict[str, Any]]] = [
    (Kind.BODY, {"body_asked": False}),
    (Kind.QUESTION, {"question": 1}),
    (Kind.CONSENT, {"consent_missing": True}),
    (Kind.REFUSED, {"refused": 2}),
    (Kind.FILM, {"angle": ANGLE}),
    (Kind.STOPPED, {"stopped": 3}),
    (Kind.WAITING, {"promised_at": datetime(2026, 3, 1, 9, tzinfo=UTC)}),
    (Kind.CHECKING, {"checking": 4}),
    (Kind.NOTHING, {}),
]


@pytest.mark.parametrize(("kind", "fact"), DECIDES, ids=[kind for kind, _ in DECIDES])
def test_each_fact_alone_decides(kind: Kind, fact: dict[str, Any]) -> None:
    (line,) = lines(Facts(student=1, **fact))
    assert line.kind == kind
    assert bool(line.url) == bool(line.label)
    assert line.stop == (kind == Kind.STOPPED)


def test_the_earlier_fact_decides_whatever_else_holds() -> None:
    places = range(len(DECIDES))
    for some in (c for n in places for c in combinations(places, n + 1)):
        facts = Facts(student=1)
        for place in some:
            facts = replace(facts, **DECIDES[place][1])
        assert lines(facts)[-1].kind == DECIDES[min(some)][0]


ANSWER = Answered(review=7, name="Robin", text="Turn more.")


def judged(decision: str, **fields: Any) -> JudgedStep:
    return JudgedStep(
        assignment=8, drill="Turn and hold", step=2, decision=decision, cue="Feel it.", **fields
    )


@pytest.mark.parametrize(
    ("row", "kind", "sentence"),
    [
        (ANSWER, Kind.ANSWERED, "Robin has answered."),
        (Answered(review=7, name=""), Kind.ANSWERED, "Your coach has answered."),
        (
            judged("passed", step_is_passed=True),
            Kind.PASSED,
            "You passed step 2 of “Turn and hold”.",
        ),
        (
            judged("passed", step_is_passed=True, is_climbed=True),
            Kind.CLIMBED,
            "You passed the last step of “Turn and hold”.",
        ),
        (
            judged("passed"),
            Kind.JUDGED,
            "Step 2 of “Turn and hold” counts. Once more on another day.",
        ),
        *((judged(d), Kind.JUDGED, None) for d in ("nearly", "not_yet", "step_back", "stop")),
    ],
)
def test_what_happened_comes_first_with_the_coachs_words(
    row: Any, kind: Kind, sentence: str | None
) -> None:
    happened, following = lines(Facts(student=1, happened=[row], angle=ANGLE))
    assert happened.kind == kind and following.kind == Kind.FILM
    assert sentence is None or happened.sentence == sentence
    assert happened.quote == (row.text if isinstance(row, Answered) else "Feel it.")
    assert happened.url and happened.label


def test_every_decision_has_its_sentence() -> None:
    for decision in Verdict.Decision.values:
        line = lines(Facts(student=1, happened=[judged(decision)]))[0]
        assert "Turn and hold" in line.sentence and "%" not in line.sentence


def test_news_are_few() -> None:
    found = lines(Facts(student=1, happened=[ANSWER] * 9))
    assert len(found) == MOST_NEWS + 1


def test_body_question_and_consent_lead_news_and_news_lead_the_rest() -> None:
    for kind, fact in DECIDES:
        told = lines(Facts(student=1, happened=[ANSWER], **fact))
        assert first_of(told).kind == (kind if kind in BEFORE_NEWS else Kind.ANSWERED)


def test_news_that_were_opened_lead_no_more() -> None:
    told = lines(Facts(student=1, happened=[replace(ANSWER, is_read=True)], angle=ANGLE))
    assert [line.kind for line in told] == [Kind.ANSWERED, Kind.FILM]
    assert first_of(told).kind == Kind.FILM


def test_a_guardian_reads_the_childs_name_in_every_sentence() -> None:
    for kind, fact in DECIDES[:-1]:
        (line,) = lines(Facts(student=1, child="Nell", **fact))
        assert line.kind == kind and "Nell" in line.sentence and "our " not in line.sentence
    asked = lines(Facts(student=1, child="Nell", angle=ANGLE))[-1]
    assert asked.sentence == "Nell is asked to film one swing, face on."


@pytest.mark.parametrize(
    ("at", "words"),
    [
        ((1, 0, 19), "this evening"),  # the night belongs to the evening before
        ((1, 9, 0), "tomorrow noon"),
        ((1, 15, 0), "tomorrow afternoon"),
        ((2, 0, 19), "tomorrow evening"),
        ((4, 18, 30), "Wednesday evening"),
        ((20, 18, 30), "Friday, 20 March"),
    ],
)
def test_a_promise_is_said_in_words(at: tuple[int, int, int], words: str) -> None:
    now = datetime(2026, 2, 28, 10, tzinfo=UTC)
    day, hour, minute = at
    with timezone.override(UTC):
        assert promise_words(datetime(2026, 3, day, hour, minute, tzinfo=UTC), now) == words


def test_a_letter_names_the_day_for_it_is_read_later() -> None:
    now = datetime(2026, 2, 28, 10, tzinfo=UTC)
    with timezone.override(UTC):
        for day, words in ((0, "Saturday evening"), (1, "Sunday evening"), (3, "Tuesday evening")):
            when = datetime(2026, 2, 28, 18, tzinfo=UTC) + timedelta(days=day)
            assert promise_words(when, now, by_name=True) == words
    promised = timezone.now() + timedelta(hours=1)
    (line,) = lines(Facts(student=1, promised_at=promised, in_letter=True))
    assert not any(word in line.sentence for word in ("today", "tomorrow", "this evening"))


# From what is stored.


def news(student: Student) -> list[Line]:
    return [line for line in lines_for(student) if line.kind in HAPPENED]


@pytest.mark.django_db
def test_an_answer_and_a_verdict_are_news_until_the_next_clip(client_for: Any) -> None:
    assignment = make_assignment()
    student = assignment.student
    assert [line.kind for line in news(student)] == [Kind.ANSWERED]
    attempt = open_attempt(assignment)
    clip = send_film(attempt, (52, 4), (51, 4), (53, 4))
    Entry.objects.create(
        thread=student.thread, kind="sent", author=student.user, refs={"submission": clip.pk}
    )
    assert news(student) == []
    judging.judge_attempt(
        attempt=attempt, by=student.coach, decision="passed", cue="Let the belt buckle turn."
    )
    (line,) = news(student)
    assert (line.kind, line.quote) == (Kind.PASSED, "Let the belt buckle turn.")
    client = client_for(student.user)
    home = client.get(reverse("today", args=[student.pk])).text
    assert home.index("You passed step 1") < home.index("Film")
    assert '<blockquote class="said quoted">Let the belt buckle turn.</blockquote>' in home
    # Its own page says it whole, and from then on it is news no more.
    verdict = client.get(line.url).text
    assert "Passed: slow, no ball." in verdict and verdict.count("counted") >= 3
    assert first_of(lines_for(student)).kind == Kind.FILM
    # The cue is not lost on the next step.
    drill = client.get(reverse("practice:drill", args=[assignment.pk])).text
    assert "Step 2 of 2" in drill and "<q>Let the belt buckle turn.</q>" in drill


@pytest.mark.django_db
def test_home_letter_and_api_say_the_same(
    student: Student, coach: User, client_for: Any, mailoutbox: list[Any]
) -> None:
    clip = factories.make_submission(student=student)
    factories.make_measured(clip, {})
    review = drafts.open_draft(submissions=[clip], by=coach)
    drafts.save_words(review=review, text="Turn more.", revision=0, by=coach)
    sending.publish_review(review=review, by=coach)
    Entry.objects.update(created_at=datetime.now(tz=UTC) - timedelta(minutes=1))
    factories.make_request(student=student)
    notify.send_notices()
    told = lines_for(student)
    client = APIClient()
    client.force_authenticate(student.user)
    rows = client.get(f"/api/students/{student.pk}/next/").json()
    assert [row["sentence"] for row in rows] == [line.sentence for line in told]
    home = client_for(student.user).get(reverse("today", args=[student.pk])).text
    for line in told:
        assert line.sentence in home
    assert f"Next: {told[-1].sentence}" in mailoutbox[-1].body


@pytest.mark.django_db
def test_a_clip_that_was_sent_back_promises_nothing(student: Student) -> None:
    clip = factories.make_submission(student=student)
    factories.make_checked(clip, reject="body_cut")
    assert "answers by" not in lines_for(student)[-1].sentence
    moving = factories.make_submission(student=student, angle=clip.angle)
    clip.replaced_by = moving
    clip.save()
    assert lines_for(student)[-1].kind == Kind.CHECKING


@pytest.mark.django_db
def test_a_clip_that_was_sent_back_is_next_while_it_is_wanted(student: Student) -> None:
    clip = factories.make_submission(student=student)
    factories.make_checked(clip, reject="body_cut")
    assert clip.angle is not None
    assert lines_for(student)[-1].kind == Kind.REFUSED
    asked = clip.angle.request
    for field in ("closed_at", "suspended_at"):  # nobody may film for it now
        setattr(asked, field, timezone.now())
        asked.save()
        assert lines_for(student)[-1].kind == Kind.NOTHING
        setattr(asked, field, None)
        asked.save()
    other = factories.make_submission(student=student, angle=clip.angle)
    factories.make_measured(other, {})
    assert lines_for(student)[-1].kind == Kind.WAITING


@pytest.mark.django_db
def test_a_skipped_consent_is_asked_again(coach: User, client_for: Any) -> None:
    student = factories.make_student(coach=coach, consents=False)
    factories.make_request(student=student)
    home = client_for(student.user).get(reverse("today", args=[student.pk])).text
    assert "say what you agree to" in home
    assert reverse("people:consents", args=[student.pk]) in home


@pytest.mark.django_db
def test_a_strangers_verdict_is_not_found(client_for: Any, stranger: User) -> None:
    assignment = make_assignment()
    attempt = open_attempt(assignment)
    send_film(attempt, (52, 4))
    given = judging.judge_attempt(
        attempt=attempt, by=assignment.student.coach, decision="nearly", cue="Slower."
    )
    address = reverse("practice:verdict_read", args=[given.pk])
    assert client_for(stranger).get(address).status_code == 404
    assert "Nearly" in client_for(assignment.student.user).get(address).text


@pytest.mark.django_db
def test_a_stranger_reads_nobodys_next(student: Student, stranger: User) -> None:
    client = APIClient()
    client.force_authenticate(stranger)
    assert client.get(f"/api/students/{student.pk}/next/").status_code == 404
