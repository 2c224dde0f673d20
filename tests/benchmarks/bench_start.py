"""How soon a second start answers, and what the waiting list asks of the database.

second_start_s: from starting `coaching.serve` on a database that exists to a 200 of /healthz.
inbox_queries_10, inbox_queries_1000: queries of the coach's page with so many measured clips.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 60.0


def main() -> None:
    with tempfile.TemporaryDirectory(prefix="causeway-bench-") as folder:
        env = environment(folder)
        make_database(env)
        start_and_stop(env)
        print(f"figure second_start_s {start_and_stop(env):.2f} s")
    for rows, queries in inbox_queries(10, 1000).items():
        print(f"figure inbox_queries_{rows} {queries} queries")


def environment(folder: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name not in {"REDIS_URL", "HTTPS"}}
    models = os.environ.get("MODELS_DIR") or str(ROOT / "var" / "models")
    ours = {"DJANGO_SETTINGS_MODULE": "coaching.settings", "VAR_DIR": folder}
    return kept | ours | {"MODELS_DIR": models}


def make_database(env: dict[str, str]) -> None:
    """A database that is in use: with a studio in it, no demo is made at the first start."""
    studio = (
        "from coaching.people.models import Studio; Studio.objects.create(name='One', slug='one')"
    )
    for text in (["migrate", "--verbosity", "0"], ["shell", "--verbosity", "0", "-c", studio]):
        subprocess.run([sys.executable, "manage.py", *text], cwd=ROOT, env=env, check=True)


def start_and_stop(env: dict[str, str]) -> float:
    """Seconds until the app answers."""
    port = free_port()
    began = time.monotonic()
    serve = subprocess.Popen(
        [sys.executable, "-m", "coaching.serve"],
        cwd=ROOT,
        env=env | {"PORT": str(port)},
        stdout=subprocess.DEVNULL,
    )
    try:
        wait_for_200(f"http://127.0.0.1:{port}/healthz", serve)
        return time.monotonic() - began
    finally:
        serve.send_signal(signal.SIGINT)
        serve.wait()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for_200(url: str, serve: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until and serve.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=2) as answer:
                if answer.status == 200:
                    return
        except OSError:  # nobody listens yet, or nobody answers yet
            pass
        time.sleep(0.05)
    raise RuntimeError(f"No answer from {url}; exit code {serve.poll()}.")


def inbox_queries(*sizes: int) -> dict[int, int]:
    """Queries of one page view, by the number of measured clips that wait for the coach."""
    import django

    django.setup()
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext, setup_test_environment
    from django.urls import reverse

    from tests import factories

    setup_test_environment()
    connection.creation.create_test_db(verbosity=0, serialize=False)
    coach = factories.make_coach(role="owner")
    students = [factories.make_student(coach=coach) for _ in range(10)]
    client = Client()
    client.force_login(coach)
    counted, made = {}, 0
    for size in sizes:
        for number in range(made, size):
            clip = factories.make_submission(student=students[number % 10])
            factories.make_measured(clip, {("trunk_tilt_deg", "address"): (36.0, 1.5)})
        made = size
        with CaptureQueriesContext(connection) as queries:
            answer = client.get(reverse("waiting"))
        if answer.status_code != 200:
            raise RuntimeError(f"The waiting list answered {answer.status_code}.")
        counted[size] = len(queries)
    connection.creation.destroy_test_db(None, verbosity=0)
    return counted


if __name__ == "__main__":
    main()
