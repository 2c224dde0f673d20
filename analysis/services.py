"""Runs: asked for, claimed, computed, stored. The row is the truth, the queue a hint.

Decoding and arithmetic happen outside any transaction; what came out is stored in one
short one, and only if the closing move still holds its claim.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import logging
import threading
import time
import uuid
from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any, Protocol

from django.conf import settings
from django.db import DatabaseError, OperationalError, connection, transaction
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone
from django.utils.module_loading import import_string
from kombu.exceptions import OperationalError as BrokerAway

from analysis import PIPELINE_VERSION, files, logs, sweeping
from analysis.errors import (
    AnalysisError,
    MediaErased,
    StorageAway,
    StorageFull,
    TooHeavy,
)
from analysis.models import Run, Video
from analysis.outcome import Progress, Store

logger = logging.getLogger(__name__)
# For so long after a clip came, a storage that is away costs no attempt.
STORAGE_PATIENCE = timedelta(days=2)


class ClaimLost(Exception):
    """Another worker has taken the run over; stop quietly."""


class RunListener(Protocol):
    def __call__(self, *, run: Run) -> object: ...


# Called with a run that is over, inside its closing transaction; filled the same way.
on_run_closed: list[RunListener] = []


class Permission(Protocol):
    def __call__(self, *, video: Video) -> bool: ...


class MediaListener(Protocol):
    def __call__(self, *, video: Video) -> object: ...


# Called with a clip whose files are let go, inside the same transaction; filled by apps that
# keep something of it elsewhere, when they are ready.
on_media_erased: list[MediaListener] = []

# Each says whether a clip may be measured: its golfer may not want it.
may_measure: list[Permission] = []


def request_run(
    *, video: Video, kind: str, options: dict[str, Any] | None = None, background: bool = False
) -> Run:
    """Ask for a run, once per video, kind, version and options; queue it on commit.

    One in the `background` is left to the sweep, which takes it up when nothing else waits.
    """
    options = options or {}
    key = (
        hashlib.sha256(json.dumps(options, sort_keys=True).encode()).hexdigest() if options else ""
    )
    run, made = Run.objects.get_or_create(
        video=video,
        kind=kind,
        pipeline_version=PIPELINE_VERSION,
        options_key=key,
        defaults={"options": options, "background": background},
    )
    if made and not background:
        transaction.on_commit(partial(enqueue, run.pk, kind))
    return run


def request_measuring(*, video: Video, background: bool = False) -> Run | None:
    """Ask for the measuring of a clip, unless somebody does not allow it."""
    if not all(allows(video=video) for allows in may_measure):
        return None
    return request_run(video=video, kind=Run.Kind.MEASURE, background=background)


def remeasure_old(*, limit: int | None = None) -> int:
    """Ask in the background for every clip that an earlier pipeline measured; how many.

    Figures of different versions are never compared, so that until then an old clip stands
    outside of lines and comparisons.
    """
    asked = Run.objects.filter(kind=Run.Kind.MEASURE, pipeline_version=PIPELINE_VERSION)
    old = (
        Video.objects.filter(Exists(Run.objects.measured().filter(video=OuterRef("pk"))))
        .exclude(Exists(asked.filter(video=OuterRef("pk"))))
        .exclude(copy="")
        .filter(erased_at=None)
        .order_by("-pk")  # what is looked at most comes first
    )
    asked_now = [request_measuring(video=video, background=True) for video in old[:limit]]
    return sum(run is not None for run in asked_now)


def enqueue(pk: int, kind: str) -> None:
    """Tell the queue. A broker that is away loses nothing: `sweep` tells it again.

    Checks have a queue of their own: nobody waits for another's measuring to hear that
    a film can be used. So have renders: a film of what was said waits for no clip, and none for it.
    """
    run_task = import_string("analysis.tasks.run_task")  # the task module imports this one
    try:
        run_task.apply_async(args=[pk], retry=False, queue=queue_of(kind))
    except (BrokerAway, OSError):
        logger.warning("The broker is away; run %s stays queued for the sweep.", pk)


def queue_of(kind: str) -> str:
    return {Run.Kind.CHECK: "checks", Run.Kind.RENDER: "renders"}.get(Run.Kind(kind), "films")


def retry_run(*, run: Run) -> bool:
    """A person tries a failed run again, with its attempts counted from nothing."""
    moved = _move(
        run.pk,
        source=Run.Status.FAILED,
        target=Run.Status.QUEUED,
        attempts=0,
        error_code="",
        progress=0.0,
        queued_at=timezone.now(),
    )
    if moved:
        transaction.on_commit(partial(enqueue, run.pk, run.kind))
    return moved


def run(pk: int) -> bool:
    """Claim run `pk`, compute it and store the outcome; True when this call closed it.

    A row that vanished or a second delivery is a quiet no-op.
    """
    with logs.at_work_on(run=pk):
        return _run(pk)


def _run(pk: int) -> bool:
    from analysis.work import WORK  # it asks for the next run through this module

    claim = uuid.uuid4()
    now = timezone.now()
    claimed = _move(
        pk,
        source=Run.Status.QUEUED,
        target=Run.Status.RUNNING,
        set_claim=claim,
        heartbeat_at=now,
        started_at=now,
        attempts=F("attempts") + 1,
        progress=0.0,
    )
    if not claimed:
        return False
    row = Run.objects.select_related("video").get(pk=pk)
    names: list[str] = []
    try:
        if row.video.erased_at:
            raise MediaErased(f"video {row.video_id}")
        with _heartbeat(pk, claim) as progress:
            result, names, store = WORK[Run.Kind(row.kind)](row, progress)
        return _close(row, claim, Run.Status.DONE, store=store, result=result, progress=1.0)
    except ClaimLost:
        return False
    except AnalysisError as error:
        return _set_back(row, claim, error)
    except MemoryError as error:
        return _set_back(row, claim, TooHeavy(str(error)))
    except OperationalError:  # the database is locked or away: the sweep takes it up again
        raise
    except Exception as error:
        if (away := files.trouble(error)) is not None:
            return _set_back(row, claim, away)
        # The task's soft limit names itself; anything else is a mistake of ours.
        late = type(error).__name__ == "SoftTimeLimitExceeded"
        _close(row, claim, Run.Status.FAILED, error_code="timed_out" if late else "internal")
        raise
    finally:
        for name in names:  # what no row has come to name goes again
            files.discard(name)


def beat_path() -> Path:
    """A file that is as old as the last time a worker heard the clock."""
    return Path(settings.VAR_DIR) / "last-beat"


def sweep() -> int:
    """Queue again what a dead worker left running and what the queue forgot.

    Returns
    -------
    int
        How many runs were told to the queue.
    """
    beat_path().touch()
    stale = timezone.now() - timedelta(seconds=settings.RUN_LEASE_SECONDS)
    silent = Run.objects.filter(status=Run.Status.RUNNING, heartbeat_at__lt=stale)
    sweeping.each(list(silent), partial(_take_back, queued_at=stale), what="A silent run")
    waiting = Run.objects.filter(status=Run.Status.QUEUED, queued_at__lte=stale, background=False)
    told = dict(waiting.order_by("pk").values_list("pk", "kind")[:100])
    told = told or _one_in_background(stale)
    # Told once per lease, or a long queue would be told over and over.
    Run.objects.filter(pk__in=list(told), status=Run.Status.QUEUED).update(queued_at=timezone.now())
    return sweeping.each(told, lambda pk: enqueue(pk, told[pk]), what="A run that waits")


def _take_back(row: Run, *, queued_at: datetime) -> None:
    """A worker fell silent over `row`. When that happens every time, the clip did it."""
    if row.attempts >= settings.RUN_MAX_ATTEMPTS:
        _close(row, row.claim, Run.Status.FAILED, error_code=TooHeavy.code)
        return
    _move(
        row.pk,
        source=Run.Status.RUNNING,
        target=Run.Status.QUEUED,
        claim=row.claim,
        queued_at=queued_at,
    )


def _one_in_background(stale: datetime) -> dict[int, str]:
    """One run of the background, when nothing else waits or runs; told once per lease."""
    busy = Q(status=Run.Status.RUNNING) | Q(status=Run.Status.QUEUED, background=False)
    if Run.objects.filter(busy).exists():
        return {}
    idle = Run.objects.filter(status=Run.Status.QUEUED, background=True)
    first = idle.order_by("pk").first()
    return {first.pk: first.kind} if first is not None and first.queued_at <= stale else {}


@transaction.atomic
def erase_media(*, video: Video) -> None:
    """Remove every file of a clip for good; rows and figures without pictures stay.

    The files go when the transaction has committed: what fails on the way loses nothing.
    May be called again after a crash: what is gone already is no trouble. A worker that
    still holds the clip stores nothing, because its closing move looks at `erased_at`.
    """
    Video.objects.filter(pk=video.pk, erased_at__isnull=True).update(erased_at=timezone.now())
    video.refresh_from_db()
    for file in (video.original, video.copy, video.still):
        files.let_go(str(file.name or ""))
    for run_row in video.runs.exclude(artifact=""):
        files.let_go(str(run_row.artifact.name))
    video.runs.exclude(artifact="").update(artifact="")
    video.original, video.copy, video.still = "", "", ""
    video.save(update_fields=["original", "copy", "still"])
    for follow in on_media_erased:
        follow(video=video)


def _move(
    pk: int,
    *,
    source: str,
    target: str,
    claim: uuid.UUID | None = None,
    set_claim: uuid.UUID | None = None,
    **fields: Any,
) -> bool:
    """The only writer of `Run.status`: one conditional UPDATE whose row count decides."""
    if target not in Run.NEXT[Run.Status(source)]:
        raise ValueError(f"{source} cannot become {target}")
    rows = Run.objects.filter(pk=pk, status=source)
    if claim is not None:  # a worker back from the dead holds a stale claim
        rows = rows.filter(claim=claim)
    if set_claim is not None:
        fields["claim"] = set_claim
    return rows.update(status=target, **fields) == 1


@transaction.atomic
def _close(
    row: Run, claim: uuid.UUID | None, target: str, *, store: Store | None = None, **fields: Any
) -> bool:
    """Close a run and, only if that move won, store its outcome and tell who listens.

    Raises
    ------
    MediaErased
        When the clip's files were erased while the worker held it; nothing is stored.
    """
    won = _move(
        row.pk,
        source=Run.Status.RUNNING,
        target=target,
        claim=claim,
        finished_at=timezone.now(),
        **fields,
    )
    if not won:
        return False
    row.refresh_from_db()
    if store is not None:
        if Video.objects.select_for_update().get(pk=row.video_id).erased_at:
            raise MediaErased(f"video {row.video_id}")
        store(row)
    for listener in on_run_closed:
        listener(run=row)
    return True


def _set_back(row: Run, claim: uuid.UUID, error: AnalysisError) -> bool:
    """A known trouble: for good, or worth another attempt by the sweep."""
    patient = isinstance(error, StorageAway | StorageFull) and (
        timezone.now() - row.video.created_at < STORAGE_PATIENCE
    )
    if error.permanent or (row.attempts >= settings.RUN_MAX_ATTEMPTS and not patient):
        return _close(row, claim, Run.Status.FAILED, error_code=error.code)
    logger.warning("Run %s waits for another try: %s", row.pk, error.code)
    spent = row.attempts - 1 if patient else row.attempts
    _move(
        row.pk,
        source=Run.Status.RUNNING,
        target=Run.Status.QUEUED,
        claim=claim,
        queued_at=timezone.now(),
        attempts=max(spent, 0),
    )
    return False


@contextlib.contextmanager
def _heartbeat(pk: int, claim: uuid.UUID) -> Iterator[Progress]:
    """Keep the lease while the work goes on; yields the function that notes progress.

    The beat comes from a thread of its own, because a decoder can be silent for long.
    """
    mine = Run.objects.filter(pk=pk, claim=claim, status=Run.Status.RUNNING)
    over = threading.Event()
    lost = threading.Event()
    noted = {"at": 0.0}

    def beat() -> None:
        try:
            while not over.wait(settings.RUN_LEASE_SECONDS / 4):
                try:
                    kept = mine.update(heartbeat_at=timezone.now())
                except DatabaseError:  # locked for a moment: the next beat tries again
                    connection.close()
                    continue
                if not kept:
                    lost.set()
                    return
        finally:
            connection.close()

    def progress(stage: str, share: float) -> None:
        if lost.is_set():
            raise ClaimLost
        now = time.monotonic()
        if now - noted["at"] < 0.5:
            return
        noted["at"] = now
        if not mine.update(stage=stage, progress=share, heartbeat_at=timezone.now()):
            raise ClaimLost

    thread = threading.Thread(target=beat, daemon=True)
    thread.start()
    try:
        yield progress
    finally:
        over.set()
        thread.join()
