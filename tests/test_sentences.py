"""Every sentence that people read: pages, entries, waiting rows, e-mails, states of clips.

Each kind is read in every role that reads it, with everything there and with nothing there:
no "because does", no empty name, no "None", no two signs in a row, no doubled blank.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from analysis.models import KIND_CHOICES, VIEW_CHOICES
from coaching.dashboard import rows as waiting
from coaching.diagnosis.models import Finding
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.lessons.wording import codes
from coaching.notify.services import send_notices
from coaching.people import access, sides
from coaching.people.models import Student, User
from coaching.practice.models import PainReport
from tests import factories
from tests.coaching.practice.making import (
    make_assignment,
    make_finding,
    make_review,
    open_attempt,
    send_film,
)
from tests.reading import BROKEN, broken, read
from tests.test_access import NAMES, ROWS, address, roles_of, session_of
from tests.world import World, make_world

pytestmark = pytest.mark.django_db

# Words as people type them, each of which has broken a sentence once.
TYPED = (
    "Your grip is weak.", "does turning onto your trail hip feel stiff", "Does it hurt?",
    "  two  blanks ", "I see your head move",
)  # fmt: skip
VIEWS = [view for view, _ in VIEW_CHOICES]
SIDED = re.compile(rf"\b(lead|trail) ({'|'.join(sides.PARTS)})s?\b", re.I)
# What programmers read.
NOT_READ = {"api:reference", "api_reference"}


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    with django_db_blocker.unblock(), transaction.atomic():
        made = make_world()
        for role, user in made.people.items():
            if user is not None:
                made.sessions[role] = session_of(user)
        yield made
        transaction.set_rollback(True)


def page(world: World, role: str, path: str) -> list[str]:
    client = Client(raise_request_exception=False)
    if key := world.sessions.get(role):
        client.cookies[settings.SESSION_COOKIE_NAME] = key
    mark = transaction.savepoint()
    answer = client.get(path)
    transaction.savepoint_rollback(mark)
    if not answer.get("Content-Type", "").startswith("text/html") or answer.status_code != 200:
        return []
    return read(answer.content.decode())


@pytest.mark.parametrize("name", [n for n in NAMES if ROWS[n].get("get") and n not in NOT_READ])
def test_pages(name: str, world: World) -> None:
    row = ROWS[name]
    path = address(name, row.get("ids", {}), world)
    texts = {role: page(world, role, path) for role in sorted(roles_of(row["get"]))}
    found = {role: broken(said) for role, said in texts.items()}
    assert not any(found.values()), found
    # Whoever learns reads left and right: only the studio's people say lead and trail.
    told = [t for role in ("student", "guardian") for t in texts.get(role, []) if SIDED.search(t)]
    assert told == []


# What an entry points to, by its kind: everything, and nothing (the rows have been erased).
REFS: dict[str, tuple[dict[str, Any], ...]] = {
    "requested": ({"request": "request"},),
    "sent": ({"submission": "clip"}, {"submission": "clip", "replaces": "film"}),
    "refused": ({"submission": "clip"},),
    "ready": ({"submission": "clip"},),
    "reviewed": ({"review": "sent"},),
    "assigned": ({"assignment": "assignment"},),
    "judged": ({"submission": "film", "verdict": "verdict"},),
    "pain": ({"pain_report": "pain"}, {"pain_report": "pain", "taken_back": True}),
    "reopened": ({"pain_report": "pain"},),
    "body_noted": ({"body_notes": ["note"]}, {"finding": "question"}),
    "consent": ({"given": True}, {"erased": True}, {"void": True, "erased_on": "2026-12-01"}),
    "guardian": tuple(
        {"step": step, "name": "Ada"} for step in ("named", "agreed", "says_of_age", "of_age")
    ),
}


def refs_of(kind: str, world: World) -> list[dict[str, Any]]:
    """What such an entry may point to; a number that names no row where all is erased."""

    def pk(value: Any) -> Any:
        if isinstance(value, list):
            return [pk(one) for one in value]
        return world.ids.get(value, value) if isinstance(value, str) else value

    full = [{name: pk(value) for name, value in refs.items()} for refs in REFS.get(kind, ())]
    gone = [
        {name: 10**9 if isinstance(value, int) and value is not True else value
         for name, value in refs.items()}
        for refs in full
    ]  # fmt: skip
    return [*full, *gone, {}]


@pytest.mark.parametrize("kind", Entry.Kind.values)
def test_entries(kind: str, world: World) -> None:
    student = Student.objects.get(pk=world.ids["student"])
    Finding.objects.filter(review=world.ids["sent"]).update(text=TYPED[1])
    for refs, role, text in itertools.product(
        refs_of(kind, world), ("coach", "student", None), (TYPED[3], "")
    ):
        author = world.people[role] if role else None
        lessons.record(student=student, kind=kind, author=author, text=text, **refs)
    path = reverse("thread", args=[student.pk])
    for role in ("student", "guardian", "assistant", "coach", "owner"):
        assert broken(page(world, role, path)) == [], role


@pytest.mark.parametrize("kind", Entry.Kind.values)
def test_emails(kind: str, world: World, mailoutbox: list[Any]) -> None:
    """To the coach, the student and the guardian, from anybody and from nobody."""
    student = Student.objects.get(pk=world.ids["student"])
    for refs, role in itertools.product(refs_of(kind, world), ("coach", "student", None)):
        author = world.people[role] if role else None
        entry = lessons.record(student=student, kind=kind, author=author, text="Hello", **refs)
        Entry.objects.filter(pk=entry.pk).update(created_at=timezone.now() - timedelta(minutes=1))
        send_notices()
    assert mailoutbox or kind == Entry.Kind.SENT
    for letter in mailoutbox:
        lines = [letter.subject, *letter.body.splitlines()]
        assert [line for line in lines if BROKEN.search(line) or "  " in line] == []


@pytest.mark.parametrize("typed", TYPED)
def test_waiting_rows(typed: str, coach: User) -> None:
    """Every kind of row; films of every kind and view, one and several, and some that failed."""
    student = factories.make_student(coach=coach)
    for number in range(max(len(KIND_CHOICES), len(VIEW_CHOICES))):
        kind, view = KIND_CHOICES[number % len(KIND_CHOICES)][0], VIEWS[number % len(VIEWS)]
        asked = factories.make_request(student=student, angles=0)
        for _ in range(1 + number % 3):
            video = factories.make_video(view=view, kind=kind)
            clip = factories.make_submission(
                student=student, video=video, text=typed, angle=factories.make_angle(request=asked)
            )
            factories.make_checked(clip)
            status = "failed" if number % 2 else "done"
            factories.make_run(video=video, kind="copy", status=status)
            factories.make_run(video=video, kind="measure", status=status)
    assignment = make_assignment(review=make_review(student=student))
    send_film(open_attempt(assignment), (52, 4), (50, 4), (55, 4))
    now = timezone.now()
    make_finding(review=make_review(student=student), kind="compensation", text=typed)
    Finding.objects.filter(kind="compensation").update(look_again_at=now)
    make_finding(review=make_review(student=student), kind="question", text=typed)
    Finding.objects.filter(kind="question").update(answered_at=now, answer=typed)
    for urgent in (True, False):
        PainReport.objects.create(student=student, region="hip", urgent=urgent)
    for _ in range(3):
        lessons.send_message(student=student, author=student.user, text=typed)
    long_ago = now - timedelta(days=40)
    quiet = factories.make_student(coach=coach, joined_at=long_ago)
    factories.make_request(student=quiet)
    quiet.requests.update(created_at=long_ago)

    rows = waiting.waiting_list(access.students_taught(coach))
    kinds = {row.kind for row in rows}
    assert kinds >= {"pain", "clip", "drill", "text", "answer", "look", "quiet"}, kinds
    for row in rows:
        for text in (row.sentence, row.what, row.action):
            assert not BROKEN.search(text.strip()), (row.kind, text)
            assert "  " in typed or "  " not in text, (row.kind, text)


@pytest.mark.parametrize(
    "text",
    [
        "You stand up because does it hurt.", "None wrote to you.", " ’s clip waits.",
        "At most 37 % .", "You sent it.. We look.", "“” is still there.", "Sent (), then seen.",
        "A clip, , and more.", "You stand up because.", "Film {count} by Friday.",
    ],
)  # fmt: skip
def test_what_is_broken_is_found(text: str) -> None:
    assert broken(read(f"<p>{text}</p>")) == [text.strip()]


def test_states_of_clips_and_what_to_do_about_them() -> None:
    told = [str(one) for table in (codes.QUALITY, codes.RUN_ERRORS) for one in table.values()]
    told += [str(one) for one in codes.CLIP_STATES.values()]
    assert len(told) > 30
    assert [text for text in told if BROKEN.search(text) or "  " in text] == []
