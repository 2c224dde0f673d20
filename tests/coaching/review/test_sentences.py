"""Sentences with places: no student's name stays in one that others read."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from coaching.lessons import places
from coaching.people.models import Student, User
from coaching.review.models import Snippet
from coaching.review.queries import answers
from tests import factories


@pytest.mark.parametrize(
    ("text", "expected", "replaced"),
    [
        ("Well done, Brannoc.", "Well done, {name}.", ["Brannoc"]),
        ("Brannoc Quill’s hips", "{name}’s hips", ["Brannoc Quill"]),
        ("brannock and Brannocs stay", "brannock and Brannocs stay", []),
        ("Al stays: too short to look for", "Al stays: too short to look for", []),
    ],
)
def test_names_become_a_place(text: str, expected: str, replaced: list[str]) -> None:
    assert places.without_names(text, ["Brannoc Quill", "Al Wick"]) == (expected, replaced)


def test_a_sentence_is_written_changed_and_said_to_one_student(
    client: Client, coach: User, student: Student
) -> None:
    client.force_login(coach)
    other = factories.make_student(coach=coach, name="Brannoc Quill")
    page = reverse("review:sentences", args=[student.studio_id])
    told = "Your hips turn {measure}, Brannoc. We want {target}."
    answer = client.post(page, {"title": "For Brannoc", "text": told}, follow=True)
    assert "“Brannoc” became the place" in answer.content.decode()
    row = Snippet.objects.get()
    assert row.title == "For {name}"
    assert row.text == "Your hips turn {measure}, {name}. We want {target}."
    first = student.name.split()[0]
    said = answers.said_to(row, student, measure="24°", target="40°")
    assert said.text == f"Your hips turn 24°, {first}. We want 40°."
    assert places.is_whole(said.text)
    assert not places.is_whole(answers.said_to(Snippet.objects.get(), other).text)
    one = reverse("review:sentence", args=[student.studio_id, row.pk])
    assert client.post(one, {"title": "T", "text": " "}).status_code == 400
    client.post(one, {"title": "Short", "text": "Slower."})
    assert Snippet.objects.get().text == "Slower."
    client.post(reverse("review:sentence_remove", args=[student.studio_id, row.pk]))
    assert not Snippet.objects.exists()
