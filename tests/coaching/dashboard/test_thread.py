"""The thread: every kind of entry, who reads, who writes, how often the database is asked."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from coaching.diagnosis.models import CausalLink, Finding
from coaching.lessons import services
from coaching.lessons.models import Entry, Seen
from coaching.people.errors import LessonError
from coaching.people.models import BodyNote, Student, User
from coaching.practice.models import (
    Assignment,
    Attempt,
    Criterion,
    Drill,
    DrillVersion,
    PainReport,
    PracticeSeries,
    Step,
    Verdict,
)
from coaching.review.models import Review
from tests import factories


def address(student: Student) -> str:
    return reverse("thread", args=[student.pk])


def make_everything(student: Student) -> None:
    """One entry of every kind, with the rows they tell of."""
    coach = student.coach
    asked = factories.make_request(student=student, angles=2)
    angle = asked.angles.first()
    clip = factories.make_submission(student=student, angle=angle)
    factories.make_measured(clip, {("pelvis_turn_deg", "top"): (38.0, 2.0)})
    review = Review.objects.create(
        student=student, coach=coach, text="You turn little.", published_at=timezone.now()
    )
    cause, effect = (
        Finding.objects.create(
            student=student, review=review, kind=kind, text=text,
            measure="pelvis_turn_deg", event="top", value=21.0, uncertainty=2.0,
        )
        for kind, text in (("cause", "the pelvis turns little"), ("compensation", "you stand up"))
    )  # fmt: skip
    CausalLink.objects.create(effect=effect, cause=cause)
    drill = Drill.objects.create(studio=student.studio, slug=f"turn-{clip.pk}")
    version = DrillVersion.objects.create(
        drill=drill, number=1, title="Turn and hold", purpose="Feel the turn.",
        cautions="Stop if the hip hurts.", source="common practice",
    )  # fmt: skip
    assignment = Assignment.objects.create(
        student=student, drill_version=version, review=review, finding=cause,
        opened_at=timezone.now(),
    )  # fmt: skip
    step = Step.objects.create(
        assignment=assignment, position=0, kind="hold", view="down_the_line", film_kind="hold",
        effort="slow", need=1, repetitions=3,
    )  # fmt: skip
    Criterion.objects.create(
        step=step, comparison="between", measure="pelvis_turn_deg", event="top", low=40, high=45
    )
    attempt = Attempt.objects.create(step=step, angle=angle)
    verdict = Verdict.objects.create(
        attempt=attempt, submission=clip, decision="nearly", cue="More"
    )
    pain = PainReport.objects.create(student=student, region="back", text="sharp")
    note = BodyNote.objects.create(student=student, region="hip", kind="stiff", side="lead")

    def record(kind: str, text: str = "", author: User | None = coach, **refs: object) -> None:
        services.record(student=student, kind=kind, author=author, text=text, **refs)

    record("joined", author=student.user, body_notes=[note.pk])
    record("message", "Hello there")
    record("body_noted", author=student.user, body_notes=[note.pk])
    record("body_noted", "It never did.", author=student.user, finding=cause.pk)
    record("requested", "Film this.", request=asked.pk)
    record("sent", "Windy.", author=student.user, submission=clip.pk, angle=angle.pk)
    record("refused", author=None, submission=clip.pk, codes=["body_cut"])
    record("ready", author=None, submission=clip.pk)
    record("reviewed", review.text, review=review.pk, submissions=[clip.pk])
    record("assigned", assignment=assignment.pk)
    record("judged", "More", verdict=verdict.pk, assignment=assignment.pk, submission=clip.pk)
    record("pain", "sharp", author=student.user, pain_report=pain.pk)
    record("reopened", pain_report=pain.pk)
    record("consent", author=student.user, purposes=["store"], given=True)
    record("consent", author=student.user, purposes=["store"], given=False)
    practised = PracticeSeries.objects.create(
        assignment=assignment, key=uuid4(), day=timezone.localdate(), repetitions=12, felt="hard"
    )
    record("practised", author=student.user, practice_series=[practised.pk], day="2026-11-28")
    record("guardian", author=student.user, step="named", name="Ada Marsh")


@pytest.mark.parametrize("reader", ["coach", "student"])
def test_every_kind_of_entry_is_complete(
    student: Student, coach: User, client_for, reader: str
) -> None:
    make_everything(student)
    assert {e.kind for e in Entry.objects.all()} == set(Entry.Kind.values)
    user = coach if reader == "coach" else student.user
    answer = client_for(user).get(address(student))
    assert answer.status_code == 200
    page = " ".join(answer.content.decode().split())
    side = "lead" if reader == "coach" else "left"  # a right-hander's
    asked = "1 of 3 with pelvis turn at the top: 40–45°"
    if reader == "student":
        asked = "1 of 3: how far your hips have turned, at the top: 40–45°"
    for text in (
        "Sam Reed has joined", f"Hip ({side} side): stiff or limited", "Hello there",
        "It never did.",
        "Asks for 2 films", "Swing, ", "Windy.", "Part of you is outside the picture.",
        "You turn little.", "You stand up because the pelvis turns little", "Turn and hold",
        "Stop if the hip hurts.", asked, "Nearly.",
        "38° ± 4 at the top; asked for 40–45°", "It hurts: back.", "Every clip has been erased",
        "Named Ada Marsh as a guardian",
        "Practised “Turn and hold” 12 times.",
    ):  # fmt: skip
        assert text in page, text


def test_queries_do_not_grow_with_entries(student: Student, coach: User, client_for) -> None:
    client = client_for(coach)
    make_everything(student)
    client.get(address(student))
    with CaptureQueriesContext(
        connection,
    ) as few:
        client.get(address(student))
    make_everything(student)
    with CaptureQueriesContext(connection) as first:
        client.get(address(student))  # notes how far it was read: once
    with CaptureQueriesContext(connection) as many:
        client.get(address(student))
    assert len(many) == len(few) < len(first)


def test_rows_that_were_erased_leave_the_words(student: Student, coach: User, client_for) -> None:
    for kind in Entry.Kind.values:
        services.record(
            student=student, kind=kind, author=coach, text="kept words", request=999,
            submission=999, review=999, assignment=999, verdict=999, pain_report=999,
            body_notes=[999], codes=["new_code"], purposes=[], given=True,
        )  # fmt: skip
    answer = client_for(student.user).get(address(student))
    assert answer.status_code == 200
    assert "kept words" in answer.content.decode()


def test_writing_and_what_is_new(student: Student, coach: User, client_for) -> None:
    send = reverse("thread_send", args=[student.pk])
    answer = client_for(student.user).post(send, {"text": " Is it better? "})
    entry = Entry.objects.get(kind="message")
    assert answer.url == f"{address(student)}#entry-{entry.pk}"
    assert (entry.text, entry.author) == ("Is it better?", student.user)
    reader = client_for(coach)
    assert 'class="mark">new' in reader.get(address(student)).content.decode()
    assert Seen.objects.get(user=coach).entry == entry
    assert 'class="mark">new' not in reader.get(address(student)).content.decode()


def test_refused_message_keeps_what_was_typed(student: Student, client_for) -> None:
    send = reverse("thread_send", args=[student.pk])
    long = "x" * 5001
    answer = client_for(student.user).post(send, {"text": long})
    assert answer.status_code == 400
    assert long in answer.content.decode() and "two parts" in answer.content.decode()
    assert client_for(student.user).post(send, {"text": "  "}).status_code == 400
    assert not Entry.objects.exists()


def test_form_sent_twice_is_one_message(student: Student, client_for) -> None:
    send = reverse("thread_send", args=[student.pk])
    for _ in range(2):
        client_for(student.user).post(send, {"text": "Hello"})
    assert Entry.objects.count() == 1


def test_who_reads_and_who_writes(
    student: Student, coach: User, stranger: User, client_for
) -> None:
    send = reverse("thread_send", args=[student.pk])
    pages = [address(student), reverse("lesson_sheet", args=[student.pk])]
    assistant = factories.make_coach(studio=student.studio, role="assistant")
    other_student = factories.make_student(coach=coach).user
    for user in (coach, assistant, student.user):
        assert [client_for(user).get(page).status_code for page in pages] == [200, 200]
    for user in (stranger, other_student):
        assert [client_for(user).get(page).status_code for page in pages] == [404, 404]
    for user in (stranger, other_student, assistant):
        assert client_for(user).post(send, {"text": "x"}).status_code == 404
    assert not Entry.objects.exists()


def test_no_word_to_a_minor_before_a_guardian_agreed(coach: User) -> None:
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    with pytest.raises(LessonError) as refusal:
        services.send_message(student=minor, author=coach, text="Hi")
    assert refusal.value.status == 403
    guardian = factories.make_guardian(student=minor)
    services.send_message(student=minor, author=guardian, text="Hello")
    services.send_message(student=minor, author=coach, text="Hi")


def test_guardian_reads_and_everybody_knows(coach: User, client_for) -> None:
    minor = factories.make_student(coach=coach, age_band="under_18", consents=False)
    guardian = factories.make_guardian(student=minor, name="Ada Reed")
    for user in (coach, minor.user, guardian):
        text = client_for(user).get(address(minor)).content.decode()
        assert "Ada Reed sees all of this" in text


def test_older_entries_are_a_page_away(student: Student, coach: User, client_for) -> None:
    for n in range(45):
        services.record(student=student, kind="message", author=coach, text=f"word {n:02}")
    text = client_for(coach).get(address(student)).content.decode()
    assert "word 44" in text and "word 20" in text and "word 19" not in text
    before = Entry.objects.get(text="word 20").pk
    text = client_for(coach).get(address(student), {"before": before}).content.decode()
    assert "word 19" in text and "word 20" not in text


def test_summary_on_paper(student: Student, client_for) -> None:
    page = reverse("lesson_sheet", args=[student.pk])
    assert "There is no lesson yet" in client_for(student.user).get(page).content.decode()
    make_everything(student)
    text = client_for(student.user).get(page).content.decode()
    assert "You turn little." in text and "Turn and hold" in text and "<svg" in text
