"""Asking for angles, taking clips in, telling how they fare."""

from __future__ import annotations

import contextlib
import hashlib
import os
import uuid
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from analysis import services as analysis
from analysis import work
from analysis.models import Run, Video
from coaching.intake import queries, upload_buffer
from coaching.intake.models import Request, RequestedAngle, Submission, Upload
from coaching.intake.queries import State
from coaching.intake.services import asking, clips, uploads
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import Consent, Student, User
from coaching.people.services import consent
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def angle(student: Student) -> RequestedAngle:
    return factories.make_angle(request=factories.make_request(student=student, angles=0))


def sent(angle: RequestedAngle, data: bytes = b"film", **fields: Any) -> Submission:
    student = angle.request.student
    file = SimpleUploadedFile("My swing.MOV", data)
    return uploads.receive_file(
        by=fields.pop("by", student.user), student=student, angle=angle, file=file, **fields
    )


def entries(student: Student) -> list[str]:
    return list(student.thread.entries.values_list("kind", flat=True))


def finish(submission: Submission, kind: str, **result: Any) -> Run:
    """The worker closes a run, telling whoever listens."""
    run = analysis.request_run(video=submission.video, kind=kind)
    claim = uuid.uuid4()
    Run.objects.filter(pk=run.pk).update(status="running", claim=claim)
    run.refresh_from_db()
    analysis._close(run, claim, result.pop("status", "done"), **result)
    return run


def rejected(code: str) -> dict[str, Any]:
    return {"quality": [{"code": code, "level": "reject"}]}


def fresh(submission: Submission) -> Submission:
    return queries.with_runs(Submission.objects.all()).get(pk=submission.pk)


# Asking


def test_the_coach_asks_and_the_thread_tells(student: Student, coach: User) -> None:
    request = asking.request_angles(
        student=student,
        by=coach,
        angles=[{"view": "down_the_line", "repetitions": 3}, {"view": "face_on", "kind": "hold"}],
        text=" Slowly. ",
        due_on=date(2026, 12, 1),
    )
    rows = [(a.view, a.kind, a.repetitions, a.position) for a in request.angles.all()]
    assert rows == [("down_the_line", "swing", 3, 0), ("face_on", "hold", 1, 1)]
    entry = student.thread.entries.get()
    assert (entry.kind, entry.author, entry.text) == ("requested", coach, "Slowly.")
    assert entry.refs == {"request": request.pk}


@pytest.mark.parametrize(
    ("angles", "code"),
    [
        ([], "no_angle"),
        ([{"view": "face_on"}] * 9, "too_many_angles"),
        ([{"view": "sideways"}], "wrong_view"),
        ([{"view": "face_on", "kind": "dance"}], "wrong_kind"),
        ([{"view": "face_on", "repetitions": 11}], "wrong_repetitions"),
        ([{"view": "face_on", "repetitions": 0}], "wrong_repetitions"),
    ],
)
def test_what_cannot_be_asked(
    student: Student, coach: User, angles: list[dict[str, Any]], code: str
) -> None:
    with pytest.raises(LessonError) as refusal:
        asking.request_angles(student=student, by=coach, angles=angles)
    assert refusal.value.code == code
    assert not Request.objects.exists()


def test_pain_stops_open_requests_and_a_person_opens_them_again(
    angle: RequestedAngle, student: Student
) -> None:
    closed = factories.make_request(student=student, closed_at=timezone.now())
    other = factories.make_request()
    assert asking.suspend_requests(student=student) == 1
    assert asking.suspend_requests(student=student) == 0
    with pytest.raises(LessonError) as refusal:
        sent(RequestedAngle.objects.get(pk=angle.pk))
    assert refusal.value.code == "suspended"
    assert queries.next_angle(student) is None
    for row in (closed, other):
        row.refresh_from_db()
        assert row.suspended_at is None
    assert asking.resume_requests(student=student) == 1
    assert queries.next_angle(student) == angle


def test_only_the_requests_that_load_the_region(angle: RequestedAngle, student: Student) -> None:
    factories.make_request(student=student)
    only = Request.objects.filter(pk=angle.request_id)
    assert asking.suspend_requests(student=student, requests=only) == 1
    assert asking.resume_requests(student=student, requests=only) == 1


def test_a_closed_request_takes_no_clip(angle: RequestedAngle) -> None:
    asking.close_request(request=angle.request, by=angle.request.student.coach)
    angle.request.refresh_from_db()
    with pytest.raises(LessonError) as refusal:
        sent(angle)
    assert (refusal.value.code, refusal.value.status) == ("closed", 409)


# Taking in


def test_a_clip_becomes_a_submission_in_one_step(
    angle: RequestedAngle, student: Student, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        submission = sent(angle, b"a film", text="Windy.")
    video = submission.video
    assert video.original.read() == b"a film"
    assert video.original.name.endswith(".mov")
    assert "swing" not in video.original.name.lower()  # never the sender's name
    assert video.sha256 == hashlib.sha256(b"a film").hexdigest()
    assert (video.view, video.kind, video.handedness) == ("down_the_line", "swing", "right")
    assert (video.stature_cm, video.size_bytes, video.repetitions) == (178.0, 6, 1)
    assert work.capture_of(video).repetitions == 1
    assert submission.sent_by == student.user
    assert [r.kind for r in video.runs.all()] == ["check"]
    entry = student.thread.entries.get(kind="sent")
    assert entry.text == "Windy."
    assert entry.refs == {
        "submission": submission.pk, "angle": angle.pk, "request": angle.request_id,
    }  # fmt: skip
    assert not upload_buffer.path(Upload.objects.get().pk).exists()


def test_a_form_sent_twice_makes_one_clip(angle: RequestedAngle) -> None:
    key = uuid.uuid4()
    first, again = sent(angle, key=key), sent(angle, key=key)
    assert first == again
    assert Submission.objects.count() == Entry.objects.filter(kind="sent").count() == 1


def test_another_clip_from_a_page_that_the_browser_kept(angle: RequestedAngle) -> None:
    key = uuid.uuid4()
    first = sent(angle, b"one", key=key)
    assert sent(angle, b"another", key=key) != first
    assert Submission.objects.count() == 2


def test_another_clip_in_place_of_one_that_never_arrived(angle: RequestedAngle) -> None:
    key, student = uuid.uuid4(), angle.request.student
    old = uploads.create_upload(by=student.user, length=9, student=student, angle=angle, key=key)
    hold, _ = upload_buffer.acquire(old.pk)
    upload_buffer.append(old.pk, b"part", lock=hold)
    assert sent(angle, b"another", key=key).video.original.read() == b"another"


def test_the_same_film_sent_again_is_the_same_clip(angle: RequestedAngle) -> None:
    first = sent(angle, b"the same")
    assert sent(angle, b"the same") == first
    other = factories.make_angle(request=angle.request, view="face_on")
    assert sent(other, b"the same") != first


def test_the_loser_of_a_race_leaves_no_file(
    angle: RequestedAngle, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two requests finish the same upload at once."""
    upload = uploads.create_upload(
        by=angle.request.student.user, length=4, student=angle.request.student, angle=angle
    )
    hold, _ = upload_buffer.acquire(upload.pk)
    upload_buffer.append(upload.pk, b"film", lock=hold)
    real, names = uploads._store_original, []

    def overtaken(row: Upload) -> str:
        names.append(mine := real(row))
        if len(names) == 1:
            uploads.finish_upload(upload=Upload.objects.get(pk=row.pk), by=row.owner)
        return mine

    monkeypatch.setattr(uploads, "_store_original", overtaken)
    submission = uploads.finish_upload(upload=upload, by=upload.owner)
    storage = submission.video.original.storage  # type: ignore[union-attr]
    assert Submission.objects.get() == submission
    assert [storage.exists(name) for name in names] == [False, True]


def test_a_failure_on_the_way_keeps_the_spool_and_nothing_else(
    angle: RequestedAngle, monkeypatch: pytest.MonkeyPatch
) -> None:
    names: list[str] = []
    real = uploads._store_original
    monkeypatch.setattr(uploads, "_store_original", lambda u: names.append(real(u)) or names[-1])
    with monkeypatch.context() as patched:
        patched.setattr(clips, "record", lambda **kw: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            sent(angle, key=(key := uuid.uuid4()))
    assert not Submission.objects.exists()
    assert not default_storage.exists(names[0])
    assert upload_buffer.path(key).read_bytes() == b"film"
    assert sent(angle, key=key) == Submission.objects.get()


def test_the_spool_forgets_only_after_the_commit(angle: RequestedAngle) -> None:
    key = uuid.uuid4()
    with contextlib.suppress(ZeroDivisionError), transaction.atomic():
        sent(angle, key=key)
        raise ZeroDivisionError
    assert not Submission.objects.exists()
    assert upload_buffer.path(key).read_bytes() == b"film"


def test_whole_but_unfinished_uploads_are_finished_by_the_clearing(angle: RequestedAngle) -> None:
    """The server stopped between the last byte and the submission."""
    student = angle.request.student
    upload = uploads.create_upload(by=student.user, length=4, student=student, angle=angle)
    hold, _ = upload_buffer.acquire(upload.pk)
    upload_buffer.append(upload.pk, b"film", lock=hold)
    Upload.objects.update(expires_at=timezone.now() - timedelta(hours=1))
    uploads.clear_uploads()
    assert Submission.objects.get().video.original.read() == b"film"


def test_clearing_spares_what_is_fresh(angle: RequestedAngle, settings: Any) -> None:
    student = angle.request.student
    kept = uploads.create_upload(by=student.user, length=9, student=student, angle=angle)
    stray = upload_buffer.path(uuid.uuid4())
    new = upload_buffer.path(uuid.uuid4())
    for file in (stray, new):
        file.write_bytes(b"x")
    os.utime(stray, (1, 1))
    assert uploads.clear_uploads() == 0
    assert (upload_buffer.path(kept.pk).exists(), stray.exists(), new.exists()) == (
        True,
        False,
        True,
    )


# Consent


def test_a_minor_needs_the_guardians_consent(coach: User) -> None:
    minor = factories.make_student(coach=coach, age_band=Student.AgeBand.MINOR, consents=False)
    angle = factories.make_angle(request=factories.make_request(student=minor, angles=0))
    factories.make_consents(minor, given_by=minor.user)  # his own does not count
    with pytest.raises(LessonError) as refusal:
        sent(angle)
    assert (refusal.value.code, refusal.value.status) == ("guardian_consent", 403)
    assert "guardian" in refusal.value.sentence
    assert not Upload.objects.exists()
    Consent.objects.all().delete()
    guardian = factories.make_guardian(student=minor)
    factories.make_consents(minor, given_by=guardian)
    assert sent(angle, by=guardian).sent_by == guardian


@pytest.mark.parametrize("purpose", Consent.NEEDED)
def test_a_withdrawn_consent_closes_the_door(angle: RequestedAngle, purpose: str) -> None:
    Consent.objects.filter(purpose=purpose).update(withdrawn_at=timezone.now())
    with pytest.raises(LessonError) as refusal:
        sent(angle)
    assert refusal.value.code == "consent"


def test_stature_is_needed(angle: RequestedAngle, student: Student) -> None:
    Student.objects.update(stature_cm=None)
    with pytest.raises(LessonError) as refusal:
        sent(RequestedAngle.objects.get())
    assert refusal.value.code == "stature"


def test_withdrawing_takes_clips_and_what_is_on_its_way(
    angle: RequestedAngle, django_capture_on_commit_callbacks: Any
) -> None:
    student = angle.request.student
    submission = sent(angle)
    path = submission.video.original.path
    upload = uploads.create_upload(by=student.user, length=9, student=student, angle=angle)
    with django_capture_on_commit_callbacks(execute=True):
        assert clips.erase_clips(student=student) == 1
    submission.video.refresh_from_db()
    assert not submission.video.original
    assert not default_storage.exists(path)
    assert not upload_buffer.path(upload.pk).exists()
    assert submission.video.erased_at is not None


# What became of it


def test_the_states_of_a_clip(angle: RequestedAngle, student: Student) -> None:
    clip = sent(angle)
    seen = [queries.state(fresh(clip))]
    finish(clip, Run.Kind.CHECK, result={"quality": []})
    seen.append(queries.state(fresh(clip)))
    analysis.request_measuring(video=clip.video)  # the copy asks for it in its own closing
    finish(clip, Run.Kind.COPY)
    seen.append(queries.state(fresh(clip)))
    finish(clip, Run.Kind.MEASURE)
    seen.append(queries.state(fresh(clip)))
    Submission.objects.update(answered_at=timezone.now())
    seen.append(queries.state(fresh(clip)))
    assert seen == [
        State.CHECKING, State.COPYING, State.MEASURING, State.READY, State.REVIEWED,
    ]  # fmt: skip
    assert entries(student) == ["sent", "ready"]


def test_a_clip_is_not_measured_where_that_was_not_agreed_to(
    angle: RequestedAngle, student: Student
) -> None:
    wanted = set(Consent.NEEDED)
    consent.choose_consents(student=student, by=student.user, purposes=wanted)
    clip = sent(angle)
    finish(clip, Run.Kind.CHECK, result={"quality": []})
    assert analysis.request_measuring(video=clip.video) is None
    finish(clip, Run.Kind.COPY)
    row = fresh(clip)
    assert queries.state(row) == State.READY and queries.is_unmeasured(row)
    assert entries(student) == ["consent", "sent", "ready"]
    # Agreed to later, what came before is measured, too.
    Video.objects.filter(pk=clip.video_id).update(copy="copy.mp4")
    consent.choose_consents(
        student=student, by=student.user, purposes={*wanted, Consent.Purpose.MEASURE}
    )
    assert queries.state(fresh(clip)) == State.MEASURING


def test_a_refused_clip_is_told_once(angle: RequestedAngle, student: Student) -> None:
    clip = sent(angle)
    finish(clip, Run.Kind.CHECK, result=rejected("body_cut"))
    assert queries.state(fresh(clip)) == State.REFUSED
    assert [str(a.seen) for a in queries.progress(fresh(clip)).advice] == [
        "Part of you is outside the picture."
    ]
    entry = student.thread.entries.get(kind="refused")
    assert entry.refs == {"submission": clip.pk, "codes": ["body_cut"]}
    clips.record_run(run=clip.video.runs.get())
    assert entries(student) == ["sent", "refused"]


@pytest.mark.parametrize(
    ("kind", "code", "state"),
    [
        ("check", "unreadable", State.REFUSED),
        ("copy", "too_short", State.REFUSED),
        ("check", "worker_lost", State.FAILED),
        ("check", "too_heavy", State.REFUSED),
        ("copy", "disk_full", State.FAILED),
        ("measure", "internal", State.FAILED),
    ],
)
def test_stopped_runs(angle: RequestedAngle, kind: str, code: str, state: str) -> None:
    clip = sent(angle)
    if kind != "check":
        finish(clip, Run.Kind.CHECK, result={"quality": []})
    finish(clip, kind, status="failed", error_code=code)
    assert queries.state(fresh(clip)) == state
    assert ("refused" in entries(angle.request.student)) == (state == State.REFUSED)


def test_a_person_lets_it_start_again(angle: RequestedAngle) -> None:
    clip = sent(angle)
    with pytest.raises(LessonError, match="going on"):
        clips.retry(submission=fresh(clip), by=clip.sent_by)
    finish(clip, Run.Kind.CHECK, status="failed", error_code="worker_lost")
    clips.retry(submission=fresh(clip), by=clip.sent_by)
    assert queries.state(fresh(clip)) == State.CHECKING


def test_the_student_insists(angle: RequestedAngle, student: Student) -> None:
    clip = sent(angle)
    finish(clip, Run.Kind.CHECK, result=rejected("wrong_view"))
    with pytest.raises(LessonError, match="Add a word"):
        clips.override_refusal(submission=fresh(clip), by=student.user, text=" ")
    before = clip.promised_at
    clips.override_refusal(submission=fresh(clip), by=student.user, text="No room behind me.")
    clip = fresh(clip)
    assert queries.state(clip) == State.COPYING
    assert clip.override_note == "No room behind me."
    assert clip.promised_at > before
    assert angle not in queries.missing(queries.requests_of(student).get())
    with pytest.raises(LessonError):
        clips.override_refusal(submission=fresh(clip), by=student.user, text="Again.")


def test_nobody_insists_on_a_file_that_is_no_film(angle: RequestedAngle, student: Student) -> None:
    clip = sent(angle)
    finish(clip, Run.Kind.CHECK, result=rejected("unreadable"))
    assert not queries.progress(fresh(clip)).can_override
    with pytest.raises(LessonError) as refusal:
        clips.override_refusal(submission=fresh(clip), by=student.user, text="Look!")
    assert refusal.value.code == "cannot_override"


def test_a_new_clip_takes_the_refused_ones_place(angle: RequestedAngle, student: Student) -> None:
    first = sent(angle, b"one")
    finish(first, Run.Kind.CHECK, result=rejected("too_dark"))
    second = sent(angle, b"two")
    first.refresh_from_db()
    assert first.replaced_by == second


def test_a_good_clip_stands_unless_its_sender_says_so(angle: RequestedAngle) -> None:
    first = sent(angle, b"one")
    finish(first, Run.Kind.CHECK, result={"quality": []})
    second = sent(angle, b"two")
    first.refresh_from_db()
    assert first.replaced_by is None
    third = sent(angle, b"three", replaces=str(first.pk))
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.replaced_by, second.replaced_by) == (third, None)
    assert [c.pk for c in queries.clips_for(angle)] == [second.pk, third.pk]


@pytest.mark.parametrize("wanted", ["x", "-1", "999999", ""])
def test_nobody_elses_clip_is_replaced(angle: RequestedAngle, wanted: str) -> None:
    theirs = factories.make_submission()
    for replaces in (wanted, str(theirs.pk)):
        sent(angle, uuid.uuid4().bytes, replaces=replaces)
    theirs.refresh_from_db()
    assert theirs.replaced_by is None


def test_an_answered_clip_is_not_replaced(angle: RequestedAngle) -> None:
    first = sent(angle, b"one")
    Submission.objects.update(answered_at=timezone.now())
    sent(angle, b"two", replaces=str(first.pk))
    first.refresh_from_db()
    assert first.replaced_by is None


def test_what_is_missing(angle: RequestedAngle, student: Student) -> None:
    other = factories.make_angle(request=angle.request, view="face_on", position=1)
    assert queries.missing(queries.requests_of(student).get()) == [angle, other]
    clip = sent(angle)
    assert queries.missing(queries.requests_of(student).get()) == [other]
    finish(clip, Run.Kind.CHECK, result=rejected("blurred"))
    assert queries.missing(queries.requests_of(student).get()) == [angle, other]


def test_what_to_film_next_is_what_is_due_first(student: Student) -> None:
    factories.make_request(student=student)
    later = factories.make_request(student=student, due_on=date(2026, 12, 24))
    first = factories.make_request(student=student, due_on=date(2026, 12, 1))
    assert queries.next_angle(student) == first.angles.get()
    assert later.angles.get() != queries.next_angle(student)


# The promise


def test_the_promise_is_kept_with_the_clip_and_moves_with_holidays(
    angle: RequestedAngle, student: Student
) -> None:
    clip = sent(angle)
    assert clip.promised_at - clip.created_at == timedelta(hours=student.studio.turnaround_hours)
    day = timezone.localdate() + timedelta(days=1)
    student.studio.holidays.create(starts_on=day, ends_on=day)
    assert clips.renew_promises(studio=student.studio) == 1
    assert clips.renew_promises(studio=student.studio) == 0
    clip.refresh_from_db()
    assert clip.promised_at - clip.created_at == timedelta(hours=72)


# Reads in a constant number of queries


def test_queries_do_not_grow(student: Student, coach: User) -> None:
    def count(read: Callable[[], Any]) -> int:
        with CaptureQueriesContext(connection) as caught:
            read()
        return len(caught)

    def waiting() -> list[str]:
        rows = queries.waiting_submissions(Student.objects.filter(pk=student.pk))
        return [queries.state(row) + row.student.name + str(row.angle) for row in rows]

    def asked() -> list[int]:
        return [len(queries.missing(row)) for row in queries.requests_of(student)]

    def fill(n: int) -> None:
        for _ in range(n):
            clip = factories.make_submission(student=student)
            factories.make_checked(clip)

    fill(2)
    few = count(waiting), count(asked)
    fill(10)
    assert (count(waiting), count(asked)) == few
    assert len(waiting()) == 12


# A recording of the review room


def test_a_recording_is_taken_once_by_its_owner(coach: User, stranger: User) -> None:
    upload = uploads.create_upload(by=coach, length=None, purpose="voice")
    hold, _ = upload_buffer.acquire(upload.pk)
    upload_buffer.append(upload.pk, b"webm", lock=hold)
    with pytest.raises(LessonError), uploads.take_upload(upload=upload, by=stranger):
        pass
    video = factories.make_video()
    with uploads.take_upload(upload=upload, by=coach) as file:  # cut short by a crash
        video.still.save("x.jpg", file)
    assert video.still.read() == b"webm"


def test_nothing_is_taken_from_an_empty_spool(coach: User) -> None:
    upload = uploads.create_upload(by=coach, length=5, purpose="demonstration")
    upload_buffer.remove(upload.pk)
    with pytest.raises(LessonError) as refusal, uploads.take_upload(upload=upload, by=coach):
        pass
    assert refusal.value.status == 410


def test_a_word_to_the_coach(angle: RequestedAngle, student: Student) -> None:
    clip = sent(angle)
    clips.send_word(submission=clip, by=student.user, text=" The mat was short. ")
    entry = student.thread.entries.get(kind="message")
    assert (entry.text, entry.refs) == ("The mat was short.", {"submission": clip.pk})
    with pytest.raises(LessonError):
        clips.send_word(submission=clip, by=student.user, text="  ")


def test_a_clip_nobody_asked_for(student: Student) -> None:
    clip = uploads.receive_file(
        by=student.user, student=student, file=ContentFile(b"film", name="a.mp4"), view="face_on"
    )
    assert (clip.angle, clip.video.view, clip.video.kind) == (None, "face_on", "swing")
    wrong = uploads.receive_file(
        by=student.user, student=student, file=ContentFile(b"more", name="b.exe"), view="sideways"
    )
    assert wrong.video.view == "other"
    assert "." not in wrong.video.original.name.rsplit("/", 1)[1]


@pytest.mark.parametrize("status", ["queued", "running", "done", "failed"])
def test_measuring_again_in_the_background_changes_nothing_for_people(status):
    clip = factories.make_submission()
    factories.make_measured(clip, {("pelvis_turn_deg", "top"): (38.0, 2.0)})
    told = Entry.objects.count()
    run = factories.make_run(
        video=clip.video, pipeline_version="next", status=status, background=True,
        **({"error_code": "unreadable"} if status == "failed" else {}),
    )  # fmt: skip
    clips.record_run(run=run)
    clip.refresh_from_db()
    assert queries.state(clip) == "ready"
    assert queries.stopped_run(clip) is None
    assert Entry.objects.count() == told
