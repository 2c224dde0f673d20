"""Nobody fills the disk or the memory with one request: too much is refused unread."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as live
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client, RequestFactory
from django.urls import get_resolver, reverse

from coaching import bodies
from coaching.people.models import Student, User
from tests import factories, shot
from tests.coaching.practice import making

pytestmark = pytest.mark.django_db
MORE = live.DATA_UPLOAD_MAX_MEMORY_SIZE + bodies.FORM_ROOM + 1


class Film:
    """A body that notes how much of it was read."""

    def __init__(self, size: int) -> None:
        self.left, self.read_bytes = size, 0

    def close(self) -> None:
        pass

    def readline(self, size: int = -1) -> bytes:
        return self.read(size)

    def read(self, size: int = -1) -> bytes:
        piece = b"x" * (self.left if size < 0 else min(size, self.left))
        self.left -= len(piece)
        self.read_bytes += len(piece)
        return piece


def send(client: Client, path: str, size: int, kind: str) -> tuple[Any, Film]:
    film = Film(size)
    answer = client.generic(
        "POST", path, b"", content_type=kind, headers={"Accept": "text/html"},
        CONTENT_LENGTH=str(size), **{"wsgi.input": film},
    )  # fmt: skip
    return answer, film


@pytest.mark.parametrize("path", ["/login/", "/password/reset/", "/api/login/", "/join/x/"])
@pytest.mark.parametrize(
    "kind", ["multipart/form-data; boundary=x", "application/json",
             "application/x-www-form-urlencoded"],
)  # fmt: skip
def test_a_stranger_sends_no_film(path: str, kind: str) -> None:
    gib = 1024**3
    answer, film = send(Client(enforce_csrf_checks=True), path, gib, kind)
    assert answer.status_code == 413 and "more than this page takes" in answer.content.decode()
    assert film.read_bytes <= bodies.DRAINED  # read away, and kept nowhere


def test_who_is_not_known_gets_no_room_for_a_clip(student: Student, coach: User) -> None:
    drill = making.make_drill(studio=student.studio)
    path = reverse("practice:library_edit", args=[drill.drill_id])
    answer, _film = send(Client(), path, MORE, "multipart/form-data; boundary=x")
    assert answer.status_code == 413


def test_a_page_that_takes_a_clip_takes_it(coach: User, student: Student, client_for) -> None:
    assignment = making.make_assignment(review=making.make_review(student=student))
    shown = SimpleUploadedFile("a.png", shot.png() + b"x" * MORE)  # a reader stops at its end
    client = client_for(coach)
    answer = client.post(reverse("practice:show", args=[assignment.pk]), {"shown": shown})
    assert answer.status_code == 302
    assignment.refresh_from_db()
    assert 0 < assignment.shown.size < MORE


def test_a_file_of_a_form_waits_where_films_do(
    student: Student, client_for, monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path
) -> None:
    settings.UPLOAD_BUFFER = tmp_path / "buffer"
    angle = factories.make_angle(request=factories.make_request(student=student, angles=0))
    seen = []

    def note(**kwargs: Any) -> Any:
        seen.append(Path(kwargs["file"].temporary_file_path()).parent)
        raise ValueError("seen")

    monkeypatch.setattr("coaching.api.views.clips.uploads.receive_file", note)
    client = client_for(student.user)
    with pytest.raises(ValueError, match="seen"):
        client.post(
            f"/api/angles/{angle.pk}/send/", {"file": SimpleUploadedFile("a.mp4", b"x" * 3_000_000)}
        )
    assert seen == [tmp_path / "buffer"]


def test_only_these_views_take_more_than_a_form() -> None:
    """Whoever adds one says here why."""
    found = {
        pattern.lookup_str
        for pattern in _patterns(get_resolver())
        if bodies.most_of(pattern.callback, is_known=True) != live.DATA_UPLOAD_MAX_MEMORY_SIZE
    }
    assert found == {
        "coaching.api.views.clips.Angles",  # a whole film at once
        "coaching.diagnosis.views.say",  # a spoken word with a finding
        "coaching.intake.filming_tus.OnePhoneUpload",  # the same, by a link for filming
        "coaching.intake.filming_tus.PhoneUploads",
        "coaching.intake.filming_views.phone_send",
        "coaching.intake.tus.OneUpload",
        "coaching.intake.tus.Uploads",
        "coaching.intake.views.send",
        "coaching.practice.views.judging.verdict",  # a spoken cue
        "coaching.practice.views.library.write",  # a drill's own clip
        "coaching.practice.views.showing.show",
    }


def _patterns(resolver: Any) -> Any:
    for pattern in resolver.url_patterns:
        if hasattr(pattern, "url_patterns"):
            yield from _patterns(pattern)
        else:
            yield pattern


def test_an_odd_length_is_nothing_to_fall_over(client: Client) -> None:
    for length in ("", "-1", "1e9", "9" * 40):
        request = RequestFactory().post("/login/")
        request.META["CONTENT_LENGTH"] = length
        request.user = factories.make_user()
        assert bodies.BodyLimit(lambda _request: None).process_view(request, print, (), {}) is None
