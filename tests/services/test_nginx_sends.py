"""A real nginx sends media from its own disk, by the example's own rules."""

from __future__ import annotations

import os
import re
import shutil
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import requests
from django.conf import settings as live
from django.test import Client

from analysis.models import Video
from coaching.people.models import Student, User
from coaching.supervisor import Child, supervised
from tests import factories
from tests.services.conftest import wait_until

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(shutil.which("nginx") is None, reason="nginx is not installed"),
]
CONF = (live.BASE_DIR / "deploy" / "nginx.conf").read_text()


def rules(media: Path) -> str:
    """The part of the example that sends media, for another folder."""
    found = re.search(r"    location /protected/ \{.*?\n    \}\n", CONF, re.DOTALL)
    assert found is not None
    return found[0].replace("/var/lib/causeway/media/", f"{media}/")


def free_port() -> int:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return int(held.getsockname()[1])


def answers(port: int) -> bool:
    with socket.socket() as tried:
        tried.settimeout(1)
        return tried.connect_ex(("127.0.0.1", port)) == 0


@pytest.fixture
def proxy(live_server: Any, settings: Any, tmp_path: Path) -> Iterator[str]:
    settings.MEDIA_ACCEL_PREFIX = "/protected/"
    port, behind = free_port(), urlsplit(live_server.url).netloc
    places = "".join(
        f"{kind}_temp_path {tmp_path}/{kind};\n"
        for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    conf = tmp_path / "nginx.conf"
    conf.write_text(
        ("user root;\n" if os.geteuid() == 0 else "")
        + f"daemon off;\npid {tmp_path}/nginx.pid;\nerror_log stderr;\nevents {{}}\n"
        + f"http {{\n{places}access_log off;\nserver {{\n    listen 127.0.0.1:{port};\n"
        + rules(Path(settings.MEDIA_ROOT))
        + f"    location / {{ proxy_pass http://{behind}; }}\n}}\n}}\n"
    )
    with supervised() as children:
        children.append(Child("nginx", ["nginx", "-e", "stderr", "-c", str(conf)]))
        children[0].start()
        wait_until(lambda: answers(port))
        yield f"http://127.0.0.1:{port}"


def test_nginx_sends_what_the_app_lets_somebody_have(
    proxy: str, student: Student, stranger: User, client_for: Callable[[User], Client]
) -> None:
    assert student.user is not None
    video: Video = factories.make_submission(
        student=student, video=factories.make_video(files=True)
    ).video
    film = f"{proxy}/media/{video.pk}/copy"

    def cookies(user: User) -> dict[str, str]:
        name = live.SESSION_COOKIE_NAME
        return {name: client_for(user).cookies[name].value}

    whole = requests.get(film, cookies=cookies(student.user), timeout=30)
    assert (whole.status_code, whole.content) == (200, b"copy")
    assert whole.headers["Content-Type"] == "video/mp4"
    assert whole.headers["Cache-Control"].startswith("private")
    for name, value in (
        ("X-Content-Type-Options", "nosniff"),
        ("Referrer-Policy", "same-origin"),
        ("Content-Disposition", f'inline; filename="clip-{video.pk}-copy.mp4"'),
    ):
        assert whole.headers[name] == value
    assert "default-src 'self'" in whole.headers["Content-Security-Policy"]
    assert "X-Robots-Tag" not in whole.headers
    part = requests.get(
        film, cookies=cookies(student.user), headers={"Range": "bytes=1-2"}, timeout=30
    )
    assert (part.status_code, part.content) == (206, b"op")
    original = requests.get(
        f"{proxy}/media/{video.pk}/original", cookies=cookies(student.user), timeout=30
    )
    assert original.headers["Content-Disposition"].startswith("attachment")
    assert requests.get(film, cookies=cookies(stranger), timeout=30).status_code == 404
    for hidden in (f"/protected/{video.copy.name}", f"//protected/{video.copy.name}",
                   f"/x/../protected/{video.copy.name}"):  # fmt: skip
        assert requests.get(proxy + hidden, timeout=30).status_code == 404
