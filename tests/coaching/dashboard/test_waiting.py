"""The waiting list: what stands first, what each row says, who sees it, at what cost."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from coaching.dashboard import queries
from coaching.dashboard import rows as waiting
from coaching.diagnosis.models import CausalLink, Finding
from coaching.diagnosis.services import outcomes, questions
from coaching.intake.services import clips
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry, PutOff
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.practice.models import PainReport
from coaching.review.models import Review
from tests import factories
from tests.coaching.practice.making import make_assignment, make_review

pytestmark = pytest.mark.django_db
TURN = {("pelvis_turn_deg", "top"): (38.0, 2.0)}


def rows(coach, **options):
    return waiting.waiting_list(access.students_taught(coach), **options)


def ready_clip(student, **fields):
    clip = factories.make_submission(student=student, **fields)
    factories.make_measured(clip, TURN)
    return clip


def test_order_is_pain_then_nearest_promise_then_new_look_then_the_rest(coach, student):
    now = timezone.now()
    lessons.send_message(student=student, author=student.user, text="May I use my old driver?")
    Finding.objects.create(
        student=student, kind="compensation", text="you stand up", look_again_at=now
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


def put_off(coach, row, days=1):
    until = timezone.now() + timedelta(days=days)
    lessons.put_off(student=row.student, thing=row.key, until=until, by=coach)


def test_one_thing_is_put_off_and_the_others_of_the_student_stay(coach, student):
    ready_clip(student)
    ready_clip(student)
    lessons.send_message(student=student, author=student.user, text="May I?")
    before = rows(coach)
    put_off(coach, before[0])
    assert [row.key for row in rows(coach)] == [row.key for row in before[1:]]
    (later,) = waiting.put_off(access.students_taught(coach))
    assert later.key == before[0].key
    lessons.bring_back(student=student, by=coach, thing=later.key)
    assert [row.key for row in rows(coach)] == [row.key for row in before]


def test_what_was_put_off_comes_back_by_itself(coach, student):
    ready_clip(student)
    put_off(coach, rows(coach)[0])
    PutOff.objects.update(until=timezone.now())
    assert len(rows(coach)) == 1
    assert waiting.put_off(access.students_taught(coach)) == []


def test_the_row_says_when_putting_off_would_break_a_promise(coach, student, client_for):
    ready_clip(student, promised_at=timezone.now() + timedelta(days=2))
    (row,) = rows(coach)
    assert [breaks for _days, _words, breaks in row.later] == [False, True, True]
    client = client_for(coach)
    page = client.get(reverse("waiting"), {"at": row.key}).content.decode()
    assert page.count("later than you promised") == 2
    client.post(reverse("put_off", args=[student.pk]), {"thing": row.key, "days": "7"})
    page = client.get(reverse("waiting")).content.decode()
    assert "You promised an answer by" in page and "Bring it back" in page
    client.post(reverse("put_off", args=[student.pk]), {"thing": row.key})
    assert len(rows(coach)) == 1


def test_pain_is_never_put_off(coach, student):
    PainReport.objects.create(student=student, region="back")
    with pytest.raises(LessonError):
        put_off(coach, rows(coach)[0])
    assert [row.group for row in rows(coach)] == ["pain"]


@pytest.mark.parametrize("days", ["0", "-1", "999", "²", "9" * 5000, "soon"])
def test_an_odd_day_is_refused(coach, student, client_for, days):
    ready_clip(student)
    url = reverse("put_off", args=[student.pk])
    answer = client_for(coach).post(url, {"thing": rows(coach)[0].key, "days": days})
    assert answer.status_code == 400
    assert len(rows(coach)) == 1


def test_a_stranger_puts_nothing_off(coach, student, stranger, client_for):
    ready_clip(student)
    message = lessons.send_message(student=student, author=student.user, text="May I?")
    assistant = factories.make_coach(studio=student.studio, role="assistant")
    for user in (stranger, student.user, assistant):
        client = client_for(user)
        url = reverse("put_off", args=[student.pk])
        assert client.post(url, {"thing": "clip-1", "days": "1"}).status_code == 404
        url = reverse("needs_no_answer", args=[message.pk])
        assert client.post(url).status_code == 404
    assert len(rows(coach)) == 2


def test_words_narrow_the_list(coach, student):
    ready_clip(student)
    assert len(rows(coach, text="SAM line")) == 1
    assert rows(coach, text="sam driver") == []


def test_a_message_waits_until_somebody_answers_it(coach, student, client_for):
    lessons.send_message(student=student, author=student.user, text="Does the wind matter?")
    client_for(coach).get(reverse("thread", args=[student.pk]))  # reading is no answer
    (row,) = rows(coach)
    assert "Does the wind matter?" in row.sentence
    lessons.send_message(student=student, author=coach, text="Not much.")
    assert rows(coach) == []


def test_a_message_may_need_no_answer(coach, student, client_for):
    for text in ("Thank you!", "See you.", "Bye."):
        lessons.send_message(student=student, author=student.user, text=text)
    (row,) = rows(coach)
    assert row.sentence == "wrote: Thank you! (and 2 times more)"
    client = client_for(coach)
    address = reverse("needs_no_answer", args=[row.about])
    assert address in client.get(reverse("waiting"), {"at": row.key}).content.decode()
    client.post(address)
    assert rows(coach) == []
    lessons.send_message(student=student, author=student.user, text="One more thing")
    assert len(rows(coach)) == 1


def test_a_word_about_a_clip_is_answered_with_the_clip(coach, student):
    clip = ready_clip(student)
    clips.send_word(submission=clip, by=student.user, text="It felt odd.")
    assert [row.group for row in rows(coach)] == ["promised"]
    clip.answered_at = timezone.now()
    clip.save()
    assert rows(coach) == []
    clips.send_word(submission=clip, by=student.user, text="Why is that?")
    assert "Why is that?" in rows(coach)[0].sentence


def test_what_vanishes_between_counting_and_reading_has_no_row(coach, student):
    kept, erased = (ready_clip(student), ready_clip(student))
    lessons.send_message(student=student, author=student.user, text="Which shoe?")
    found = waiting.things_of(access.students_taught(coach))
    type(erased).objects.filter(pk=erased.pk).delete()
    assert [row.key for row in waiting.rows_of(found)] == [
        f"clip-{kept.pk}",
        f"text-{Entry.objects.get(kind='message').pk}",
    ]


def test_messages_of_a_thread_are_one_row_from_the_first_to_the_last(coach, student):
    """Answered ones, ones that need none and words about a waiting clip are not counted."""

    def said(text, author=student.user, **more):
        return lessons.record(student=student, kind="message", author=author, text=text, **more)

    clip = ready_clip(student)
    said("Old news")
    said("Thank you", author=coach)
    said("No need", needs_answer=False)
    first, _second = said("Which shoe? " + "x" * 200), said("Hello?")
    said("This one", submission=clip.pk)
    last = said("Anybody?")
    (row,) = [row for row in rows(coach) if row.kind == "text"]
    assert row.key == f"text-{last.pk}" and row.since == first.created_at
    assert row.what == f"“{first.text[:160]}”"
    assert row.sentence == f"wrote: {first.text[:160]} (and 2 times more)"


def test_somebody_quiet_for_two_weeks_with_something_to_film_is_named(coach, student):
    now = timezone.now()
    student.joined_at = now - timedelta(days=40)
    student.save()
    entry = lessons.send_message(student=student, author=student.user, text="Hello")
    Entry.objects.filter(pk=entry.pk).update(created_at=now - timedelta(days=20), no_answer_at=now)
    request = factories.make_request(student=student)
    assert rows(coach) == []  # asked just now: nobody is quiet yet
    request.created_at = now - timedelta(days=16)
    request.save()
    lessons.send_message(student=student, author=coach, text="How is it going?")
    (row,) = rows(coach)
    assert row.sentence == "has been quiet for 20 days."
    lessons.send_message(student=student, author=student.user, text="Sorry!")
    assert [row.action for row in rows(coach)] == ["Answer"]


def test_the_number_of_queries_does_not_grow_with_rows(coach, client_for):
    def fill(count):
        for _ in range(count):
            ready_clip(factories.make_student(coach=coach))

    client = client_for(coach)
    fill(2)
    with CaptureQueriesContext(
        connection,
    ) as few:
        assert client.get(reverse("waiting")).status_code == 200
    fill(20)
    with CaptureQueriesContext(connection) as many:
        assert client.get(reverse("waiting")).status_code == 200
    assert len(many) == len(few)


def test_a_stranger_sees_nothing_of_ours(student, stranger, client_for):
    ready_clip(student)
    client = client_for(stranger)
    assert student.name not in client.get(reverse("waiting")).content.decode()
    assert student.name not in client.get(reverse("students")).content.decode()
    assert client.get(reverse("student", args=[student.pk])).status_code == 404
    assert client.get(reverse("today", args=[student.pk])).status_code == 404


def test_a_student_does_not_see_the_coach_s_page_of_himself(student, client_for):
    client = client_for(student.user)
    assert client.get(reverse("student", args=[student.pk])).status_code == 404
    assert client.get(reverse("today", args=[student.pk])).status_code == 200


@pytest.mark.parametrize("page", ["waiting", "students", "overview"])
def test_empty_pages_say_what_to_do(coach, client_for, page):
    response = client_for(coach).get(reverse(page))
    assert response.status_code == 200
    assert 'class="empty"' in response.content.decode()


def test_everybody_is_sent_to_the_one_page_they_need(coach, student, client_for):
    home = reverse("home")
    assert client_for(coach).get(home).url == reverse("waiting")
    assert client_for(student.user).get(home).url == reverse("today", args=[student.pk])


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
        if re.search(r"/finding/\d+/(look-again|resolve)", found)
    }
    client.post(address, data)


def test_a_new_look_that_was_decided_waits_no_longer(coach, student, client_for):
    review = Review.objects.create(student=student, published_at=timezone.now())
    cause, effect = (
        Finding.objects.create(student=student, review=review, kind=kind, text=text)
        for kind, text in (("cause", "the grip is weak"), ("compensation", "you stand up"))
    )
    CausalLink.objects.create(effect=effect, cause=cause)
    outcomes.close_finding(finding=cause)
    (row,) = rows(coach)
    decided(client_for(coach), row, still_there="no")
    assert rows(coach) == []


def test_an_answered_question_that_was_settled_waits_no_longer(coach, student, client_for):
    review = Review.objects.create(student=student, published_at=timezone.now())
    question = Finding.objects.create(
        student=student, review=review, kind="question", text="does your hip feel stiff"
    )
    questions.answer_question(finding=question, by=student.user, text="No, not at all.")
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
    assert label in client.get(reverse("waiting")).content.decode()
    client.post(address)
    assert [row for row in rows(coach) if row.group == "look_again"] == []
    assert student.requests.filter(closed_at__isnull=True).exists() == (which == 0)
