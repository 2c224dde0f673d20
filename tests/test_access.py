"""Every URL and every operation of the API, in every role and with every method.

`tests/access.toml` says who gets in; everybody else gets 401, 403, 404 or the sign-in page.
A new URL or operation without a row there fails, and so does a row without a URL. What is
sent is often nonsense on purpose: rights are decided before anything is read.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.files.storage import default_storage
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.urls.exceptions import NoReverseMatch

from tests.conftest import make_fresh
from tests.world import ROLES, World, make_world

pytestmark = pytest.mark.django_db  # each test inside the transaction that holds the world
# What an upload's own protocol asks for before it looks at anything; pages do not read it.
OF_UPLOADS = "application/offset+octet-stream"
TUS = {"Tus-Resumable": "1.0.0", "Upload-Offset": "0"}
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
TABLE: dict[str, Any] = tomllib.loads(Path(__file__).with_name("access.toml").read_text())
GROUPS: dict[str, list[str]] = {name: row.split() for name, row in TABLE["groups"].items()}
ROWS: dict[str, dict[str, Any]] = TABLE["urls"]


def walk(resolver: URLResolver, names: tuple[str, ...] = ()) -> Iterator[str]:
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLPattern):
            yield ":".join([*names, pattern.name or "?"])
        else:
            inner = (*names, pattern.namespace) if pattern.namespace else names
            yield from walk(pattern, inner)


NAMES = sorted(set(walk(get_resolver())))


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    """Made once; each try is rolled back to it, and no file of it is ever removed."""
    kind = type(default_storage._wrapped or default_storage)
    delete, kind.delete = kind.delete, lambda *_: None
    with django_db_blocker.unblock(), transaction.atomic():
        made = make_world()
        for role, user in made.people.items():
            if user is not None:
                made.sessions[role] = session_of(user)
        yield made
        transaction.set_rollback(True)
    kind.delete = delete


def test_every_url_has_a_row_and_every_row_a_url() -> None:
    assert sorted(ROWS) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_who_gets_in(name: str, world: World) -> None:
    row = dict(ROWS.get(name, {}))
    path = address(name, row.pop("ids", {}), world)
    data = {key: world.ids.get(value, value) for key, value in row.pop("data", {}).items()}
    wanted = {method: sorted(roles_of(row.pop(method.lower(), ""))) for method in METHODS}
    assert not row, f"unknown words in the row of {name}: {sorted(row)}"
    found = {
        method: sorted(role for role in ROLES if gets_in(world, role, method, path, data))
        for method in methods_of(name, wanted)
    }
    assert found == {method: wanted[method] for method in found}


def methods_of(name: str, wanted: dict[str, list[str]]) -> list[str]:
    """Reading and sending everywhere; the others where something may answer them: the API and
    the upload server route by method, pages treat any other as one of these two."""
    routed = name.startswith(("api:", "intake:upload"))
    return [method for method in METHODS if routed or method in {"GET", "POST"} or wanted[method]]


def roles_of(words: str) -> set[str]:
    """Roles and groups by name; `-name` takes one out again."""
    roles: set[str] = set()
    for word in words.split():
        named = GROUPS.get(word.lstrip("-"), [word.lstrip("-")])
        assert set(named) <= set(ROLES), word
        roles = roles - set(named) if word.startswith("-") else roles | set(named)
    return roles


def address(name: str, ids: dict[str, str], world: World) -> str:
    """Where the URL stands for the world's one student; `ids` says which row a name means."""
    kwargs = {key: world.ids.get(value, value) for key, value in ids.items()}
    try:
        return reverse(name, kwargs=kwargs)
    except NoReverseMatch:
        pytest.fail(f"say in the row of {name} which rows its address names: ids = {{…}}")


def gets_in(world: World, role: str, method: str, path: str, data: dict[str, Any]) -> bool:
    client = Client(raise_request_exception=False, headers=TUS)
    if key := world.sessions.get(role):
        client.cookies[settings.SESSION_COOKIE_NAME] = key
    mark = transaction.savepoint()
    try:
        if path.startswith("/api/"):
            body = json.dumps(data).encode()
            answer = client.generic(method, path, body, content_type="application/json")
        elif method == "POST":
            answer = client.post(path, data)
        else:
            body = b"" if method == "GET" else b"x"
            answer = client.generic(method, path, body, content_type=OF_UPLOADS)
    finally:
        transaction.savepoint_rollback(mark)
    assert answer.status_code < 500 or path == "/readyz", (
        f"{role} {method} {path}: {answer.status_code}"
    )
    asks_to_sign_in = answer.status_code == 302 and "/login/" in answer["Location"]
    return answer.status_code not in {401, 403, 404, 405} and not asks_to_sign_in


def session_of(user: Any) -> str:
    """A session as after typing the password a moment ago."""
    client = Client()
    client.force_login(user)
    make_fresh(client, user)
    return str(client.cookies[settings.SESSION_COOKIE_NAME].value)
