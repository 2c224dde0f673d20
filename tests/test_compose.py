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
from django.conf import settings
from django.urls import reverse

ROOT = Path(__file__).resolve().parent.parent
GIVEN = {
    "SECRET_KEY": "k3y-of-ninety-characters-" * 4,
    "HOST": "lessons.example.org",
    "DB_PASSWORD": "rows",
    "REDIS_PASSWORD": "queue",
}
WORKERS = ("post", "checks", "renders", "worker")
OURS = ("web", "uploads", *WORKERS)


def filled_in(text: str) -> str:
    """`${NAME}`, `${NAME:-default}` and `${NAME:?message}` as compose replaces them."""

    def value(match: re.Match[str]) -> str:
        name, default = match["name"], match["default"]
        return GIVEN.get(name, default or "")

    return re.sub(r"\$\{(?P<name>\w+)(?::-(?P<default>[^}]*)|:\?[^}]*)?\}", value, text)


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    return yaml.safe_load(filled_in((ROOT / "docker-compose.yml").read_text()))


def test_the_services_know_each_other(compose: dict[str, Any]) -> None:
    services = compose["services"]
    assert set(services) == {*OURS, "redis", "db", "backup"}
    for service in services.values():
        assert set(service.get("depends_on", {})) <= set(services)
    for name in OURS:
        assert services["web"]["environment"] == services[name]["environment"]
        assert services["web"]["volumes"] == services[name]["volumes"], "clips are handed over"


def test_every_queue_has_a_worker_and_one_has_the_clock(compose: dict[str, Any]) -> None:
    from coaching import serve
    from coaching.settings import CELERY_BEAT_SCHEDULE, CELERY_TASK_QUEUES

    queues = sorted(queue.name for queue in CELERY_TASK_QUEUES)
    composed = [s["command"].split() for s in compose["services"].values() if "command" in s]
    for commands in (composed, serve.worker_commands().values()):
        taken = [c[c.index("--queues") + 1].split(",") for c in commands if "--queues" in c]
        assert sorted(queue for names in taken for queue in names) == queues
        assert sum("--beat" in command for command in commands) == 1
    for entry in CELERY_BEAT_SCHEDULE.values():
        assert entry["options"]["queue"] in queues
        assert entry["options"]["expires"] <= entry["schedule"]


def test_every_setting_is_one_that_is_read(compose: dict[str, Any]) -> None:
    read = (ROOT / "coaching" / "settings.py").read_text()
    named = compose["services"]["web"]["environment"]
    assert [name for name in named if f'"{name}"' not in read] == []


@pytest.mark.parametrize("name", ["SECRET_KEY", "DB_PASSWORD", "REDIS_PASSWORD", "HOST"])
def test_a_secret_has_no_default(name: str) -> None:
    text = (ROOT / "docker-compose.yml").read_text()
    assert re.search(rf"\$\{{{name}:\?", text)
    assert not re.search(rf"\$\{{{name}:-", text)


def test_nothing_grows_without_a_limit(compose: dict[str, Any]) -> None:
    for name, service in compose["services"].items():
        assert service["logging"]["options"] == {"max-size": "10m", "max-file": "5"}, name
        assert service["mem_limit"] and service["restart"] == "unless-stopped", name
        assert service["security_opt"] == ["no-new-privileges:true"], name


def test_only_the_site_and_the_emails_reach_outside(compose: dict[str, Any]) -> None:
    assert compose["networks"]["inside"] == {"internal": True}
    reach = {name for name, s in compose["services"].items() if s["networks"] != ["inside"]}
    assert reach == {"web", "uploads", "post"}
    open_ports = {name: s["ports"] for name, s in compose["services"].items() if "ports" in s}
    assert set(open_ports) == {"web", "uploads"}
    assert all(port.startswith("127.0.0.1:") for ports in open_ports.values() for port in ports)


def test_the_proxy_sends_uploads_to_their_own_process(compose: dict[str, Any]) -> None:
    text = (ROOT / "deploy" / "nginx.conf").read_text()
    upstreams = dict(re.findall(r"upstream causeway_(\w+) \{ server ([\d.:]+);", text))
    for name, address in upstreams.items():
        (port,) = compose["services"][name]["ports"]
        assert port == f"{address}:8000"
        assert "--bind 0.0.0.0:8000" in compose["services"][name]["command"]
    assert set(upstreams) == {"web", "uploads"}
    places = dict(re.findall(r"location (?:~ )?(\S+) \{\n(.*?)\n    \}", text, re.DOTALL))
    (uploads,) = (places[p] for p in places if p.startswith("^") and re.match(p, "/uploads/"))
    assert "http://causeway_web;" in places["/"]
    assert "http://causeway_uploads;" in uploads
    assert "proxy_request_buffering off;" in uploads
    assert reverse("intake:uploads") == "/uploads/"
    assert "ssl_certificate " in text and "listen 443 ssl" in text
    for header in ("Host $host", "X-Forwarded-Proto https", "X-Forwarded-For $proxy_add"):
        assert f"proxy_set_header {header}" in text
    # `tests/test_nginx.py` looks at every other address.
    size = re.search(r"client_max_body_size (\d+)m;", uploads)
    assert size is not None and int(size[1]) * 1024**2 > settings.UPLOAD_MAX_BYTES


def test_every_worker_is_asked_whether_it_lives(compose: dict[str, Any]) -> None:
    for name in WORKERS:
        service = compose["services"][name]
        asked = service["healthcheck"]["test"]
        assert asked[:-1] == ["CMD", "python", "manage.py", "worker_health"]
        assert f"--hostname {asked[-1]}@%h" in service["command"]


def test_the_image_holds_no_tools_of_development() -> None:
    text = (ROOT / "Dockerfile").read_text()
    made, kept = text.split("FROM ${PYTHON}\n")
    assert "requirements-dev.lock" in made and "requirements-dev.lock" not in kept
    assert kept.index("requirements.lock") < kept.index("COPY . .") < kept.index("USER causeway")
    assert re.search(r"^ARG PYTHON=python:3\.\d+\.\d+-slim-\w+$", text, re.MULTILINE)


# The script that the service `backup` runs.


@pytest.fixture
def backing_up(tmp_path: Path) -> Any:
    """Run one backup of `data` into `backups`; the database's own program is stood in for."""
    programs, data = tmp_path / "bin", tmp_path / "data"
    (data / "media" / "a").mkdir(parents=True)
    programs.mkdir()
    dump = programs / "pg_dump"
    dump.write_text('#!/bin/bash\n[ "$4" = --file ] && echo "rows of $PGDATABASE" >"$5"\n')
    dump.chmod(0o755)

    def once() -> Path:
        told = {"DATA": str(data), "BACKUPS": str(tmp_path / "backups"), "PGDATABASE": "lessons"}
        path = f"{programs}:{os.environ['PATH']}"
        done = subprocess.run(
            ["/bin/bash", str(ROOT / "deploy" / "backup.sh"), "once"],
            env=told | {"PATH": path, "BACKUP_DAYS": "30"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return Path(done.stdout.split("backed up: ")[1].strip())

    return once


def test_a_day_is_kept_whole_and_shares_what_has_not_changed(
    backing_up: Any, tmp_path: Path
) -> None:
    film, other = (tmp_path / "data" / "media" / "a" / name for name in ("one.mp4", "two.mp4"))
    film.write_bytes(b"film")
    other.write_bytes(b"erased tomorrow")
    first = backing_up()
    assert (first / "rows.dump").read_text() == "rows of lessons\n"
    assert "rows.dump" in (first / "SHA256SUMS").read_text()
    assert (first / "media" / "a" / "two.mp4").read_bytes() == b"erased tomorrow"
    yesterday = first.rename(first.with_name("2026-01-01"))
    other.unlink()
    (film.parent / "three.mp4").write_bytes(b"new")
    second = backing_up()
    kept = {path.name for path in (second / "media" / "a").iterdir()}
    assert kept == {"one.mp4", "three.mp4"}, "what was erased is in no later backup"
    shared = [day / "media" / "a" / "one.mp4" for day in (yesterday, second)]
    assert shared[0].samefile(shared[1])


def test_a_day_past_its_time_goes(backing_up: Any, tmp_path: Path) -> None:
    old = backing_up().rename(tmp_path / "backups" / "2026-01-01")
    long_ago = old.stat().st_mtime - 40 * 24 * 3600
    os.utime(old, (long_ago, long_ago))
    backing_up()
    assert not old.exists()


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
