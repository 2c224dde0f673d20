"""Scripts know sentences and addresses by name only: each name is given, each given one is used."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from coaching.people.models import Student, User
from coaching.review.script_words import ADDRESSES, SENTENCES, script_words
from tests.coaching.review.clips import make_clip

SCRIPTS = Path(settings.BASE_DIR) / "static" / "js" / "review"
# Three words in a row, the first with a capital: a sentence, or the beginning of one.
SENTENCE = re.compile(r"""["`][^"`\n]*\b[A-Z][a-z’]+ [a-z’]+ [a-z’]+[^"`\n]*["`]""")


def told(name: str) -> set[str]:
    scripts = (path.read_text() for path in SCRIPTS.glob("*.js"))
    return {found for text in scripts for found in re.findall(rf'\b{name}\("(\w+)"', text)}


def test_every_sentence_is_given_and_used() -> None:
    by_status = {"signed_out", "erased_meanwhile"}  # `server.js` picks them by status
    assert told("say") | by_status == set(SENTENCES)


def test_every_address_is_given_and_used() -> None:
    assert told("urlOf") == {*ADDRESSES, "compare"}
    for name, url in script_words()["at"].items():
        assert url.count("/0") == (0 if name == "compare" else 1), url


def test_what_braces_name_is_put_in() -> None:
    text = "".join(path.read_text() for path in SCRIPTS.glob("*.js"))
    for name, sentence in SENTENCES.items():
        for value in re.findall(r"\{(\w+)\}", str(sentence)):
            given = re.search(rf'say\("{name}", \{{([^\n]*)\}}\)', text)
            assert given and re.search(rf"\b{value}\b", given[1]), name


def test_no_sentence_stands_in_a_script() -> None:
    left = [
        f"{path.name}:{number}"
        for path in sorted(SCRIPTS.glob("*.js"))
        if path.name != "words.js"
        for number, line in enumerate(path.read_text().splitlines(), start=1)
        if not line.strip().startswith(("//", "*", "/*")) and SENTENCE.search(line)
    ]
    assert left == []


@pytest.mark.django_db
def test_the_room_hands_them_over(
    coach: User, student: Student, client_for: Callable[[User], Client]
) -> None:
    clip = make_clip(student=student)
    page = client_for(coach).get(reverse("review:room", args=[clip.pk])).text
    found = re.search(r'<script id="script-words" type="application/json">(.*?)</script>', page)
    assert found is not None
    assert json.loads(found[1]) == json.loads(json.dumps(script_words()))
