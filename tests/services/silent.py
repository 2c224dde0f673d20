"""A web server with few threads, and clients that promise bytes and never send them."""

from __future__ import annotations

import http.client
import os
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from coaching.supervisor import Child, supervised


@contextmanager
def web(env: dict[str, str], *, threads: int) -> Iterator[int]:
    """A gunicorn process as `make run` starts it, on a free port."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(256)
        command = [
            sys.executable,
            *["-m", "gunicorn", "coaching.wsgi", "--worker-class", "gthread"],
        ]
        command += ["--bind", f"fd://{listener.fileno()}", "--workers", "1"]
        command += ["--threads", str(threads), "--log-level", "warning", "--no-control-socket"]
        with supervised() as children:
            child = Child("web", command, env=env, pass_fds=[listener.fileno()], grace_s=5)
            child.start()
            children.append(child)
            yield listener.getsockname()[1]


def environment(database_url: str, var: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name != "SECRET_KEY"}
    return kept | {
        "DJANGO_SETTINGS_MODULE": "coaching.settings",
        "DATABASE_URL": database_url,
        "VAR_DIR": str(var),
        "REDIS_URL": f"redis+socket://{var}/none.sock",
    }


def answers(port: int, *, patience_s: float = 20.0) -> bool:
    """Whether the site answers anybody else."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=patience_s)
    try:
        connection.request("GET", "/login/")
        return connection.getresponse().status == 200
    except OSError:
        return False
    finally:
        connection.close()


def silent_patch(port: int, upload: Any, token: str) -> socket.socket:
    """A PATCH whose headers promise a megabyte that never comes."""
    sock = socket.create_connection(("127.0.0.1", port), timeout=20)
    sock.sendall(
        f"PATCH /uploads/{upload} HTTP/1.1\r\nHost: localhost\r\nTus-Resumable: 1.0.0\r\n"
        f"Authorization: Token {token}\r\nUpload-Offset: 0\r\nContent-Length: 1000000\r\n"
        "Content-Type: application/offset+octet-stream\r\n\r\n".encode()
    )
    return sock
