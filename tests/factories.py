"""Plain functions that make valid rows; each works with no arguments."""

from __future__ import annotations

import itertools
from datetime import timedelta
from typing import Any

from django.core.files.base import ContentFile
from django.utils import timezone

from analysis import PIPELINE_VERSION
from analysis.models import EventTime, Measurement, Run, Video
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.lessons import services as lessons
from coaching.notify.models import PushSubscription
from coaching.people.accounts import prove_address
from coaching.people.models import (
    Consent,
    Guardianship,
    Invitation,
    Membership,
    Student,
    Studio,
    User,
)

PASSWORD = "a quiet morning 7"
_next = itertools.count(1).__next__


def make_user(**fields: Any) -> User:
    n = _next()
    fields = {"email": f"person{n}@example.org", "name": f"Person {n}"} | fields
    proved = fields.pop("proved", True)
    user = User.objects.create_user(password=fields.pop("password", PASSWORD), **fields)
    if proved:
        prove_address(user)
    return user


def make_studio(**fields: Any) -> Studio:
    n = _next()
    return Studio.objects.create(**({"name": f"Studio {n}", "slug": f"studio-{n}"} | fields))


def make_coach(*, studio: Studio | None = None, role: str = "coach", **fields: Any) -> User:
    """A user who works in a studio: its owner, a coach or an assistant."""
    user = make_user(**fields)
    Membership.objects.create(studio=studio or make_studio(), user=user, role=role)
    return user


def make_student(
    *, coach: User | None = None, joined: bool = True, consents: bool = True, **fields: Any
) -> Student:
    """An adult who has joined, told about the body and consented, unless told otherwise."""
    studio = fields.pop("studio", None)
    if coach is None:
        coach = make_coach(studio=studio)
    if studio is None:
        studio = coach.memberships.first().studio
    now = timezone.now()
    n = _next()
    whole: dict[str, Any] = {
        "name": f"Student {n}",
        "email": f"student{n}@example.org",
        "handedness": "right",
        "stature_cm": 178.0,
        "age_band": Student.AgeBand.ADULT,
        "practice_place": Student.Place.BALL,
    }
    if joined:
        whole |= {"joined_at": now, "body_asked_at": now, "profile_confirmed_at": now}
    whole |= fields
    if joined and "user" not in fields:
        whole["user"] = make_user(name=whole["name"], email=whole["email"])
    student = Student.objects.create(studio=studio, coach=coach, **whole)
    lessons.thread_of(student)
    if joined and consents:
        make_consents(student, given_by=student.user)
    return student


def make_consents(student: Student, *, given_by: User | None = None) -> None:
    for purpose in Consent.Purpose.values:
        Consent.objects.create(
            student=student, purpose=purpose, given_by=given_by, text_version="1"
        )


def make_guardian(*, student: Student | None = None, verified: bool = True, **fields: Any) -> User:
    """A guardian of a minor, with an account when verified."""
    if student is None:
        student = make_student(age_band=Student.AgeBand.MINOR, consents=False)
    user = make_user(**fields)
    Guardianship.objects.create(
        student=student,
        user=user if verified else None,
        name=user.name,
        email=user.email,
        verified_at=timezone.now() if verified else None,
    )
    return user


def make_invitation(*, studio: Studio | None = None, **fields: Any) -> Invitation:
    if "student" in fields and studio is None and fields["student"]:
        studio = fields["student"].studio
    studio = studio or make_studio()
    if fields.get("kind", "student") == "student" and "student" not in fields:
        coach = make_coach(studio=studio)
        fields["student"] = make_student(coach=coach, joined=False)
    whole = {"expires_at": timezone.now() + timedelta(days=14)} | fields
    return Invitation.objects.create(studio=studio, **whole)


def make_push_subscription(*, user: User, **fields: Any) -> PushSubscription:
    """A browser that gets notifications; `push_service.Browser` has real keys."""
    n = _next()
    whole = {
        "device": f"device-{n}",
        "session_key": f"session-{n}",
        "auth_hash": user.get_session_auth_hash(),
        "endpoint": f"https://push.example.org/{n}",
        "p256dh": "key",
        "auth": "secret",
    } | fields
    return PushSubscription.objects.create(user=user, **whole)


def make_request(*, student: Student | None = None, angles: int = 1, **fields: Any) -> Request:
    student = student or make_student()
    request = Request.objects.create(
        student=student, **({"asked_by": student.coach, "text": "Film this."} | fields)
    )
    for position in range(angles):
        make_angle(request=request, position=position)
    return request


def make_angle(*, request: Request | None = None, **fields: Any) -> RequestedAngle:
    request = request or make_request(angles=0)
    return RequestedAngle.objects.create(
        request=request,
        **({"view": "down_the_line", "kind": "swing", "club": "7 iron"} | fields),
    )


def make_video(*, files: bool = False, **fields: Any) -> Video:
    """A clip's row; with `files`, small stand-in files that are not real video."""
    whole: dict[str, Any] = {
        "view": "down_the_line",
        "kind": "swing",
        "handedness": "right",
        "stature_cm": 178.0,
        "sha256": f"{_next():064x}",
        "size_bytes": 1000,
    } | fields
    video = Video.objects.create(**whole)
    if files:
        video.original.save("clip.mov", ContentFile(b"original"), save=False)
        video.copy.save("clip.mp4", ContentFile(b"copy"), save=False)
        video.still.save("clip.jpg", ContentFile(b"still"), save=False)
        video.keep_frame_times([i / 60 for i in range(120)])
        video.width, video.height, video.fps, video.duration_s = 720, 1280, 60.0, 2.0
        video.save()
    return video


def make_submission(
    *, student: Student | None = None, angle: RequestedAngle | None = None, **fields: Any
) -> Submission:
    """A clip that came back for an angle; its runs are added with `make_run`."""
    if student is None:
        student = angle.request.student if angle else make_student()
    if angle is None and "angle" not in fields:
        angle = make_angle(request=make_request(student=student, angles=0))
    whole: dict[str, Any] = {
        "sent_by": student.user,
        "promised_at": timezone.now() + timedelta(hours=48),
    } | fields
    if "video" not in whole:
        told = {"view": angle.view, "kind": angle.kind} if angle else {}
        whole["video"] = make_video(**told)
    return Submission.objects.create(student=student, angle=angle, **whole)


def make_run(
    *,
    video: Video | None = None,
    kind: str = Run.Kind.MEASURE,
    status: str = Run.Status.DONE,
    quality: list[dict[str, Any]] | None = None,
    **fields: Any,
) -> Run:
    whole: dict[str, Any] = {
        "pipeline_version": PIPELINE_VERSION,
        "result": {"quality": quality or []},
        "finished_at": timezone.now() if status in ("done", "failed") else None,
    } | fields
    if status == Run.Status.FAILED:
        whole.setdefault("error_code", "internal")
    return Run.objects.create(video=video or make_video(), kind=kind, status=status, **whole)


def make_checked(submission: Submission, *, reject: str = "") -> Run:
    """Give a submission its finished check; `reject` is the quality code that refuses it."""
    quality = [{"code": reject, "level": "reject", "message": "", "frame": 0}] if reject else []
    return make_run(video=submission.video, kind=Run.Kind.CHECK, quality=quality)


def make_measured(
    submission: Submission, figures: dict[tuple[str, str], tuple[float, float] | str]
) -> Run:
    """Give a submission finished runs and one repetition with `figures`.

    `figures` is `{(measure, event): (value, one standard deviation) or reason}`.
    """
    make_checked(submission)
    make_run(video=submission.video, kind=Run.Kind.COPY)
    run = make_run(video=submission.video)
    for (measure, event), reading in figures.items():
        make_measurement(run=run, measure=measure, event=event, reading=reading)
    for place, event in enumerate(("address", "top", "impact")):
        EventTime.objects.create(
            run=run, repetition=0, event=event, time_s=0.5 * place, frame=30 * place,
            uncertainty_s=0.01,
        )  # fmt: skip
    return run


def make_measurement(
    *,
    run: Run | None = None,
    measure: str = "pelvis_turn_deg",
    event: str = "top",
    reading: tuple[float, float] | str = (38.0, 2.0),
    **fields: Any,
) -> Measurement:
    unit = {"deg": "deg", "cm": "cm", "pct": "%", "s": "s"}.get(measure.rsplit("_", 1)[-1], "")
    if isinstance(reading, str):
        whole: dict[str, Any] = {"reason": reading}
    else:
        whole = {"value": reading[0], "uncertainty": reading[1], "unit": unit}
        whole |= {"source": "measured", "frame": 30, "time_s": 0.5}
    return Measurement.objects.create(
        run=run or make_run(), measure=measure, event=event, repetition=fields.pop("repetition", 0),
        **(whole | fields),
    )  # fmt: skip
