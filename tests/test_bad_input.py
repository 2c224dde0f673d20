"""Whatever comes in, the person reads one clear sentence with what to do next.

Each row also checks that nothing is lost or half-written, and that the server keeps
serving. Clips are made here, small; the people in them come from the demo's clips.
"""

from __future__ import annotations

import html
import io
import re
import sqlite3
import tempfile
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from django.conf import settings as live
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.utils import timezone
from kombu.exceptions import OperationalError

from analysis import services as analysis
from analysis.models import Run, Video
from coaching.intake import queries, upload_buffer
from coaching.intake.models import RequestedAngle, Submission, Upload
from coaching.people.models import Student, User
from tests import factories
from tests.analysis import film

CLIPS = live.BASE_DIR / "coaching" / "demo" / "clips"
Image = np.ndarray


@pytest.fixture
def angle(student: Student) -> RequestedAngle:
    return factories.make_angle(request=factories.make_request(student=student, angles=0))


@pytest.fixture
def client(student: Student, client_for: Callable[[User], Client]) -> Client:
    assert student.user is not None
    return client_for(student.user)


def send(client: Client, angle: RequestedAngle, file: Path | io.BytesIO, **fields: Any) -> Any:
    """The plain form: the way that every browser has."""
    with file.open("rb") if isinstance(file, Path) else file as opened:
        return client.post(f"/film/{angle.pk}/send/", {"clip": opened, "text": "", **fields})


def worked(submission: Submission, *, until: str = "check") -> Submission:
    """Let the worker do its runs, in order, up to `until`."""
    for kind in ("check", "copy", "measure"):
        for run in Run.objects.filter(video=submission.video_id, kind=kind, status="queued"):
            analysis.run(run.pk)
        if kind == until:
            break
    return queries.with_runs(Submission.objects.all()).get(pk=submission.pk)


def said(answer: Any) -> str:
    """What a page says, without its mark-up."""
    text = re.sub(r"<(head|script|template)\b.*?</\1>", " ", answer.content.decode(), flags=re.S)
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)))


def alive(client: Client, angle: RequestedAngle) -> None:
    """The server serves the next person as if nothing had happened."""
    assert client.get(f"/film/{angle.pk}/").status_code == 200
    assert client.get("/healthz").status_code == 200


def nothing_half_written() -> None:
    """No upload without its bytes, no submission without its film and its check, no stray."""
    for submission in Submission.objects.select_related("video"):
        original = submission.video.original
        assert original.storage.size(original.name) == submission.video.size_bytes
        assert submission.video.runs.filter(kind="check").count() == 1
        assert submission.student.thread.entries.filter(
            kind="sent", refs__submission=submission.pk
        ).count() == 1  # fmt: skip
    assert Video.objects.filter(submission__isnull=True).count() == 0
    known = {str(pk) for pk in Upload.objects.values_list("pk", flat=True)}
    assert upload_buffer.orphans(known) == []


@pytest.fixture(autouse=True)
def own_folders(settings: Any, tmp_path: Path) -> None:
    settings.UPLOAD_BUFFER = tmp_path / "buffer"
    settings.MEDIA_ROOT = tmp_path / "media"


# Files


def grey(seconds: float = 1.0, fps: float = 30.0, level: int = 120, size: Any = (160, 96)) -> Any:
    """A still scene with some texture, in which a few points in the middle change."""
    rng = np.random.default_rng(7)
    scene = rng.integers(0, 60, (*size, 3)) * (level / 120) + level * 0.75
    for k in range(max(1, round(seconds * fps))):
        scene[size[0] // 2 : size[0] // 2 + 6, size[1] // 2 : size[1] // 2 + 6] = 5 * (k % 40)
        yield k / fps, np.clip(scene, 0, 255).astype(np.uint8)


def uneven() -> Iterator[tuple[float, Image]]:
    """A phone's variable rate: 30 and 60 pictures a second, taking turns."""
    at = 0.0
    for k, (_, image) in enumerate(grey(2.0)):
        yield at, image
        at += 1 / 60 if k % 3 else 1 / 30


def truncated(path: Path) -> Path:
    whole = film.encode(path, grey(2.0)).read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    return path


def written(data: bytes) -> Callable[[Path], Path]:
    def make(path: Path) -> Path:
        path.write_bytes(data)
        return path

    return make


def picture(path: Path) -> Path:
    with av.open(str(path), "w", format="image2") as out:
        stream = out.add_stream("mjpeg", rate=1)
        stream.height, stream.width, stream.pix_fmt = 96, 160, "yuvj420p"
        image = np.full((96, 160, 3), 120, np.uint8)
        out.mux(stream.encode(av.VideoFrame.from_ndarray(image, format="rgb24")))
        out.mux(stream.encode(None))
    return path


def filmed(rows: Callable[[], Any], **options: Any) -> Callable[[Path], Path]:
    return lambda path: film.encode(path, rows(), **options)


def slowed(path: Path) -> Path:
    """As a phone exports it: captured at 240 a second, told only in the file's own tags."""
    plain = film.encode(path.with_name("plain.mp4"), grey())
    tags = {"movflags": "use_metadata_tags"}
    with av.open(str(plain)) as source, av.open(str(path), "w", options=tags) as out:
        out.metadata["com.android.capture.fps"] = "240"
        stream = out.add_stream_from_template(source.streams.video[0])
        for packet in source.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                out.mux(packet)
    return path


def demo(name: str) -> Callable[[Path], Path]:
    return lambda path: CLIPS / name


def mirrored(path: Path) -> Path:
    return film.changed(CLIPS / "baseline_dtl.mp4", path, lambda image: image[:, ::-1])


def two_people(path: Path) -> Path:
    return film.changed(
        CLIPS / "setup_heels_dtl.mp4", path, lambda image: np.concatenate([image, image], axis=1)
    )


def head_cut(path: Path) -> Path:
    """The upper third of the picture is gone, and the head with it."""
    return film.changed(
        CLIPS / "setup_heels_dtl.mp4", path, lambda image: image[2 * (image.shape[0] // 4) :]
    )


@dataclass(frozen=True)
class File:
    """A file that comes in, what the network would see, and what the person then reads."""

    name: str
    make: Callable[[Path], Path]
    codes: tuple[str, ...] = ()  # why it is refused; empty when it works
    warns: tuple[str, ...] = ()
    ending: str = ".mp4"
    asked: dict[str, Any] = field(default_factory=dict)
    people: int = 1
    real: bool = False  # needs the real pose network
    size: tuple[int, int] | None = None  # width and height of our copy


STILL = {"kind": "setup"}
FILES = [
    File("truncated", truncated, ("unreadable",)),
    File("text renamed .mp4", written(b"Dear coach, here is my swing.\n" * 40), ("unreadable",)),
    File("audio only", film.sound_only, ("unreadable",)),
    File("one frame", filmed(lambda: grey(0.03)), ("too_short",)),
    File("an image", picture, ("too_short", "unreadable"), ending=".jpg"),
    File("over 3 minutes", filmed(lambda: grey(185, fps=2, size=(32, 32))), ("too_long",)),
    File("too dark", filmed(lambda: grey(level=8)), ("too_dark",), people=0),
    File("nobody", filmed(grey), ("nobody",), people=0),
    File("10 fps", filmed(lambda: grey(3, fps=10)), ("low_rate",)),
    File("HEVC, 8 bit", filmed(grey, codec="libx265"), asked=STILL, size=(96, 160)),
    File("HEVC, 10 bit", filmed(grey, codec="libx265", pix_fmt="yuv420p10le"), asked=STILL),
    File("rotation tag", filmed(lambda: grey(size=(96, 160)), rotation=90), asked=STILL,
         ending=".mov", size=(96, 160)),
    File("variable rate", filmed(uneven), asked=STILL),
    File("4K", filmed(lambda: grey(0.2, size=(3840, 2160))), asked=STILL, size=(720, 1280)),
    File("WebM", filmed(grey, codec="libvpx-vp9"), asked=STILL, ending=".webm"),
    File("slow-motion export", slowed, warns=("slow_motion",), asked=STILL),
    File("two people", two_people, ("several_people",), asked=STILL, real=True),
    File("feet cut", demo("feet_cut.mp4"), ("body_cut",), asked=STILL, real=True),
    File("head cut", head_cut, ("body_cut", "nobody"), asked=STILL, real=True),
    File("wrong angle", demo("baseline_face_on.mp4"), ("wrong_view",), real=True),
    File("wrong angle, face on", demo("baseline_dtl.mp4"), ("wrong_view",),
         asked={"view": "face_on"}, real=True),
    File("mirrored", mirrored, ("wrong_hand",), real=True),
    File("rear is never the wrong angle", demo("baseline_face_on.mp4"),
         asked={"view": "rear"}, real=True),
    File("overhead neither", demo("baseline_dtl.mp4"), asked={"view": "overhead"}, real=True),
]  # fmt: skip


@pytest.mark.django_db
@pytest.mark.parametrize(
    "case", [pytest.param(c, marks=[pytest.mark.slow] if c.real else [], id=c.name) for c in FILES]
)
def test_a_file(
    case: File, student: Student, client: Client, tmp_path: Path, settings: Any, monkeypatch: Any
) -> None:
    if case.real:
        settings.ESTIMATOR = "analysis.estimators.MediaPipeEstimator"
    else:
        monkeypatch.setattr("tests.fakes.FakeEstimator.people", case.people)
    angle = factories.make_angle(
        request=factories.make_request(student=student, angles=0), **case.asked
    )
    path = case.make(tmp_path / f"My clip{case.ending}")
    answer = send(client, angle, path)
    assert answer.status_code == 302
    submission = worked(Submission.objects.get(), until="copy")
    page = client.get(answer["Location"])
    assert page.status_code == 200
    if case.codes:
        assert set(queries.codes(submission)) & set(case.codes), queries.codes(submission)
        told = queries.progress(submission).advice[0]
        assert str(told.seen) in said(page) and str(told.do) in said(page)
        assert "Film it again" in said(page)
        assert "refused" in submission.student.thread.entries.values_list("kind", flat=True)
        assert not submission.video.copy
    else:
        assert queries.codes(submission) == []
        asked = queries.doubts(submission)
        assert ("Is the clip right?" if asked else "Good to use") in said(page)
        assert set(case.warns) <= set(queries.warnings(submission))
        copy_is_whole(submission.video, path, case.size)
    assert submission.video.original.read() == path.read_bytes()
    nothing_half_written()
    alive(client, angle)


def copy_is_whole(video: Video, source: Path, size: tuple[int, int] | None) -> None:
    """Our copy plays in a browser and keeps every picture's own time."""
    with av.open(video.copy.path) as opened:
        stream = opened.streams.video[0]
        assert (stream.codec_context.name, stream.codec_context.pix_fmt) == ("h264", "yuv420p")
        times = np.array([frame.time for frame in opened.decode(stream)])
        if size:
            assert (stream.width, stream.height) == size
    with av.open(str(source)) as opened:
        asked = np.array([frame.time for frame in opened.decode(video=0)])
    assert len(times) == len(asked) == len(video.frame_times_s)
    np.testing.assert_allclose(times - times[0], video.frame_times_s, atol=2e-5)
    np.testing.assert_allclose(video.frame_times_s, asked - asked[0], atol=1e-3)


# Requests


def barred(client: Client, answer: Any, status: int, sentence: str) -> None:
    assert answer.status_code == status
    assert sentence in said(answer)


@pytest.mark.django_db
def test_an_empty_file(client: Client, angle: RequestedAngle) -> None:
    answer = send(client, angle, io.BytesIO(b""), clip=SimpleUploadedFile("a.mp4", b""))
    barred(client, answer, 400, "That file is empty. Choose the clip again, or film it once more.")
    assert not Submission.objects.exists()
    nothing_half_written()
    alive(client, angle)


@pytest.mark.django_db
def test_no_file_at_all(client: Client, angle: RequestedAngle) -> None:
    answer = client.post(f"/film/{angle.pk}/send/", {"text": "Here it is"})
    barred(client, answer, 400, "Film, or choose a clip, then send it.")


@pytest.mark.django_db
def test_over_the_size_limit(client: Client, angle: RequestedAngle, settings: Any) -> None:
    settings.UPLOAD_MAX_BYTES = 50_000
    answer = send(client, angle, io.BytesIO(b"x" * 120_000))
    barred(client, answer, 413, "Cut the clip to the swings and send that.")
    answer = send(client, angle, io.BytesIO(b"x" * 60_000))  # within what a form may add
    barred(client, answer, 413, "Cut the clip to the swings and send that.")
    assert not Submission.objects.exists()
    nothing_half_written()
    alive(client, angle)


@pytest.mark.django_db
def test_a_wrong_content_type_is_no_matter_what_counts_is_the_film(
    client: Client, angle: RequestedAngle, tmp_path: Path
) -> None:
    data = film.encode(tmp_path / "a.mp4", grey()).read_bytes()
    lie = SimpleUploadedFile("swing.pdf", data, content_type="application/pdf")
    answer = client.post(f"/film/{angle.pk}/send/", {"clip": lie})
    assert answer.status_code == 302
    submission = worked(Submission.objects.get())
    assert queries.codes(submission) == []
    assert client.get(f"/media/{submission.video_id}/original")["Content-Type"] == (
        "application/octet-stream"
    )
    patch = client.patch(
        f"/uploads/{uuid.uuid4()}", b"x", content_type="video/mp4",
        headers={"Tus-Resumable": "1.0.0", "Upload-Offset": "0"},
    )  # fmt: skip
    assert patch.status_code == 415


@pytest.mark.django_db
def test_a_body_that_is_no_form(client: Client, angle: RequestedAngle) -> None:
    for content_type in ("multipart/form-data; boundary=x", "text/plain", "application/json"):
        answer = client.generic("POST", f"/film/{angle.pk}/send/", b"nonsense", content_type)
        barred(client, answer, 400, "Film, or choose a clip, then send it.")
    alive(client, angle)


@pytest.mark.django_db
def test_a_form_sent_twice(client: Client, angle: RequestedAngle, tmp_path: Path) -> None:
    path, key = film.encode(tmp_path / "a.mp4", grey()), str(uuid.uuid4())
    answers = [send(client, angle, path, key=key) for _ in range(2)]
    assert answers[0]["Location"] == answers[1]["Location"]
    assert Submission.objects.count() == 1
    nothing_half_written()


@pytest.mark.django_db
def test_a_strangers_address_and_a_coach_of_another_studio(
    angle: RequestedAngle, stranger: User, client_for: Any, tmp_path: Path
) -> None:
    path = film.encode(tmp_path / "a.mp4", grey())
    for user in (stranger, factories.make_student(coach=stranger).user):
        theirs = client_for(user)
        assert send(theirs, angle, path).status_code == 404
        assert theirs.get(f"/film/{angle.pk}/").status_code == 404
    assert not Upload.objects.exists()
    nothing_half_written()


@pytest.mark.django_db
@pytest.mark.parametrize(
    "spent", [{"expires_at": timezone.now() - timedelta(days=1)}, {"used_at": timezone.now()}]
)
def test_an_expired_or_used_invitation(client: Client, spent: dict[str, Any]) -> None:
    invitation = factories.make_invitation(**spent)
    answer = Client().get(f"/join/{invitation.token}/", headers={"Accept": "text/html"})
    assert answer.status_code == 410
    assert ("sign in with" if "used_at" in spent else "Ask the person who sent it") in said(answer)


# Trouble on our side


class Full:
    """A file on a disk that takes so many bytes and no more."""

    def __init__(self, file: Any, room: int) -> None:
        self.file, self.room = file, room

    def write(self, data: bytes) -> int:
        if len(data) > self.room:
            raise OSError(28, "No space left on device")
        self.room -= len(data)
        return int(self.file.write(data))

    def __getattr__(self, name: str) -> Any:
        return getattr(self.file, name)


@pytest.mark.django_db
def test_disk_full_while_a_form_comes_in(
    client: Client, angle: RequestedAngle, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    real = tempfile.NamedTemporaryFile
    with monkeypatch.context() as patched:
        patched.setattr(
            upload_buffer.tempfile,
            "NamedTemporaryFile",
            lambda **kw: Full(real(**kw), room=100_000),
        )
        answer = send(client, angle, io.BytesIO(b"x" * 400_000))
    barred(client, answer, 507, "Keep it on your phone and try again later.")
    assert not Submission.objects.exists()
    assert not Upload.objects.exists()
    nothing_half_written()
    alive(client, angle)
    assert send(client, angle, io.BytesIO(b"x" * 400_000)).status_code == 302


@pytest.mark.django_db
def test_disk_full_when_the_clip_is_stored(
    client: Client, angle: RequestedAngle, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*args: Any, **kwargs: Any) -> str:
        raise OSError(28, "No space left on device")

    key = str(uuid.uuid4())
    with monkeypatch.context() as patched:
        default_storage.exists("anything")  # a storage is made at its first use
        patched.setattr(type(default_storage._wrapped), "_save", full)
        answer = send(client, angle, io.BytesIO(b"x" * 5000), key=key)
    barred(client, answer, 507, "try again later")
    assert not Submission.objects.exists()
    assert upload_buffer.path(uuid.UUID(key)).stat().st_size == 5000  # kept: sending again goes on
    nothing_half_written()
    assert send(client, angle, io.BytesIO(b"x" * 5000), key=key).status_code == 302


@pytest.mark.django_db(transaction=True)
def test_the_broker_is_gone(
    client: Client, angle: RequestedAngle, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[int] = []

    def gone(args: list[int], **kwargs: Any) -> None:
        raise OperationalError("connection refused")

    path = film.encode(tmp_path / "a.mp4", grey())
    with monkeypatch.context() as patched:
        patched.setattr("analysis.tasks.run_task.apply_async", gone)
        answer = send(client, angle, path)
    assert answer.status_code == 302
    assert "We are checking it" in said(client.get(answer["Location"]))
    nothing_half_written()
    monkeypatch.setattr("analysis.tasks.run_task.apply_async", lambda args, **kw: told.extend(args))
    Run.objects.update(queued_at=timezone.now() - timedelta(hours=1))
    assert analysis.sweep() == 1  # the broker is back
    assert told == [Run.objects.get().pk]


@pytest.mark.django_db(transaction=True)
def test_the_worker_is_killed(client: Client, angle: RequestedAngle, tmp_path: Path) -> None:
    """In the middle of the check; the next worker's answer is the only one."""
    answer = send(client, angle, film.encode(tmp_path / "a.mp4", grey()))
    run = Run.objects.get()
    long_ago = timezone.now() - timedelta(hours=1)
    Run.objects.update(status="running", claim=uuid.uuid4(), attempts=1, heartbeat_at=long_ago)
    assert "We are checking it" in said(client.get(answer["Location"]))
    analysis.sweep()
    worked(Submission.objects.get())
    run.refresh_from_db()
    assert (run.status, run.attempts) == ("done", 2)
    nothing_half_written()


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(
    not live.DATABASES["default"]["ENGINE"].endswith("sqlite3"), reason="SQLite locks as a whole"
)
def test_the_database_is_locked(client: Client, angle: RequestedAngle, tmp_path: Path) -> None:
    data = film.encode(tmp_path / "a.mp4", grey()).read_bytes()
    key = str(uuid.uuid4())
    connection.ensure_connection()
    connection.connection.execute("PRAGMA busy_timeout=50")
    holder = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None)
    try:
        holder.execute("BEGIN IMMEDIATE")
        for accept in ("text/html", "application/json"):
            answer = client.post(
                f"/film/{angle.pk}/send/",
                {"clip": SimpleUploadedFile("a.mp4", data), "key": key},
                headers={"Accept": accept},
            )
            assert (answer.status_code, answer["Retry-After"]) == (503, "5")
            assert "Nothing is lost: wait a little and try again." in said(answer)
        assert client.get(f"/film/{angle.pk}/").status_code == 200  # reading goes on
        holder.execute("ROLLBACK")
    finally:
        holder.close()
    again = client.post(
        f"/film/{angle.pk}/send/", {"clip": SimpleUploadedFile("a.mp4", data), "key": key}
    )
    assert again.status_code == 302
    assert Submission.objects.get().video.original.read() == data
    nothing_half_written()
