"""A worker that dies or falls silent in the middle of a clip: it is measured once, by another."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from celery import Celery
from django.core.files import File

from analysis.models import Measurement, Run
from coaching.supervisor import Child
from tests import factories
from tests.analysis.film import encode
from tests.services.conftest import wait_until
from tests.services.held import noted

StartWorker = Callable[..., Child]


@pytest.fixture
def run(transactional_db: None, tmp_path: Path) -> Run:
    """A measuring run, queued, of two seconds in which nothing moves."""
    still = np.random.default_rng(7).integers(60, 180, (320, 180, 3), np.uint8)
    clip = encode(tmp_path / "clip.mp4", ((k / 30, still) for k in range(60)))
    video = factories.make_video(kind="setup", view="down_the_line")
    with clip.open("rb") as source:
        video.copy.save(clip.name, File(source), save=False)
    video.keep_frame_times(np.arange(60) / 30)
    video.save()
    return factories.make_run(video=video, kind=Run.Kind.MEASURE, status=Run.Status.QUEUED)


def tell(queue: Celery, run: Run) -> None:
    queue.send_task("analysis.tasks.run_task", [run.pk])


def status(run: Run) -> str:
    run.refresh_from_db()
    return run.status


def figures(run: Run) -> int:
    return Measurement.objects.filter(run=run).count()


def test_a_clip_whose_worker_is_killed_is_measured_once_by_another(
    run: Run, queue: Celery, start_worker: StartWorker, held: Path
) -> None:
    first = start_worker()
    tell(queue, run)
    wait_until(lambda: noted(held, "waiting"))
    (dead,) = noted(held, "waiting")
    assert status(run) == Run.Status.RUNNING
    assert figures(run) == 0

    assert first.process is not None
    os.killpg(first.process.pid, signal.SIGKILL)  # the worker and its pool, with no last word
    first.process.wait()
    (held / "go").touch()
    assert noted(held, "finished") == []

    second = start_worker()
    wait_until(lambda: status(run) == Run.Status.DONE)
    (heir,) = noted(held, "finished")
    assert heir != dead
    assert run.result["versions"]["estimator"] == f"held-{heir}"
    assert run.attempts == 2
    stored = figures(run)
    assert stored > 0

    # The dead worker's message comes again: the row says it is done, so nothing is done.
    other = factories.make_run(video=run.video, status=Run.Status.QUEUED, pipeline_version="next")
    tell(queue, run)
    tell(queue, other)  # one task at a time: when this one is done, the one before it is too
    wait_until(lambda: status(other) == Run.Status.DONE)
    assert noted(held, "finished") == [heir, heir]  # the clip once, and the other run
    assert (status(run), run.attempts, figures(run)) == (Run.Status.DONE, 2, stored)
    second.stop()


def test_a_worker_back_from_the_dead_cannot_overwrite(
    run: Run, queue: Celery, start_worker: StartWorker, held: Path, tmp_path: Path
) -> None:
    aside = tmp_path / "aside"
    aside.mkdir()
    # Its heart beats every quarter of its lease: silent here for longer than the test takes.
    first = start_worker(held=aside, lease_s=3600)
    tell(queue, run)
    wait_until(lambda: noted(aside, "waiting"))

    (held / "go").touch()
    start_worker()
    wait_until(lambda: status(run) == Run.Status.DONE)
    (heir,) = noted(held, "finished")
    finished_at, stored = run.finished_at, figures(run)
    assert stored > 0

    (aside / "go").touch()
    wait_until(lambda: noted(aside, "finished") or noted(aside, "stopped"))
    first.stop()  # waits for its task to come to an end
    assert status(run) == Run.Status.DONE
    assert run.result["versions"]["estimator"] == f"held-{heir}"
    assert (run.finished_at, run.attempts, figures(run)) == (finished_at, 2, stored)
