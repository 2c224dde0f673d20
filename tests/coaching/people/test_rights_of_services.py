"""Services check rights themselves: whoever calls them, an outsider gets what a stranger gets."""

from __future__ import annotations

import ast
import io
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.core.files.base import ContentFile
from django.http import Http404
from django.utils import timezone

from analysis.models import Correction
from coaching.diagnosis.services import findings, planning, suggested
from coaching.intake.services import asking, clips, uploads
from coaching.lessons import services as lessons
from coaching.people.errors import LessonError
from coaching.people.models import ApiToken, BodyNote, Student, User
from coaching.people.services import joining, students, tokens
from coaching.practice import undo
from coaching.practice.services import judging, library, showing, stopping
from coaching.review.models import Review, ReviewVersion, WalkThrough
from coaching.review.services import corrections, drafts, habits, marks, sending, walks
from tests import factories
from tests.coaching.practice import making

pytestmark = pytest.mark.django_db
Act = Callable[[User], Any]


@pytest.fixture
def acts(student: Student, coach: User) -> dict[str, Act]:
    review = making.make_review(student=student)
    clip = review.submissions.get()
    mark = marks.add_mark(
        review=review, by=coach, video=clip.video, key=uuid.uuid4(), start_s=0.1, shape="note"
    )
    walk = walks.start_walk(review=review, by=coach, video=clip.video)
    first, second = making.make_finding(review=review), making.make_finding(review=review, text="b")
    version = making.make_drill(studio=student.studio)
    snippet = habits.add_snippet(studio=student.studio, by=coach, title="", text="Turn.")
    row = {
        "review": review,
        "video": clip.video,
        "key": uuid.uuid4(),
        "start_s": 0,
        "shape": "note",
    }
    ends = {"effect": second, "cause": first}
    film = ContentFile(b"x", name="a.webm")
    return {
        "add mark": lambda by: marks.add_mark(by=by, **row),
        "change mark": lambda by: marks.change_mark(mark=mark, by=by, revision=0, text="a"),
        "remove mark": lambda by: marks.remove_mark(mark=mark, by=by),
        "open draft": lambda by: drafts.open_draft(submissions=[clip], by=by),
        "write": lambda by: drafts.save_words(
            review=review, text="a", revision=Review.objects.get(pk=review.pk).revision, by=by
        ),
        "put off": lambda by: lessons.put_off(
            student=student, thing="text-1", until=timezone.now() + timedelta(days=1), by=by
        ),
        "start walk": lambda by: walks.start_walk(review=review, by=by, video=clip.video),
        "save walk": lambda by: walks.save_walk(walk=walk, by=by, events=[]),
        "finish walk": lambda by: walks.finish_walk(walk=walk, by=by),
        "demonstrate": lambda by: walks.add_demonstration(walk=walk, by=by, film=film),
        "captions": lambda by: walks.save_captions(walk=walk, by=by, captions=""),
        "remove walk": lambda by: walks.remove_walk(walk=walk, by=by),
        "link": lambda by: findings.link(by=by, **ends),
        "unlink": lambda by: findings.unlink(by=by, **ends),
        "order": lambda by: planning.forget_order(review=review, by=by),
        "move": lambda by: planning.move_in_plan(
            review=review, by=by, finding=first, earlier=False
        ),
        "keep": lambda by: planning.keep_note(review=review, by=by, text="a"),
        "remove finding": lambda by: findings.remove_finding(finding=second, by=by),
        "tag": lambda by: students.tag_student(student=student, by=by, label="winter"),
        "untag": lambda by: students.untag_student(student=student, by=by, label="winter"),
        "snippet": lambda by: habits.add_snippet(studio=student.studio, by=by, title="", text="b"),
        "remove snippet": lambda by: habits.remove_snippet(snippet=snippet, by=by),
        "starter drills": lambda by: library.load_starter_library(studio=student.studio, by=by),
        "show drill": lambda by: showing.show_drill(
            version=version, by=by, shown=showing.Plain(io.BytesIO(b"x"), name="a.png")
        ),
        "retire drill": lambda by: library.retire_drill(drill=version.drill, by=by),
    }


def test_only_those_of_the_studio(
    acts: dict[str, Act], student: Student, coach: User, stranger: User
) -> None:
    assert student.user is not None
    for name, act in acts.items():
        for who in (stranger, student.user):
            with pytest.raises(Http404):
                act(who)
            assert name
    for act in acts.values():
        act(coach)


def test_nobody_outside_corrects_a_film(student: Student, stranger: User) -> None:
    video = making.make_review(student=student).submissions.get().video
    for who in (stranger, student.user):
        with pytest.raises(Http404):
            corrections.correct(
                video=video, time_s=0.1, target="joint:head", value={"x": 0.5, "y": 0.5}, by=who
            )


def test_an_assistant_prepares_and_changes_no_library(
    acts: dict[str, Act], student: Student
) -> None:
    assistant = factories.make_coach(studio=student.studio, role="assistant")
    not_theirs = {"put off", "tag", "untag", "starter drills", "show drill", "retire drill"}
    for name, act in acts.items():
        if name in not_theirs:
            with pytest.raises(Http404):
                act(assistant)
        else:
            act(assistant)


@pytest.fixture
def gets_in(student: Student, coach: User) -> Callable[[Act, User], bool]:
    """Whether somebody gets as far as the rules behind the rights."""

    def tried(act: Act, by: User) -> bool:
        try:
            act(by)
        except Http404:
            return False
        except LessonError:
            return True
        return True

    return tried


def test_undoing_and_writing_ask_who_it_is(
    student: Student, coach: User, stranger: User, gets_in: Callable[[Act, User], bool]
) -> None:
    assert student.user is not None
    review = making.make_review(student=student)
    clip = review.submissions.get()
    assistant = factories.make_coach(studio=student.studio, role="assistant")
    attempt = making.open_attempt(
        making.make_assignment(review=making.make_review(student=student))
    )
    making.send_film(attempt)
    verdict = judging.judge_attempt(attempt=attempt, by=coach, decision="not_yet")
    version = ReviewVersion.objects.create(review=review, author=coach, text="lost")
    moved = Correction.objects.create(
        video=clip.video, time_s=1, target="event:top", value={}, author=coach
    )
    entry = lessons.send_message(student=student, author=student.user, text="Hello.")
    day = timezone.now() + timedelta(days=1)
    asked = attempt.angle.request
    move = {"video": clip.video, "time_s": 1.0, "target": "event:top", "value": {}}
    prepares: dict[str, Act] = {
        "correct": lambda by: corrections.correct(by=by, **move),
        "undo correction": lambda by: corrections.undo_correction(correction=moved, by=by),
        "open draft": lambda by: drafts.open_draft(submissions=[clip], by=by),
        "begin draft": lambda by: _begun(clip, by),
        "words": lambda by: drafts.save_words(review=review, text="a", revision=0, by=by),
        "resolve": lambda by: drafts.resolve_version(version=version, by=by),
        "suggest again": lambda by: suggested.suggest_again(student=student, entry="sway", by=by),
        "close request": lambda by: asking.close_request(request=asked, by=by),
    }
    teaches: dict[str, Act] = {
        "take back answer": lambda by: sending.take_back_review(review=review, by=by),
        "take back verdict": lambda by: undo.take_back_verdict(verdict=verdict, by=by),
        "open step": lambda by: judging.open_step(step=attempt.step, by=by),
        "no answer": lambda by: lessons.need_no_answer(entry=entry, by=by),
        "put off": lambda by: lessons.put_off(student=student, thing="clip-1", until=day, by=by),
        "bring back": lambda by: lessons.bring_back(student=student, thing="clip-1", by=by),
    }
    for name, act in (prepares | teaches).items():
        for who in (stranger, student.user):
            assert not gets_in(act, who), name
        assert gets_in(act, assistant) == (name in prepares), name
        assert gets_in(act, coach), name


def _begun(clip: Any, by: User) -> None:
    with drafts.begun_draft(submission=clip, sent=0, by=by):
        pass


def test_what_the_student_says_is_said_by_their_side(
    student: Student, coach: User, stranger: User, gets_in: Callable[[Act, User], bool]
) -> None:
    assert student.user is not None
    attempt = making.open_attempt(
        making.make_assignment(review=making.make_review(student=student))
    )
    report = stopping.report_pain(student=student, by=student.user, region="hip")
    read = {"student": student, "kind": "reviewed", "review": 1}
    acts: dict[str, Act] = {
        "feel": lambda by: judging.record_feel(attempt=attempt, by=by, count=1),
        "where": lambda by: stopping.locate_pain(report=report, by=by, region="hip"),
        "take back pain": lambda by: undo.take_back_pain(report=report, by=by),
        "club": lambda by: joining.keep_club_length(student=student, by=by, club_cm=94),
        "joined": lambda by: joining.finish_joining(student=student, by=by),
        "read": lambda by: lessons.mark_read(by=by, **read),
        "understood": lambda by: lessons.mark_understood(by=by, **read),
        "upload": lambda by: uploads.create_upload(by=by, length=4, student=student),
    }
    for name, act in acts.items():
        for who in (stranger, coach):
            assert not gets_in(act, who), name
        assert gets_in(act, student.user), name


def test_an_upload_and_a_key_are_their_owners(
    student: Student, coach: User, gets_in: Callable[[Act, User], bool]
) -> None:
    assert student.user is not None
    mine = uploads.create_upload(by=student.user, length=4, student=student)
    key, _text = ApiToken.issue(student.user, name="a")
    elsewhere = factories.make_angle()
    acts: list[Act] = [
        lambda by: uploads.finish_upload(upload=mine, by=by),
        lambda by: uploads.discard_upload(upload=mine, by=by),
        lambda by: tokens.remove_token(token=key, by=by),
    ]
    for act in acts:
        assert not gets_in(act, coach)
    with pytest.raises(Http404):
        uploads.create_upload(by=student.user, length=4, student=student, angle=elsewhere)
    uploads.discard_upload(upload=mine, by=student.user)
    tokens.remove_token(token=key, by=student.user)


def test_stopped_work_is_started_again_by_those_who_may_see_the_clip(
    student: Student, coach: User, stranger: User, gets_in: Callable[[Act, User], bool]
) -> None:
    assert student.user is not None
    clip = making.make_review(student=student).submissions.get()
    act = lambda by: clips.retry(submission=clip, by=by)  # noqa: E731
    assert gets_in(act, coach) and gets_in(act, student.user)
    assert not gets_in(act, stranger)


def test_the_same_note_of_the_body_is_one(student: Student) -> None:
    note = {"region": "hip", "kind": "stiff", "text": "in the morning"}
    rows = [joining.note_body(student=student, by=student.user, notes=[note])[0] for _ in "ab"]
    assert rows[0] == rows[1]
    assert student.thread.entries.filter(kind="body_noted").count() == 1
    joining.end_body_note(note=rows[0], by=student.user)
    joining.note_body(student=student, by=student.user, notes=[note])  # it came back
    assert BodyNote.objects.filter(student=student).count() == 2


def test_a_walk_begun_twice_is_one(student: Student, coach: User) -> None:
    review = making.make_review(student=student)
    video = review.submissions.get().video
    first = walks.start_walk(review=review, by=coach, video=video)
    assert walks.start_walk(review=review, by=coach, video=video) == first
    walks.save_walk(walk=first, by=coach, events=[{"t": 0, "do": "play"}])
    assert walks.start_walk(review=review, by=coach, video=video) != first
    assert WalkThrough.objects.count() == 2


# Takes `by` for the record, and why nobody's rights are asked there.
ASKED_ELSEWHERE = {
    "add_entry": "add_finding asks",
    "submit_video": "of an upload that is whole: create_upload asked",
    "take_upload": "compares the owner of the upload",
    "remove_token": "compares the owner of the key",
    "declare_of_age": "looks for the guardian who stands",
    "void_consents": "follows from another deed",
    "sent_twice": "only looks",
    "finish_upload": "compares the owner of the upload; nobody is the sweep",
    "discard_upload": "compares the owner of the upload",
}


def _services() -> dict[str, dict[str, ast.FunctionDef]]:
    found = {}
    for path in (settings.BASE_DIR / "coaching").rglob("*.py"):
        if "services" in path.parts or path.name in {"services.py", "notes.py", "packages.py"}:
            body = ast.parse(path.read_text()).body
            found[str(path)] = {n.name: n for n in body if isinstance(n, ast.FunctionDef)}
    return found


def _asks(act: ast.FunctionDef, beside: dict[str, ast.FunctionDef]) -> bool:
    """Whether the function, or one of its module that it calls, goes through `access`."""
    called = [ast.unparse(n.func) for n in ast.walk(act) if isinstance(n, ast.Call)]
    if any(name.startswith("access.") or "require" in name for name in called):
        return True
    return any(_asks(beside[name], beside) for name in {*called} & {*beside} - {act.name})


def test_every_service_that_is_told_who_asks_what_they_may() -> None:
    """One that takes `by` and never looks at it leaves the right to each page and operation."""
    silent = {
        name
        for beside in _services().values()
        for name, act in beside.items()
        if not name.startswith("_")
        and "by" in {arg.arg for arg in [*act.args.args, *act.args.kwonlyargs]}
        and not _asks(act, beside)
    }
    assert silent == set(ASKED_ELSEWHERE)
