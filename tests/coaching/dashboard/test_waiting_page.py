"""The waiting list as a page: sections, filters, the opened row, tags, things done to several."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from coaching.dashboard import rows, waiting
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import StudentTag
from coaching.people.services.students import tag_student, untag_student
from coaching.practice.models import PainReport
from tests import factories
from tests.coaching.practice.making import make_assignment, make_review, open_attempt, send_film

pytestmark = pytest.mark.django_db
TURN = {("pelvis_turn_deg", "top"): (21.0, 2.0)}
LIST = "/waiting/"


def ready_clip(student, **fields):
    clip = factories.make_submission(student=student, **fields)
    factories.make_measured(clip, TURN)
    return clip


def page(client, **asked):
    response = client.get(LIST, asked)
    assert response.status_code == 200
    return response


def keys(response):
    return [line.row.key for line in response.context["page"].lines]


def test_promises_are_parted_by_when_they_fall(coach, client_for):
    now = timezone.now()
    for hours in (-2, 0.01, 72):
        ready_clip(factories.make_student(coach=coach), promised_at=now + timedelta(hours=hours))
    quiet = factories.make_student(coach=coach)
    lessons.send_message(student=quiet, author=quiet.user, text="Which shoe?")
    PainReport.objects.create(student=quiet, region="hip")

    shown = page(client_for(coach)).context["page"]

    assert [line.section for line in shown.lines] == ["pain", "past", "today", "later", "asked"]
    assert shown.sections == {"pain": 1, "past": 1, "today": 1, "later": 1, "asked": 1}
    assert shown.total == 5


def test_a_row_opens_by_its_key_and_the_first_one_by_itself(coach, student, client_for):
    other = factories.make_student(coach=coach, name="Second")
    near = ready_clip(student, promised_at=timezone.now() + timedelta(hours=1))
    far = ready_clip(other, promised_at=timezone.now() + timedelta(hours=60))
    client = client_for(coach)
    assert page(client).context["pane"]["clips"] == [near]
    assert page(client, at=f"clip-{far.pk}").context["pane"]["clips"] == [far]
    assert page(client, at="clip-0").context["pane"]["clips"] == [near]  # gone: the first


def test_a_part_of_the_page_comes_alone(coach, student, client_for):
    ready_clip(student)
    client = client_for(coach)
    for part, holds, lacks in (
        ("list", "list-head", "<header>"),
        ("pane", "<header>", "list-head"),
    ):
        html = page(client, part=part).content.decode()
        assert holds in html and lacks not in html and "<html" not in html


def test_kinds_words_and_whose_narrow_it(coach, student, client_for):
    ready_clip(student)
    lessons.send_message(student=student, author=student.user, text="Which shoe?")
    colleague = factories.make_coach(studio=student.studio)
    ready_clip(factories.make_student(coach=colleague, studio=student.studio))
    client = client_for(coach)
    assert len(keys(page(client))) == 3
    assert [k.split("-")[0] for k in keys(page(client, kind="text"))] == ["text"]
    assert [k.split("-")[0] for k in keys(page(client, kind="clips"))] == ["clip", "clip"]
    assert len(keys(page(client, whose="mine"))) == 2
    assert [k.split("-")[0] for k in keys(page(client, text="shoe"))] == ["text"]
    assert len(keys(page(client, kind="nonsense"))) == 3


def test_tags_find_those_who_belong_together(coach, student, client_for):
    ready_clip(student)
    ready_clip(factories.make_student(coach=coach))
    tag_student(by=student.coach, student=student, label="  winter  group ")
    tag_student(by=student.coach, student=student, label="winter group")
    assert [tag.label for tag in student.tags.all()] == ["winter group"]
    client = client_for(coach)
    found = page(client, tag="winter group")
    assert len(keys(found)) == 1 and found.context["tags"] == ["winter group"]
    untag_student(by=student.coach, student=student, label="winter group")
    assert not StudentTag.objects.exists()


@pytest.mark.parametrize("label", ["", "   ", "x" * 25])
def test_a_tag_is_a_short_word(student, label):
    with pytest.raises(LessonError):
        tag_student(by=student.coach, student=student, label=label)


def test_long_lists_come_in_pages(coach, client_for, monkeypatch):
    monkeypatch.setattr(waiting, "PAGE", 2)
    for hours in range(5):
        ready_clip(
            factories.make_student(coach=coach),
            promised_at=timezone.now() + timedelta(hours=30 + hours),
        )
    client = client_for(coach)
    seen = [keys(page(client, page=n)) for n in (1, 2, 3)]
    assert [len(found) for found in seen] == [2, 2, 1]
    assert len({key for found in seen for key in found}) == 5
    assert keys(page(client, page=99)) == seen[2] and keys(page(client, page="x")) == seen[0]
    elsewhere = page(client, at=seen[2][0])
    assert keys(elsewhere) == seen[0] and elsewhere.context["at"] == seen[2][0]
    assert f"?at={seen[0][1]}" in elsewhere.text and "?page=2&amp;at=" in page(client, page=2).text


def test_a_drill_is_judged_in_the_pane(coach, student, client_for):
    attempt = open_attempt(make_assignment(review=make_review(student=student)))
    send_film(attempt, (50.0, 2.0), (49.0, 2.0), (20.0, 2.0))
    response = page(client_for(coach), at=f"drill-{attempt.pk}")
    html = response.content.decode()
    assert reverse("practice:verdict", args=[attempt.pk]) in html
    assert 'value="not_yet"' in html and response.context["page"].lines[0].stone
    assert re.search(r'class="says"><svg(?:(?!</svg>).)*</svg>\s*figures (?:say|can)', html, re.S)
    assistant = factories.make_coach(studio=student.studio, role="assistant")
    html = page(client_for(assistant), at=f"drill-{attempt.pk}").content.decode()
    assert "Only a coach of the studio gives a verdict" in html


def test_words_are_answered_in_the_pane(coach, student, client_for):
    entry = lessons.send_message(student=student, author=student.user, text="Which shoe?")
    client = client_for(coach)
    html = page(client, at=f"text-{entry.pk}").content.decode()
    (target,) = set(re.findall(r'action="(/students/\d+/thread/send/)"', html))
    response = client.post(target, {"text": "The left one.", "next": LIST})
    assert response.url == LIST
    assert keys(page(client)) == []
    assert Entry.objects.filter(text="The left one.").exists()


def test_looking_at_words_does_not_answer_them(coach, student, client_for):
    entry = lessons.send_message(student=student, author=student.user, text="Thanks.")
    client = client_for(coach)
    assert keys(page(client)) == keys(page(client)) != []
    client.post(reverse("needs_no_answer", args=[entry.pk]))
    assert keys(page(client)) == []


@pytest.mark.parametrize("deed", ["off", "tag", "ask"])
def test_several_at_once(coach, student, stranger, client_for, deed):
    other = factories.make_student(coach=coach)
    not_ours = factories.make_student(coach=stranger)
    picked = [f"{s.pk}/quiet-{s.pk}" for s in (student, other, not_ours)] + ["nonsense"]
    data = {"students": picked, "do": deed, "tag": "spring", "preset": "setup"}
    response = client_for(coach).post(reverse("waiting_bulk"), data)
    assert response.url == LIST
    for person in (student, other, not_ours):
        person.refresh_from_db()
    done = {
        "off": [p.put_off.exists() for p in (student, other, not_ours)],
        "tag": [p.tags.exists() for p in (student, other, not_ours)],
        "ask": [p.requests.exists() for p in (student, other, not_ours)],
    }[deed]
    assert done == [True, True, False]


@pytest.mark.parametrize(
    "data", [{}, {"students": ["x"], "do": "off"}, {"do": "nothing"}, {"do": "tag", "tag": ""}]
)
def test_nothing_picked_or_no_deed_is_said_in_one_sentence(coach, student, client_for, data):
    if "do" in data and "students" not in data:
        data = data | {"students": [student.pk]}
    client = client_for(coach)
    client.post(reverse("waiting_bulk"), data)
    html = page(client).content.decode()
    assert 'class="note error"' in html


def test_the_menu_and_the_title_say_how_many_wait(coach, student, client_for):
    ready_clip(student)
    client = client_for(coach)
    assert "<title>(1) " in page(client).content.decode()
    html = client.get(reverse("students")).content.decode()
    assert re.search(r'Waiting\s+<span class="n">1</span>', html)


def test_more_students_cost_no_more_queries_than_three(coach, client_for):
    client = client_for(coach)

    def fill(count):
        for _ in range(count):
            ready_clip(factories.make_student(coach=coach))

    def cost():
        with CaptureQueriesContext(connection) as asked:
            page(client)
        return len(asked)

    fill(3)
    few = cost()
    fill(12)
    assert cost() == few <= 45


def test_a_page_takes_few_queries(coach, student, client_for, django_assert_max_num_queries):
    """Rows are read for the lines of one page, and the frame's facts once."""
    ready_clip(student)
    lessons.send_message(student=student, author=student.user, text="Which shoe?")
    client = client_for(coach)
    page(client)
    with django_assert_max_num_queries(29):
        page(client)


def test_every_section_and_kind_has_its_words():
    assert set(waiting.ICONS) >= {
        "pain", "clip", "drill", "check", "text", "answer", "look", "quiet",
    }  # fmt: skip
    assert {kind for _label, kinds in waiting.KINDS.values() for kind in kinds} == set(
        waiting.ICONS
    )
    assert rows.GROUPS
