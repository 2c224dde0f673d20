"""The API answers as its description says, whatever a program sends that the description allows.

schemathesis reads the OpenAPI description and makes requests from it: as the coach, the student,
an assistant and nobody, with keys of rows that are really there. No answer is a 5xx, every status
is described, and what comes back has the described shape. A short form, bounded by `EACH`; nothing
that it does stays.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pytest
import schemathesis
from django.core.cache import cache
from django.core.files.storage import default_storage
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, Phase, given
from hypothesis import settings as bounded
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from coaching.people.models import ApiToken
from tests.world import World, make_world

pytestmark = [pytest.mark.services, pytest.mark.django_db]
EACH = {"coach": 5, "student": 3, "assistant": 3, "nobody": 2}  # requests of one operation
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
# What the keys in an address stand for; `id` by the word before it.
ROWS = {
    "agree": "link", "angles": "angle", "assignments": "assignment", "attempts": "attempt",
    "correction": "correction", "corrections": "correction", "drills": "drill",
    "findings": "finding", "join": "link", "mark": "mark", "pain": "pain",
    "practice": "practised", "requests": "request",
    "review": "review", "reviews": "review", "snippet": "snippet", "student": "student",
    "students": "student", "studios": "studio", "submissions": "clip", "version": "own_words",
    "video": "video", "videos": "video", "walk": "walk", "walks": "heard",
    "film-links": "film_link",
}  # fmt: skip


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    """Made once; each request is rolled back to it, and no file of it is ever removed."""
    kind = type(default_storage._wrapped or default_storage)
    delete, kind.delete = kind.delete, lambda *_: None
    for signal in (request_started, request_finished):  # the connection holds the transaction
        signal.disconnect(close_old_connections)
    with django_db_blocker.unblock(), transaction.atomic():
        yield make_world()
        transaction.set_rollback(True)
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)
    kind.delete = delete


@pytest.fixture(scope="module")
def schema() -> Any:
    return schemathesis.openapi.from_wsgi("/api/schema/", get_wsgi_application())


@pytest.mark.parametrize("role", EACH)
def test_api_answers_as_described(role: str, world: World, schema: Any) -> None:
    user = world.people[role]
    headers = {}
    if user is not None:
        headers["Authorization"] = f"Token {ApiToken.issue(user, name='a program')[1]}"
    wrong: list[str] = []
    statuses: set[int] = set()
    for found in schema.get_all_operations():
        operation = found.ok()
        wrong += _tried(operation, headers, world, statuses, EACH[role])
    assert not wrong, "\n\n".join(wrong)
    assert ({401} if user is None else {400, 404}) <= statuses


def _tried(
    operation: Any, headers: dict[str, str], world: World, statuses: set[int], count: int
) -> list[str]:
    wrong: list[str] = []

    @bounded(
        max_examples=count,
        phases=[Phase.generate],
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(), lead=st.integers(0, 3))
    def ask(case: Any, lead: int) -> None:
        if lead:  # mostly a row that is there
            case.path_parameters = _keys(operation.path, case.path_parameters, world)
        cache.clear()  # limits of one address are not what is asked here
        with transaction.atomic():
            response = case.call(headers=headers)
            transaction.set_rollback(True)
        statuses.add(response.status_code)
        try:
            case.validate_response(response, checks=CHECKS)
        except BaseExceptionGroup as trouble:
            asked = f"{case.method} {case.formatted_path} {str(case.body)[:300]}"
            wrong.append("\n".join([asked, *map(str, trouble.exceptions)]))

    ask()
    return wrong[:1]


def _keys(path: str, drawn: dict[str, Any] | None, world: World) -> dict[str, Any]:
    """The keys in an address, each of a row that is there."""
    keys = dict(drawn or {})
    parts = path.strip("/").split("/")
    for word, part in pairwise(parts):
        if part.startswith("{"):
            keys[part.strip("{}")] = str(world.ids[ROWS[word]])
    return keys
