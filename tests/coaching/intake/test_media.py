"""Ranges by RFC 9110 §14 (https://www.rfc-editor.org/rfc/rfc9110#section-14), and who may look."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.utils import timezone

from analysis.models import Video
from coaching.intake.media import wanted_range
from coaching.people.models import Consent, Student, User
from tests import factories

FILM = bytes(range(256)) * 5 + b"the rest"  # 1288 bytes


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("bytes=0-499", (0, 500)),  # the first 500 bytes, §14.1.2
        ("bytes=500-999", (500, 1000)),
        ("bytes=-500", (9500, 10000)),  # the last 500
        ("bytes=9500-", (9500, 10000)),
        ("bytes=0-0", (0, 1)),
        ("bytes=-20000", (0, 10000)),  # longer than the whole: the whole
        ("bytes=9000-20000", (9000, 10000)),
        ("bytes=10000-", (0, 0)),  # unsatisfiable
        ("bytes=-0", (0, 0)),
        ("bytes=500-400", None),  # invalid: ignored, §14.1.1
        ("bytes=0-1,5-6", None),  # several: may be ignored, §14.2
        ("lines=0-1", None),
        ("bytes=-", None),
        ("bytes=a-b", None),
        ("", None),
    ],
)
def test_ranges(header: str, expected: tuple[int, int] | None) -> None:
    assert wanted_range(header, 10000) == expected


def test_nothing_of_an_empty_file() -> None:
    assert wanted_range("bytes=0-", 0) == wanted_range("bytes=-5", 0) == (0, 0)


@pytest.fixture
def video(student: Student) -> Video:
    video = factories.make_video(files=True)
    video.copy.save("clip.mp4", ContentFile(FILM))
    factories.make_submission(student=student, video=video)
    return video


def body(answer: Any) -> bytes:
    return b"".join(answer.streaming_content)


@pytest.fixture
def mine(student: Student, client_for: Callable[[User], Client]) -> Client:
    assert student.user is not None
    return client_for(student.user)


def test_the_whole(mine: Client, video: Video) -> None:
    answer = mine.get(f"/media/{video.pk}/copy")
    assert (answer.status_code, body(answer)) == (200, FILM)
    assert answer["Accept-Ranges"] == "bytes"
    assert answer["Content-Length"] == str(len(FILM))
    assert answer["Content-Type"] == "video/mp4"
    assert answer["Cache-Control"].startswith("private")
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Disposition"] == f'inline; filename="clip-{video.pk}-copy.mp4"'


def test_a_part(mine: Client, video: Video) -> None:
    answer = mine.get(f"/media/{video.pk}/copy", headers={"Range": "bytes=1280-"})
    assert (answer.status_code, body(answer)) == (206, b"the rest")
    assert answer["Content-Range"] == "bytes 1280-1287/1288"
    assert answer["Content-Length"] == "8"


def test_what_cannot_be_met(mine: Client, video: Video) -> None:
    answer = mine.get(f"/media/{video.pk}/copy", headers={"Range": "bytes=2000-"})
    assert (answer.status_code, answer["Content-Range"]) == (416, "bytes */1288")


def test_head_tells_and_sends_nothing(mine: Client, video: Video) -> None:
    answer = mine.head(f"/media/{video.pk}/copy", headers={"Range": "bytes=0-9"})
    assert (answer.status_code, answer["Content-Length"]) == (206, "10")
    assert b"".join(answer) == b""


def test_if_range_and_if_none_match(mine: Client, video: Video) -> None:
    """§13.1.5: a range only of the representation that the reader has, else the whole."""
    url = f"/media/{video.pk}/copy"
    tag = mine.get(url)["ETag"]
    part = {"Range": "bytes=0-9"}
    assert mine.get(url, headers={**part, "If-Range": tag}).status_code == 206
    assert mine.get(url, headers={**part, "If-Range": '"another"'}).status_code == 200
    assert mine.get(url, headers={"If-None-Match": tag}).status_code == 304


def test_an_original_is_never_opened_inside_our_pages(mine: Client, video: Video) -> None:
    """Somebody's bytes, perhaps not a film at all."""
    answer = mine.get(f"/media/{video.pk}/original")
    assert answer["Content-Disposition"] == f'attachment; filename="clip-{video.pk}-original.mov"'
    assert answer["Content-Type"] == "application/octet-stream"


@pytest.mark.parametrize("which", ["copy", "still", "original"])
def test_who_may_look(
    video: Video, which: str, student: Student, coach: User, stranger: User, client_for: Any
) -> None:
    url = f"/media/{video.pk}/{which}"
    guardian = factories.make_guardian(student=student)
    ended = factories.make_guardian(student=student)
    student.guardianships.filter(user=ended).update(ended_at=timezone.now())
    assistant = factories.make_coach(studio=student.studio, role="assistant")
    other = factories.make_student(coach=coach).user
    for user in (student.user, guardian, coach, assistant):
        assert client_for(user).get(url).status_code == 200
    for user in (stranger, other, ended):
        assert client_for(user).get(url).status_code == 404
    assert Client().get(url).status_code == 302  # to the login


def test_the_studio_looks_only_while_the_clips_are_shared(
    video: Video, student: Student, coach: User, mine: Client, client_for: Any
) -> None:
    Consent.objects.filter(purpose=Consent.Purpose.SHARE_COACH).update(withdrawn_at=timezone.now())
    assert client_for(coach).get(f"/media/{video.pk}/copy").status_code == 404
    assert mine.get(f"/media/{video.pk}/copy").status_code == 200


@pytest.mark.parametrize("path", ["copy/", "../etc", "secret", "copy%2F..%2F"])
def test_nothing_else_can_be_named(mine: Client, video: Video, path: str) -> None:
    assert mine.get(f"/media/{video.pk}/{path}").status_code == 404


def test_what_is_gone(mine: Client, video: Video) -> None:
    video.copy.storage.delete(video.copy.name)
    assert mine.get(f"/media/{video.pk}/copy").status_code == 404
    video.still.delete()
    assert mine.get(f"/media/{video.pk}/still").status_code == 404


def test_nginx_sends_it_where_that_is_set(mine: Client, video: Video, settings: Any) -> None:
    settings.MEDIA_ACCEL_PREFIX = "/protected/"
    answer = mine.get(f"/media/{video.pk}/copy")
    assert answer["X-Accel-Redirect"] == f"/protected/{video.copy.name}"
    assert answer.content == b""
    assert answer["Content-Type"] == "video/mp4"
