"""Everything the player shows of a clip: its state, figures and corrections."""

from __future__ import annotations

from typing import Any

import numpy as np
from django.db.models import prefetch_related_objects
from django.urls import reverse

from analysis.core.measures import nearest_frame
from analysis.core.pose import EVENTS
from analysis.core.remeasure import remeasure
from analysis.models import Correction, EventTime, Run, Video
from coaching.people.models import Consent, Student
from coaching.review import clip_cache
from coaching.review.queries.curves import NO_CURVES, archive, curves, stature_share
from coaching.review.segments import SEGMENTS


def with_figures(pk: int) -> Video:
    """A clip with everything the room asks of it, in a handful of queries."""
    rows = Video.objects.select_related("submission__student", "submission__angle")
    return rows.prefetch_related("runs__events", "runs__measurements").get(pk=pk)


def fill_figures(video: Video) -> Video:
    """Give a clip that is at hand, with its submission and its runs, all that the room asks."""
    prefetch_related_objects([video], "runs__events", "runs__measurements")
    return video


def player_data(video: Video) -> dict[str, Any]:
    """Everything the player shows of a clip, as plain JSON values.

    Returns
    -------
    dict
        `state` is `ready`, `measuring`, `failed` or `gone`; `frame_times_s` the copy's
        table; `repetitions` events and measures, a corrected figure with its `original`;
        `curves` joints and shaft in 0..1 of the picture as filmed; `corrections` those
        that stand, each with its `frame`; `stature_cm` of the student, and `stature_share` the
        same in shares of width and height.
    """
    times = np.round(video.frame_times_s, 6)
    run = video.measured()
    held = archive(run)
    return {
        "id": video.pk,
        "view": video.view,
        "kind": video.kind,
        "handedness": video.handedness,
        "width": video.width,
        "height": video.height,
        "url": reverse("intake:media", args=[video.pk, "copy"]) if video.copy else "",
        "state": state(video),
        "frame_times_s": times.tolist(),
        **_measured(video, run),
        "curves": curves(held) if held else NO_CURVES,
        "stature_share": stature_share(held) if held else None,
        "stature_cm": video.stature_cm,
    }


def figures_data(video: Video) -> dict[str, Any]:
    """The part of `player_data` that a correction changes."""
    return _measured(video, video.measured())


def state(video: Video) -> str:
    """In one word: is there a picture, and are there figures."""
    if video.erased_at or (not video.copy and not video.original):
        return "gone"
    runs = [run for run in video.runs.all() if run.kind != Run.Kind.RENDER]
    newest = max(runs, key=lambda run: run.pk, default=None)
    if video.copy and video.measured():
        return "ready"
    if newest is not None and newest.status == Run.Status.FAILED:
        return "failed"
    if newest is not None and newest.kind == Run.Kind.COPY and newest.status == Run.Status.DONE:
        return "unmeasured"  # nothing follows: measuring is not agreed to
    return "measuring"


def _measured(video: Video, run: Run | None) -> dict[str, Any]:
    standing = _corrected(video)
    original = _originals(run) if run and standing else {}
    times = video.frame_times_s if standing else np.empty(0)  # a query of its own
    return {
        "repetitions": _repetitions(run, original) if run else [],
        "corrections": [
            {
                "id": row.pk,
                "time_s": row.time_s,
                "frame": nearest_frame(times, row.time_s),
                "target": row.target,
                "value": row.value,
            }
            for row in standing
        ],
    }


def _corrected(video: Video) -> list[Any]:
    return list(video.corrections.filter(undone_at__isnull=True).order_by("pk"))


def _repetitions(run: Run, original: dict[tuple[Any, ...], Any]) -> list[dict[str, Any]]:
    reps: dict[int, dict[str, Any]] = {}
    for moment in run.events.all():
        rep = reps.setdefault(moment.repetition, {"events": {}, "measures": []})
        rep["events"][moment.event] = _event(moment) | _was(original, moment, moment.event)
    for row in run.measurements.all():
        rep = reps.setdefault(row.repetition, {"events": {}, "measures": []})
        rep["measures"].append(
            {
                "pk": row.pk,
                "id": row.measure,
                "event": row.event,
                "value": row.value,
                "uncertainty": row.uncertainty,
                "unit": row.unit,
                "reason": row.reason,
                "source": row.source,
                "time_s": row.time_s,
                "segments": SEGMENTS.get(row.measure, ()),
            }
            | _was(original, row, row.measure, row.event)
        )
    for rep in reps.values():
        rep["events"] = {e: rep["events"][e] for e in EVENTS if e in rep["events"]}
        rep["measures"].sort(key=lambda m: EVENTS.index(m["event"]))
    return [reps[number] for number in sorted(reps)]


def _event(row: EventTime) -> dict[str, Any]:
    kept = {"time_s": row.time_s, "frame": row.frame, "uncertainty_s": row.uncertainty_s}
    return kept | {"reason": row.reason, "source": row.source}


def _was(original: dict[tuple[Any, ...], Any], row: Any, *key: str) -> dict[str, Any]:
    if row.source != "corrected":
        return {}
    return {"original": original.get((row.repetition, *key))}


def _originals(run: Run) -> dict[tuple[Any, ...], Any]:
    """What the computer read before anybody moved anything.

    A run's archive never changes, so it is reckoned once and kept while corrections go on.
    """
    what = f"original-{run.pk}-{run.artifact.name}"
    kept: dict[tuple[Any, ...], Any] | None = clip_cache.get(run.video_id, what)
    if kept is None:
        held = archive(run)
        kept = _readings(remeasure(held, [])) if held else {}
        clip_cache.keep(run.video_id, what, kept)
    return kept


def _readings(repetitions: list[dict[str, Any]]) -> dict[tuple[Any, ...], Any]:
    kept: dict[tuple[Any, ...], Any] = {}
    for number, rep in enumerate(repetitions):
        for event, row in rep["events"].items():
            kept[number, event] = row.get("time_s")
        for row in rep["measures"]:
            kept[number, row["id"], row["event"]] = row.get("value")
    return kept


def figure_groups(repetitions: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The figures of each of `figures_data`'s repetitions, grouped by moment in order.

    Returns
    -------
    list of dict
        `number` and `moments`, each with `event`, `time_s`, `reason` and `figures`.
    """
    groups = []
    for number, rep in enumerate(repetitions):
        moments = [
            {"event": event, **row, "figures": [m for m in rep["measures"] if m["event"] == event]}
            for event, row in rep["events"].items()
        ]
        groups.append({"number": number, "moments": moments})
    return groups


def corrections_to_export() -> list[Correction]:
    """Standing corrections of grown-ups' clips that still exist and are still shared.

    A student whose age band is not known counts as a minor.
    """
    rows = Correction.objects.filter(undone_at=None, video__erased_at=None)
    grown = (Student.AgeBand.ADULT, Student.AgeBand.SENIOR)
    rows = rows.filter(
        video__submission__student__age_band__in=grown,
        video__submission__student__consents__purpose=Consent.Purpose.STORE,
        video__submission__student__consents__withdrawn_at=None,
    )
    kept = rows.select_related("video").prefetch_related(
        "video__runs__events", "video__runs__measurements"
    )
    return list(kept.distinct().order_by("pk"))
