"""Every documented operation, called once with nothing replaced by a fake.

A new operation without a row here fails `test_every_operation_is_called`. `PREPARED` says
for each one who calls it, with what, on rows that are really there.
"""

from __future__ import annotations

import base64
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone
from drf_spectacular.generators import SchemaGenerator
from rest_framework.test import APIClient

from analysis.models import Run
from coaching.diagnosis.services import findings, suggested
from coaching.intake.models import Submission
from coaching.people.models import ApiToken, Invitation, Student, User
from coaching.people.services import consent
from coaching.practice.services import judging, library, practising, stopping
from coaching.review.models import LessonFilm, Review, ReviewVersion, Snippet, WalkThrough
from coaching.review.queries import answers
from coaching.review.services import corrections, films, habits, marks, sending, walks
from tests import factories
from tests.coaching.practice.making import (
    TURN_RUNG,
    UPRIGHT,
    make_assignment,
    make_review,
    open_attempt,
    send_film,
)
from tests.coaching.review.clips import even_times, measure_film

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Call:
    """One request: who sends it, where, with what body, and how the body is written."""

    by: User | None
    path: str
    body: Any = None
    format: str = "json"


class World:
    """The coach, the student, and the rows an operation needs, each made when asked for."""

    def __init__(self, coach: User, student: Student) -> None:
        self.coach, self.student, self.user = coach, student, student.user

    def measured(self) -> Submission:
        """A clip with a copy, an archive and figures, so that it can be corrected."""
        clip = factories.make_submission(student=self.student)
        clip.video.copy.save("copy.mp4", ContentFile(b"copy"), save=False)
        clip.video.original.save("clip.mp4", ContentFile(b"film"), save=False)
        clip.video.keep_frame_times(even_times())
        clip.video.duration_s = 2.0
        clip.video.save()
        measure_film(clip.video)
        return clip

    def draft(self) -> Review:
        return make_review(student=self.student, figures=UPRIGHT)

    def sent(self) -> Review:
        return sending.publish_review(review=self.draft(), by=self.coach)

    def attempt(self, **step: Any) -> Any:
        assignment = make_assignment(review=self.draft(), steps=[TURN_RUNG | step, TURN_RUNG])
        return open_attempt(assignment)

    def filmed(self, **step: Any) -> Any:
        attempt = self.attempt(**step)
        send_film(attempt, (52, 4), (51, 4), (53, 4))
        return attempt

    def judged(self) -> Any:
        attempt = self.filmed()
        judging.judge_attempt(attempt=attempt, by=self.coach, decision="not_yet")
        return attempt

    def question(self) -> Any:
        draft = self.draft()
        row = findings.add_finding(
            review=draft, by=self.coach, kind="question", text="your hip may be stiff"
        )
        sending.publish_review(review=draft, by=self.coach)
        return row

    def practised(self) -> Any:
        return practising.record_practice(
            assignment=self.attempt().step.assignment,
            by=self.user,
            key=uuid.uuid4(),
            repetitions=10,
        )

    def pain(self, *, stated: bool = False) -> Any:
        report = stopping.report_pain(student=self.student, by=self.user, region="hip")
        if stated:
            stopping.state_professional_agreed(report=report, by=self.user, text="Dr. agreed.")
        return report

    def mark(self) -> Any:
        clip, draft = self.on_clip()
        return marks.add_mark(
            by=draft.student.coach,
            review=draft,
            video=clip.video,
            key=uuid.uuid4(),
            start_s=0.1,
            shape="note",
        )

    def walk(self, *, purpose: str = "", **fields: Any) -> Any:
        clip, draft = self.on_clip()
        return walks.start_walk(by=draft.student.coach, review=draft, video=clip.video, **fields)

    def on_clip(self) -> tuple[Submission, Review]:
        draft = self.draft()
        return draft.submissions.get(), draft

    def uploaded(self, purpose: str) -> str:
        """A recording that arrived by the resumable upload; its key."""
        client = self.client(self.coach)
        made = client.post(
            "/uploads/",
            data=b"sound",
            content_type="application/offset+octet-stream",
            headers={
                "Tus-Resumable": "1.0.0", "Upload-Length": "5",
                "Upload-Metadata": f"purpose {_b64(purpose)}",
            },
        )  # fmt: skip
        assert made.status_code == 201, made.content
        return str(made["Location"]).rstrip("/").rsplit("/", 1)[-1]

    def invited(self) -> Invitation:
        return factories.make_invitation(studio=self.student.studio)

    def newcomer(self) -> Student:
        return factories.make_student(coach=self.coach, joined_at=None, consents=False)

    def minor(self) -> Student:
        return factories.make_student(coach=self.coach, age_band="under_18", consents=False)

    @staticmethod
    def client(user: User) -> Any:
        client = Client()
        client.force_login(user)
        return client


def _b64(text: str) -> str:
    return base64.b64encode(text.encode()).decode()


Prepare = Callable[[World], Call]


def _list(path: str) -> Prepare:
    return lambda w: Call(w.coach, path)


def _one(path: str, row: Callable[[World], Any]) -> Prepare:
    return lambda w: Call(w.coach, path.format(row(w).pk))


def _agree(w: World) -> Call:
    student = w.minor()
    consent.name_guardian(student=student, by=student.user, name="Ada", email="ada@example.org")
    door = student.invitations.filter(kind="guardian").latest("pk")
    body = {"name": "Ada", "password": factories.PASSWORD, "purposes": ["store", "share_coach"]}
    return Call(None, f"/api/agree/{door.token}/", body)


def _send_clip(w: World) -> Call:
    angle = factories.make_angle(request=factories.make_request(student=w.student, angles=0))
    film = SimpleUploadedFile("a.mp4", b"film", content_type="video/mp4")
    return Call(w.user, f"/api/angles/{angle.pk}/send/", {"file": film}, "multipart")


def _answer_self_test(w: World) -> Call:
    attempt = w.filmed(criteria=[{"comparison": "self_test", "question": "Easy?"}])
    criterion = attempt.step.criteria.get()
    body = {"criterion": criterion.pk, "yes": True}
    return Call(w.user, f"/api/attempts/{attempt.pk}/answer/", body)


def _assign(w: World) -> Call:
    library.load_starter_library(by=None, studio=w.student.studio)
    drill = w.student.studio.drills.get(slug="turn-with-a-club-on-the-hips")
    return Call(w.coach, f"/api/reviews/{w.draft().pk}/assign/", {"drill": drill.pk})


def _take(w: World) -> Call:
    draft = w.draft()
    entry = suggested.suggest_findings(draft)[0].entry.id
    return Call(w.coach, f"/api/reviews/{draft.pk}/take/", {"entry": entry})


def _dismiss(w: World) -> Call:
    draft = w.draft()
    entry = suggested.suggest_findings(draft)[0].entry.id
    return Call(w.coach, f"/api/reviews/{draft.pk}/dismiss/", {"entry": entry})


def _override(w: World) -> Call:
    clip = factories.make_submission(student=w.student)
    factories.make_checked(clip, reject="body_cut")
    return Call(w.user, f"/api/submissions/{clip.pk}/override/", {"text": "It shows enough."})


def _retry(w: World) -> Call:
    clip = factories.make_submission(student=w.student)
    factories.make_checked(clip)
    factories.make_run(video=clip.video, kind=Run.Kind.COPY, status="failed")
    return Call(w.user, f"/api/submissions/{clip.pk}/retry/")


MOVE = {"time_s": 0.5, "target": "joint:hip_lead", "value": {"x": 0.5, "y": 0.5}}


def _undo_correction(w: World, path: str) -> Call:
    clip = w.measured()
    row = corrections.correct(video=clip.video, by=w.coach, **MOVE)
    return Call(w.coach, path.format(video=clip.video_id, row=row.pk))


def _api_mark(w: World) -> Call:
    clip, draft = w.on_clip()
    body = {"video": clip.video_id, "start_s": 0.1, "shape": "note", "text": "Look here"}
    return Call(w.coach, f"/api/reviews/{draft.pk}/mark/", body)


def _room_mark(w: World) -> Call:
    clip, draft = w.on_clip()
    body = {
        "video": clip.video_id, "key": str(uuid.uuid4()), "start_s": 0.1, "shape": "note"
    }  # fmt: skip
    return Call(w.coach, f"/review/{draft.pk}/mark", body)


def _start_walk(w: World) -> Call:
    clip, draft = w.on_clip()
    return Call(w.coach, f"/review/{draft.pk}/walk", {"video": clip.video_id})


def _demonstrate(w: World) -> Call:
    walk = w.walk()
    body = {"video": walk.video_id, "upload": w.uploaded("demonstration")}
    return Call(w.coach, f"/review/walk/{walk.pk}/demonstrate", body)


def _settle(w: World) -> Call:
    row = ReviewVersion.objects.create(review=w.draft(), author=w.coach, text="late")
    return Call(w.coach, f"/review/version/{row.pk}/resolve")


def _snippet(w: World) -> Snippet:
    return habits.add_snippet(by=None, studio=w.student.studio, title="", text="Slow is right.")


def _hand_over(w: World) -> Call:
    other = factories.make_coach(studio=w.student.studio)
    return Call(w.coach, f"/api/students/{w.student.pk}/hand_over/", {"to": other.pk})


def _students(name: str, body: Any, *, coach: bool = False) -> Prepare:
    return lambda w: Call(
        w.coach if coach else w.user, f"/api/students/{w.student.pk}/{name}/", body
    )


def _spoken(w: World) -> WalkThrough:
    """A finished walk-through with a voice, of an answer that was sent."""
    walk = w.walk()
    walk.video.copy.save("copy.mp4", ContentFile(b"copy"))
    walk.sound.save("a.webm", ContentFile(b"sound"), save=False)
    walk.finished_at = timezone.now()
    walk.save()
    Review.objects.filter(pk=walk.review_id).update(published_at=timezone.now())
    return walk


def _film(w: World) -> LessonFilm:
    film = LessonFilm(walk=_spoken(w), asked_of="")
    film.file.save("a.mp4", ContentFile(b"film"))
    return film


def _end_link(w: World) -> Call:
    link = films.make_link(film=_film(w), by=w.user, days=7)
    return Call(w.user, f"/api/film-links/{link.pk}/end/")


PREPARED: dict[str, Prepare] = {
    "POST /api/agree/{token}/": _agree,
    "POST /api/angles/{id}/send/": _send_clip,
    "GET /api/assignments/": _list("/api/assignments/"),
    "GET /api/assignments/{id}/": _one(
        "/api/assignments/{}/", lambda w: w.attempt().step.assignment
    ),
    "GET /api/attempts/": _list("/api/attempts/"),
    "GET /api/attempts/{id}/": _one("/api/attempts/{}/", lambda w: w.attempt()),
    "POST /api/attempts/{id}/answer/": _answer_self_test,
    "POST /api/attempts/{id}/judge/": lambda w: Call(
        w.coach, f"/api/attempts/{w.filmed().pk}/judge/", {"decision": "passed", "cue": "Good."}
    ),
    "POST /api/attempts/{id}/take_back/": _one("/api/attempts/{}/take_back/", lambda w: w.judged()),
    "GET /api/drills/": _list("/api/drills/"),
    "GET /api/drills/{id}/": _one(
        "/api/drills/{}/", lambda w: w.attempt().step.assignment.drill_version.drill
    ),
    "GET /api/findings/": _list("/api/findings/"),
    "GET /api/findings/{id}/": _one("/api/findings/{}/", lambda w: w.question()),
    "POST /api/findings/{id}/answer/": lambda w: Call(
        w.user, f"/api/findings/{w.question().pk}/answer/", {"text": "No."}
    ),
    "POST /api/join/{token}/": lambda w: Call(
        None,
        f"/api/join/{w.invited().token}/",
        {
            "name": "Kit",
            "email": "kit@example.org",
            "password": factories.PASSWORD,
            "is_minor": False,
        },
    ),
    "POST /api/login/": lambda w: Call(
        None, "/api/login/", {"email": w.coach.email, "password": factories.PASSWORD}
    ),
    "POST /api/assignments/{id}/practise/": lambda w: Call(
        w.user,
        f"/api/assignments/{w.attempt().step.assignment_id}/practise/",
        {"repetitions": 12, "felt": "right"},
    ),
    "GET /api/practice/": _list("/api/practice/"),
    "GET /api/practice/{id}/": _one("/api/practice/{}/", lambda w: w.practised()),
    "GET /api/pain/": _list("/api/pain/"),
    "GET /api/pain/{id}/": _one("/api/pain/{}/", lambda w: w.pain()),
    "POST /api/pain/{id}/reopen/": _one("/api/pain/{}/reopen/", lambda w: w.pain(stated=True)),
    "POST /api/pain/{id}/take_back/": lambda w: Call(w.user, f"/api/pain/{w.pain().pk}/take_back/"),
    "POST /api/pain/{id}/state/": lambda w: Call(
        w.user, f"/api/pain/{w.pain().pk}/state/", {"text": "My physiotherapist agreed."}
    ),
    "GET /api/walks/": _list("/api/walks/"),
    "GET /api/walks/{id}/": _one("/api/walks/{}/", lambda w: w.walk()),
    "GET /api/walks/{id}/film/": _one("/api/walks/{}/film/", _spoken),
    "POST /api/walks/{id}/film/": _one("/api/walks/{}/film/", _spoken),
    "GET /api/walks/{id}/links/": lambda w: Call(w.user, f"/api/walks/{_film(w).walk_id}/links/"),
    "POST /api/walks/{id}/links/": lambda w: Call(
        w.user, f"/api/walks/{_film(w).walk_id}/links/", {"days": 7, "label": "my father"}
    ),
    "POST /api/film-links/{id}/end/": _end_link,
    "GET /api/requests/": _list("/api/requests/"),
    "GET /api/requests/{id}/": _one(
        "/api/requests/{}/", lambda w: factories.make_request(student=w.student)
    ),
    "POST /api/requests/{id}/close/": _one(
        "/api/requests/{}/close/", lambda w: factories.make_request(student=w.student)
    ),
    "GET /api/reviews/": _list("/api/reviews/"),
    "GET /api/reviews/{id}/": _one("/api/reviews/{}/", lambda w: w.draft()),
    "POST /api/reviews/{id}/assign/": _assign,
    "POST /api/reviews/{id}/dismiss/": _dismiss,
    "POST /api/reviews/{id}/find/": lambda w: Call(
        w.coach, f"/api/reviews/{w.draft().pk}/find/", {"kind": "cause", "text": "you sway"}
    ),
    "POST /api/reviews/{id}/mark/": _api_mark,
    "POST /api/reviews/{id}/publish/": _one("/api/reviews/{}/publish/", lambda w: w.draft()),
    "POST /api/reviews/{id}/take_back/": _one("/api/reviews/{}/take_back/", lambda w: w.sent()),
    "GET /api/reviews/{id}/suggestions/": _one("/api/reviews/{}/suggestions/", lambda w: w.draft()),
    "POST /api/reviews/{id}/take/": _take,
    "POST /api/reviews/{id}/text/": lambda w: Call(
        w.coach, f"/api/reviews/{w.draft().pk}/text/", {"text": "Turn", "revision": 0}
    ),
    "GET /api/students/": _list("/api/students/"),
    "GET /api/students/{id}/": _one("/api/students/{}/", lambda w: w.student),
    "POST /api/students/{id}/body/": _students(
        "body", {"notes": [{"region": "hip", "kind": "stiff", "side": "right", "text": ""}]}
    ),
    "POST /api/students/{id}/consent/": lambda w: Call(
        (new := w.newcomer()).user,
        f"/api/students/{new.pk}/consent/",
        {"purposes": ["store", "share_coach"]},
    ),
    "POST /api/students/{id}/describe/": _students(
        "describe",
        {
            "handedness": "left",
            "stature_cm": 171.5,
            "age_band": "18_59",
            "practice_place": "foam",
        },
    ),
    "POST /api/students/{id}/erase/": lambda w: Call(
        w.user, f"/api/students/{w.student.pk}/erase/", {"name": w.student.name}
    ),
    "GET /api/students/{id}/export/": _one("/api/students/{}/export/", lambda w: w.student),
    "POST /api/students/{id}/guardian/": lambda w: Call(
        (kid := w.minor()).user,
        f"/api/students/{kid.pk}/guardian/",
        {"name": "Ada", "email": "ada@example.org"},
    ),
    "POST /api/students/{id}/hand_over/": _hand_over,
    "POST /api/students/{id}/message/": _students("message", {"text": "Hello"}),
    "POST /api/students/{id}/pain/": _students("pain", {"region": "back"}),
    "GET /api/students/{id}/next/": _one("/api/students/{}/next/", lambda w: w.student),
    "GET /api/students/{id}/progress/": _one("/api/students/{}/progress/", lambda w: w.student),
    "POST /api/students/{id}/request/": _students(
        "request", {"text": "Film this.", "angles": [{"view": "face_on"}]}, coach=True
    ),
    "POST /api/students/{id}/put_off/": _students(
        "put_off", {"thing": "clip-1", "until": None}, coach=True
    ),
    "GET /api/students/{id}/thread/": _one("/api/students/{}/thread/", lambda w: w.student),
    "POST /api/students/{id}/withdraw/": _students("withdraw", {}),
    "GET /api/studios/": _list("/api/studios/"),
    "GET /api/studios/{id}/": _one("/api/studios/{}/", lambda w: w.student.studio),
    "POST /api/studios/{id}/invite/": lambda w: Call(
        w.coach, f"/api/studios/{w.student.studio_id}/invite/", {"name": "Kit"}
    ),
    "GET /api/studios/{id}/turn_check/": _one(
        "/api/studios/{}/turn_check/", lambda w: w.student.studio
    ),
    "GET /api/submissions/": _list("/api/submissions/"),
    "GET /api/submissions/{id}/": _one("/api/submissions/{}/", lambda w: w.measured()),
    "GET /api/submissions/{id}/figures/": _one(
        "/api/submissions/{}/figures/", lambda w: w.measured()
    ),
    "POST /api/submissions/{id}/override/": _override,
    "POST /api/submissions/{id}/right/": lambda w: Call(
        w.user, f"/api/submissions/{w.measured().pk}/right/"
    ),
    "POST /api/submissions/{id}/retry/": _retry,
    "POST /api/submissions/{id}/review/": _one(
        "/api/submissions/{}/review/", lambda w: w.measured()
    ),
    "POST /api/videos/{video_pk}/corrections/": lambda w: Call(
        w.coach, f"/api/videos/{w.measured().video_id}/corrections/", MOVE
    ),
    "DELETE /api/videos/{video_pk}/corrections/{id}/": lambda w: _undo_correction(
        w, "/api/videos/{video}/corrections/{row}/"
    ),
    "GET /api/waiting/": _list("/api/waiting/"),
    "GET /review/{ref}/data": _one("/review/{}/data", lambda w: w.draft()),
    "POST /review/{ref}/mark": _room_mark,
    "POST /review/{ref}/walk": _start_walk,
    "POST /review/{ref}/text": lambda w: Call(
        w.coach,
        f"/review/{answers.blank(w.measured()).ref}/text",
        {"text": "Turn", "revision": 0},
    ),
    "POST /review/correction/{id}/undo": lambda w: _undo_correction(
        w, "/review/correction/{row}/undo"
    ),
    "POST /review/mark/{id}/change": lambda w: Call(
        w.coach, f"/review/mark/{w.mark().pk}/change", {"revision": 0, "text": "y"}
    ),
    "POST /review/mark/{id}/remove": _one("/review/mark/{}/remove", lambda w: w.mark()),
    "POST /review/preferences": lambda w: Call(w.coach, "/review/preferences", {"speed": 0.5}),
    "POST /review/snippet/{id}/remove": _one("/review/snippet/{}/remove", _snippet),
    "POST /review/student/{id}/snippet": lambda w: Call(
        w.coach, f"/review/student/{w.student.pk}/snippet", {"text": "Slow is right."}
    ),
    "POST /review/version/{id}/resolve": _settle,
    "POST /review/video/{id}/correct": lambda w: Call(
        w.coach, f"/review/video/{w.measured().video_id}/correct", MOVE
    ),
    "GET /review/video/{id}/data": lambda w: Call(
        w.coach, f"/review/video/{w.measured().video_id}/data"
    ),
    "POST /review/walk/{id}/captions": lambda w: Call(
        w.coach, f"/review/walk/{w.walk().pk}/captions", {"captions": "WEBVTT\n"}
    ),
    "POST /review/walk/{id}/demonstrate": _demonstrate,
    "POST /review/walk/{id}/events": lambda w: Call(
        w.coach, f"/review/walk/{w.walk().pk}/events", {"events": [{"t": 0}], "duration_s": 1}
    ),
    "POST /review/walk/{id}/finish": _one("/review/walk/{}/finish", lambda w: w.walk()),
    "POST /review/walk/{id}/remove": _one("/review/walk/{}/remove", lambda w: w.walk()),
}


def documented() -> dict[str, dict[str, Any]]:
    """Every operation of the schema by `METHOD path`."""
    paths = SchemaGenerator().get_schema(request=None, public=True)["paths"]
    return {
        f"{method.upper()} {path}": operation
        for path, operations in paths.items()
        for method, operation in operations.items()
    }


def test_every_operation_is_called() -> None:
    assert set(PREPARED) == set(documented())


@pytest.mark.parametrize("name", PREPARED)
def test_it_answers_as_documented(name: str, coach: User, student: Student) -> None:
    call = PREPARED[name](World(coach, student))
    client = APIClient()
    if call.by is not None:
        _row, key = ApiToken.issue(call.by, name="test")
        client.credentials(HTTP_AUTHORIZATION=f"Token {key}")
    send = getattr(client, name.split()[0].lower())
    answer = send(call.path, call.body, **({"format": call.format} if call.body else {}))
    told = getattr(answer, "content", b"") if not answer.streaming else b""
    assert 200 <= answer.status_code < 300, (answer.status_code, told)
    if call.path.startswith("/api/"):
        assert str(answer.status_code) in documented()[name]["responses"]
