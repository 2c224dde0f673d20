"""Killed at any point, nothing stays behind that no row names, and nothing named is lost."""

from __future__ import annotations

import io
import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as live
from django.core.files.base import ContentFile
from django.core.files.storage import FileSystemStorage, default_storage
from django.core.management import call_command
from django.db import transaction
from django.utils import timezone

from analysis import files, scratch, sweeping, work
from analysis import services as analysis
from analysis.models import LooseFile, Run, Video
from coaching.diagnosis.services import voices
from coaching.intake import upload_buffer
from coaching.intake.models import Request, Submission, Upload
from coaching.intake.services import asking, uploads
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.notify import services as notify
from coaching.notify.models import PushMessage, PushSubscription
from coaching.people import outbox
from coaching.people.errors import LessonError
from coaching.people.models import Letter, Student, User
from coaching.practice.models import PainReport
from coaching.practice.services import assigning, stopping
from coaching.review.models import WalkThrough
from coaching.review.services import drafts, habits
from coaching.review.services import walks as walks_services
from tests import factories
from tests.at_once import at_once
from tests.coaching.practice import making


class Killed(BaseException):
    """Stands for SIGKILL: nothing after it runs but what the operating system does."""


@pytest.fixture(autouse=True)
def own_folders(settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT, settings.SCRATCH_DIR = tmp_path / "media", tmp_path / "scratch"
    settings.UPLOAD_BUFFER = tmp_path / "buffer"


def stored() -> list[str]:
    root = Path(live.MEDIA_ROOT)
    return [str(path.relative_to(root)) for path in root.rglob("*") if path.is_file()]


def uploaded(student: Student) -> Upload:
    angle = factories.make_angle(request=factories.make_request(student=student, angles=0))
    upload = uploads.create_upload(by=student.user, length=4, student=student, angle=angle)
    hold, _ = upload_buffer.acquire(upload.pk)
    upload_buffer.append(upload.pk, b"film", lock=hold)
    return upload


# Files and rows


@pytest.mark.django_db(transaction=True)
def test_killed_between_storing_and_committing(
    student: Student, monkeypatch: pytest.MonkeyPatch
) -> None:
    upload = uploaded(student)

    def dies(*args: Any, **kwargs: Any) -> None:
        raise Killed

    with monkeypatch.context() as patched:
        patched.setattr(uploads, "_submit_once", dies)
        patched.setattr(files, "discard", lambda name: None)  # a dead process removes nothing
        with pytest.raises(Killed):
            uploads.finish_upload(upload=upload, by=student.user)
    (name,) = stored()
    assert LooseFile.objects.get().name == name  # written down before its bytes
    LooseFile.objects.update(due_at=timezone.now())
    files.sweep()
    assert stored() == [] and not LooseFile.objects.exists()
    submission = uploads.finish_upload(
        upload=upload, by=student.user
    )  # the buffer still has the film
    assert submission is not None and stored() == [submission.video.original.name]
    assert not LooseFile.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_the_sweep_leaves_what_a_row_names(student: Student) -> None:
    submission = uploads.finish_upload(upload=uploaded(student), by=student.user)
    assert submission is not None
    name = str(submission.video.original.name)
    LooseFile.objects.create(name=name, due_at=timezone.now())
    files.sweep()
    assert default_storage.exists(name) and not LooseFile.objects.exists()


@pytest.mark.django_db
def test_files_that_nothing_names_go_after_a_day(student: Student) -> None:
    stray, young = (
        default_storage.save(f"original/2026/01/{name}.mp4", ContentFile(b"film"))
        for name in ("stray", "young")
    )
    named = factories.make_video(files=True)
    old = (timezone.now() - timedelta(days=2)).timestamp()
    for name in (stray, str(named.original.name)):
        os.utime(default_storage.path(name), (old, old))
    assert files.sweep_orphans() == 1
    assert not default_storage.exists(stray)
    assert default_storage.exists(young) and default_storage.exists(str(named.original.name))


@pytest.mark.django_db
def test_stray_files_are_looked_for_a_month_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    strays = [
        default_storage.save(f"original/2026/0{month}/stray.mp4", ContentFile(b"film"))
        for month in (1, 2)
    ]
    listed, real = [], FileSystemStorage.listdir
    monkeypatch.setattr(
        FileSystemStorage, "listdir", lambda self, path: listed.append(path) or real(self, path)
    )
    found = files.orphans(before=timezone.now() + timedelta(days=1))
    first = next(found)
    assert len([path for path in listed if path.startswith("original/2026/")]) == 1
    assert sorted([first, *found]) == strays


@pytest.mark.django_db
def test_the_audit_explains_and_removes(capsys: pytest.CaptureFixture[str]) -> None:
    stray = default_storage.save("copy/2026/01/stray.mp4", ContentFile(b"film"))
    old = (timezone.now() - timedelta(hours=3)).timestamp()
    os.utime(default_storage.path(stray), (old, old))
    nobodys = factories.make_video(files=True, created_at=timezone.now() - timedelta(days=1))
    lost = factories.make_submission(video=factories.make_video(files=True)).video
    lost.original.storage.delete(str(lost.original.name))
    with pytest.raises(SystemExit):
        call_command("audit")
    told = capsys.readouterr().out
    assert f"file without a row: {stray}" in told
    assert f"video of nobody: video {nobodys.pk}" in told
    assert f"analysis.Video {lost.pk}: {lost.original.name}" in told
    with pytest.raises(SystemExit):  # a film that is lost can only come from a backup
        call_command("audit", "--remove")
    assert not default_storage.exists(stray) and not Video.objects.filter(pk=nobodys.pk).exists()
    Video.objects.filter(pk=lost.pk).update(original="")
    out = io.StringIO()
    call_command("audit", stdout=out)
    assert "belong together" in out.getvalue()


def test_folders_of_dead_processes_are_swept_and_living_ones_left(tmp_path: Path) -> None:
    script = (
        "import os, sys; os.environ['DJANGO_SETTINGS_MODULE'] = 'tests.settings'\n"
        "import django; django.setup()\n"
        "from django.conf import settings; settings.SCRATCH_DIR = sys.argv[1]\n"
        "from analysis import scratch\n"
        "with scratch.folder() as made:\n"
        "    (made / 'copy.mp4').write_bytes(b'film'); print(made, flush=True); input()\n"
    )
    command = [sys.executable, "-c", script, str(live.SCRATCH_DIR)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=live.BASE_DIR
    ) as dead:
        assert dead.stdout is not None
        made = Path(dead.stdout.readline().strip())
        assert made.is_dir() and scratch.sweep() == 0  # it lives
        dead.send_signal(signal.SIGKILL)
        dead.wait()
    with scratch.folder() as living:
        assert scratch.sweep() == 1
        assert living.exists() and not made.exists()
    assert not living.exists()


# Storage that is away


class AwayStorage:
    """Refuses as the client library of an object store does when nobody answers."""

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        from botocore.exceptions import EndpointConnectionError

        raise EndpointConnectionError(endpoint_url="http://storage")


@pytest.mark.django_db(transaction=True)
def test_a_store_that_is_away_costs_no_attempt_and_no_film(
    student: Student, monkeypatch: pytest.MonkeyPatch
) -> None:
    upload = uploaded(student)
    kind = type(default_storage._wrapped)
    with monkeypatch.context() as patched:
        patched.setattr(kind, "save", AwayStorage())
        with pytest.raises(LessonError) as refusal:
            uploads.finish_upload(upload=upload, by=student.user)
        assert (refusal.value.status, refusal.value.code) == (503, "storage_away")
    submission = uploads.finish_upload(upload=upload, by=student.user)
    assert submission is not None
    run = Run.objects.get()

    def away(row: Run, progress: Any) -> Any:
        AwayStorage()()

    monkeypatch.setattr(work, "WORK", dict.fromkeys(Run.Kind.values, away))
    for _ in range(8):
        assert analysis.run(run.pk) is False
    run.refresh_from_db()
    assert (run.status, run.attempts) == ("queued", 0)
    Video.objects.update(created_at=timezone.now() - timedelta(days=3))
    Run.objects.update(attempts=9)
    assert analysis.run(run.pk) is True
    run.refresh_from_db()
    assert (run.status, run.error_code) == ("failed", "storage_away")


# Sweeps: one failing row stops nothing


def test_a_row_that_fails_is_left_and_the_others_done(caplog: pytest.LogCaptureFixture) -> None:
    done: list[int] = []

    def act(row: int) -> None:
        if row == 2:
            raise ValueError("odd")
        done.append(row)

    assert sweeping.each([1, 2, 3], act, what="A row") == 2
    assert done == [1, 3] and "2 is left as it is" in caplog.text


def _odd_upload(student: Student, patched: pytest.MonkeyPatch) -> Any:
    bad, good = uploaded(student), uploaded(student)
    real = uploads.finish_upload

    def fails(*, upload: Upload, by: User | None) -> Any:
        if upload.pk == bad.pk:
            raise ValueError("odd metadata")
        return real(upload=upload, by=by)

    patched.setattr(uploads, "finish_upload", fails)
    return lambda: Upload.objects.get(pk=good.pk).submission


def _odd_run(student: Student, patched: pytest.MonkeyPatch) -> Any:
    old = timezone.now() - timedelta(hours=1)
    bad, good = (
        factories.make_run(kind=kind, status="queued", queued_at=old) for kind in ("check", "copy")
    )
    told: list[int] = []

    def enqueue(pk: int, kind: str) -> None:
        if pk == bad.pk:
            raise ValueError("odd")
        told.append(pk)

    patched.setattr(analysis, "enqueue", enqueue)
    return lambda: told == [good.pk]


def _odd_letter(student: Student, patched: pytest.MonkeyPatch) -> Any:
    other = factories.make_student(coach=student.coach)
    for row in (student, other):
        lessons.record(student=row, kind="message", author=student.coach, text="Hi")
    real = notify.readers_of

    def fails(entry: Entry) -> Any:
        if entry.thread.student_id == student.pk:
            raise ValueError("odd")
        return real(entry)

    patched.setattr(notify, "readers_of", fails)
    return lambda: Entry.objects.filter(notified_at__isnull=False).count() == 1


def _odd_notification(student: Student, patched: pytest.MonkeyPatch) -> Any:
    from coaching.notify import pushing

    patched.setattr(live, "PUSH_PRIVATE_KEY", pushing.new_key())
    for user in (student.coach, student.user):
        row = factories.make_push_subscription(user=user)
        entry = lessons.record(student=student, kind="message", author=None, text="Hi")
        until = timezone.now() + timedelta(hours=1)
        PushMessage.objects.create(subscription=row, entry=entry, expires_at=until)

    def post(subscription: PushSubscription, data: str, **how: Any) -> int:
        if subscription.user_id == student.coach_id:
            raise ValueError("odd")
        return 201

    patched.setattr(pushing, "_post", post)
    return lambda: PushMessage.objects.count() == 1


def _odd_file(student: Student, patched: pytest.MonkeyPatch) -> Any:
    due = timezone.now() - timedelta(hours=1)
    LooseFile.objects.create(name="../outside", due_at=due)  # the storage refuses it
    LooseFile.objects.create(name="original/gone.mp4", due_at=due)
    return lambda: not LooseFile.objects.filter(name="original/gone.mp4").exists()


def _odd_sound(student: Student, patched: pytest.MonkeyPatch) -> Any:
    clip = factories.make_submission(student=student)
    draft = drafts.open_draft(submissions=[clip], by=student.coach)
    walks = []
    for _ in range(2):
        walk = walks_services.start_walk(by=draft.student.coach, review=draft, video=clip.video)
        walks_services.finish_walk(
            by=walk.review.student.coach, walk=walk, sound=ContentFile(b"x", name="a.webm")
        )
        walks.append(walk)
    done: list[int] = []

    def settle(pk: int) -> bool:
        if pk == walks[0].pk:
            raise ValueError("odd")
        done.append(pk)
        return True

    patched.setattr(walks_services, "finalize_walk_sound", settle)
    assert WalkThrough.objects.count() == 2
    return lambda: done == [walks[1].pk]


def _odd_voice(student: Student, patched: pytest.MonkeyPatch) -> Any:
    draft = making.make_review(student=student)
    found = [making.make_finding(review=draft, text=text) for text in ("one", "two")]
    for row in found:
        type(row).objects.filter(pk=row.pk).update(voice=f"voice/{row.pk}.webm")
    done: list[int] = []

    def settle(pk: int) -> bool:
        if pk == found[0].pk:
            raise ValueError("odd")
        done.append(pk)
        return True

    patched.setattr(voices, "finalize_voice", settle)
    return lambda: done == [found[1].pk]


def _odd_void(student: Student, monkeypatch: pytest.MonkeyPatch) -> Callable[[], bool]:
    from coaching.people.services import consent

    other = factories.make_student()
    due = timezone.localdate() - timedelta(days=3)
    Student.objects.filter(pk__in=[student.pk, other.pk]).update(films_erased_on=due)
    real = consent.withdraw_media

    def withdraw(student: Student) -> None:
        if student.pk != other.pk:
            raise RuntimeError("odd")
        real(student)

    monkeypatch.setattr(consent, "withdraw_media", withdraw)
    return lambda: Student.objects.get(pk=other.pk).films_erased_on is None


def _odd_account_letter(student: Student, monkeypatch: pytest.MonkeyPatch) -> Callable[[], bool]:
    real = outbox.send_mail
    Letter.objects.create(subject="One", body="odd", to="one@example.org")
    Letter.objects.create(subject="Two", body="even", to="two@example.org")

    def send(subject: str, body: str, sender: Any, to: list[str]) -> int:
        if body == "odd":
            raise RuntimeError("odd")
        return int(real(subject, body, sender, to))

    monkeypatch.setattr(outbox, "send_mail", send)
    return lambda: [letter.subject for letter in Letter.objects.all()] == ["One"]


def _odd_closed(student: Student, monkeypatch: pytest.MonkeyPatch) -> Callable[[], bool]:
    from coaching.operations import retention

    other = factories.make_student()
    for person in (student, other):
        factories.make_submission(student=person)
    Student.objects.update(closed_at=timezone.now() - timedelta(days=2000))
    real = retention.consent.announce_end_of_films

    def announce(person: Student, *, on: Any) -> None:
        if person.pk == student.pk:
            raise RuntimeError("odd")
        real(person, on=on)

    monkeypatch.setattr(retention.consent, "announce_end_of_films", announce)
    return lambda: Student.objects.get(pk=other.pk).films_erased_on is not None


SWEEPS = {
    "coaching.operations.tasks.keep_no_longer": _odd_closed,
    "coaching.people.tasks.send_letters": _odd_account_letter,
    "analysis.tasks.sweep": _odd_run,
    "coaching.notify.tasks.send_notices": _odd_letter,
    "coaching.notify.tasks.send_pushes": _odd_notification,
    "coaching.intake.tasks.clear_uploads": _odd_upload,
    "analysis.tasks.sweep_files": _odd_file,
    "coaching.review.tasks.settle_forgotten_sounds": _odd_sound,
    "coaching.diagnosis.tasks.settle_forgotten_voices": _odd_voice,
    "coaching.people.tasks.erase_void_films": _odd_void,
}


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("task", [row["task"] for row in live.CELERY_BEAT_SCHEDULE.values()])
def test_one_failing_row_stops_no_sweep(
    task: str, student: Student, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A task on the clock that is not in `SWEEPS` fails here until it has its case."""
    from celery import current_app

    went_on = SWEEPS[task](student, monkeypatch)
    current_app.loader.import_default_modules()
    current_app.tasks[task]()
    assert went_on()


# Acts sent eight times at once


def doubled(coach: User, student: Student) -> dict[str, int]:
    """How many rows too many each act made when it came eight times at once."""
    draft = making.make_review(student=student)
    drill = making.make_drill(studio=student.studio)
    acts: dict[str, tuple[Any, Any]] = {
        "request": (
            lambda: asking.request_angles(student=student, by=coach, angles=[{"view": "face_on"}]),
            Request.objects,
        ),
        "message": (
            lambda: lessons.send_message(student=student, author=student.user, text="Hello"),
            Entry.objects.filter(kind="message"),
        ),
        "finding": (
            lambda: making.make_finding(review=draft),
            draft.findings,
        ),
        "drill": (
            lambda: assigning.assign_drill(
                review=draft, by=coach, drill=drill, override_reason="x"
            ),
            draft.assignments,
        ),
        "snippet": (
            lambda: habits.add_snippet(by=None, studio=student.studio, title="", text="Turn."),
            student.studio.snippets,
        ),
        "pain": (
            lambda: stopping.report_pain(student=student, by=student.user, region="hip"),
            PainReport.objects,
        ),
    }
    found = {}
    for name, (act, rows) in acts.items():
        before = rows.count()
        assert at_once(act) == []
        found[name] = rows.count() - before - 1
    return found


@pytest.mark.django_db(transaction=True)
def test_an_act_sent_eight_times_at_once_is_done_once(coach: User, student: Student) -> None:
    """The short form of the figure `doubled_acts`."""
    assert set(doubled(coach, student).values()) == {0}


@pytest.mark.django_db(transaction=True)
def test_an_upload_that_finishes_eight_times_at_once_is_one_clip(student: Student) -> None:
    upload = uploaded(student)
    again = at_once(
        lambda: uploads.finish_upload(upload=Upload.objects.get(pk=upload.pk), by=student.user)
    )
    assert again == []
    assert Submission.objects.count() == 1 and len(stored()) == 1
    assert not LooseFile.objects.exists()
    assert transaction.get_connection().vendor


def test_one_place_removes_files() -> None:
    """Anywhere else a file could go before its row does, or stay when the store is away."""
    removes = re.compile(r"storage\.delete\b|\.delete\(save=|os\.(remove|unlink)\(")
    code = (
        path for part in ("coaching", "analysis") for path in (live.BASE_DIR / part).rglob("*.py")
    )
    found = {
        str(path.relative_to(live.BASE_DIR)) for path in code if removes.search(path.read_text())
    }
    assert found == {"analysis/files.py", "analysis/audit.py"}  # the last looks for strays
