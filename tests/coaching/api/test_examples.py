"""The examples of docs/api.md, run in order: documentation that cannot go stale."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from rest_framework.test import APIClient

from analysis.models import Run
from coaching.intake.models import Submission
from coaching.practice.services import library
from coaching.review.models import FilmLink, Review, WalkThrough
from tests.coaching.review.clips import even_times, measure_film

ROOT = Path(__file__).resolve().parents[3]
CLIPS = ROOT / "coaching" / "demo" / "clips"
EXAMPLE = re.compile(r"```example\n(.*?)```", re.S)
TURN = ["pelvis_turn_deg", "top", [21.0, 3.0]]

pytestmark = pytest.mark.django_db


def examples() -> list[str]:
    return EXAMPLE.findall((ROOT / "docs" / "api.md").read_text())


class Reader:
    """Plays the examples one after the other and keeps what they say to keep."""

    def __init__(self, clients: dict[str, APIClient]) -> None:
        self.clients = clients
        self.kept: dict[str, Any] = {}

    def play(self, example: str) -> None:
        lines = example.strip().splitlines()
        who = "coach"
        if lines[0].startswith("AS "):
            who = lines.pop(0).split()[1]
        method, path = self._filled(lines.pop(0)).split()
        told = lines.pop()
        body = "\n".join(lines)
        response = self._call(self.clients[who], method, path, body)
        status, _, rest = told.removeprefix("-> ").partition(" keep ")
        assert response.status_code == int(status), f"{method} {path}: {response.content!r}"
        keep, _, where = rest.partition(" where ")
        for pair in keep.split():
            name, key = pair.split("=")
            self.kept[name] = dig(response.json(), key.split("."), where)
            if name == "newcomer_token":
                self.clients["newcomer"] = APIClient()
                self.clients["newcomer"].credentials(HTTP_AUTHORIZATION=f"Token {self.kept[name]}")

    def _filled(self, text: str) -> str:
        return re.sub(r"\{(\w+)\}", lambda m: str(self.kept[m[1]]), text)

    def _call(self, client: APIClient, method: str, path: str, body: str) -> Any:
        if body.startswith("FILE "):
            clip = CLIPS / body.split()[1]
            sent = SimpleUploadedFile(clip.name, clip.read_bytes(), content_type="video/mp4")
            return client.post(path, {"file": sent}, format="multipart")
        data = json.loads(self._filled(body)) if body else None
        return getattr(client, method.lower())(path, data, format="json")


def dig(value: Any, keys: list[str], where: str) -> Any:
    if not keys:
        return value
    key, *rest = keys
    if key == "*":
        wanted = dict(pair.split("=") for pair in where.split())
        return dig(next(row for row in value if wanted.items() <= row.items()), rest, where)
    return dig(value[int(key)] if isinstance(value, list) else value[key], rest, where)


def test_examples_of_the_documentation(coach, student):
    """Between sending and reading, a worker would have measured: its figures are put in."""
    library.load_starter_library(by=None, studio=student.studio)
    login, *rest = examples()
    clients = {who: APIClient() for who in ("coach", "student", "nobody")}
    reader = Reader(clients)
    reader.play(login)
    clients["coach"].credentials(HTTP_AUTHORIZATION=f"Token {reader.kept['token']}")
    clients["student"].force_authenticate(student.user)
    for example in rest:
        reader.play(example)
        if "FILE" in example:
            measured(Submission.objects.latest("pk"))
        if "/publish/" in example:
            spoken(Review.objects.latest("pk"))
        if example.startswith("AS student\nPOST") and example.endswith("making=state\n"):
            filmed(WalkThrough.objects.get())
    assert reader.kept["refused"] == "cause_open"
    assert reader.kept["first"] == "pain"
    assert (reader.kept["making"], reader.kept["film"]) == ("waiting", "ready")
    assert FilmLink.objects.get().ended_at is not None


def spoken(review: Review) -> None:
    """The coach spoke in the room, before sending."""
    clip = review.submissions.order_by("pk").first()
    assert clip is not None
    walk = WalkThrough(review=review, video=clip.video, finished_at=timezone.now(), duration_s=4.0)
    walk.sound.save("a.m4a", ContentFile(b"voice"))


def filmed(walk: WalkThrough) -> None:
    """What a worker leaves behind: the file, and its run done."""
    film = walk.film
    Run.objects.filter(pk=film.run_id).update(status=Run.Status.DONE, progress=1.0)
    film.made_of, film.duration_s = film.asked_of, 4.0
    film.file.save("film.mp4", ContentFile(b"film"))


def measured(clip: Submission) -> None:
    """What a worker leaves behind: a copy, an archive, and figures recomputed from it."""
    video = clip.video
    video.runs.all().delete()
    video.copy.save("copy.mp4", ContentFile(b"copy"), save=False)
    video.keep_frame_times(even_times())
    video.save()
    measure_film(video, values=[TURN])
