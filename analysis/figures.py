"""Figures of a measured clip: stored as sets, and computed anew from what a person moved."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from analysis.core.artifact import Artifact
from analysis.core.pose import MEASURED_VIEWS
from analysis.files import local_path
from analysis.models import Correction, EventTime, Measurement, Run, Video

# Called with a run whose figures were stored, inside the same transaction; filled by apps
# that keep something beside a figure, when they are ready.
on_figures: list[Callable[[Run], None]] = []


@transaction.atomic
def store_figures(*, run: Run, repetitions: list[dict[str, Any]]) -> None:
    """Add a set of events and measurements from `repetitions` of the command's JSON.

    It is the one in force from now on; earlier sets stay as they were, out of force.
    """
    now = timezone.now()
    run.events.update(superseded_at=now)
    run.measurements.update(superseded_at=now)
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
    for follow in on_figures:
        follow(run)


def correct(
    *, video: Video, time_s: float, target: str, value: dict[str, Any], author: Any
) -> Correction:
    """Keep what a person moved and recompute the newest figures from the archive at once.

    The figures are computed before the transaction that stores them. What stands already, as
    of somebody who taps twice, is not kept again: the standing one comes back.
    """
    made = Correction(video=video, time_s=time_s, target=target, value=value, author=author)
    standing: list[Correction] = []

    def with_made(rows: list[Correction]) -> list[Correction]:
        standing[:] = [row for row in rows if _place(row) == _place(made)][-1:]
        standing[:] = [row for row in standing if _says(row) == _says(made)]
        return rows if standing else [*rows, made]

    def keep() -> None:
        made.save()

    _change_corrections(video, with_made, keep)
    return standing[0] if standing else made


def _place(row: Correction) -> tuple[Any, ...]:
    """What a correction moves: an event of one repetition, or a point in one frame."""
    is_event = row.target.startswith("event:")
    return row.target, row.value.get("repetition") if is_event else row.time_s


def _says(row: Correction) -> tuple[Any, ...]:
    return row.time_s, row.value


def undo_correction(*, correction: Correction) -> None:
    """Take a correction back; what the computer read stands again."""

    def take_back() -> None:
        Correction.objects.filter(pk=correction.pk, undone_at__isnull=True).update(
            undone_at=timezone.now()
        )

    _change_corrections(
        correction.video, lambda rows: [row for row in rows if row.pk != correction.pk], take_back
    )


def _change_corrections(
    video: Video, change: Callable[[list[Correction]], list[Correction]], write: Callable[[], None]
) -> None:
    """Compute what follows from `change`, then store both, if nobody was quicker; else again.

    Where `change` changes nothing, nothing is stored. Who was overtaken three times computes
    while the clip is locked, when nobody can be.
    """
    for last in (False, False, True):
        before = list(active_corrections(video))
        run = video.runs.newest_measured().first()
        after = change(before)
        if after == before:
            return
        figures = _figures_of(run, after)
        with transaction.atomic():
            Video.objects.select_for_update().get(pk=video.pk)
            now, newest = list(active_corrections(video)), video.runs.newest_measured().first()
            if (now, newest) != (before, run):
                if not last:
                    continue
                after = change(now)
                if after == now:
                    return
                run, figures = newest, _figures_of(newest, after)
            write()
            if run is not None and figures is not None:
                store_figures(run=run, repetitions=figures)
            return


def active_corrections(video: Video) -> QuerySet[Correction]:
    return video.corrections.filter(undone_at__isnull=True).order_by("pk")


def _figures_of(run: Run | None, rows: Iterable[Correction]) -> list[dict[str, Any]] | None:
    """A run's figures by the corrections; None where it kept no archive."""
    if run is None or not run.artifact:
        return None
    from analysis import artifact

    with local_path(run.artifact) as path:
        return corrected_figures(artifact.load(path), rows)


def corrected_figures(archive: Artifact, rows: Iterable[Correction]) -> list[dict[str, Any]]:
    """The repetitions of the command's JSON, from an archive and what a person moved."""
    return _recomputed(archive, _as_the_core_takes_them(rows))


def _as_the_core_takes_them(rows: Iterable[Correction]) -> list[dict[str, Any]]:
    return [
        {
            "time_s": row.time_s,
            "target": row.target,
            # the core takes a moved event's new time as its value
            "value": row.time_s if row.target.startswith("event:") else row.value,
        }
        for row in rows
    ]


def _recomputed(loaded: Artifact, corrections: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Figures by the corrections: the swing read anew where an event moved, then the rest."""
    from analysis import weights
    from analysis.core import remeasure

    moved = any(row["target"].startswith("event:") for row in corrections)
    if moved and loaded.capture.view in MEASURED_VIEWS:
        # An archive from before it held what a new reading needs: differences must do.
        with contextlib.suppress(KeyError):
            loaded = remeasure.refit(loaded, corrections, weights=weights.load(loaded.capture.view))
    return remeasure.remeasure(loaded, corrections)
