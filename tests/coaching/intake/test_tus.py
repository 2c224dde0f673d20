"""The upload server against the open tus 1.0.0 protocol (protocol.md of
tus/tus-resumable-upload-protocol, snapshot 30698e1: https://tus.io/protocols/resumable-upload).

The names of the sections stand beside the checks.
"""

from __future__ import annotations

import base64
import errno
import hashlib
import io
import uuid
from collections.abc import Callable
from datetime import timedelta
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as live_settings
from django.test import Client
from django.utils import timezone

from coaching.intake import upload_buffer
from coaching.intake.models import RequestedAngle, Submission, Upload
from coaching.intake.services import refusals, uploads
from coaching.people.models import ApiToken, Student, User
from tests import factories

pytestmark = pytest.mark.django_db
BYTES = "application/offset+octet-stream"


class Tus:
    """A client that speaks as the protocol says, and no more."""

    def __init__(self, client: Client, **headers: str) -> None:
        self.client = client
        self.headers = {"Tus-Resumable": "1.0.0", **headers}

    def call(self, method: str, url: str, data: bytes = b"", **headers: Any) -> Any:
        content_type = headers.pop("Content_Type", "application/octet-stream")
        # The test client leaves the type of an empty body away.
        headers["Content_Type"] = content_type
        named = {name.replace("_", "-"): str(value) for name, value in headers.items()}
        kept = {k: v for k, v in {**self.headers, **named}.items() if v != "None"}
        return self.client.generic(method, url, data, content_type=content_type, headers=kept)

    def create(
        self, length: int | None, metadata: dict[str, str] | None = None, **more: Any
    ) -> Any:
        if length is not None:
            more["Upload_Length"] = length
        return self.call("POST", "/uploads/", Upload_Metadata=encoded(metadata or {}), **more)

    def patch(self, url: str, offset: int, data: bytes, **more: Any) -> Any:
        more = {"Content_Type": BYTES, "Upload_Offset": offset} | more
        return self.call("PATCH", url, data, **more)

    def offset(self, url: str) -> int:
        return int(self.call("HEAD", url)["Upload-Offset"])


def encoded(metadata: dict[str, str]) -> str:
    pairs = metadata.items()
    return ",".join(f"{k} {base64.b64encode(v.encode()).decode()}" for k, v in pairs)


@pytest.fixture
def angle(student: Student) -> RequestedAngle:
    return factories.make_angle(request=factories.make_request(student=student, angles=0))


@pytest.fixture
def tus(student: Student, client_for: Callable[[User], Client]) -> Tus:
    assert student.user is not None
    return Tus(client_for(student.user))


@pytest.fixture
def upload(tus: Tus, angle: RequestedAngle) -> str:
    """The address of an upload of 100 bytes."""
    answer = tus.create(100, {"angle": str(angle.pk), "filename": "swing.mov"})
    assert answer.status_code == 201
    return str(answer["Location"])


def buffered(url: str) -> Path:
    return upload_buffer.path(uuid.UUID(url.rsplit("/", 1)[1]))


# Core protocol


def test_the_example_of_the_specification(tus: Tus, upload: str) -> None:
    """Core Protocol, Example: length 100, offset 70, 30 bytes more."""
    tus.patch(upload, 0, b"x" * 70)
    told = tus.call("HEAD", upload)
    assert (told.status_code, told["Upload-Offset"], told["Upload-Length"]) == (200, "70", "100")
    assert told["Cache-Control"] == "no-store"
    went = tus.patch(upload, 70, b"y" * 30)
    assert (went.status_code, went["Upload-Offset"]) == (204, "100")


def test_every_answer_names_the_version(tus: Tus, upload: str) -> None:
    for answer in (tus.call("HEAD", upload), tus.patch(upload, 5, b"x"), tus.create(None)):
        assert answer["Tus-Resumable"] == "1.0.0"


@pytest.mark.parametrize("version", ["0.2.2", "2.0.0", "None"])
def test_another_version_is_not_processed(tus: Tus, upload: str, version: str) -> None:
    """Tus-Resumable: 412 with Tus-Version, and nothing done."""
    answer = tus.patch(upload, 0, b"x" * 10, Tus_Resumable=version)
    assert (answer.status_code, answer["Tus-Version"]) == (412, "1.0.0")
    assert tus.offset(upload) == 0


def test_options_tell_what_the_server_can(client: Client, db: None) -> None:
    """OPTIONS needs neither a version nor a login."""
    answer = client.options("/uploads/")
    assert answer.status_code == 204
    assert answer["Tus-Version"] == "1.0.0"
    assert answer["Tus-Max-Size"] == str(live_settings.UPLOAD_MAX_BYTES)
    assert {"creation", "expiration", "termination", "checksum"} <= set(
        answer["Tus-Extension"].split(",")
    )
    assert "sha1" in answer["Tus-Checksum-Algorithm"].split(",")


def test_a_wrong_offset_changes_nothing(tus: Tus, upload: str) -> None:
    tus.patch(upload, 0, b"x" * 10)
    for offset in (0, 9, 11, 100):
        assert tus.patch(upload, offset, b"z" * 5).status_code == 409
    assert buffered(upload).read_bytes() == b"x" * 10


@pytest.mark.parametrize("offset", ["-1", "ten", "1.5", "None", "²"])
def test_an_offset_that_is_no_whole_number(tus: Tus, upload: str, offset: str) -> None:
    assert tus.patch(upload, 0, b"x", Upload_Offset=offset).status_code == 400


def test_another_content_type_is_refused(tus: Tus, upload: str) -> None:
    assert tus.patch(upload, 0, b"x" * 10, Content_Type="video/mp4").status_code == 415
    assert tus.offset(upload) == 0


def test_what_is_not_there(tus: Tus) -> None:
    answer = tus.call("HEAD", f"/uploads/{uuid.uuid4()}")
    assert answer.status_code == 404
    assert "Upload-Offset" not in answer


def test_more_than_was_announced_is_refused(tus: Tus, upload: str) -> None:
    tus.patch(upload, 0, b"x" * 90)
    assert tus.patch(upload, 90, b"y" * 11).status_code == 413
    assert tus.offset(upload) == 90
    assert tus.patch(upload, 90, b"y" * 10).status_code == 204


def test_a_finished_upload_stays_as_it_is(tus: Tus, upload: str) -> None:
    tus.patch(upload, 0, b"x" * 100)
    assert tus.offset(upload) == 100
    assert tus.patch(upload, 100, b"").status_code == 204
    assert tus.patch(upload, 0, b"y" * 100).status_code == 409
    assert Submission.objects.count() == 1


class Broken(io.RawIOBase):
    """A connection that gives `data` and is then reset."""

    def __init__(self, data: bytes) -> None:
        self.data = io.BytesIO(data)

    def read(self, size: int = -1, /) -> bytes:
        piece = self.data.read(size)
        if not piece:
            raise ConnectionResetError
        return piece


def test_a_connection_cut_in_mid_patch_keeps_what_arrived(upload: str) -> None:
    pk = uuid.UUID(upload.rsplit("/", 1)[1])
    hold, _ = upload_buffer.acquire(pk)
    assert upload_buffer.receive(pk, Broken(b"x" * 40), lock=hold, room=100) == 40
    assert upload_buffer.offset(pk) == 40


def test_the_newer_of_two_writers_takes_over(tus: Tus, upload: str) -> None:
    pk = uuid.UUID(upload.rsplit("/", 1)[1])

    class Slow(io.BytesIO):
        """An old connection on which bytes arrive after a newer one has begun."""

        def read(self, size: int | None = -1, /) -> bytes:
            assert tus.patch(upload, 0, b"new" * 10).status_code == 204
            return b"old"

    hold, _ = upload_buffer.acquire(pk)
    with pytest.raises(upload_buffer.LockLost):
        upload_buffer.receive(pk, Slow(), lock=hold, room=100)
    assert buffered(upload).read_bytes() == b"new" * 10


def test_an_older_writer_that_wakes_up_after_the_end_stops(
    tus: Tus, upload: str, django_capture_on_commit_callbacks: Any
) -> None:
    pk = uuid.UUID(upload.rsplit("/", 1)[1])
    hold, _ = upload_buffer.acquire(pk)
    with django_capture_on_commit_callbacks(execute=True):
        tus.patch(upload, 0, b"x" * 100)
    assert not buffered(upload).exists()
    with pytest.raises(upload_buffer.LockLost):
        upload_buffer.receive(pk, io.BytesIO(b"late"), lock=hold, room=100)
    assert not buffered(upload).exists()


def test_asking_with_head_stops_an_older_writer(tus: Tus, upload: str) -> None:
    """The offset that HEAD tells is final: nothing trickles in after it."""
    pk = uuid.UUID(upload.rsplit("/", 1)[1])
    hold, _ = upload_buffer.acquire(pk)
    upload_buffer.append(pk, b"x" * 10, lock=hold)
    assert tus.offset(upload) == 10
    with pytest.raises(upload_buffer.LockLost):
        upload_buffer.append(pk, b"y", lock=hold)


def test_a_wrong_offset_takes_nothing_over(tus: Tus, upload: str) -> None:
    pk = uuid.UUID(upload.rsplit("/", 1)[1])
    hold, _ = upload_buffer.acquire(pk)
    assert tus.patch(upload, 50, b"x").status_code == 409
    upload_buffer.append(pk, b"y", lock=hold)
    assert upload_buffer.offset(pk) == 1


def test_post_may_stand_for_patch(tus: Tus, upload: str) -> None:
    """X-HTTP-Method-Override."""
    answer = tus.call(
        "POST", upload, b"x" * 10, Content_Type=BYTES, Upload_Offset=0,
        X_HTTP_Method_Override="PATCH",
    )  # fmt: skip
    assert (answer.status_code, answer["Upload-Offset"]) == (204, "10")


# Creation


def test_creation_answers_where_the_upload_is(tus: Tus, angle: RequestedAngle) -> None:
    answer = tus.create(100, {"angle": str(angle.pk)})
    assert answer.status_code == 201
    assert tus.call("HEAD", answer["Location"]).status_code == 200


def test_too_big_is_refused_before_the_first_byte(
    tus: Tus, angle: RequestedAngle, settings: Any
) -> None:
    settings.UPLOAD_MAX_BYTES = 1000
    answer = tus.create(1001, {"angle": str(angle.pk)})
    assert answer.status_code == 413
    assert "Cut the clip" in answer.json()["detail"]
    assert not Upload.objects.exists()


def test_too_long_is_refused_where_the_browser_knows(tus: Tus, angle: RequestedAngle) -> None:
    assert tus.create(100, {"angle": str(angle.pk), "duration": "180.0"}).status_code == 201
    answer = tus.create(100, {"angle": str(angle.pk), "duration": "180.5"})
    assert (answer.status_code, answer.json()["code"]) == (413, "too_long")
    assert tus.create(100, {"angle": str(angle.pk), "duration": "a while"}).status_code == 201


@pytest.mark.parametrize("length", ["-5", "many", "None"])
def test_a_length_that_is_no_whole_number(tus: Tus, angle: RequestedAngle, length: str) -> None:
    answer = tus.create(None, {"angle": str(angle.pk)}, Upload_Length=length)
    assert answer.status_code == 400


def test_an_empty_file_is_refused(tus: Tus, angle: RequestedAngle) -> None:
    answer = tus.create(0, {"angle": str(angle.pk)})
    assert (answer.status_code, answer.json()["code"]) == (400, "empty")


def test_metadata_comes_back(tus: Tus, upload: str, angle: RequestedAngle) -> None:
    told = tus.call("HEAD", upload)["Upload-Metadata"]
    assert told == encoded({"angle": str(angle.pk), "filename": "swing.mov"})


@pytest.mark.parametrize("header", ["angle ???", "filename /w==", "key bm90IGEgdXVpZA=="])
def test_metadata_that_is_no_base64_text(tus: Tus, header: str) -> None:
    answer = tus.call("POST", "/uploads/", Upload_Length=10, Upload_Metadata=header)
    assert answer.status_code == 400


def test_the_same_key_gives_the_same_upload(
    tus: Tus, angle: RequestedAngle, stranger: User, client_for: Any
) -> None:
    metadata = {"angle": str(angle.pk), "key": str(uuid.uuid4())}
    first, again = tus.create(100, metadata), tus.create(100, metadata)
    assert first["Location"] == again["Location"]
    theirs = factories.make_student(coach=stranger)
    other = factories.make_angle(request=factories.make_request(student=theirs, angles=0))
    taken = Tus(client_for(theirs.user)).create(100, {**metadata, "angle": str(other.pk)})
    assert taken.status_code == 400


def test_creation_with_upload(tus: Tus, angle: RequestedAngle) -> None:
    answer = tus.call(
        "POST", "/uploads/", b"x" * 100, Content_Type=BYTES, Upload_Length=100,
        Upload_Metadata=encoded({"angle": str(angle.pk)}),
    )  # fmt: skip
    assert (answer.status_code, answer["Upload-Offset"]) == (201, "100")
    assert Submission.objects.get().angle == angle


def test_only_so_many_broken_uploads(tus: Tus, angle: RequestedAngle) -> None:
    answers = [tus.create(10, {"angle": str(angle.pk)}) for _ in range(11)]
    assert [a.status_code for a in answers] == [201] * 10 + [429]


# Creation with deferred length: for a voice being spoken, nothing else


def test_a_voice_may_be_sent_while_it_is_spoken(coach: User, client_for: Any) -> None:
    tus = Tus(client_for(coach))
    opened = tus.create(None, {"purpose": "voice"}, Upload_Defer_Length=1)
    url = opened["Location"]
    tus.patch(url, 0, b"one")
    told = tus.call("HEAD", url)
    assert (told["Upload-Offset"], told["Upload-Defer-Length"]) == ("3", "1")
    assert "Upload-Length" not in told
    upload = Upload.objects.get()
    assert upload_buffer.path(upload.pk).read_bytes() == b"one"
    tus.patch(url, 3, b"two", Upload_Length=6)
    upload.refresh_from_db()
    assert (upload.length, upload.finished_at is not None) == (6, True)
    with uploads.take_upload(upload=upload, by=coach) as file:
        assert file.read() == b"onetwo"


def test_a_clip_may_not_defer_its_length(tus: Tus, angle: RequestedAngle) -> None:
    answer = tus.create(None, {"angle": str(angle.pk)}, Upload_Defer_Length=1)
    assert answer.status_code == 400


def test_a_voice_has_its_own_limit(coach: User, client_for: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr(refusals, "VOICE_MAX_BYTES", 10)
    tus = Tus(client_for(coach))
    assert tus.create(11, {"purpose": "voice"}).status_code == 413
    url = tus.create(None, {"purpose": "voice"}, Upload_Defer_Length=1)["Location"]
    assert tus.patch(url, 0, b"x" * 11).status_code == 413
    assert tus.patch(url, 0, b"x", Upload_Length=11).status_code == 413


# Expiration


def test_an_unfinished_upload_expires(tus: Tus, upload: str) -> None:
    until = parsedate_to_datetime(tus.patch(upload, 0, b"x")["Upload-Expires"])
    left = until - timezone.now()
    hours = live_settings.UPLOAD_EXPIRES_HOURS
    assert timedelta(hours=hours - 1) < left <= timedelta(hours=hours)
    Upload.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    for answer in (tus.call("HEAD", upload), tus.patch(upload, 1, b"x")):
        assert answer.status_code == 410
        assert "Upload-Offset" not in answer
    assert uploads.clear_uploads() == 1
    assert not buffered(upload).exists()
    assert tus.call("HEAD", upload).status_code == 404


# Checksum


def checksum(data: bytes, name: str = "sha1") -> str:
    return f"{name} {base64.b64encode(hashlib.new(name, data).digest()).decode()}"


def test_bytes_with_their_checksum_are_kept(tus: Tus, upload: str) -> None:
    """Checksum, Example: the SHA1 of `hello world`."""
    header = "sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0="
    assert checksum(b"hello world") == header
    assert tus.patch(upload, 0, b"hello world", Upload_Checksum=header).status_code == 204


def test_damaged_bytes_are_dropped(tus: Tus, upload: str) -> None:
    tus.patch(upload, 0, b"good")
    answer = tus.patch(upload, 4, b"hello w0rld", Upload_Checksum=checksum(b"hello world"))
    assert answer.status_code == 460
    assert buffered(upload).read_bytes() == b"good"


@pytest.mark.parametrize("header", ["crc32 AAAA", "sha1 ???"])
def test_a_checksum_that_cannot_be_read(tus: Tus, upload: str, header: str) -> None:
    assert tus.patch(upload, 0, b"x", Upload_Checksum=header).status_code == 400
    assert tus.offset(upload) == 0


# Termination


def test_an_upload_can_be_given_up(tus: Tus, upload: str) -> None:
    tus.patch(upload, 0, b"x" * 10)
    assert tus.call("DELETE", upload).status_code == 204
    assert not buffered(upload).exists()
    assert tus.call("HEAD", upload).status_code == 404


def test_a_clip_that_has_arrived_is_not_given_up(tus: Tus, upload: str) -> None:
    tus.patch(upload, 0, b"x" * 100)
    assert tus.call("DELETE", upload).status_code == 409
    assert Submission.objects.exists()


# Whose it is


def test_a_strangers_upload_is_not_there(upload: str, stranger: User, client_for: Any) -> None:
    theirs = Tus(client_for(stranger))
    assert theirs.call("HEAD", upload).status_code == 404
    assert theirs.patch(upload, 0, b"x").status_code == 404
    assert theirs.call("DELETE", upload).status_code == 404
    assert theirs.call("POST", f"{upload}/finish").status_code == 404
    assert buffered(upload).read_bytes() == b""


def test_nobody_uploads_for_somebody_elses_angle(
    angle: RequestedAngle, stranger: User, coach: User, client_for: Any
) -> None:
    for other in (stranger, coach):
        assert Tus(client_for(other)).create(9, {"angle": str(angle.pk)}).status_code == 404
    mine = Tus(client_for(angle.request.student.user))
    for wrong in ("999999", "x", "-1", "9" * 30):
        assert mine.create(9, {"angle": wrong}).status_code == 404


def test_nobody_uploads_signed_out(angle: RequestedAngle, upload: str) -> None:
    out = Tus(Client())
    assert out.create(9, {"angle": str(angle.pk)}).status_code == 401
    assert out.patch(upload, 0, b"x").status_code == 401


def test_a_session_needs_the_csrf_header(student: Student, angle: RequestedAngle) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(student.user)  # type: ignore[arg-type]
    tus = Tus(client)
    assert tus.create(9, {"angle": str(angle.pk)}).status_code == 403
    client.get(f"/film/{angle.pk}/")  # the page brings the cookie
    tus.headers["X-CSRFToken"] = client.cookies["csrftoken"].value
    assert tus.create(9, {"angle": str(angle.pk)}).status_code == 201


def test_a_token_needs_none(student: Student, angle: RequestedAngle) -> None:
    _row, key = ApiToken.issue(student.user, name="test")
    tus = Tus(Client(enforce_csrf_checks=True), Authorization=f"Token {key}")
    url = tus.create(9, {"angle": str(angle.pk)})["Location"]
    assert tus.patch(url, 0, b"x" * 9).status_code == 204


# Trouble on our side


def full(*args: Any) -> int:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_disk_that_fills_up_keeps_what_is_whole(
    tus: Tus, upload: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    tus.patch(upload, 0, b"x" * 10)
    with monkeypatch.context() as patched:
        patched.setattr(upload_buffer.os, "write", full)
        answer = tus.patch(upload, 10, b"y" * 10)
    assert answer.status_code == 507
    assert "try again later" in answer.json()["detail"]
    assert buffered(upload).read_bytes() == b"x" * 10
    assert tus.patch(upload, 10, b"y" * 90).status_code == 204


def test_no_upload_is_let_in_that_would_not_fit(
    tus: Tus, angle: RequestedAngle, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        upload_buffer.shutil,
        "disk_usage",
        lambda path: type("Usage", (), {"free": upload_buffer.RESERVE + 5}),
    )
    assert tus.create(6, {"angle": str(angle.pk)}).status_code == 507
    assert tus.create(5, {"angle": str(angle.pk)}).status_code == 201
    assert Upload.objects.count() == 1


def test_storage_that_is_full_at_the_end_loses_nothing(
    tus: Tus,
    upload: str,
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Any,
) -> None:
    with monkeypatch.context() as patched:
        patched.setattr(
            uploads,
            "_store_original",
            lambda upload: (_ for _ in ()).throw(upload_buffer.NoRoom()),
        )
        assert tus.patch(upload, 0, b"x" * 100).status_code == 507
    assert buffered(upload).read_bytes() == b"x" * 100
    assert not Submission.objects.exists()
    with django_capture_on_commit_callbacks(execute=True):
        assert tus.call("HEAD", upload).status_code == 200  # asking again finishes it
    assert Submission.objects.count() == 1
    assert not buffered(upload).exists()


# Finishing


def test_finish_tells_where_the_page_is(tus: Tus, upload: str) -> None:
    early = tus.client.post(f"{upload}/finish", headers={"Accept": "application/json"})
    assert (early.status_code, early.json()["code"]) == (409, "unfinished")
    tus.patch(upload, 0, b"x" * 100)
    for _ in range(2):
        told = tus.client.post(f"{upload}/finish").json()
        assert told == {
            "submission": Submission.objects.get().pk,
            "page": f"/clips/{Submission.objects.get().pk}/",
        }
