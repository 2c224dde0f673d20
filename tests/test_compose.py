"""The production set-up names settings that exist, and Django finds nothing to warn of in it."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

ROOT = Path(__file__).resolve().parent.parent
GIVEN = {"SECRET_KEY": "k3y-of-ninety-characters-" * 4, "HOST": "lessons.example.org"}


def filled_in(text: str) -> str:
    """`${NAME}`, `${NAME:-default}` and `${NAME:?message}` as compose replaces them."""

    def value(match: re.Match[str]) -> str:
        name, default = match["name"], match["default"]
        return GIVEN.get(name, default or "")

    return re.sub(r"\$\{(?P<name>\w+)(?::-(?P<default>[^}]*)|:\?[^}]*)?\}", value, text)


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    return yaml.safe_load(filled_in((ROOT / "docker-compose.yml").read_text()))


def test_the_four_services_know_each_other(compose: dict[str, Any]) -> None:
    services = compose["services"]
    assert set(services) == {"web", "worker", "redis", "db"}
    for service in services.values():
        assert set(service.get("depends_on", {})) <= set(services)
    assert services["web"]["environment"] == services["worker"]["environment"]
    assert services["web"]["volumes"] == services["worker"]["volumes"], "clips are handed over"


def test_every_setting_is_one_that_is_read(compose: dict[str, Any]) -> None:
    read = (ROOT / "coaching" / "settings.py").read_text()
    named = compose["services"]["web"]["environment"]
    assert [name for name in named if f'"{name}"' not in read] == []


def test_the_secret_key_has_no_default() -> None:
    text = (ROOT / "docker-compose.yml").read_text()
    assert re.search(r"SECRET_KEY: \$\{SECRET_KEY:\?", text)


def test_django_has_no_warning_for_production(compose: dict[str, Any], tmp_path: Path) -> None:
    told = {name: str(value) for name, value in compose["services"]["web"]["environment"].items()}
    kept = {name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ}
    done = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env=kept | told | {"VAR_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
