"""Every line has the ids of what it belongs to, and nobody's data."""

from __future__ import annotations

import io
import json
import logging
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.contrib.auth.models import AnonymousUser
from django.test import Client

from analysis import logs
from analysis import services as analysis
from coaching.people.models import ApiToken, Student, User
from coaching.people.services.record import erase_record
from tests import factories

pytestmark = pytest.mark.django_db
Lines = Callable[[], list[dict[str, Any]]]


@pytest.fixture
def lines() -> Iterator[Lines]:
    """What the JSON handler writes while the test runs."""
    out = io.StringIO()
    handler = logging.StreamHandler(out)
    handler.setFormatter(logs.Json())
    handler.addFilter(logs.Ids())
    root = logging.getLogger()
    root.addHandler(handler)
    level = root.level
    root.setLevel(logging.INFO)
    yield lambda: [json.loads(line) for line in out.getvalue().splitlines()]
    root.setLevel(level)
    root.removeHandler(handler)


def told(lines: Lines, logger: str) -> list[dict[str, Any]]:
    return [line for line in lines() if line["logger"] == logger]


def test_a_request_has_one_line_and_its_answer_the_same_id(
    lines: Lines, student: Student, client_for: Callable[[User], Client]
) -> None:
    assert student.user is not None
    answer = client_for(student.user).get(f"/students/{student.pk}/thread/")
    (line,) = told(lines, "causeway.request")
    assert line["message"] == "GET /students/<int:pk>/thread/ 200"
    assert line["request"] == answer["X-Request-ID"] and line["ms"] >= 0


def test_what_a_link_holds_is_not_in_the_log(lines: Lines, coach: User) -> None:
    link = factories.make_invitation(studio=coach.memberships.get().studio)
    client = Client()
    assert client.get(f"/join/{link.token}/?mailed=proof-of-it").status_code == 200
    assert client.get(f"/join/{link.token}x/").status_code == 404
    text = json.dumps(lines())
    assert "/join/<str:token>/" in text
    assert link.token not in text and "proof-of-it" not in text


def test_an_id_is_taken_from_a_proxy_of_ours_only(settings: Any) -> None:
    given = {"X-Request-ID": "proxy-1234"}
    assert Client().get("/healthz", headers=given)["X-Request-ID"] != "proxy-1234"
    settings.BEHIND_PROXY = True
    assert Client().get("/healthz", headers=given)["X-Request-ID"] == "proxy-1234"
    odd = {"X-Request-ID": "a line\nof my own"}
    assert "own" not in Client().get("/healthz", headers=odd)["X-Request-ID"]


def test_lines_of_a_run_carry_its_id(
    lines: Lines, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    from analysis import work
    from analysis.errors import StorageAway

    run = factories.make_run(status="queued", kind="check")

    def away(row: Any, progress: Any) -> Any:
        raise StorageAway("no answer")

    monkeypatch.setitem(work.WORK, run.kind, away)
    analysis.run(run.pk)
    (line,) = told(lines, "analysis.services")
    assert line["run"] == run.pk and "waits for another try" in line["message"]
    assert logs.about() == {}


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("to Sam.Reed+golf@example.org: refused", "to <address>: refused"),
        ("Not Found: /join/Ab3-xYz_9012345678901234567890/", "Not Found: /join/…/"),
        ("DETAIL:  Key (email, name)=(a@b.org, Sam) already exists.",
         "DETAIL:  Key (email, name)=(…) already exists."),
        ("Failing row contains (1, Sam Reed, 2026).", "Failing row contains (…)."),
        ("GET /x?token=abc&b=1 from 203.0.113.9", "GET /x?… from <network>"),
        ("Run 12 waits: storage_away", "Run 12 waits: storage_away"),
        ("/students/<int:pk>/hand-over/to-somebody-else/",
         "/students/<int:pk>/hand-over/to-somebody-else/"),
    ],
)  # fmt: skip
def test_data_is_taken_out(text: str, kept: str) -> None:
    assert logs.without_data(text) == kept


def test_data_is_taken_out_of_tracebacks_too(lines: Lines) -> None:
    try:
        raise ValueError("no mailbox sam@example.org")
    except ValueError:
        logging.getLogger("x").exception("It failed.")
    (line,) = told(lines, "x")
    assert "ValueError: no mailbox <address>" in line["error"] and "sam@" not in line["error"]
    record = logging.LogRecord("x", 30, "", 0, "to sam@example.org", (), None)
    assert logs.Line().format(record).endswith("WARNING x: to <address>")


# The security log


def events(lines: Lines) -> list[str]:
    return [line["event"] for line in told(lines, "causeway.security")]


def test_coming_in_and_being_turned_away(lines: Lines, coach: User) -> None:
    client = Client()
    wrong = {"login": coach.email, "password": "not it"}
    client.post("/login/", wrong)
    client.post("/login/", wrong | {"login": coach.email.upper()})
    client.post("/login/", wrong | {"password": factories.PASSWORD})
    client.post("/logout/")
    assert events(lines) == ["sign_in_failed", "sign_in_failed", "signed_in", "signed_out"]
    first, second, third, _ = told(lines, "causeway.security")
    assert first["account"] == second["account"] and first["network"] == third["network"]
    assert first["level"] == "warning" and third["by"] == coach.pk
    text = json.dumps(lines())
    assert coach.email not in text.lower() and "127.0.0.1" not in text and coach.name not in text


def test_a_key_that_opens_nothing(lines: Lines, coach: User) -> None:
    _row, key = ApiToken.issue(coach, name="a program")
    coach.set_password("something else entirely")
    coach.save()
    answer = Client().get("/api/students/", headers={"Authorization": f"Token {key}"})
    assert answer.status_code in {401, 403}
    (line,) = told(lines, "causeway.security")
    assert (line["event"], line["whose"]) == ("key_refused", coach.pk)
    assert key not in json.dumps(lines())


@pytest.mark.django_db(transaction=True)
def test_what_the_audit_log_holds_is_told_once_it_holds(lines: Lines, coach: User) -> None:
    student = factories.make_student(coach=coach, name="Sam Reed")
    pk = student.pk
    erase_record(student=student, by=coach)
    (line,) = [line for line in told(lines, "causeway.security") if line["event"] == "erased"]
    assert (line["by"], line["student"]) == (coach.pk, pk)
    assert "Sam" not in json.dumps(told(lines, "causeway.security"))


def test_nobody_is_no_trouble_for_the_log(lines: Lines) -> None:
    from coaching.people import security

    security.note("form_refused", by=AnonymousUser().pk)
    assert events(lines) == ["form_refused"]
