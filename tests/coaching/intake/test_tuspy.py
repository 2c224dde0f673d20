"""The upload server driven by an independent client, tuspy, over a real socket."""

from __future__ import annotations

import os
import socket
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from tusclient import client as tus
from tusclient.exceptions import TusCommunicationError, TusUploadFailed

from coaching.intake.models import RequestedAngle, Submission, Upload
from coaching.people.models import ApiToken, Student
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def film(tmp_path: Path) -> Path:
    path = tmp_path / "swing.mov"
    path.write_bytes(os.urandom(700_000))
    return path


@pytest.fixture
def angle(student: Student) -> RequestedAngle:
    return factories.make_angle(request=factories.make_request(student=student, angles=0))


@pytest.fixture
def headers(student: Student) -> dict[str, str]:
    return {"Authorization": f"Token {ApiToken.issue(student.user, name='test')[1]}"}


@pytest.fixture
def client(live_server: Any, headers: dict[str, str]) -> tus.TusClient:
    return tus.TusClient(f"{live_server.url}/uploads/", headers=headers)


def test_in_pieces_with_checksums(client: tus.TusClient, angle: Any, film: Path) -> None:
    client.uploader(
        str(film),
        chunk_size=200_000,
        metadata={"angle": str(angle.pk), "filename": film.name},
        upload_checksum=True,
    ).upload()
    assert Submission.objects.get().video.original.read() == film.read_bytes()


def test_stopped_and_gone_on_with(client: tus.TusClient, angle: Any, film: Path) -> None:
    metadata = {"angle": str(angle.pk)}
    first = client.uploader(str(film), chunk_size=100_000, metadata=metadata)
    first.upload(stop_at=300_000)
    second = client.uploader(str(film), chunk_size=100_000, url=first.url)
    assert second.offset == 300_000
    second.upload()
    assert Submission.objects.get().video.original.read() == film.read_bytes()


def test_refusals_reach_the_client(client: tus.TusClient, angle: Any, film: Path) -> None:
    with pytest.raises(TusCommunicationError) as refusal:
        client.uploader(str(film), metadata={"angle": "0"}).upload()
    assert refusal.value.status_code == 404


def raw_patch(
    url: str, film: Path, headers: dict[str, str], live_server: Any
) -> tuple[tuple[str, int], bytes]:
    """Where to connect, and the head of a request that promises the whole film."""
    address = (live_server.thread.host, live_server.thread.port)
    lines = {
        "Host": "{}:{}".format(*address),
        "Tus-Resumable": "1.0.0",
        "Upload-Offset": "0",
        "Content-Type": "application/offset+octet-stream",
        "Content-Length": str(film.stat().st_size),
        **headers,
    }
    first = f"PATCH {url.removeprefix(live_server.url)} HTTP/1.1\r\n"
    return address, (first + "".join(f"{k}: {v}\r\n" for k, v in lines.items()) + "\r\n").encode()


def test_a_cut_connection_keeps_what_arrived(
    client: tus.TusClient, angle: Any, film: Path, headers: dict[str, str], live_server: Any
) -> None:
    """A raw socket that promises more than it sends, then is reset."""
    uploader = client.uploader(str(film), metadata={"angle": str(angle.pk)})
    url = uploader.create_url()
    address, head = raw_patch(url, film, headers, live_server)
    with socket.create_connection(address) as cut:
        cut.sendall(head + film.read_bytes()[:300_000])
        cut.shutdown(socket.SHUT_WR)
        cut.recv(1)
    resumed = client.uploader(str(film), url=url)
    assert 0 < resumed.offset <= 300_000
    resumed.upload()
    assert Submission.objects.get().video.original.read() == film.read_bytes()


def test_a_hanging_connection_blocks_nobody(
    client: tus.TusClient, angle: Any, film: Path, headers: dict[str, str], live_server: Any
) -> None:
    """The old connection neither sends nor closes; the newer one goes on at once."""
    url = client.uploader(str(film), metadata={"angle": str(angle.pk)}).create_url()
    address, head = raw_patch(url, film, headers, live_server)
    with socket.create_connection(address) as hanging:
        hanging.sendall(head + film.read_bytes()[:100_000])
        for _ in range(100):
            if client.uploader(str(film), url=url).offset > 0:
                break
            time.sleep(0.05)
        resumed = client.uploader(str(film), url=url)
        assert resumed.offset > 0
        resumed.upload()
    assert Submission.objects.get().video.original.read() == film.read_bytes()


def test_two_finish_at_once_and_there_is_one_clip(
    client: tus.TusClient, angle: Any, film: Path
) -> None:
    key = "6f0c1f5e-35b8-4c44-9d7c-5f1f5b7d9a01"
    trouble: list[Exception] = []

    def send() -> None:
        try:
            client.uploader(
                str(film), chunk_size=50_000, retries=20, retry_delay=0,
                metadata={"angle": str(angle.pk), "key": key},
            ).upload()  # fmt: skip
        except (TusCommunicationError, TusUploadFailed) as error:
            trouble.append(error)

    both = [threading.Thread(target=send) for _ in range(2)]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join(60)
    assert len(trouble) < 2, trouble  # the one that was overtaken may give up
    assert Upload.objects.count() == Submission.objects.count() == 1
    assert Submission.objects.get().video.original.read() == film.read_bytes()
