"""The students as a table, and one student's course: order, pages, tags, cost."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from coaching.dashboard import roster
from coaching.people import access
from coaching.people.models import Student
from coaching.practice.models import PainReport
from tests import factories
from tests.coaching.practice.making import make_assignment, make_finding, make_review

pytestmark = pytest.mark.django_db
TURN = {("pelvis_turn_deg", "top"): (21.0, 2.0)}


def names(coach, **options):
    page = roster.roster(access.students_taught(coach), **options)
    return [line.student.name for line in page.lines]


@pytest.fixture
def people(coach, student):
    waits = factories.make_student(coach=coach, name="Zoe Waits")
    clip = factories.make_submission(student=waits, promised_at=timezone.now() + timedelta(hours=3))
    factories.make_measured(clip, TURN)
    hurts = factories.make_student(coach=coach, name="Yan Hurts")
    PainReport.objects.create(student=hurts, region="hip")
    closed = factories.make_student(coach=coach, name="Abe Closed", closed_at=timezone.now())
    return {"waits": waits, "hurts": hurts, "closed": closed, "idle": student}


def test_those_who_wait_stand_first_then_the_rest_by_name(coach, people):
    factories.make_student(coach=coach, name="Ann Idle")
    assert names(coach) == ["Yan Hurts", "Zoe Waits", "Ann Idle", people["idle"].name]
    assert names(coach, show="waiting") == ["Yan Hurts", "Zoe Waits"]
    assert names(coach, show="closed") == ["Abe Closed"]
    assert names(coach, text="zOe") == ["Zoe Waits"]


def test_a_line_says_what_is_now(coach, student, people):
    make_assignment(review=make_review(student=people["idle"]))
    invited = factories.make_student(coach=coach, joined=False, name="Ina Invited")
    page = roster.roster(access.students_taught(coach))
    lines = {line.student: line for line in page.lines}
    assert "Hip hurts" in lines[people["hurts"]].now
    assert lines[people["idle"]].drill == "A drill 1/2"
    assert lines[people["waits"]].promised_at is not None
    assert lines[invited].now == "invited, has not joined"
    assert (page.active, page.waiting) == (3, 2)


def test_who_was_asked_again_waits_for_themselves(coach, student):
    clip = factories.make_submission(student=student)
    factories.make_checked(clip, reject="body_cut")

    def now():
        (line,) = roster.roster(access.students_taught(coach)).lines
        return line.now

    assert now() == "asked to film again"
    factories.make_measured(factories.make_submission(student=student, angle=clip.angle), TURN)
    assert now() != "asked to film again"  # another one came for the same angle


def test_who_has_a_question_to_answer_is_not_idle(coach, student):
    review = make_review(student=student)
    make_finding(review=review, kind="question", text="your hip")
    review.published_at = timezone.now()
    review.save()
    review.submissions.update(answered_at=timezone.now())
    (line,) = roster.roster(access.students_taught(coach)).lines
    assert line.now == "has a question to answer"


def test_long_tables_come_in_pages(coach, student, monkeypatch):
    monkeypatch.setattr(roster, "PAGE", 2)
    for number in range(4):
        factories.make_student(coach=coach, name=f"Student {number} of many")
    seen = [name for number in (1, 2, 3) for name in names(coach, number=number)]
    assert len(seen) == len(set(seen)) == 5
    assert names(coach, number=99) == names(coach, number=3)


def test_more_students_cost_no_more_queries(coach, client_for):
    client = client_for(coach)

    def fill(count):
        for _ in range(count):
            person = factories.make_student(coach=coach)
            factories.make_measured(factories.make_submission(student=person), TURN)

    def cost():
        with CaptureQueriesContext(connection) as asked:
            assert client.get(reverse("students")).status_code == 200
        return len(asked)

    fill(3)
    cost()  # the menu's number is reckoned once a minute
    few = cost()
    fill(9)
    assert cost() == few


def test_the_course_holds_what_passed_between_the_two_in_order(coach, student):
    assignment = make_assignment(review=make_review(student=student))
    step = assignment.steps.first()
    step.passed_at = timezone.now() + timedelta(seconds=5)
    step.save()
    marks = roster.course_of(student)
    assert [mark.at for mark in marks] == sorted(mark.at for mark in marks)
    labels = [mark.label for mark in marks]
    assert labels[0] == "joined" and "sent a film" in labels and "your answer" in labels
    assert marks[-1].state == "done"
    assert len(roster.course_of(student, most=2)) == 2


def test_a_tag_is_put_on_and_taken_off_on_the_page(coach, student, stranger, client_for):
    address = reverse("tag", args=[student.pk])
    client = client_for(coach)
    client.post(address, {"tag": "winter"})
    assert "winter" in client.get(reverse("student", args=[student.pk])).content.decode()
    client.post(address, {"tag": " "})
    assert [tag.label for tag in student.tags.all()] == ["winter"]
    assert client_for(stranger).post(address, {"remove": "winter"}).status_code == 404
    client.post(address, {"remove": "winter"})
    assert not student.tags.exists()
    assert Student.objects.filter(pk=student.pk).exists()
