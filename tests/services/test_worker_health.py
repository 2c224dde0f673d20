"""The health check of a worker's container."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable

from django.conf import settings

from coaching.supervisor import Child
from tests.services.conftest import wait_until


def health(broker: str, *name: str) -> subprocess.CompletedProcess[str]:
    """The command as the container runs it."""
    told = {"DJANGO_SETTINGS_MODULE": "coaching.settings", "REDIS_URL": broker}
    return subprocess.run(
        [sys.executable, "manage.py", "worker_health", *name, "--timeout", "2"],
        cwd=settings.BASE_DIR,
        env=os.environ | told | {"VAR_DIR": str(settings.VAR_DIR)},
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_worker_that_lives_is_healthy_and_a_killed_one_is_not(
    broker: str, start_worker: Callable[..., Child]
) -> None:
    worker = start_worker()
    wait_until(lambda: health(broker).returncode == 0)
    assert "worker0@" in health(broker, "worker0").stdout
    assert "No worker films@" in health(broker, "films").stderr  # another's name
    assert worker.process is not None
    os.killpg(worker.process.pid, signal.SIGKILL)
    worker.process.wait()
    done = health(broker)
    assert done.returncode == 1 and "answers." in done.stderr


def test_a_broker_that_is_away_is_one_sentence() -> None:
    done = health("redis+socket:///nowhere/broker.sock")
    assert done.returncode == 1 and "The broker does not answer." in done.stderr
