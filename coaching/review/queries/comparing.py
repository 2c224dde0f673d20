"""Two clips beside each other: what changed, and what was different when filming."""

from __future__ import annotations

from typing import Any

from analysis.core.pose import EVENTS
from analysis.models import Video
from coaching.intake.models import Submission
from coaching.lessons.estimates import Change, Estimate, difference, estimate_of


def differences(
    first: Video, second: Video, *, reps: tuple[int, int] = (0, 0)
) -> list[dict[str, Any]]:
    """Each measure that both clips list, with its change told in words.

    Returns
    -------
    list of dict
        `measure`, `event`, `unit`, `first`, `second` (`Estimate` or None), `difference`,
        `least` (minimal detectable change), `says`. Every figure is absent when the
        clips show different angles, and there is none when no pipeline version has
        measured both.
    """
    version = shared_version(first, second)
    if version is None:
        return []
    both = [
        _by_measure(video, rep, version) for video, rep in zip((first, second), reps, strict=True)
    ]
    rows = []
    for key, (a, unit) in both[0].items():
        if key not in both[1]:
            continue
        b = both[1][key][0]
        found = difference(a, b)
        rows.append(
            {
                "measure": key[0],
                "event": key[1],
                "unit": unit or both[1][key][1],
                "first": a,
                "second": b,
                "difference": found.size,
                "least": found.least,
                "says": found.says,
            }
        )
    order = list(Change)
    return sorted(rows, key=lambda row: order.index(row["says"]))


def shared_version(first: Video, second: Video) -> str | None:
    """The newest pipeline version that has measured both clips: others are not compared."""
    there = {run.pipeline_version for run in second.runs.all() if run.is_measured()}
    both = [r for r in first.runs.all() if r.is_measured() and r.pipeline_version in there]
    newest = max(both, key=lambda run: run.pk, default=None)
    return newest.pipeline_version if newest else None


def shared_events(first: Video, second: Video, *, reps: tuple[int, int]) -> list[str]:
    """The events that have a time in both swings, in order: then and now as a strip."""
    timed = [
        {row.event for row in run.events.all() if row.repetition == rep and row.time_s is not None}
        for video, rep in zip((first, second), reps, strict=True)
        if (run := video.measured())
    ]
    return [event for event in EVENTS if len(timed) == 2 and event in timed[0] & timed[1]]


def conditions(first: Submission, second: Submission) -> list[tuple[str, str, str]]:
    """What was different when the two were filmed: (what, then, now)."""
    conditions = [_told(first), _told(second)]
    return [
        (what, conditions[0][what], conditions[1][what])
        for what in conditions[0]
        if conditions[0][what] != conditions[1][what]
        and conditions[0][what]
        and conditions[1][what]
    ]


def _told(submission: Submission) -> dict[str, str]:
    angle, video = submission.angle, submission.video
    return {
        "angle": video.get_view_display(),
        "kind of film": video.get_kind_display(),
        "hand": video.handedness,
        "club": angle.club if angle else "",
        "effort": angle.get_effort_display() if angle else "",
        "ball": angle.get_ball_display() if angle else "",
    }


def _by_measure(
    video: Video, rep: int, version: str
) -> dict[tuple[str, str], tuple[Estimate | None, str]]:
    run = video.measured(version)
    if run is None:
        return {}
    return {
        (row.measure, row.event): (estimate_of(row.value, row.uncertainty), row.unit)
        for row in run.measurements.all()
        if row.repetition == rep
    }
