"""A real broker and real worker processes on the test database."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import quote

import pytest
from celery import Celery
from django.conf import settings
from django.db import connection

from coaching.serve import broker_command, socket_path
from coaching.supervisor import Child, supervised

LEASE_S = 2


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.services)


def wait_until(condition: Callable[[], object], *, patience_s: float = 60.0) -> None:
    until = time.monotonic() + patience_s
    while not condition():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.2)


def database_url() -> str:
    """The test database as a worker process names it."""
    told = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{told['NAME']}"
    who = quote(told["USER"]) + (f":{quote(told['PASSWORD'])}" if told["PASSWORD"] else "")
    host = told["HOST"] or told["OPTIONS"].get("host", "")  # a socket's folder comes as an option
    return f"postgres://{who}@/{told['NAME']}?host={host}"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[str]:
    """The URL of a broker: the one of `REDIS_URL`, else an embedded one of our own."""
    given = os.environ.get("REDIS_URL")
    if given:
        yield given
        return
    with socket_path(tmp_path) as path, supervised() as children:
        children.append(Child("broker", broker_command(path)))
        children[0].start()
        wait_until(path.exists)
        yield f"redis+socket://{path}"


@pytest.fixture
def queue(broker: str) -> Celery:
    """Sends tasks by name, as another process would."""
    app = Celery(broker=broker)
    app.conf.task_default_queue = settings.CELERY_TASK_DEFAULT_QUEUE
    return app


@pytest.fixture
def held(tmp_path: Path) -> Path:
    """The folder through which `HeldEstimator` is watched and let go."""
    folder = tmp_path / "held"
    folder.mkdir()
    return folder


@pytest.fixture
def start_worker(transactional_db: None, broker: str, held: Path) -> Iterator[Callable[..., Child]]:
    """`start_worker(held=..., lease_s=...)`: one more worker with beat, one task at a time."""
    env = os.environ | {
        "DJANGO_SETTINGS_MODULE": "coaching.settings",
        "DATABASE_URL": database_url(),
        "REDIS_URL": broker,
        "VAR_DIR": str(settings.VAR_DIR),
        "ESTIMATOR": "tests.services.held.HeldEstimator",
    }
    command = [sys.executable, "-m", "celery", "--quiet", "--app", "coaching.celery", "worker"]
    command += ["--concurrency", "1", "--loglevel", "WARNING", "--without-gossip"]
    command += ["--without-mingle", "--beat"]
    with supervised() as children:

        def start(*, held: Path = held, lease_s: int = LEASE_S) -> Child:
            number = len(children)
            schedule = str(held / f"schedule-{number}")
            name = ["--hostname", f"worker{number}@%h", "--schedule", schedule]
            told = {"HELD": str(held), "RUN_LEASE_SECONDS": str(lease_s)}
            child = Child(f"worker {number}", [*command, *name], env=env | told, grace_s=10)
            child.start()
            children.append(child)
            return child

        yield start
