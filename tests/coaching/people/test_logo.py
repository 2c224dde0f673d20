"""The studio's picture: checked, drawn anew, shown to who belongs there, taken away."""

from __future__ import annotations

import struct
import zlib

import cv2
import numpy as np
import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from analysis import picture
from coaching.people.models import AuditEntry, Student, Studio, User
from coaching.people.services import logo
from tests import factories
from tests.coaching.practice.making import make_assignment, make_review

SEE_THROUGH = np.dstack([np.full((300, 900, 3), 90, np.uint8), np.zeros((300, 900), np.uint8)])


def coded(image: np.ndarray, ending: str = ".png") -> bytes:
    return bytes(cv2.imencode(ending, image)[1])


def uploaded(data: bytes) -> SimpleUploadedFile:
    return SimpleUploadedFile("x.svg", data, content_type="image/svg+xml")


def header_of(width: int, height: int) -> bytes:
    """A PNG that says it is large, and holds nothing."""
    head = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = struct.pack(">I", 13) + head + struct.pack(">I", zlib.crc32(head))
    return b"\x89PNG\r\n\x1a\n" + body


@pytest.mark.parametrize(
    ("data", "shape"),
    [
        (coded(SEE_THROUGH), (120, 360, 4)),
        (coded(SEE_THROUGH[..., :3], ".jpg"), (120, 360, 3)),
        (coded(np.full((40, 1920), 9, np.uint8)), (10, 480)),
        (coded(np.full((20, 30, 3), 40_000, np.uint16)), (20, 30, 3)),
    ],
)
def test_a_picture_is_drawn_anew_and_small(data: bytes, shape: tuple[int, ...]) -> None:
    drawn = picture.small_png(data)
    image = cv2.imdecode(np.frombuffer(drawn, np.uint8), cv2.IMREAD_UNCHANGED)
    assert (image.shape, image.dtype) == (shape, np.uint8)


def test_what_else_a_file_holds_is_not_kept() -> None:
    made = coded(SEE_THROUGH)
    words = b"tEXtplace\x00somewhere"
    chunk = struct.pack(">I", len(words) - 4) + words + struct.pack(">I", zlib.crc32(words))
    told = made[:33] + chunk + made[33:] + b"<script>"
    drawn = picture.small_png(told)
    assert b"somewhere" not in drawn and b"script" not in drawn


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"GIF89a" + b"\x00" * 40,
        header_of(60_000, 60_000),
        header_of(0, 10),
        header_of(10, 10),
        b"\xff\xd8\xff",
        b"\xff\xd8\xff\xe0\x00\x00" * 9,
        coded(SEE_THROUGH[..., :3], ".jpg")[:200],
    ],
)
def test_what_is_no_picture_is_refused(data: bytes) -> None:
    with pytest.raises(ValueError, match=r"picture|pixels|PNG|JPEG"):
        picture.small_png(data)


@pytest.fixture
def studio(coach: User) -> Studio:
    return coach.memberships.get().studio


def test_an_owner_keeps_and_removes_it(
    coach: User, student: Student, client_for, django_capture_on_commit_callbacks
) -> None:
    studio = student.studio
    client = client_for(coach)
    page = reverse("people:studio_logo", args=[studio.pk])
    assert (
        "studio-logo" not in client.get(reverse("people:studio", args=[studio.pk])).content.decode()
    )
    assert client.post(page, {"picture": uploaded(coded(SEE_THROUGH))}).status_code == 302
    studio.refresh_from_db()
    name = studio.logo.name
    assert name.startswith("logo/") and name.endswith(".png")
    assert AuditEntry.objects.latest("pk").facts["fields"] == ["logo"]
    hers = client_for(student.user)
    home = hers.get(reverse("student", args=[student.pk]), follow=True).content.decode()
    assert f'alt="{studio.name}"' in home and reverse("logo", args=[studio.pk]) in home
    got = hers.get(reverse("logo", args=[studio.pk]))
    assert got["Content-Type"] == "image/png" and b"".join(got).startswith(b"\x89PNG")
    with django_capture_on_commit_callbacks(execute=True):
        client.post(page, {"remove": "1"})
    studio.refresh_from_db()
    assert not studio.logo and not default_storage.exists(name)
    assert hers.get(reverse("logo", args=[studio.pk])).status_code == 404


def test_what_cannot_be_kept_says_why(coach: User, studio: Studio, client_for) -> None:
    client = client_for(coach)
    page = reverse("people:studio_logo", args=[studio.pk])
    nothing = client.post(page)
    assert nothing.status_code == 400 and "Choose a picture first." in nothing.content.decode()
    svg = client.post(page, {"picture": uploaded(b"<svg/>")})
    assert svg.status_code == 400 and "cannot be read" in svg.content.decode()
    large = client.post(page, {"picture": uploaded(b"x" * (logo.MAX_BYTES + 1))})
    assert large.status_code == 413 and "under 2 MB" in large.content.decode()
    studio.refresh_from_db()
    assert not studio.logo


def test_strangers_neither_see_nor_change_it(stranger: User, studio: Studio, client_for) -> None:
    other = client_for(stranger)
    assert other.get(reverse("logo", args=[studio.pk])).status_code == 404
    refused = other.post(reverse("people:studio_logo", args=[studio.pk]), {"remove": "1"})
    assert refused.status_code == 404


def test_it_stands_on_paper(studio: Studio, coach: User, client_for) -> None:
    student = factories.make_student(coach=coach)
    logo.keep_logo(studio=studio, by=coach, picture=uploaded(coded(SEE_THROUGH)))
    make_assignment(review=make_review(student=student))
    page = client_for(coach).get(reverse("lesson_sheet", args=[student.pk])).content.decode()
    assert page.count('class="studio-logo"') == 3  # the top, what was seen, the drill
