"""The example of a proxy knows what is secret in our addresses, and what is large behind them."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.urls import get_resolver

from coaching import bodies

CONF = (settings.BASE_DIR / "deploy" / "nginx.conf").read_text()
SITE = CONF.rpartition("\nserver {")[2]
UNITS = {"": 1, "k": 1024, "m": 1024**2, "g": 1024**3}
KEY = "k3y-of-a-link-that-nobody-knows"


def routes(resolver: Any, before: str = "") -> Any:
    for pattern in resolver.url_patterns:
        here = before + str(pattern.pattern)
        if hasattr(pattern, "url_patterns"):
            yield from routes(pattern, here)
        else:
            yield here, pattern


def sample(route: str) -> str:
    """An address that the route takes: numbers for numbers, a key for everything else."""
    plain = re.sub(r"<int:\w+>|\(\?P<\w+>\[0-9\]\{1,18\}\)", "7", route)
    plain = re.sub(r"<[^>]*>|\(\?P<\w+>[^)]*\)", KEY, plain)
    return "/" + plain.replace("^", "").replace("$", "").replace("\\Z", "")


def python_of(regex: str) -> str:
    return re.sub(r"\(\?<(?=\w)", "(?P<", regex)


def hidden() -> list[str]:
    block = CONF[CONF.index("map $uri $logged {") :]
    block = block[: block.index("\n}")]
    return [python_of(found) for found in re.findall(r"^\s+~(\S+)", block, re.MULTILINE)]


@pytest.mark.parametrize(
    "path",
    sorted(
        {
            sample(route)
            for route, pattern in routes(get_resolver())
            if re.search(r"<(str:)?(token|key)>|P<(token|key)>", route)
        }
    ),
)
def test_no_log_of_the_proxy_holds_what_opens_something(path: str) -> None:
    assert any(re.match(regex, path) for regex in hidden()), path


def test_a_log_names_no_query_and_no_request_as_it_came() -> None:
    formats = re.findall(r"log_format.*?;", CONF, re.DOTALL)
    assert len(formats) == 1
    for name in ("$request ", '$request"', "$request_uri", "$args", "$query", "referer", "$uri"):
        assert name not in formats[0]
    for log in re.findall(r"access_log [^;]*;", CONF):
        assert log.endswith(" causeway;")


def body_of(path: str) -> int:
    """How many bytes of a body the proxy lets through to `path`."""
    parts = [part.partition("{") for part in re.split(r"\n    location ", SITE)[1:]]
    found = {}
    for where, _brace, inside in parts:
        told = re.search(r"client_max_body_size (\d+)([kmg]?);", inside.partition("\n    }")[0])
        if told:
            found[where.strip()] = int(told[1]) * UNITS[told[2]]
    usual = re.search(r"^    client_max_body_size (\d+)([kmg]?);", SITE, re.MULTILINE)
    assert usual is not None
    for where, most in found.items():
        is_regex = where.startswith("~ ")
        if re.match(python_of(where[2:]), path) if is_regex else path.startswith(where):
            return most
    return int(usual[1]) * UNITS[usual[2]]


def test_what_takes_much_gets_through_and_nothing_else_does() -> None:
    usual = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    seen = 0
    for route, pattern in routes(get_resolver()):
        most = bodies.most_of(pattern.callback, is_known=True)
        path = sample(route)
        if most == usual:
            if "/uploads/" not in path:  # the protocol's own addresses
                assert usual <= body_of(path) < 2 * usual, path
            continue
        seen += 1
        wanted = settings.UPLOAD_MAX_BYTES if most is bodies.ANY else most
        assert body_of(path) >= wanted, path
    assert seen >= 7


def test_it_answers_for_its_own_name_alone() -> None:
    first = CONF[CONF.index("\nserver {") :]
    first = first[: first.index("\n}")]
    assert first.count("default_server") == 4
    assert "return 444;" in first and "ssl_reject_handshake on;" in first
    assert "$http_host" not in CONF


def test_the_example_is_where_the_documents_say() -> None:
    for page in ("running.md", "security.md"):
        assert "deploy/nginx.conf" in Path(settings.BASE_DIR, "docs", page).read_text()
