"""The waiting list: what stands first, what each row says, who sees it, at what cost."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from coaching.desk import queries
from coaching.diagnosis import services as diagnosis
from coaching.diagnosis.models import Because, Finding
from coaching.lessons import services as lessons
from coaching.people import access
from coaching.people.models import Student
from coaching.practice.models import PainReport
from coaching.review.models import Review
from tests import factories
from tests.coaching.practice.making import make_assignment, make_review

pytestmark = pytest.mark.django_db
TURN = {("pelvis_turn_deg", "top"): (38.0, 2.0)}


def rows(coach, **options):
    return queries.waiting_list(access.students_taught(coach), user=coach, **options)


def ready_clip(student, **fields):
    clip = factories.make_submission(student=student, **fields)
    factories.make_measured(clip, TURN)
    return clip


def test_order_is_pain_then_nearest_promise_then_new_look_then_the_rest(coach, student):
    now = timezone.now()
    lessons.send_message(student=student, author=student.user, words="May I use my old driver?")
    Finding.objects.create(
        student=student, kind="compensation", words="you stand up", look_again_at=now
    )
    later = ready_clip(student, promised_at=now + timedelta(hours=40))
    sooner = ready_clip(student, promised_at=now + timedelta(hours=2))
    PainReport.objects.create(student=student, region="hip")

    found = rows(coach)

    assert [row.group for row in found] == ["pain", "promised", "promised", "look_again", "rest"]
    assert [row.submission for row in found[1:3]] == [sooner, later]


def test_a_clip_still_being_measured_does_not_wait_for_the_coach(coach, student):
    factories.make_submission(student=student)
    assert rows(coach) == []


def test_a_clip_that_failed_waits_and_says_so(coach, student):
    clip = factories.make_submission(student=student)
    factories.make_checked(clip)
    factories.make_run(video=clip.video, kind="copy", status="failed")
    (row,) = rows(coach)
    assert "could not be measured" in row.sentence


def test_a_snoozed_student_sleeps_but_pain_does_not(coach, student):
    ready_clip(student)
    PainReport.objects.create(student=student, region="back")
    Student.objects.filter(pk=student.pk).update(snoozed_until=timezone.now() + timedelta(days=1))
    assert [row.group for row in rows(coach)] == ["pain"]


def test_words_narrow_the_list(coach, student):
    ready_clip(student)
    assert len(rows(coach, words="SAM behind")) == 1
    assert rows(coach, words="sam driver") == []


def test_a_message_read_by_the_coach_waits_no_longer(coach, student):
    lessons.send_message(student=student, author=student.user, words="Does the wind matter?")
    assert "Does the wind matter?" in rows(coach)[0].sentence
    lessons.mark_seen(thread=student.thread, user=coach)
    assert rows(coach) == []


def test_somebody_quiet_for_two_weeks_with_something_to_film_is_named(coach, student):
    request = factories.make_request(student=student)
    entry = lessons.record(student=student, kind="requested", author=coach, request=request.pk)
    assert rows(coach) == []
    entry.created_at = timezone.now() - timedelta(days=16)
    entry.save()
    (row,) = rows(coach)
    assert "quiet for 16 days" in row.sentence


def test_the_number_of_queries_does_not_grow_with_rows(coach, client_for):
    def fill(count):
        for _ in range(count):
            ready_clip(factories.make_student(coach=coach))

    client = client_for(coach)
    fill(2)
    with CaptureQueriesContext(
        connection,
    ) as few:
        assert client.get(reverse("desk:waiting")).status_code == 200
    fill(20)
    with CaptureQueriesContext(connection) as many:
        assert client.get(reverse("desk:waiting")).status_code == 200
    assert len(many) == len(few)


def test_a_stranger_sees_nothing_of_ours(student, stranger, client_for):
    ready_clip(student)
    client = client_for(stranger)
    assert student.name not in client.get(reverse("desk:waiting")).content.decode()
    assert student.name not in client.get(reverse("desk:students")).content.decode()
    assert client.get(reverse("desk:student", args=[student.pk])).status_code == 404
    assert client.get(reverse("desk:mine", args=[student.pk])).status_code == 404


def test_a_student_does_not_see_the_coach_s_page_of_himself(student, client_for):
    client = client_for(student.user)
    assert client.get(reverse("desk:student", args=[student.pk])).status_code == 404
    assert client.get(reverse("desk:mine", args=[student.pk])).status_code == 200


@pytest.mark.parametrize("page", ["waiting", "students", "practice"])
def test_empty_pages_say_what_to_do(coach, client_for, page):
    response = client_for(coach).get(reverse(f"desk:{page}"))
    assert response.status_code == 200
    assert 'class="empty"' in response.content.decode()


def test_everybody_is_sent_to_the_one_page_they_need(coach, student, client_for):
    home = reverse("desk:home")
    assert client_for(coach).get(home).url == reverse("desk:waiting")
    assert client_for(student.user).get(home).url == reverse("desk:mine", args=[student.pk])


def test_promises_are_counted_as_kept_or_missed(coach, student):
    now = timezone.now()
    day = timedelta(days=1)
    factories.make_submission(student=student, answered_at=now - 2 * day, promised_at=now - day)
    factories.make_submission(student=student, answered_at=now - day, promised_at=now - 2 * day)
    factories.make_submission(student=student, promised_at=now - day)
    factories.make_submission(student=student, answered_at=now - 60 * day, promised_at=now)
    kept = queries.promises(access.students_taught(coach), days=30)
    assert (kept.answered, kept.kept, kept.missed) == (2, 1, 1)
    assert (kept.waiting, kept.overdue) == (1, 1)


def decided(client, row, **data):
    """Follow a row to its page and press the button that decides."""
    page = client.get(row.url)
    assert page.status_code == 200
    (address,) = {
        found
        for found in re.findall(r'action="([^"]+)"', page.content.decode())
        if re.search(r"/finding/\d+/(look-again|settle)", found)
    }
    client.post(address, data)


def test_a_new_look_that_was_decided_waits_no_longer(coach, student, client_for):
    review = Review.objects.create(student=student, published_at=timezone.now())
    cause, effect = (
        Finding.objects.create(student=student, review=review, kind=kind, words=words)
        for kind, words in (("cause", "the grip is weak"), ("compensation", "you stand up"))
    )
    Because.objects.create(effect=effect, cause=cause)
    diagnosis.close_finding(finding=cause)
    (row,) = rows(coach)
    decided(client_for(coach), row, still_there="no")
    assert rows(coach) == []


def test_an_answered_question_that_was_settled_waits_no_longer(coach, student, client_for):
    review = Review.objects.create(student=student, published_at=timezone.now())
    question = Finding.objects.create(
        student=student, review=review, kind="question", words="does your hip feel stiff"
    )
    diagnosis.answer_question(finding=question, by=student.user, words="No, not at all.")
    (row,) = rows(coach)
    assert "No, not at all." in row.sentence
    decided(client_for(coach), row)
    assert rows(coach) == []


@pytest.mark.parametrize("which", [0, 1], ids=["asked", "not wanted"])
def test_a_check_film_is_asked_for_from_the_row_itself(coach, student, client_for, which):
    assignment = make_assignment(review=make_review(student=student))
    student.requests.update(closed_at=timezone.now())
    assignment.closed_at = timezone.now()
    assignment.check_due_on = timezone.localdate()
    assignment.save()
    (row,) = [row for row in rows(coach) if row.group == "look_again"]
    label, address = row.posts[which]
    client = client_for(coach)
    assert label in client.get(reverse("desk:waiting")).content.decode()
    client.post(address)
    assert [row for row in rows(coach) if row.group == "look_again"] == []
    assert student.requests.filter(closed_at__isnull=True).exists() == (which == 0)
