"""A coach’s own notes: saved while written, never over a colleague’s or before a student’s eyes."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from coaching.lessons import notes
from coaching.lessons.models import StudentNote
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from tests import factories


def test_two_who_write_do_not_overwrite_each_other(coach: User, student: Student) -> None:
    colleague = factories.make_coach(studio=student.studio)
    notes.write_note(student=student, by=coach, text="Learns by feel.", revision=0)
    with pytest.raises(LessonError) as late:
        notes.write_note(student=student, by=colleague, text="Films on Sundays.", revision=0)
    assert late.value.status == 409
    kept = notes.note_on(student)
    assert (kept.text, kept.revision, kept.changed_by) == ("Learns by feel.", 1, coach)


def test_the_page_saves_for_a_script_and_for_a_form_and_loses_nothing(
    client: Client, coach: User, student: Student
) -> None:
    client.force_login(coach)
    address = reverse("note", args=[student.pk])
    said = client.post(
        address, {"text": "One cue.", "revision": "0"}, headers={"accept": "application/json"}
    )
    assert said.json()["revision"] == 1
    late = client.post(address, {"text": "Another <b>word</b>", "revision": "0"})
    page = late.content.decode()
    assert late.status_code == 409
    assert "Another &lt;b&gt;word&lt;/b&gt;" in page and "One cue." in page
    assert StudentNote.objects.get().text == "One cue."
    assert client.post(address, {"text": "One cue. Slow.", "revision": "1"}).status_code == 302


def test_no_page_of_the_student_shows_them(client: Client, coach: User, student: Student) -> None:
    notes.write_note(student=student, by=coach, text="Talks a lot", revision=0)
    assert student.user is not None
    client.force_login(student.user)
    for name in ("today", "thread", "people:about", "practice:progress"):
        assert b"Talks a lot" not in client.get(reverse(name, args=[student.pk])).content
    assert client.get(reverse("student", args=[student.pk])).status_code == 404
