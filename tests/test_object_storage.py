"""The same flows where files lie in an object store (S3, by moto in this process)."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from typing import Any
from urllib.parse import parse_qs, urlparse

import boto3
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage, storages
from django.urls import reverse
from moto import mock_aws

from analysis import files
from analysis.files import local_path
from analysis.models import LooseFile, Video
from coaching import settings as product
from coaching.intake.services import uploads
from coaching.people.errors import LessonError
from coaching.people.models import Student
from coaching.people.services import record
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)
BUCKET = "lessons"


@pytest.fixture
def bucket(settings: Any, tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    for name in ("AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY"):
        monkeypatch.setenv(name, "testing")
    settings.UPLOAD_BUFFER, settings.SCRATCH_DIR = tmp_path / "buffer", tmp_path / "scratch"
    with mock_aws():
        client = boto3.client("s3", region_name="eu-west-1")
        client.create_bucket(
            Bucket=BUCKET, CreateBucketConfiguration={"LocationConstraint": "eu-west-1"}
        )
        settings.STORAGES = {
            **settings.STORAGES,
            "default": {
                "BACKEND": "storages.backends.s3.S3Storage",
                "OPTIONS": product.s3_options(BUCKET) | {"region_name": "eu-west-1"},
            },
        }
        yield client


def keys(client: Any) -> list[str]:
    return [row["Key"] for row in client.list_objects_v2(Bucket=BUCKET).get("Contents", [])]


def sent(student: Student) -> Any:
    angle = factories.make_angle(request=factories.make_request(student=student, angles=0))
    file = ContentFile(b"film" * 1000, name="a.mp4")
    return uploads.receive_file(by=student.user, student=student, angle=angle, file=file)


def test_a_film_lands_in_the_store_and_is_read_from_it(bucket: Any, student: Student) -> None:
    clip = sent(student)
    assert keys(bucket) == [clip.video.original.name] and not LooseFile.objects.exists()
    with local_path(clip.video.original) as path:
        assert path.read_bytes() == b"film" * 1000
    assert not path.exists()


def test_an_original_is_an_attachment_by_a_signed_address(
    bucket: Any, student: Student, client_for: Any
) -> None:
    clip = sent(student)
    answer = client_for(student.user).get(f"/media/{clip.video_id}/original")
    address = urlparse(answer.url)
    asked = parse_qs(address.query)
    assert answer.status_code == 302 and asked["X-Amz-Algorithm"] == ["AWS4-HMAC-SHA256"]
    assert asked["response-content-disposition"][0].startswith("attachment; filename=")
    assert int(asked["X-Amz-Expires"][0]) <= 3600
    assert asked["response-cache-control"] == ["private, max-age=3600"]
    # the redirect is forgotten well before its signature ends
    assert answer["Cache-Control"] == "private, max-age=300"
    default_storage.querystring_expire = 60  # type: ignore[attr-defined]
    answer = client_for(student.user).get(f"/media/{clip.video_id}/original")
    assert answer["Cache-Control"] == "private, max-age=30"


def test_a_big_film_goes_up_in_parts(
    bucket: Any, student: Student, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[str] = []
    storage: Any = storages["default"]
    storage.connection.meta.client.meta.events.register(
        "before-call.s3", lambda model, **told: calls.append(model.name)
    )
    name = files.write(Video().original, "big.mp4", ContentFile(b"x" * 20 * 1024**2))
    assert storage.size(name) == 20 * 1024**2
    assert calls.count("UploadPart") >= 2 and "CompleteMultipartUpload" in calls


def test_orphans_and_loose_files_of_the_store_are_swept(bucket: Any, student: Student) -> None:
    from datetime import timedelta

    from django.utils import timezone

    clip = sent(student)
    stray = default_storage.save("copy/2026/01/stray.mp4", ContentFile(b"x"))
    later = timezone.now() + timedelta(days=2)
    assert list(files.orphans(before=later)) == [stray]
    loose = files.write(Video().original, "loose.mp4", ContentFile(b"x"))
    LooseFile.objects.update(due_at=timezone.now())
    files.sweep()
    assert sorted(keys(bucket)) == sorted([stray, clip.video.original.name])
    assert loose not in keys(bucket)


def test_erasing_empties_the_store(bucket: Any, student: Student) -> None:
    sent(student)
    record.erase_record(student=student, by=student.user)
    assert keys(bucket) == []


def test_an_export_is_checked_before_its_first_byte(
    bucket: Any, student: Student, client_for: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from botocore.exceptions import EndpointConnectionError

    clip = sent(student)
    whole = b"".join(record.export_record(student, by=student.user))
    assert clip.video.original.name in zipfile.ZipFile(io.BytesIO(whole)).namelist()[0]

    def away(*args: Any, **kwargs: Any) -> None:
        raise EndpointConnectionError(endpoint_url="http://storage")

    monkeypatch.setattr(type(storages["default"]), "exists", away)
    with pytest.raises(LessonError, match="does not answer"):
        record.export_record(student, by=student.user)
    page = reverse("people:export", args=[student.pk])
    assert client_for(student.user).get(page).status_code == 503
