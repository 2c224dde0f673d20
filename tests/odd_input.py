"""Odd values sent to every parameter of every address: whatever comes, no answer is a 5xx.

Addresses are read from the URL configuration, the names of parameters from the sources, so
that a new page or field is sent odd values without being listed here.
"""

from __future__ import annotations

import json
import random
import re
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.apps import apps
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from coaching.people.models import User

ROOT = Path(__file__).resolve().parent.parent
_ASKED = re.compile(
    r"""\.(?:get|getlist)\(\s*"([a-z_]+)"|(?:data|GET|POST|get|post)\["([a-z_]+)"\]"""
)
_DECLARED = re.compile(r"^    ([a-z_]+) = (?:forms|serializers|models)\.", re.M)
NESTED = json.loads("[" * 400 + "]" * 400)
ODD: tuple[Any, ...] = (
    "nan", "inf", "-inf", "1e400", "-1e400", "1e308", "²", "٣", "\0", "a\0b", "9" * 20, "9" * 30,
    "9" * 5000, "-1", "0", "0.5", "", " ", "1_000", "0x10", "true", "null", "{}", "[]", "🏌" * 50,
    "x" * 2_000_000, "x" * 25_000, "2026-02-30", "9999-12-31", "0001-01-01", "'; --", "<b>",
    "\ud800", "../../etc/passwd", "%00", "e" * 300 + "@example.org", "\r\nX: y",
)  # fmt: skip
ODD_JSON: tuple[Any, ...] = (
    None, True, False, 0, -1, 2**63, 10**30, 1e308, float("inf"), float("nan"), [], {}, [[]],
    [None], [10**30], {"a": "\0"}, ["x"] * 1000, NESTED, "nan", "1e400", "\0", "²", "\ud800",
    "x" * 2_000_000, {"0": {"x": float("nan")}},
)  # fmt: skip
PLAUSIBLE = (
    "1", "2", "3", "text", "hip", "swing", "face_on", "on", "yes", "cause", "passed", "lead",
    "pelvis_turn_deg@top", "at_least", "2026-12-01", "somebody@example.org", "a quiet morning 7",
)  # fmt: skip


@dataclass(frozen=True)
class Address:
    """A pattern of the URL configuration as text with `{name}` for its parts."""

    template: str
    parts: tuple[str, ...]


ANSWERS_503 = {"/readyz"}  # its meaning where no broker runs


def addresses() -> list[Address]:
    found = set(_addresses(get_resolver().url_patterns, "/"))
    return sorted((a for a in found if a.template not in ANSWERS_503), key=lambda a: a.template)


def _addresses(patterns: Any, before: str) -> Iterator[Address]:
    for one in patterns:
        route = str(one.pattern).removeprefix("^").removesuffix("$").removesuffix("\\Z")
        if isinstance(one, URLResolver):
            yield from _addresses(one.url_patterns, before + route)
        elif isinstance(one, URLPattern):
            plain = re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", before + route)
            plain = _groups(plain).replace("\\.", ".").replace("/?", "/").replace("\\-", "-")
            yield Address(plain, tuple(re.findall(r"{(\w+)}", plain)))


def _groups(route: str) -> str:
    """`(?P<pk>[^/.]+)` becomes `{pk}`, also where groups hold brackets of their own."""
    out, at = "", 0
    while match := re.compile(r"\(\?P<(\w+)>|\(\?P\{(\w+)\}").search(route, at):
        depth, end = 1, match.end()
        while depth:
            depth += {"(": 1, ")": -1}.get(route[end], 0)
            end += 1
        out += route[at : match.start()] + f"{{{match[1] or match[2]}}}"
        at = end
    return out + route[at:]


def parameters() -> list[str]:
    """Names that pages and operations read: from requests, forms, serializers and columns."""
    found: set[str] = set()
    for path in (ROOT / "coaching").rglob("*.py"):
        text = path.read_text()
        found |= {a or b for a, b in _ASKED.findall(text)} | set(_DECLARED.findall(text))
    found |= {"limit", "offset", "format", "angle-0-repetitions", "angle-TOTAL_FORMS",
              "step-0-need", "step-0-0-low", "step-0-0-comparison", "step-0-0-figure",
              "c-low", "c-comparison", "c-figure"}  # fmt: skip
    return sorted(found)


@dataclass
class Answer:
    """One answer that should not have been, with what was asked."""

    status: int
    asked: str


class Fuzz:
    """Sends `count` requests as each of some people; nothing it does stays."""

    def __init__(self, people: dict[str, User | None], *, seed: int = 1) -> None:
        self.people = people
        self.random = random.Random(seed)
        self.addresses = addresses()
        self.parameters = parameters()
        self.keys = self._keys()
        self.cookies = {name: self._signed_in(user) for name, user in people.items()}

    @staticmethod
    def _keys() -> list[str]:
        """Keys of rows that exist, so that addresses lead somewhere."""
        return sorted({
            str(pk) for model in apps.get_models()
            if model.__module__.startswith(("coaching.", "analysis."))
            for pk in model._base_manager.values_list("pk", flat=True)[:6]
        })  # fmt: skip

    @staticmethod
    def _signed_in(user: User | None) -> str:
        client = Client()
        if user is not None:
            client.force_login(user)
        return client.cookies.output(header="", sep=";").strip().split(";")[0]

    def run(self, count: int) -> list[Answer]:
        """Answers of 5xx among `count` requests as each person."""
        wrong = []
        for name in self.people:
            for turn in range(count):
                # Every address comes round before any comes again.
                address = self.addresses[turn % len(self.addresses)]
                answer = self._ask(name, address)
                if answer is not None:
                    wrong.append(answer)
        return wrong

    def _ask(self, name: str, address: Address) -> Answer | None:
        pick = self.random
        path = address.template
        for part in address.parts:
            odd = pick.random() < 0.25
            value = pick.choice([str(v)[:9000] for v in ODD]) if odd else self._part(part)
            path = path.replace(f"{{{part}}}", value.replace("\ud800", "?"))
        method = pick.choice(["get", "post", "post", "put", "patch", "delete", "head"])
        client = Client(raise_request_exception=False)
        if self.cookies[name]:
            client.cookies.load(self.cookies[name])
        headers = {"Accept": pick.choice(["text/html", "application/json"])}
        if "/uploads" in path:
            headers |= {"Tus-Resumable": "1.0.0"} | {
                header: self._text()
                for header in ("Upload-Length", "Upload-Offset", "Upload-Metadata",
                               "Upload-Checksum", "Upload-Defer-Length", "Range")
                if pick.random() < 0.6
            }  # fmt: skip
        elif pick.random() < 0.2:
            headers["Range"] = f"bytes={self._text()}-"
        body, kind = self._body(method)
        with transaction.atomic():
            answer = client.generic(
                method.upper(), self._address(path), body, content_type=kind, headers=headers
            )
            if getattr(answer, "streaming", False):
                b"".join(answer.streaming_content)  # type: ignore[arg-type]
            transaction.set_rollback(True)
        if answer.status_code < 500:
            return None
        return Answer(answer.status_code, f"{name} {method} {path[:200]} {kind} {body[:300]!r}")

    def _part(self, part: str) -> str:
        if part in ("uidb64", "token"):
            return self.random.choice(["MQ", "abc-def", "x" * 60])
        if part == "which":
            return self.random.choice(["copy", "still", "original"])
        return self.random.choice([*self.keys, str(uuid.UUID(int=7))])

    def _text(self) -> str:
        """Odd text as a header can carry it."""
        odd = str(self.random.choice(ODD))[:6000]
        return odd.encode("ascii", "ignore").decode().replace("\0", "").replace("\r\n", " ") or "0"

    def _address(self, path: str) -> str:
        from urllib.parse import quote, urlencode

        asked = {
            self.random.choice(self.parameters): str(self.random.choice(ODD))[:9000]
            for _ in range(self.random.choice([0, 0, 2, 6]))
        }
        query = urlencode(asked, errors="replace")
        return quote(path, safe="/%") + (f"?{query}" if query else "")

    def _body(self, method: str) -> tuple[bytes, str]:
        from urllib.parse import urlencode

        if method in ("get", "head", "delete"):
            return b"", "application/octet-stream"
        names = self.random.sample(self.parameters, 25)
        if self.random.random() < 0.5:
            told = {
                name: self.random.choice(ODD if self.random.random() < 0.4 else PLAUSIBLE)
                for name in names
            }
            return urlencode(told, errors="replace").encode(), "application/x-www-form-urlencoded"
        data: Any = {
            name: self.random.choice(ODD_JSON if self.random.random() < 0.5 else PLAUSIBLE)
            for name in names
        }
        if self.random.random() < 0.1:
            data = self.random.choice(ODD_JSON)
        text = json.dumps(data)
        if self.random.random() < 0.05:
            text = "[" * 100_000
        return text.encode("utf-8", "replace"), "application/json"


def world(coach: User, student: Any) -> None:
    """Rows of every kind, so that odd values reach the code behind every address."""
    from coaching.lessons import services as lessons
    from coaching.practice.services import library, stopping
    from tests import factories
    from tests.coaching.practice import making

    review = making.make_review(student=student)
    making.make_finding(review=review)
    assignment = making.make_assignment(review=review)
    clip = making.send_film(making.open_attempt(assignment), (30.0, 3.0))
    factories.make_request(student=student, angles=2)
    lessons.send_message(student=student, author=student.user, text="Is this better?")
    library.load_starter_library(by=None, studio=student.studio)
    draft = making.make_review(student=student)
    making.make_finding(review=draft)
    stopping.report_pain(student=student, by=student.user, region="hip")
    factories.make_video(files=True)
    assert clip.pk
