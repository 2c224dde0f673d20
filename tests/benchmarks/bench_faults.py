"""What goes wrong on purpose: killed workers, odd input, hostile films, acts sent many times.

jobs_lost, jobs_doubled: of `JOBS` runs under a worker that is killed again and again, those that
    never ended and those that were stored more than once.
orphans: files that nothing names, and rows whose file is gone, after kills of processes that
    were storing films. uploads_changed: of those films, the ones that are not byte for byte.
silent_clients_stop_site: 1 when 132 silent uploads of one student keep others from an answer.
hostile_files_held: share of built and mutated films that end in words, in memory and in time.
doubled_acts: rows too many when each creating act comes eight times at once.
fuzz_5xx: answers of 5xx to `FUZZ` odd requests of each role.
pain_mail_s: from a report of pain to its email, behind fifty waiting films.

`FAULTS_SCALE` (1) multiplies how often each is tried; the figures of a release are made with 10.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

SCALE = int(os.environ.get("FAULTS_SCALE") or 1)
JOBS, UPLOADS, FUZZ, MUTATED = 20 * SCALE, 20 * SCALE, 1000 * SCALE, 200 * SCALE


def main() -> None:
    with database() as var:
        for name, measure in (
            ("fuzz_5xx", fuzz_5xx),
            ("doubled_acts", doubled_acts),
            ("jobs", jobs),
            ("uploads", uploads),
            ("silent_clients_stop_site", silent_clients),
            ("pain_mail_s", pain_mail),
        ):
            try:
                for line in measure(var):
                    print(f"figure {line}", flush=True)
            except Exception as error:  # noqa: BLE001  the others are still worth having
                print(f"{name} could not be measured: {error!r}", flush=True)
    print(f"figure hostile_files_held {hostile_files_held():.4f} share")


@contextlib.contextmanager
def database() -> Iterator[Path]:
    """A fresh test database, whose rows every process of ours sees."""
    import logging

    import django

    django.setup()
    logging.disable(logging.CRITICAL)  # thousands of refusals are what is wanted here
    from django.conf import settings
    from django.test.runner import DiscoverRunner
    from django.test.utils import setup_test_environment

    setup_test_environment()
    runner = DiscoverRunner(verbosity=0, interactive=False)
    old = runner.setup_databases()
    try:
        yield Path(settings.VAR_DIR)
    finally:
        runner.teardown_databases(old)


def people() -> tuple[Any, Any]:
    from tests import factories

    coach = factories.make_coach(role="owner")
    return coach, factories.make_student(coach=coach)


def fuzz_5xx(var: Path) -> Iterator[str]:
    from tests import odd_input

    coach, student = people()
    odd_input.world(coach, student)
    roles = {"nobody": None, "student": student.user, "coach": coach}
    wrong = odd_input.Fuzz(roles, seed=2).run(FUZZ)
    for answer in wrong[:20]:
        print(f"  {answer.status} {answer.asked}")
    yield f"fuzz_5xx {len(wrong)} answers"


def doubled_acts(var: Path) -> Iterator[str]:
    from tests.test_nothing_left import doubled

    yield f"doubled_acts {sum(doubled(*people()).values())} rows"


_WORK = """
import os, sys, time
os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
import django; django.setup()
from django.conf import settings
settings.RUN_LEASE_SECONDS, settings.RUN_MAX_ATTEMPTS = 1, 1000
settings.DATABASES["default"]["NAME"] = sys.argv[1]
from django.core.files.base import ContentFile
from analysis import files, services
from analysis import work as works
from analysis.models import Run
def work(row, progress):
    name = files.write(row.video.copy, f"{{row.video_id}}.mp4", ContentFile(b"copy"))
    time.sleep(0.02)
    def store(run_row):
        files.put(run_row.video.copy, name)
        run_row.video.repetitions = (run_row.video.repetitions or 0) + 1
        run_row.video.save()
    return {{}}, [name], store
works.WORK.update(dict.fromkeys(works.WORK, work))
services.enqueue = lambda pk, kind: None
{body}
"""
_RUNS = """
while Run.objects.exclude(status__in=["done", "failed"]).exists():
    services.sweep()
    for pk in Run.objects.filter(status="queued").values_list("pk", flat=True): services.run(pk)
    time.sleep(0.1)
"""


def killed_again_and_again(body: str, *, kills: int, done: Any) -> None:
    """Run `body` in a process that is killed at random moments, until `done()`."""
    from django.db import connection

    name = str(connection.settings_dict["NAME"])
    pick = random.Random(3)
    for turn in range(kills + 200):
        script = _WORK.format(body=body)
        with subprocess.Popen([sys.executable, "-c", script, name]) as child:
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(pick.uniform(2.0, 5.0) if turn < kills else 120)
            child.send_signal(signal.SIGKILL)
            child.wait()
        if done():
            return


def jobs(var: Path) -> Iterator[str]:
    from analysis.models import Run, Video
    from tests import factories

    Run.objects.all().delete()
    for _ in range(JOBS):
        factories.make_run(kind="copy", status="queued")
    killed_again_and_again(
        _RUNS, kills=6 * SCALE, done=lambda: not Run.objects.exclude(status="done").exists()
    )
    runs = Run.objects.all()
    stored = Video.objects.filter(runs__in=runs)
    yield f"jobs_lost {runs.exclude(status='done').count()} of_{JOBS}"
    yield f"jobs_doubled {sum((video.repetitions or 0) > 1 for video in stored)} of_{JOBS}"


_FINISH = """
from coaching.intake.models import Upload
from coaching.intake.services import uploads as intake
services.request_run = lambda **told: None
for upload in Upload.objects.filter(finished_at=None): intake.finish_upload(upload=upload, by=None)
"""


def uploads(var: Path) -> Iterator[str]:
    from datetime import timedelta

    from django.core.files.storage import default_storage
    from django.utils import timezone

    from analysis import files
    from analysis.models import LooseFile
    from coaching.intake import upload_buffer
    from coaching.intake.models import Upload
    from coaching.intake.services import uploads as uploads_services
    from tests import factories

    sums: dict[Any, str] = {}
    for number in range(UPLOADS):
        _, student = people()
        angle = factories.make_angle(request=factories.make_request(student=student, angles=0))
        data = random.Random(number).randbytes(300_000)
        upload = uploads_services.create_upload(
            by=student.user, length=len(data), student=student, angle=angle
        )
        lock, _ = upload_buffer.acquire(upload.pk)
        upload_buffer.append(upload.pk, data, lock=lock)
        sums[upload.pk] = hashlib.sha256(data).hexdigest()
    killed_again_and_again(
        _FINISH,
        kills=6 * SCALE,
        done=lambda: not Upload.objects.filter(finished_at=None).exists(),
    )
    LooseFile.objects.update(due_at=timezone.now())
    files.sweep()
    changed = 0
    for upload in Upload.objects.filter(pk__in=sums).select_related("submission__video"):
        with default_storage.open(upload.submission.video.original.name) as file:
            changed += hashlib.sha256(file.read()).hexdigest() != sums[upload.pk]
    later = timezone.now() + timedelta(days=2)
    left = len(list(files.orphans(before=later))) + len(files.missing())
    yield f"uploads_changed {changed} of_{UPLOADS}"
    yield f"orphans {left} files_and_rows"


def silent_clients(var: Path) -> Iterator[str]:
    from django.db import connection

    from coaching.intake.services import uploads as uploads_services
    from coaching.people.services.tokens import make_token
    from tests import factories
    from tests.services import silent

    _, student = people()
    angle = factories.make_angle(request=factories.make_request(student=student, angles=0))
    sent = [
        uploads_services.create_upload(by=student.user, length=10**6, student=student, angle=angle)
        for _ in range(9)
    ]
    token = make_token(user=student.user, name="a phone")[1]
    env = silent.environment(f"sqlite:///{connection.settings_dict['NAME']}", var)
    with silent.web(env, threads=64) as port:
        until = time.monotonic() + 60
        while not silent.answers(port, patience_s=2) and time.monotonic() < until:
            time.sleep(0.2)
        held = [silent.silent_patch(port, sent[k % 9].pk, token) for k in range(132)]
        stopped = not silent.answers(port)
        for sock in held:
            sock.close()
    yield f"silent_clients_stop_site {int(stopped)} of_1"


def pain_mail(var: Path) -> Iterator[str]:
    """Fifty runs keep the workers of films busy; the email goes out beside them."""
    from django.core import mail

    from analysis import work
    from coaching.notify import services as notify
    from coaching.practice.services import stopping
    from tests import factories

    coach, student = people()
    for _ in range(50):
        factories.make_run(kind="measure", status="queued")

    def slow(row: Any, progress: Any) -> Any:
        time.sleep(1)
        return {}, [], lambda run: None

    work.WORK.update(dict.fromkeys(work.WORK, slow))
    films = threading.Thread(target=_work_for, args=(20,), daemon=True)
    films.start()
    begun = time.monotonic()
    stopping.report_pain(student=student, by=student.user, region="hip")
    from django.conf import settings

    every = float(settings.CELERY_BEAT_SCHEDULE["send-notices"]["schedule"])
    time.sleep(every)  # the clock's worst case: the report came just after its turn
    while not any(coach.email in letter.to for letter in mail.outbox):
        notify.send_notices()
    yield f"pain_mail_s {time.monotonic() - begun:.1f} s"


def _work_for(seconds: float) -> None:
    from django.db import connections

    from analysis import services
    from analysis.models import Run

    until = time.monotonic() + seconds
    for pk in Run.objects.filter(status="queued").values_list("pk", flat=True):
        if time.monotonic() > until:
            break
        services.run(pk)
    connections.close_all()


def hostile_files_held() -> float:
    from tests.analysis import hostile

    with tempfile.TemporaryDirectory(prefix="causeway-bench-") as folder:
        paths = [make(Path(folder) / name) for name, make in hostile.built()]
        source = hostile.SMALL.read_bytes()
        for seed in range(MUTATED):
            path = Path(folder) / f"mutated-{seed}.mp4"
            path.write_bytes(hostile.mutated(source, seed=seed))
            paths.append(path)
        held, wrong = hostile.look_at(paths)
        for line in wrong:
            print(f"  {line}")
        return held / len(paths)
