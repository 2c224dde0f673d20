"""Installing the site, and what a phone may keep of it."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.contrib.staticfiles import finders
from django.test import Client

from coaching import offline
from coaching.people.models import Student, User


@pytest.mark.django_db
def test_it_can_be_installed(client: Client) -> None:
    answer = client.get("/manifest.webmanifest")
    assert answer["Content-Type"] == "application/manifest+json"
    told = answer.json()
    assert told["display"] == "standalone" and told["scope"] == told["start_url"] == "/"
    for icon in told["icons"]:
        assert finders.find(icon["src"].removeprefix("/static/")), icon
    assert 'rel="manifest"' in client.get("/offline/").content.decode()


@pytest.mark.django_db
def test_the_worker_keeps_only_what_is_the_same_for_everybody(client: Client) -> None:
    answer = client.get("/sw.js")
    assert answer["Content-Type"].startswith("text/javascript")
    assert "no-cache" in answer["Cache-Control"]
    assert "connect-src 'self' blob:;" in answer["Content-Security-Policy"]
    script = answer.content.decode()
    kept = re.findall(r'"(/[^"]*)"', script)
    assert "/offline/" in kept
    assert all(name == "/offline/" or name.startswith("/static/") for name in kept)
    assert 'credentials: "omit"' in script and offline.shell_version() in script


@pytest.mark.parametrize("name", offline.SHELL)
def test_every_file_of_the_shell_is_there(name: str) -> None:
    assert name.startswith("vendor/") or finders.find(name)


@pytest.mark.django_db
def test_the_page_without_a_connection_names_nobody(
    student: Student, client: Client, client_for: Callable[[User], Client]
) -> None:
    page = client.get("/offline/").content.decode()
    assert "Nothing is lost" in page and 'value="neck"' in page
    # A 0 stands for whoever holds the phone: `offline-page.js` puts the key in.
    assert 'data-to="/students/0/pain/"' in page and 'data-to="/students/0/thread/send/"' in page
    assert 'data-worker="/sw.js"' in page and 'data-health="/healthz"' in page
    assert student.name not in client_for(student.user).get("/offline/").content.decode()
