"""One student with one of everything, and somebody in every role: for the table of access."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.core.files.base import ContentFile
from django.utils import timezone

from analysis.models import Correction
from coaching.intake.models import FilmingLink, Upload
from coaching.intake.sets import save_set
from coaching.lessons.packages import note_purchase, save_package
from coaching.lessons.services import send_message
from coaching.notify.models import Feed, Notice
from coaching.people.models import ApiToken, BodyNote, Holiday, Student, User
from coaching.practice.models import PainReport, Verdict
from coaching.practice.services.practising import record_practice
from coaching.review.models import (
    FilmLink,
    LessonFilm,
    Mark,
    Review,
    ReviewVersion,
    Snippet,
    WalkThrough,
)
from tests import factories
from tests.coaching.practice import making

ROLES = (
    "nobody", "stranger", "other", "student", "guardian", "assistant", "coach", "owner",
)  # fmt: skip


@dataclass
class World:
    """`people` by role; `ids` of the one student's rows, by what URLs call them."""

    people: dict[str, User | None]
    ids: dict[str, Any] = field(default_factory=dict)
    sessions: dict[str, str] = field(default_factory=dict)


def make_world() -> World:
    owner = factories.make_coach(role="owner", name="Owner")
    studio = owner.memberships.get().studio
    coach = factories.make_coach(studio=studio, name="Coach")
    student = factories.make_student(
        coach=coach, age_band=Student.AgeBand.MINOR, consents=False, name="Jo"
    )
    guardian = factories.make_guardian(student=student, name="Ada")
    factories.make_consents(student, given_by=guardian)
    people: dict[str, User | None] = {
        "nobody": None,
        "stranger": factories.make_coach(role="owner"),
        "other": factories.make_student(coach=coach).user,
        "student": student.user,
        "guardian": guardian,
        "assistant": factories.make_coach(studio=studio, role="assistant"),
        "coach": coach,
        "owner": owner,
    }
    return World(people, _rows(student, coach))


def _rows(student: Student, coach: User) -> dict[str, Any]:
    drill = making.make_drill(studio=student.studio)
    sent = making.make_review(student=student)
    assignment = making.make_assignment(review=sent, drill=drill)
    attempt = making.open_attempt(assignment)
    film = making.send_film(attempt, (52, 4), (50, 4), (55, 4))
    video = factories.make_video(files=True)
    clip = factories.make_submission(student=student, video=video)
    factories.make_measured(clip, making.UPRIGHT)
    draft = Review.objects.create(student=student, coach=coach)
    draft.submissions.add(clip)
    finding = making.make_finding(review=draft)
    question = making.make_finding(review=sent_again(student), kind="question", text="your hip")
    Review.objects.filter(pk=question.review_id).update(published_at=timezone.now())
    question.voice.save("a.webm", ContentFile(b"sound"))
    second = making.make_assignment(review=draft, drill=drill, opened=False)
    asked = factories.make_request(student=student)
    report = PainReport.objects.create(student=student, region="knee")
    walk = WalkThrough.objects.create(review=draft, video=video)
    heard = WalkThrough.objects.create(review=sent, video=sent.submissions.get().video)
    heard.sound.save("a.webm", ContentFile(b"sound"), save=False)
    heard.demonstration.save("a.mp4", ContentFile(b"film"))
    lesson = LessonFilm(walk=heard, asked_of="")
    lesson.file.save("a.mp4", ContentFile(b"film"))
    guarding = student.guardianships.get()
    shown = FilmLink.objects.create(
        film=lesson, made_by=guarding.user, expires_at=timezone.now() + timedelta(days=7)
    )
    filming = FilmingLink.objects.create(
        request=asked, made_by=guarding.user, expires_at=timezone.now() + timedelta(days=7)
    )
    verdict = Verdict.objects.create(
        attempt=attempt, submission=film, decision="nearly", given_by=coach
    )
    verdict.voice.save("a.webm", ContentFile(b"sound"))
    mark = Mark.objects.create(review=draft, video=video, start_s=0.1, shape="line")
    upload = Upload.objects.create(
        student=student,
        owner=student.user,
        length=5,
        expires_at=timezone.now() + timedelta(days=1),
    )
    student.studio.logo.save("logo.png", ContentFile(b"picture"))
    send_message(student=student, author=student.user, text="Hello")
    package = save_package(studio=student.studio, by=coach, title="Six", answers=6, weeks=26)
    return {
        "student": student.pk,
        "studio": student.studio_id,
        "review": draft.pk,
        "sent": sent.pk,
        "clip": clip.pk,
        "film": film.pk,
        "film_link": shown.pk,
        "filming_link": filming.pk,
        "filmed_by": filming.token,
        "watched": shown.token,
        "video": video.pk,
        "finding": finding.pk,
        "question": question.pk,
        "assignment": assignment.pk,
        "unsent": second.pk,
        "attempt": attempt.pk,
        "verdict": verdict.pk,
        "request": asked.pk,
        "angle": asked.angles.get().pk,
        "pain": report.pk,
        "walk": walk.pk,
        "heard": heard.pk,
        "mark": mark.pk,
        "drill": drill.drill_id,
        "version": drill.pk,
        "step": attempt.step_id,
        "upload": upload.pk,
        "correction": Correction.objects.create(
            video=video, author=coach, time_s=0.5, target="event:address", value={}
        ).pk,
        "failed_run": factories.make_run(
            video=video, kind="copy", status="failed", pipeline_version="old"
        ).pk,
        "notice": Notice.objects.create(entry=student.thread.entries.latest("pk"), user=coach).pk,
        "own_words": ReviewVersion.objects.create(review=draft, author=coach, text="x").pk,
        "set": save_set(
            studio=student.studio, by=coach, title="First", angles=[{"view": "face_on"}]
        ).pk,
        "package": package.pk,
        "purchase": note_purchase(student=student, by=coach, package=package).pk,
        "snippet": Snippet.objects.create(studio=student.studio, title="T", text="w").pk,
        "note": BodyNote.objects.create(
            student=student, region="hip", kind="stiff", side="lead"
        ).pk,
        "holiday": Holiday.objects.create(
            studio=student.studio, starts_on="2026-12-24", ends_on="2026-12-26"
        ).pk,
        "member": student.studio.memberships.get(user=coach).pk,
        "practised": record_practice(
            assignment=assignment, by=student.user, key=uuid.uuid4(), repetitions=10
        ).pk,
        "push": factories.make_push_subscription(user=coach).pk,
        "feed": Feed.objects.create(user=coach).token,
        "token": ApiToken.issue(coach, name="a program")[0].pk,
        "link": factories.make_invitation(studio=student.studio).token,
        "entry": student.thread.entries.filter(author=student.user).latest("pk").pk,
    }


def sent_again(student: Student) -> Review:
    return making.make_review(student=student)
