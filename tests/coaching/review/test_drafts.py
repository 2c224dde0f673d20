"""A draft begins with the first word or mark, once; what was sent stays as it was sent."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.db import connections
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from coaching.diagnosis.models import Finding
from coaching.diagnosis.services import findings, planning
from coaching.intake.models import Submission
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.practice.models import Assignment
from coaching.practice.services import assigning, stopping
from coaching.review.models import Mark, Review, WalkThrough
from coaching.review.queries import answers
from coaching.review.services import drafts, marks, sending, walks
from tests import factories
from tests.coaching.practice.making import make_assignment, make_drill

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]
JSON = "application/json"


@pytest.fixture
def clip(student: Student) -> Submission:
    clip = factories.make_submission(student=student)
    factories.make_measured(clip, {("pelvis_turn_deg", "top"): (21.0, 3.0)})
    return clip


@pytest.fixture
def unbegun(clip: Submission) -> str:
    return answers.blank(clip).ref


def say(client: Client, ref: str, text: str, revision: int = 0) -> Any:
    body = {"text": text, "revision": revision}
    return client.post(reverse("review:text", args=[ref]), body, content_type=JSON)


def note(clip: Submission, **fields: Any) -> dict[str, Any]:
    return {
        "video": clip.video_id, "key": str(uuid.uuid4()), "start_s": 0.1, "shape": "note"
    } | fields  # fmt: skip


def test_looking_at_a_clip_begins_nothing(
    coach: User, clip: Submission, unbegun: str, client_for: ClientFor
) -> None:
    client = client_for(coach)
    page = client.get(reverse("review:room", args=[clip.pk]))
    assert page.status_code == 200 and unbegun in page.text
    for name in ("review:review_data", "diagnosis:sidebar", "practice:sidebar", "practice:assign"):
        assert client.get(reverse(name, args=[unbegun])).status_code == 200
    assert not Review.objects.exists()


def test_the_first_word_begins_the_draft_and_the_page_goes_on_with_its_address(
    coach: User, clip: Submission, unbegun: str, client_for: ClientFor
) -> None:
    client = client_for(coach)
    assert say(client, unbegun, "Turn").json() == {"revision": 1}
    assert say(client, unbegun, "Turn more", 1).json() == {"revision": 2}
    assert client.post(reverse("review:add_mark", args=[unbegun]), note(clip), content_type=JSON)
    review = Review.objects.get()
    assert (review.text, review.marks.count()) == ("Turn more", 1)
    assert list(review.submissions.all()) == [clip]


@pytest.mark.parametrize(
    ("name", "body"),
    [
        ("diagnosis:add", {"kind": "cause", "text": "your hips barely turn"}),
        ("diagnosis:keep", {"text": "Your tempo."}),
    ],
)
def test_a_finding_begins_the_draft(
    coach: User, unbegun: str, client_for: ClientFor, name: str, body: dict[str, str]
) -> None:
    assert client_for(coach).post(reverse(name, args=[unbegun]), body).status_code == 302
    assert Review.objects.count() == 1


@pytest.mark.parametrize("script", [True, False], ids=["with script", "without"])
@pytest.mark.parametrize("name", ["diagnosis:add", "practice:assign"])
def test_what_is_refused_begins_none(
    coach: User, student: Student, unbegun: str, client_for: ClientFor, name: str, script: bool
) -> None:
    drill = make_drill(studio=student.studio).drill
    body = {"drill": drill.pk, "per_day": "900", "text": ""}
    headers = {"X-Fragment": "1"} if script else {}
    client_for(coach).post(reverse(name, args=[unbegun]), body, headers=headers)
    assert not Review.objects.exists()


def test_a_mark_that_is_refused_begins_none(
    coach: User, clip: Submission, unbegun: str, client_for: ClientFor
) -> None:
    url = reverse("review:add_mark", args=[unbegun])
    answer = client_for(coach).post(url, note(clip, shape="skull"), content_type=JSON)
    assert answer.status_code == 400
    assert not Review.objects.exists()


def test_there_is_nothing_to_send_before_the_first_word(
    coach: User, unbegun: str, client_for: ClientFor
) -> None:
    url = reverse("review:send", args=[unbegun])
    answer = client_for(coach).post(url, headers={"Accept": JSON})
    assert (answer.status_code, answer.json()["code"]) == (400, "empty")
    assert not Entry.objects.filter(kind=Entry.Kind.REVIEWED).exists()


def test_a_stranger_begins_no_draft(stranger: User, unbegun: str, client_for: ClientFor) -> None:
    assert say(client_for(stranger), unbegun, "x").status_code == 404
    assert not Review.objects.exists()


def test_a_window_left_open_writes_into_nothing_that_was_sent(
    coach: User, clip: Submission, unbegun: str, client_for: ClientFor
) -> None:
    """Its address began a draft; that one was sent; the late word begins no second answer."""
    client = client_for(coach)
    say(client, unbegun, "Turn more")
    sending.publish_review(review=Review.objects.get(), by=coach)
    assert say(client, unbegun, "late", 1).status_code == 409
    assert Review.objects.count() == 1
    assert say(client, answers.blank(clip).ref, "A second answer").status_code == 200
    assert Review.objects.count() == 2


def test_words_held_from_a_longer_draft_are_taken_by_an_empty_one(
    coach: User, unbegun: str, client_for: ClientFor
) -> None:
    assert say(client_for(coach), unbegun, "kept on the phone", 7).json() == {"revision": 1}


def test_the_same_words_losing_twice_are_one_version(clip: Submission, coach: User) -> None:
    review = drafts.open_draft(submissions=[clip], by=coach)
    drafts.save_words(review=review, text="first", revision=0, by=coach)
    for _ in "ab":
        with pytest.raises(LessonError):
            drafts.save_words(review=review, text="late", revision=0, by=coach)
    assert review.versions.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_windows_that_begin_at_once_begin_one_draft() -> None:
    student = factories.make_student()
    clip = factories.make_submission(student=student)
    errors: list[Exception] = []

    def window(gate: threading.Barrier) -> None:
        gate.wait()
        try:
            with drafts.begun_draft(submission=clip, sent=0, by=student.coach):
                pass
        except Exception as error:  # noqa: BLE001  any of them fails the test below
            errors.append(error)
        finally:
            connections.close_all()

    for _ in range(8):
        Review.objects.all().delete()
        gate = threading.Barrier(2)
        windows = [threading.Thread(target=window, args=[gate]) for _ in range(2)]
        for thread in windows:
            thread.start()
        for thread in windows:
            thread.join()
        assert errors == []
        assert Review.objects.count() == 1


# What was sent never changes, whatever row a window still holds.


def late_writes(review: Review, clip: Submission) -> dict[str, Callable[[], object]]:
    """Every write into a draft, each with rows fetched before it was sent."""
    by = review.student.coach
    mark = marks.add_mark(
        by=review.student.coach, review=review, video=clip.video, key=uuid.uuid4(),
        start_s=0.1, shape="line",
        points=[[0.1, 0.1]],
    )  # fmt: skip
    walk = walks.start_walk(by=review.student.coach, review=review, video=clip.video)
    walks.finish_walk(
        by=walk.review.student.coach, walk=walk, sound=ContentFile(b"sound", name="a.webm")
    )
    finding = findings.add_finding(review=review, by=by, kind="cause", text="you barely turn")
    other = findings.add_finding(review=review, by=by, kind="compensation", text="you stand up")
    version = make_drill(studio=review.student.studio, slug="another")
    mark = Mark.objects.select_related("review").get(pk=mark.pk)
    walk = WalkThrough.objects.select_related("review__student").get(pk=walk.pk)
    film = ContentFile(b"film", name="b.webm")
    return {
        "text": lambda: drafts.save_words(review=review, text="late", revision=0, by=by),
        "add mark": lambda: marks.add_mark(
            by=review.student.coach,
            review=review,
            video=clip.video,
            key=uuid.uuid4(),
            start_s=0.1,
            shape="note",
        ),
        "change mark": lambda: marks.change_mark(
            by=mark.review.student.coach, mark=mark, revision=0, text="late"
        ),
        "change mark, lost": lambda: marks.change_mark(
            by=mark.review.student.coach, mark=mark, revision=9, text="late"
        ),
        "remove mark": lambda: marks.remove_mark(by=mark.review.student.coach, mark=mark),
        "start walk": lambda: walks.start_walk(
            by=review.student.coach, review=review, video=clip.video
        ),
        "save walk": lambda: walks.save_walk(by=walk.review.student.coach, walk=walk, events=[]),
        "finish walk": lambda: walks.finish_walk(by=walk.review.student.coach, walk=walk),
        "demonstrate": lambda: walks.add_demonstration(
            by=walk.review.student.coach, walk=walk, film=film
        ),
        "remove walk": lambda: walks.remove_walk(by=walk.review.student.coach, walk=walk),
        "find": lambda: findings.add_finding(review=review, by=by, kind="cause", text="late"),
        "edit": lambda: findings.edit_finding(finding=finding, by=by, text="late"),
        "remove": lambda: findings.remove_finding(by=finding.student.coach, finding=finding),
        "link": lambda: findings.link(by=other.student.coach, effect=other, cause=finding),
        "order": lambda: planning.forget_order(by=review.student.coach, review=review),
        "keep": lambda: planning.keep_note(by=review.student.coach, review=review, text="late"),
        "assign": lambda: assigning.assign_drill(review=review, by=by, drill=version),
    }


def what_stands() -> list[Any]:
    return [
        list(model.objects.order_by("pk").values())
        for model in (Review, Mark, WalkThrough, Finding, Assignment)
    ]


def test_a_sent_answer_gains_and_loses_nothing(clip: Submission, coach: User) -> None:
    review = drafts.open_draft(submissions=[clip], by=coach)
    writes = late_writes(review, clip)
    stale = Review.objects.get(pk=review.pk)
    sending.publish_review(review=stale, by=coach)
    before = what_stands()
    for name, write in writes.items():
        with pytest.raises(LessonError) as raised:
            write()
        assert (raised.value.status, raised.value.code) == (409, "published"), name
    assert what_stands() == before


# One way to send.


def test_page_and_api_send_the_same(student: Student, coach: User, client_for: ClientFor) -> None:
    sent = []
    for address in ("/api/reviews/{}/publish/", "/review/{}/send"):
        assignment = make_assignment(opened=False)
        student = assignment.student
        client = client_for(student.coach)
        assert client.post(address.format(assignment.review_id)).status_code in (200, 302)
        assignment.refresh_from_db()
        assert assignment.opened_at is not None, address
        kinds = Entry.objects.filter(thread__student=student).order_by("pk")
        sent.append((list(kinds.values_list("kind", flat=True)), student.requests.count()))
    assert sent[0] == sent[1]


def test_the_script_is_told_why_nothing_was_sent(coach: User, client_for: ClientFor) -> None:
    assignment = make_assignment(opened=False)
    student = assignment.student
    stopping.report_pain(student=student, by=student.user, region="hip")
    url = reverse("review:send", args=[assignment.review_id])
    answer = client_for(student.coach).post(url, headers={"Accept": JSON})
    assert (answer.status_code, answer.json()["code"]) == (400, "hurts")
    assert assignment.review.published_at is None
    assert not Entry.objects.filter(kind=Entry.Kind.REVIEWED).exists()


# Ten seconds to take it back.


@pytest.fixture
def sent(student: Student) -> Review:
    assignment = make_assignment()
    return Review.objects.get(pk=assignment.review_id)


def test_a_sent_answer_taken_back_is_a_draft_with_its_drills(
    sent: Review, client_for: ClientFor
) -> None:
    student = sent.student
    answer = client_for(student.coach).post(reverse("review:take_back", args=[sent.pk]))
    assert answer.status_code == 302
    sent.refresh_from_db()
    assert sent.published_at is None
    assert sent.submissions.get().answered_at is None
    assert sent.assignments.get().opened_at is None
    assert not student.requests.filter(angles__attempts__isnull=False).exists()
    told = Entry.objects.filter(thread__student=student)
    assert not told.filter(kind__in=["reviewed", "assigned"]).exists()
    sending.publish_review(review=sent, by=student.coach)
    assert sent.assignments.get().opened_at is not None


def refused_to_take_back(review: Review) -> str:
    with pytest.raises(LessonError) as raised:
        sending.take_back_review(review=review, by=review.coach)
    assert raised.value.status == 409
    review.refresh_from_db()
    assert review.published_at is not None
    assert review.assignments.get().opened_at is not None
    return raised.value.code


def test_after_ten_seconds_it_has_gone(sent: Review) -> None:
    Review.objects.filter(pk=sent.pk).update(published_at=timezone.now() - timedelta(seconds=11))
    assert refused_to_take_back(sent) == "too_late"


def test_once_somebody_was_written_to_it_has_gone(sent: Review) -> None:
    Entry.objects.filter(kind=Entry.Kind.REVIEWED).update(notified_at=timezone.now())
    assert refused_to_take_back(sent) == "too_late"


def test_a_student_who_has_begun_keeps_it(sent: Review) -> None:
    angle = sent.assignments.get().steps.first().attempts.get().angle
    factories.make_submission(angle=angle, student=sent.student)
    assert refused_to_take_back(sent) == "begun"


def test_a_stranger_takes_nothing_back(sent: Review, stranger: User, client_for: ClientFor) -> None:
    for user in (stranger, sent.student.user):
        url = reverse("review:take_back", args=[sent.pk])
        assert client_for(user).post(url).status_code == 404
