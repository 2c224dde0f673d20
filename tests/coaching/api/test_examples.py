"""The examples of docs/api.md, run in order: documentation that cannot go stale."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from analysis.models import Run
from coaching.intake.models import Submission
from coaching.practice import services as practice
from tests import factories

ROOT = Path(__file__).resolve().parents[3]
CLIPS = ROOT / "coaching" / "demo" / "clips"
EXAMPLE = re.compile(r"```example\n(.*?)```", re.S)
FIGURES = {("pelvis_turn_deg", "top"): (21.0, 3.0)}

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
        name, wanted = where.split("=")
        return dig(next(row for row in value if row[name] == wanted), rest, where)
    return dig(value[int(key)] if isinstance(value, list) else value[key], rest, where)


def test_examples_of_the_documentation(coach, student, monkeypatch, settings):
    """Between sending and reading, a worker would have measured: its figures are put in."""
    practice.load_starter_library(studio=student.studio)
    monkeypatch.setattr("coaching.review.services.correct", _moved)
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
    assert reader.kept["refused"] == "cause_open"
    assert reader.kept["first"] == "pain"


def measured(clip: Submission) -> None:
    clip.video.runs.filter(kind=Run.Kind.CHECK).delete()
    factories.make_measured(clip, FIGURES)


def _moved(*, video: Any, author: Any, **moved: Any) -> Any:
    """The figures of this test were put in by hand and have no archive to recompute from."""
    return video.corrections.create(author=author, **moved)
