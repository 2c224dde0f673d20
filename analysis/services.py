"""Runs: asked for, claimed, computed, stored. The row is the truth, the queue a hint.

Decoding and arithmetic happen outside any transaction; what came out is stored in one
short one, and only if the closing move still holds its claim.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import logging
import tempfile
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.base import ContentFile, File
from django.db import DatabaseError, OperationalError, connection, transaction
from django.db.models import F
from django.db.models.fields.files import FieldFile
from django.utils import timezone
from django.utils.module_loading import import_string
from kombu.exceptions import OperationalError as BrokerAway

from analysis import PIPELINE_VERSION
from analysis.core.pose import MEASURED_VIEWS, Capture
from analysis.errors import AnalysisError, MediaErased, MediaMissing, StorageFull
from analysis.models import Correction, EventTime, Measurement, Run, Video

logger = logging.getLogger(__name__)
Progress = Callable[[str, float], None]
# Stores what came out, inside the closing transaction; adds each file it saved to the
# list, so that they go again when the transaction does.
Store = Callable[[Run, list[FieldFile]], None]


class ClaimLost(Exception):
    """Another worker has taken the run over; stop quietly."""


def request_run(*, video: Video, kind: str, options: dict[str, Any] | None = None) -> Run:
    """Ask for a run, once per video, kind, version and options; queue it on commit."""
    options = options or {}
    key = (
        hashlib.sha256(json.dumps(options, sort_keys=True).encode()).hexdigest() if options else ""
    )
    run, made = Run.objects.get_or_create(
        video=video,
        kind=kind,
        pipeline_version=PIPELINE_VERSION,
        options_key=key,
        defaults={"options": options},
    )
    if made:
        transaction.on_commit(partial(enqueue, run.pk))
    return run


def enqueue(pk: int) -> None:
    """Tell the queue. A broker that is away loses nothing: `sweep` tells it again."""
    run_task = import_string("analysis.tasks.run_task")  # the task module imports this one
    try:
        run_task.apply_async(args=[pk], retry=False)
    except (BrokerAway, OSError):
        logger.warning("The broker is away; run %s stays queued for the sweep.", pk)


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
        transaction.on_commit(partial(enqueue, run.pk))
    return moved


def run(pk: int) -> bool:
    """Claim run `pk`, compute it and store the outcome; True when this call closed it.

    A row that vanished or a second delivery is a quiet no-op.
    """
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
    try:
        if row.video.erased_at:
            raise MediaErased(f"video {row.video_id}")
        with _heartbeat(pk, claim) as progress:
            result, store = WORK[row.kind](row, progress)
        return _close(row, claim, Run.Status.DONE, store=store, result=result, progress=1.0)
    except ClaimLost:
        return False
    except AnalysisError as error:
        return _set_back(row, claim, error)
    except OperationalError:  # the database is locked or away: the sweep takes it up again
        raise
    except Exception as error:
        if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
            return _set_back(row, claim, StorageFull(str(error)))
        # The task's soft limit names itself; anything else is a mistake of ours.
        late = type(error).__name__ == "SoftTimeLimitExceeded"
        _close(row, claim, Run.Status.FAILED, error_code="timed_out" if late else "internal")
        raise


def sweep() -> int:
    """Queue again what a dead worker left running and what the queue forgot.

    Returns
    -------
    int
        How many runs were told to the queue.
    """
    stale = timezone.now() - timedelta(seconds=settings.RUN_LEASE_SECONDS)
    for row in Run.objects.filter(status=Run.Status.RUNNING, heartbeat_at__lt=stale):
        if row.attempts >= settings.RUN_MAX_ATTEMPTS:
            _close(row, row.claim, Run.Status.FAILED, error_code="worker_lost")
        else:
            _move(
                row.pk,
                source=Run.Status.RUNNING,
                target=Run.Status.QUEUED,
                claim=row.claim,
                queued_at=stale,
            )
    waiting = Run.objects.filter(status=Run.Status.QUEUED, queued_at__lte=stale)
    pks = list(waiting.order_by("pk").values_list("pk", flat=True)[:100])
    # Told once per lease, or a long queue would be told over and over.
    Run.objects.filter(pk__in=pks, status=Run.Status.QUEUED).update(queued_at=timezone.now())
    for pk in pks:
        enqueue(pk)
    return len(pks)


def erase_media(*, video: Video) -> None:
    """Remove every file of a clip for good; rows and figures without pictures stay.

    May be called again after a crash: what is gone already is no trouble. A worker that
    still holds the clip stores nothing, because its closing move looks at `erased_at`.
    """
    Video.objects.filter(pk=video.pk, erased_at__isnull=True).update(erased_at=timezone.now())
    video.refresh_from_db()
    for file in (video.original, video.copy, video.still):
        if file:
            file.delete(save=False)
    for run_row in video.runs.exclude(artifact=""):
        run_row.artifact.delete(save=False)
        run_row.save(update_fields=["artifact"])
    video.save(update_fields=["original", "copy", "still"])


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


def _close(
    row: Run, claim: uuid.UUID | None, target: str, *, store: Store | None = None, **fields: Any
) -> bool:
    """Close a run and, only if that move won, store its outcome and tell who listens.

    Raises
    ------
    MediaErased
        When the clip's files were erased while the worker held it; nothing is stored.
    """
    saved: list[FieldFile] = []
    try:
        with transaction.atomic():
            return _closed(row, claim, target, store=store, saved=saved, **fields)
    except BaseException:
        for file in saved:  # rolled back: a file that no row names would never be erased
            file.storage.delete(str(file.name))
        raise


def _closed(
    row: Run,
    claim: uuid.UUID | None,
    target: str,
    *,
    store: Store | None,
    saved: list[FieldFile],
    **fields: Any,
) -> bool:
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
        store(row, saved)
    for listener in settings.RUN_CLOSED:
        import_string(listener)(run=row)
    return True


def _set_back(row: Run, claim: uuid.UUID, error: AnalysisError) -> bool:
    """A known trouble: for good, or worth another attempt by the sweep."""
    if error.permanent or row.attempts >= settings.RUN_MAX_ATTEMPTS:
        return _close(row, claim, Run.Status.FAILED, error_code=error.code)
    _move(
        row.pk,
        source=Run.Status.RUNNING,
        target=Run.Status.QUEUED,
        claim=claim,
        queued_at=timezone.now(),
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


@contextlib.contextmanager
def local_path(file: FieldFile) -> Iterator[Path]:
    """The file as a path on this machine, fetched from object storage when it must be.

    Raises
    ------
    MediaMissing
        When the storage does not hold the file now.
    """
    try:
        path = Path(file.path)
    except NotImplementedError:
        path = None
    except ValueError as error:
        raise MediaMissing("no file was stored") from error
    if path is not None:
        if not path.exists():
            raise MediaMissing(str(file.name))
        yield path
        return
    with tempfile.NamedTemporaryFile(suffix=Path(file.name or "").suffix) as kept:
        try:
            with file.open("rb") as source:
                for chunk in source.chunks():
                    kept.write(chunk)
        except OSError as error:
            raise MediaMissing(str(file.name)) from error
        kept.flush()
        yield Path(kept.name)


def capture_of(video: Video) -> Capture:
    return Capture(
        view=video.view,
        kind=video.kind,
        handedness=video.handedness,
        stature_cm=video.stature_cm,
        club_cm=video.club_cm,
        repetitions=video.repetitions,
    )


def estimator() -> Any:
    """The pose estimator that the settings name."""
    return import_string(settings.ESTIMATOR)(models_dir=settings.MODELS_DIR)


# The three kinds of work. Each returns what belongs in `Run.result` and a function
# that stores the rest inside the closing transaction.


def _check(row: Run, progress: Progress) -> tuple[dict[str, Any], Store]:
    from analysis import capture, video  # heavy libraries load in the worker only

    with local_path(row.video.original) as path:
        result = capture.check_video(
            path, capture=capture_of(row.video), estimator=estimator(), progress=progress
        )
        clip = result["clip"]
        still = video.still(path, time_s=_telling_time(result)) if clip else b""

    def store(run_row: Run, saved: list[FieldFile]) -> None:
        film = run_row.video
        if clip:
            film.width, film.height, film.fps = clip["width"], clip["height"], clip["fps"]
            film.duration_s, film.rotation = clip["duration_s"], clip["rotation"]
            _put(film.still, f"{film.pk}.jpg", ContentFile(still), saved)
            film.save(update_fields=["width", "height", "fps", "duration_s", "rotation", "still"])
        if not refused(result):
            request_run(video=film, kind=Run.Kind.COPY)

    return result, store


def _put(field: FieldFile, name: str, content: File[Any], saved: list[FieldFile]) -> None:
    """Save a file in place of the one that `field` names; the old one goes on commit."""
    if field:
        transaction.on_commit(partial(field.storage.delete, str(field.name)))
    field.save(name, content, save=False)
    saved.append(field)


def refused(result: dict[str, Any]) -> bool:
    """Whether a check's result holds a reason that the clip cannot be judged."""
    return any(code["level"] == "reject" for code in result.get("quality", ()))


def _telling_time(result: dict[str, Any]) -> float:
    """The time of the frame that shows the first trouble, else the clip's middle."""
    for code in sorted(result["quality"], key=lambda code: code["level"] != "reject"):
        if code["level"] != "ok" and code.get("time_s") is not None:
            return float(code["time_s"])
    return float(result["clip"]["duration_s"]) / 2


def _copy(row: Run, progress: Progress) -> tuple[dict[str, Any], Store]:
    from analysis import video

    folder = tempfile.TemporaryDirectory()
    target = Path(folder.name) / "copy.mp4"
    with local_path(row.video.original) as path:
        facts = video.make_copy(path, target, progress=progress)

    def store(run_row: Run, saved: list[FieldFile]) -> None:
        film = run_row.video
        with folder, target.open("rb") as source:
            _put(film.copy, f"{film.pk}.mp4", File(source), saved)
        film.frame_times_s = facts["frame_times_s"]
        film.save(update_fields=["copy", "frame_times_raw"])
        request_run(video=film, kind=Run.Kind.MEASURE)

    return {}, store


def _measure(row: Run, progress: Progress) -> tuple[dict[str, Any], Store]:
    from analysis import pipeline

    folder = tempfile.TemporaryDirectory()
    target = Path(folder.name) / "artifact.npz"
    with local_path(row.video.copy) as path:
        result = pipeline.analyse_video(
            path,
            capture=capture_of(row.video),
            estimator=estimator(),
            progress=progress,
            artifact_path=target,
        )

    def store(run_row: Run, saved: list[FieldFile]) -> None:
        with folder:
            if target.exists():
                with target.open("rb") as source:
                    _put(run_row.artifact, f"{run_row.video_id}.npz", File(source), saved)
                run_row.save(update_fields=["artifact"])
        store_figures(run=run_row, repetitions=result["reps"])
        if standing_corrections(run_row.video):  # what a person moved outlives a new run
            refresh_figures(video=run_row.video)

    return {key: value for key, value in result.items() if key != "reps"}, store


WORK: dict[str, Callable[[Run, Progress], tuple[dict[str, Any], Store]]] = {
    Run.Kind.CHECK: _check,
    Run.Kind.COPY: _copy,
    Run.Kind.MEASURE: _measure,
}


def store_figures(*, run: Run, repetitions: list[dict[str, Any]]) -> None:
    """Replace a run's events and measurements by `repetitions` of the command's JSON."""
    run.events.all().delete()
    run.measurements.all().delete()
    events, figures = [], []
    for number, rep in enumerate(repetitions):
        for name, event in rep["events"].items():
            kept = {
                k: event[k]
                for k in ("time_s", "frame", "uncertainty_s", "source")
                if event.get(k) is not None
            }
            events.append(
                EventTime(
                    run=run, repetition=number, event=name, reason=event.get("reason") or "", **kept
                )
            )
        for figure in rep["measures"]:
            kept = {
                k: figure[k]
                for k in ("value", "uncertainty", "unit", "source", "frame", "time_s")
                if figure.get(k) is not None
            }
            figures.append(
                Measurement(
                    run=run,
                    repetition=number,
                    measure=figure["id"],
                    event=figure["event"],
                    reason=figure.get("reason") or "",
                    **kept,
                )
            )
    EventTime.objects.bulk_create(events)
    Measurement.objects.bulk_create(figures)


@transaction.atomic
def correct(
    *, video: Video, time_s: float, target: str, value: dict[str, Any], author: Any
) -> Correction:
    """Keep what a person moved and recompute the newest figures from the artifact at once."""
    correction = Correction.objects.create(
        video=video, time_s=time_s, target=target, value=value, author=author
    )
    refresh_figures(video=video)
    return correction


@transaction.atomic
def undo_correction(*, correction: Correction) -> None:
    """Take a correction back; what the computer read stands again."""
    Correction.objects.filter(pk=correction.pk, undone_at__isnull=True).update(
        undone_at=timezone.now()
    )
    refresh_figures(video=correction.video)


def standing_corrections(video: Video) -> list[dict[str, Any]]:
    return [
        {
            "time_s": row.time_s,
            "target": row.target,
            # the core takes a moved event's new time as its value
            "value": row.time_s if row.target.startswith("event:") else row.value,
        }
        for row in video.corrections.filter(undone_at__isnull=True).order_by("pk")
    ]


def refresh_figures(*, video: Video) -> None:
    """Recompute the newest measuring run's figures from its artifact and the corrections."""
    from analysis import artifact

    newest = (
        video.runs.filter(kind=Run.Kind.MEASURE, status=Run.Status.DONE).order_by("-pk").first()
    )
    if newest is None or not newest.artifact:
        return
    with local_path(newest.artifact) as path:
        loaded = artifact.load(path)
    store_figures(run=newest, repetitions=_recomputed(loaded, standing_corrections(video)))


def _recomputed(loaded: Any, corrections: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Figures by the corrections: the swing read anew where an event moved, then the rest."""
    from analysis import weights
    from analysis.core import remeasure

    moved = any(row["target"].startswith("event:") for row in corrections)
    if moved and loaded.capture.view in MEASURED_VIEWS:
        # An archive from before it held what a new reading needs: differences must do.
        with contextlib.suppress(KeyError):
            loaded = remeasure.refit(loaded, corrections, weights=weights.load(loaded.capture.view))
    return remeasure.remeasure(loaded, corrections)
