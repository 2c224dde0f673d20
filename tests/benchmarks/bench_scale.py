"""Pages of a full studio on PostgreSQL, and how measuring grows with processes.

waiting_p95_ms, thread_p95_ms, progress_p95_ms: 95 of 100 answers came within, as a client sees it,
    when ten requests a second of the three kinds come beside each other. `_queries` and `_kb` are
    those of one page; `_cpu_ms` its Python and `_sql_ms` its database, the least of five tries:
    these say something on a busy machine too.
worker_scaling: clips in a second by two processes over those by one, decoding left out, with one
    thread each (`MEASURE_THREADS`; two threads of one process fill two cores by themselves). Only
    on a machine that does nothing else.

`SCALE_STUDENTS` (200) in studios of a hundred, each with 20 submissions of which 2 wait; the
figures of a release are made with 10000, and `SCALE_SECONDS` (10) with 60. `SCALE_RATE` (10) is how
many requests come in a second. Starts a PostgreSQL of its own unless `DATABASE_URL` names one;
`SCALE_KEEP` names a folder for its rows, which the next run finds there and brings to the newest
migration, so that only the pages are measured.
"""

from __future__ import annotations

import contextlib
import http.client
import os
import random
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

STUDENTS = int(os.environ.get("SCALE_STUDENTS") or 200)
SECONDS = int(os.environ.get("SCALE_SECONDS") or 10)
PER_STUDIO, CLIPS, WAITING = 100, 20, 2
A_SECOND = int(os.environ.get("SCALE_RATE") or 10)
KEEP = os.environ.get("SCALE_KEEP", "")
STRIDE = 1000  # numbers kept free between the rows of one student and of the next
ROOT = Path(__file__).resolve().parents[2]
CLIP = ROOT / "coaching" / "demo" / "clips" / "baseline_dtl.mp4"


def main() -> None:
    with postgres() as url:
        if url is None:
            print("The pages could not be measured: there is no PostgreSQL on this machine.")
        else:
            os.environ["DATABASE_URL"] = url
            pages()
    if os.environ.get("SCALE_WORKERS", "1") == "1":
        worker_scaling()


def figure(name: str, value: float, unit: str) -> None:
    print(f"figure {name} {value:.4g} {unit}", flush=True)


# A database of its own


@contextlib.contextmanager
def postgres() -> Iterator[str | None]:
    """The address of a server: the one that is named, else one that is started here."""
    if os.environ.get("DATABASE_URL", "").startswith("postgres"):
        yield os.environ["DATABASE_URL"]
        return
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))
    where = found[-1] if found else Path(shutil.which("initdb") or "/nowhere/x").parent
    if not (where / "initdb").exists():
        yield None
        return
    with contextlib.ExitStack() as stack:
        if KEEP:
            folder = str(Path(KEEP).resolve())
            Path(folder).mkdir(parents=True, exist_ok=True)
        else:
            folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="causeway-scale-"))
        become: list[str] = []
        if os.getuid() == 0:  # PostgreSQL refuses to run as root
            shutil.chown(folder, "postgres")
            become = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]
        data = f"{folder}/data"
        made = [*become, where / "initdb", "-D", data, "-U", "causeway", "--auth=trust"]
        made += ["--encoding=UTF8", "--locale=C.UTF-8", "--no-sync"]
        if not Path(data).exists():
            subprocess.run(made, check=True, stdout=subprocess.DEVNULL, cwd=folder)
        # As small as a machine with two cores has it; what is measured is read, not written.
        told = [*become, where / "postgres", "-D", data, "-k", folder, "-h", "", "-c", "fsync=off"]
        told += ["-c", "shared_buffers=512MB", "-c", "max_wal_size=4GB"]
        with (Path(folder) / "log").open("wb") as log:
            server = subprocess.Popen(told, stdout=log, stderr=log, cwd=folder)
            try:
                until = time.monotonic() + 60
                while not (Path(folder) / ".s.PGSQL.5432").exists():
                    assert time.monotonic() < until and server.poll() is None, "no PostgreSQL"
                    time.sleep(0.2)
                yield f"postgres://causeway@/causeway?host={folder}"
            finally:
                server.terminate()
                server.wait(60)


def pages() -> None:
    import logging

    import django

    django.setup()
    logging.disable(logging.WARNING)
    from django.test.runner import DiscoverRunner
    from django.test.utils import setup_test_environment

    setup_test_environment()
    runner = DiscoverRunner(verbosity=0, interactive=False, keepdb=bool(KEEP))
    old = runner.setup_databases(serialized_aliases=set())
    try:
        measure_pages()
    finally:
        runner.teardown_databases(old)


# Rows: one student by hand, all others by the database


def fill() -> list[Any]:
    """Studios with their students; the coaches."""
    from django.core.management.color import no_style
    from django.db import connection

    from coaching.people.services.record import rows_of
    from tests import factories
    from tests.coaching.practice import making

    studios = [factories.make_studio() for _ in range(-(-STUDENTS // PER_STUDIO))]
    coaches = [factories.make_coach(studio=studio, role="owner") for studio in studios]
    drills = [making.make_drill(studio=studio) for studio in studios]
    student = factories.make_student(coach=coaches[0], studio=studios[0])
    assert student.user is not None
    template(student, drills[0])
    found = {model: sorted(rows) for model, rows in rows_of(student).items()}
    user = type(student.user)
    found[user] = [student.user_id]
    mails = student.user.emailaddress_set.values_list("pk", flat=True)
    found[student.user.emailaddress_set.model] = list(mails)
    shared = {type(row) for row in (studios[0], drills[0], drills[0].drill)}
    with connection.cursor() as cursor:
        cursor.execute("SET statement_timeout = 0; SET session_replication_role = replica")
        for model in list(found):
            for many in model._meta.many_to_many:
                through = many.remote_field.through
                if through._meta.auto_created and model is not user:
                    near = {f"{many.m2m_field_name()}__in": found[model]}
                    links = through.objects.filter(**near).values_list("pk", flat=True)
                    found[through] = sorted(links)
        for model, pks in found.items():
            if pks:
                cursor.execute(copies(model, pks, found, shared, student.user_id))
        for sql in connection.ops.sequence_reset_sql(no_style(), list(found)):
            cursor.execute(sql)
        cursor.execute("RESET session_replication_role; RESET statement_timeout")
        cursor.execute("VACUUM ANALYZE")
    return coaches


def template(student: Any, drill: Any) -> None:
    """Twenty submissions: nine answers to two each, with findings and a drill; two that wait."""
    from django.utils import timezone

    from coaching.lessons import services as lessons
    from coaching.review.models import Review
    from tests import factories
    from tests.coaching.practice import making

    def clip() -> Any:
        row = factories.make_submission(student=student, video=factories.make_video())
        row.video.copy.name, row.video.still.name = "copy/a.mp4", "still/a.jpg"
        row.video.save()
        factories.make_measured(row, making.UPRIGHT)
        said = {"student": student, "author": student.user, "submission": row.pk}
        lessons.record(kind="sent", text="I catch it thin.", **said)
        lessons.record(kind="ready", **said)
        return row

    for number in range((CLIPS - WAITING) // 2):
        clips = [clip(), clip()]
        review = Review.objects.create(
            student=student, coach=student.coach, text="Turn more, then let it go." * 4
        )
        review.submissions.set(clips)
        making.make_finding(review=review, text=f"your hips barely turn {number}")
        if number == 0:
            making.make_assignment(review=review, drill=drill, opened=False)
        now = timezone.now()
        Review.objects.filter(pk=review.pk).update(published_at=now)
        for row in clips:
            type(row).objects.filter(pk=row.pk).update(answered_at=now)
        told = {"student": student, "author": student.coach, "text": review.text}
        lessons.record(kind="reviewed", review=review.pk, **told)
        lessons.send_message(student=student, author=student.user, text=f"Thank you, {number}.")
    student.assignments.update(opened_at=timezone.now())
    for _ in range(WAITING):
        clip()


def copies(model: Any, pks: list[int], found: Any, shared: set[Any], account: int) -> str:
    """The statement that writes a row of every other student for each row of the first."""
    from django.db.models import DateTimeField, EmailField, ForeignKey, JSONField

    assert max(pks) < STRIDE, model
    user = next(m for m in found if m._meta.label_lower == "people.user")
    columns, values = [], []
    for field in model._meta.concrete_fields:
        column = f't."{field.column}"'
        other = field.related_model if isinstance(field, ForeignKey) else None
        value = column
        if other is user:
            value = f"CASE WHEN {column} = {account} THEN {column} + k * {STRIDE}"
            value += f" ELSE {column} + k / {PER_STUDIO} END"
        elif other in shared:
            value = f"{column} + k / {PER_STUDIO}"
        elif other in found or (field.primary_key and other is None):
            value = f"{column} + k * {STRIDE}"
        elif isinstance(field, DateTimeField):
            value = f"{column} - make_interval(hours => k % 72)"
        elif isinstance(field, EmailField):
            value = "'s' || k || '@example.org'"
        elif model._meta.label_lower == "people.student" and field.name == "name":
            value = "'Student ' || k"
        elif isinstance(field, JSONField) and field.name == "refs":
            moved = f"to_jsonb(value::text::bigint + k * {STRIDE})"
            value = f"CASE jsonb_typeof(value) WHEN 'number' THEN {moved} ELSE value END"
            value = f"(SELECT coalesce(jsonb_object_agg(key, {value}), jsonb_build_object())"
            value += f" FROM jsonb_each({column}))"
        columns.append(f'"{field.column}"')
        values.append(value)
    key = model._meta.pk.column
    return (
        f'INSERT INTO "{model._meta.db_table}" ({", ".join(columns)}) SELECT {", ".join(values)} '  # noqa: S608
        f'FROM "{model._meta.db_table}" t, generate_series(1, {STUDENTS - 1}) k '
        f'WHERE t."{key}" IN ({", ".join(map(str, pks))})'
    )


# Requests


def measure_pages() -> None:
    from django.conf import settings
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    from coaching.intake.models import Submission
    from coaching.people.models import Student, User

    began = time.monotonic()
    coaches = list(User.objects.filter(memberships__role="owner").order_by("pk")) or fill()
    figure("students", Student.objects.count(), "rows")
    figure("submissions", Submission.objects.count(), "rows")
    figure("fill_s", time.monotonic() - began, "s")

    def session(user: User) -> str:
        store = SessionStore()
        store[SESSION_KEY] = str(user.pk)
        store[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
        store[HASH_SESSION_KEY] = user.get_session_auth_hash()
        store.save()
        return str(store.session_key)

    chance = random.Random(5)
    ways: dict[str, list[tuple[str, str]]] = {"waiting": [], "thread": [], "progress": []}
    keys = {coach.pk: session(coach) for coach in chance.sample(coaches, min(30, len(coaches)))}
    for student in Student.objects.filter(coach__in=keys).order_by("pk")[:: max(1, STUDENTS // 60)]:
        assert student.user is not None and student.coach_id is not None
        ways["waiting"].append((keys[student.coach_id], "/waiting/"))
        ways["thread"].append((keys[student.coach_id], f"/students/{student.pk}/thread/"))
        ways["progress"].append((session(student.user), f"/students/{student.pk}/progress/"))
    for name, some in ways.items():
        key, path = some[0]
        client = Client()
        client.cookies[settings.SESSION_COOKIE_NAME] = key
        client.get(path)  # templates are read once
        cpu, sql = [], []
        for _ in range(5):
            began = time.process_time()
            with CaptureQueriesContext(connection) as told:
                answer = client.get(path)
            cpu.append(1000 * (time.process_time() - began))
            sql.append(1000 * sum(float(query["time"]) for query in told))
        assert answer.status_code == 200, (path, answer.status_code)
        figure(f"{name}_queries", len(told), "queries")
        figure(f"{name}_kb", len(answer.content) / 1000, "kB")
        figure(f"{name}_cpu_ms", min(cpu), "ms")
        figure(f"{name}_sql_ms", min(sql), "ms")
    with web(connection.settings_dict["NAME"]) as port:
        for name, times in under_load(port, ways).items():
            figure(f"{name}_p95_ms", statistics.quantiles(times, n=20)[-1], "ms")
            figure(f"{name}_p50_ms", statistics.median(times), "ms")
    figure("load_average", os.getloadavg()[0], "processes")


@contextlib.contextmanager
def web(name: str) -> Iterator[int]:
    """Four processes as in production, on the database that was filled."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    url = os.environ["DATABASE_URL"]
    head, _, host = url.partition("?")
    dropped = {"SECRET_KEY", "REDIS_URL"}
    env = {k: v for k, v in os.environ.items() if k not in dropped} | {
        "DJANGO_SETTINGS_MODULE": "coaching.settings",
        "DATABASE_URL": f"{head.rpartition('/')[0]}/{name}?{host}",
        "VAR_DIR": os.environ["CAUSEWAY_TEST_DIR"],
        "LOG_LEVEL": "WARNING",
    }
    command = "-m gunicorn coaching.wsgi --worker-class gthread --workers 4 --threads 16"
    command += f" --no-control-socket --log-level warning --bind 127.0.0.1:{port}"
    server = subprocess.Popen([sys.executable, *command.split()], cwd=ROOT, env=env)
    try:
        until = time.monotonic() + 120
        while True:
            try:
                if fetched(port, "", "/healthz") is not None:
                    break
            except OSError:
                assert time.monotonic() < until, "the web process did not start"
                time.sleep(0.3)
        yield port
    finally:
        server.terminate()
        server.wait(30)


def fetched(port: int, key: str, path: str) -> float:
    """How many milliseconds the whole answer took."""
    began = time.perf_counter()
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        link.request("GET", path, headers={"Cookie": f"sessionid={key}"})
        answer = link.getresponse()
        answer.read()
        assert answer.status == 200, (path, answer.status)
    finally:
        link.close()
    return 1000 * (time.perf_counter() - began)


def under_load(port: int, ways: dict[str, list[tuple[str, str]]]) -> dict[str, list[float]]:
    """Ten requests a second whether or not the ones before are answered, kind after kind."""
    times: dict[str, list[float]] = {name: [] for name in ways}
    threads = []
    for _ in range(12):  # all processes have read their templates
        for some in ways.values():
            fetched(port, *some[0])

    def ask(name: str, key: str, path: str) -> None:
        times[name].append(fetched(port, key, path))

    names, began = list(ways), time.monotonic()
    for n in range(SECONDS * A_SECOND):
        name = names[n % len(names)]
        some = ways[name]
        thread = threading.Thread(target=ask, args=(name, *some[(n // len(names)) % len(some)]))
        time.sleep(max(0.0, began + n / A_SECOND - time.monotonic()))
        thread.start()
        threads.append(thread)
    for thread in threads:
        thread.join()
    return times


# Processes


MEASURE = """
import os, sys, time
sys.path.insert(0, {root!r})
os.environ["DJANGO_SETTINGS_MODULE"] = "coaching.settings"
import json, subprocess
from django.core.management import call_command
import django; django.setup()
spent = 0.0
for n in range(2):
    out = {out!r} + f"/{{os.getpid()}}-{{n}}.json"
    call_command("analyze", {clip!r}, "--view", "down_the_line", "--handedness", "right",
                 "--stature-cm", "180", "--json", out)
    seconds = json.load(open(out))["seconds"]
    spent += seconds["total"] - seconds["decode"]
print(spent)
"""


def worker_scaling() -> None:
    """Two clips by each of one process, then of two at once; longer than alone is lost."""
    load = os.getloadavg()[0]
    if load > 0.5 and not os.environ.get("SCALE_BUSY"):
        print(f"worker_scaling could not be measured: the machine is busy (load {load:.1f}).")
        return
    with tempfile.TemporaryDirectory() as out:
        alone = max(spent(1, out))
        together = max(spent(2, out))
    figure("worker_scaling", 2 * alone / together, "ratio")


def spent(processes: int, out: str) -> list[float]:
    script = MEASURE.format(root=str(ROOT), clip=str(CLIP), out=out)
    env = os.environ | {"OMP_NUM_THREADS": "1", "MEASURE_THREADS": "1"}
    running = [
        subprocess.Popen(
            [sys.executable, "-c", script], cwd=ROOT, env=env, stdout=subprocess.PIPE, text=True
        )
        for _ in range(processes)
    ]
    return [float(child.communicate()[0].splitlines()[-1]) for child in running]
