"""The restore drill: the commands of docs/backup.md, on the database that the tests run on.

A studio with one of everything is backed up, brought back into an empty place and looked at from
outside: the audit is clean, its coach signs in, and the film plays byte for byte.
"""

from __future__ import annotations

import hashlib
import http.client
import os
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.cookies import SimpleCookie
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import pytest
from django.conf import settings
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.core.files.base import ContentFile
from django.db import connection

from coaching.people.models import User
from coaching.supervisor import Child, supervised
from tests import factories
from tests.services.conftest import database_url, wait_until
from tests.world import World, make_world

ROOT = Path(settings.BASE_DIR)
PAGE = (ROOT / "docs" / "backup.md").read_text()
FILM = ROOT / "coaching" / "demo" / "clips" / "feet_cut.mp4"
POSTGRES = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))


@dataclass(frozen=True)
class Place:
    """Where a copy of the app keeps its rows and files."""

    url: str
    var: Path

    def run(self, commands: str, **more: str) -> subprocess.CompletedProcess[str]:
        """Commands of the page in a shell, as somebody types them; the first that fails ends it."""
        return subprocess.run(
            ["/bin/bash", "-euo", "pipefail", "-c", commands],
            cwd=ROOT,
            env=self.env | more,
            capture_output=True,
            text=True,
            check=False,
        )

    @property
    def env(self) -> dict[str, str]:
        dropped = {"CAUSEWAY_TEST_DIR", "SECRET_KEY", "REDIS_URL"}
        path = [str(Path(sys.executable).parent), *map(str, POSTGRES[-1:]), os.environ["PATH"]]
        return {name: value for name, value in os.environ.items() if name not in dropped} | {
            "DJANGO_SETTINGS_MODULE": "coaching.settings",
            "DATABASE_URL": self.url,
            "VAR_DIR": str(self.var),
            "MODELS_DIR": str(settings.MODELS_DIR),
            "PATH": ":".join(path),
        }


def commands(name: str) -> str:
    """One named block of the page."""
    found = re.search(rf"^```sh {name}\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
    assert found is not None, f"docs/backup.md has no block called {name}"
    return found[1]


@contextmanager
def empty_place(folder: Path) -> Iterator[Place]:
    """A database without a table and a folder that is not there yet."""
    var = folder / "restored"
    if connection.vendor == "sqlite":
        yield Place(f"sqlite:///{var / 'causeway.sqlite3'}", var)
        return
    name = f"{connection.settings_dict['NAME']}_restored"
    with connection.cursor() as cursor:
        cursor.execute(f'CREATE DATABASE "{name}" TEMPLATE template0')
    here = str(connection.settings_dict["NAME"])
    try:
        yield Place(database_url().replace(f"/{here}?", f"/{name}?"), var)
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture
def busy(transactional_db: None, tmp_path: Path, settings: object) -> tuple[World, Place]:
    """A studio with one of everything, and the place where it stands."""
    var = tmp_path / "busy"
    settings.MEDIA_ROOT = var / "media"  # type: ignore[attr-defined]
    world = make_world()
    video = factories.Video.objects.get(pk=world.ids["video"])
    video.copy.delete(save=False)
    video.copy.save("film.mp4", ContentFile(FILM.read_bytes()))
    # Real settings do not read the quick hashes of tests.
    User.objects.update(password=PBKDF2PasswordHasher().encode(factories.PASSWORD, "salt"))
    if connection.vendor == "sqlite":  # where the page expects it
        with connection.cursor() as cursor:
            cursor.execute("VACUUM INTO %s", [str(var / "causeway.sqlite3")])
        return world, Place(f"sqlite:///{var / 'causeway.sqlite3'}", var)
    return world, Place(database_url(), var)


def test_a_backup_comes_back_whole(busy: tuple[World, Place], tmp_path: Path) -> None:
    world, place = busy
    kind = "sqlite" if connection.vendor == "sqlite" else "postgres"
    backup = str(tmp_path / "backup")
    done = place.run(commands(f"back-up-{kind}"), BACKUP=backup)
    assert done.returncode == 0, done.stderr

    with empty_place(tmp_path) as restored:
        done = restored.run(commands(f"restore-{kind}"), BACKUP=backup)
        assert done.returncode == 0, done.stdout + done.stderr
        assert "Rows and files belong together." in done.stdout
        with served(restored) as visitor:
            coach = world.people["coach"]
            assert coach is not None
            visitor.sign_in(coach.email)
            page = visitor.get(f"/review/clip/{world.ids['clip']}/")
            assert page.status == 200 and b"Jo" in page.body
            film = visitor.get(f"/media/{world.ids['video']}/copy")
            assert hashlib.sha256(film.body).digest() == hashlib.sha256(FILM.read_bytes()).digest()
            part = visitor.get(f"/media/{world.ids['video']}/copy", Range="bytes=1000-1999")
            assert (part.status, part.body) == (206, FILM.read_bytes()[1000:2000])


def test_a_backup_that_was_damaged_is_not_brought_back(
    busy: tuple[World, Place], tmp_path: Path
) -> None:
    _world, place = busy
    kind = "sqlite" if connection.vendor == "sqlite" else "postgres"
    backup = tmp_path / "backup"
    done = place.run(commands(f"back-up-{kind}"), BACKUP=str(backup))
    assert done.returncode == 0, done.stderr
    with (backup / "files.tar").open("r+b") as archive:
        archive.seek(600)
        archive.write(b"x")
    with empty_place(tmp_path) as restored:
        done = restored.run(commands(f"restore-{kind}"), BACKUP=str(backup))
        assert done.returncode != 0 and "files.tar" in done.stdout + done.stderr
        assert not restored.var.exists()


@pytest.mark.skipif("postgres" not in os.environ.get("DATABASE_URL", ""), reason="of PostgreSQL")
def test_rows_of_an_older_version_are_brought_up_to_date(
    transactional_db: None, tmp_path: Path
) -> None:
    """The dump was made by the first version: 2 students, a drill judged, pain reported."""
    with empty_place(tmp_path) as place:
        place.var.mkdir()
        dump = str(ROOT / "tests" / "data" / "rows_2026-11-25.sql.gz")
        load = (
            'zcat "$DUMP" | psql --quiet --set ON_ERROR_STOP=1 --output /dev/null "$DATABASE_URL"'
        )
        done = place.run(
            f"{load}; python manage.py migrate --no-input; python manage.py audit", DUMP=dump
        )
        assert done.returncode == 0, done.stdout + done.stderr
        with served(place) as visitor:
            visitor.sign_in("coach@example.org")
            assert b"Sam Reed" in visitor.get("/students/").body
            assert b"it pinches" in visitor.get("/waiting/").body


# A visitor without a browser: cookies, the form's token, and nothing else.


@dataclass(frozen=True)
class Answer:
    status: int
    body: bytes
    location: str


class Visitor:
    def __init__(self, port: int) -> None:
        self.port = port
        self.cookies: dict[str, str] = {}

    def get(self, path: str, **headers: str) -> Answer:
        return self._ask("GET", path, b"", headers)

    def sign_in(self, email: str) -> None:
        page = self.get("/login/")
        token = re.search(rb'name="csrfmiddlewaretoken" value="([^"]+)"', page.body)
        assert token is not None
        form = {"login": email, "password": factories.PASSWORD}
        form["csrfmiddlewaretoken"] = token[1].decode()
        told = {"Content-Type": "application/x-www-form-urlencoded"}
        answer = self._ask("POST", "/login/", urlencode(form).encode(), told)
        assert answer.status == 302, answer.body.decode()
        assert "sessionid" in self.cookies

    def _ask(self, method: str, path: str, body: bytes, headers: dict[str, str]) -> Answer:
        told = {"Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items())}
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            link.request(method, path, body, told | headers)
            answer = link.getresponse()
            for name, value in answer.getheaders():
                if name.lower() == "set-cookie":
                    self.cookies |= {k: m.value for k, m in SimpleCookie(value).items()}
            return Answer(
                answer.status, answer.read(), urlsplit(answer.getheader("Location") or "").path
            )
        finally:
            link.close()


@contextmanager
def served(place: Place) -> Iterator[Visitor]:
    """The restored app's web process, and somebody who comes to it."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    gunicorn = "-m gunicorn coaching.wsgi --worker-class gthread --threads 4 --no-control-socket"
    command = [sys.executable, *gunicorn.split(), "--bind", f"127.0.0.1:{port}"]
    with supervised() as children:
        children.append(Child("web", command, env=place.env, grace_s=10))
        children[0].start()
        visitor = Visitor(port)

        def answers() -> bool:
            try:
                return visitor.get("/healthz").status == 200
            except OSError:
                return False

        wait_until(answers)
        yield visitor
