"""The figures of clips, each clip by one pipeline version."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from analysis.models import Measurement, Run
from coaching.intake.models import Submission
from coaching.lessons.estimates import Estimate, constant_share, estimate_of, mean_of
from coaching.practice.models import Criterion


@dataclass(frozen=True)
class Film:
    """The figures of a clip, all of one pipeline version."""

    version: str
    run: int
    # In order, each (measure, event) -> row.
    repetitions: tuple[dict[tuple[str, str], Measurement], ...] = ()

    def mean(self, measure: str, event: str) -> tuple[Estimate, int] | None:
        """The mean of a figure over the repetitions in which it was read, and their number."""
        read = [
            found
            for figures in self.repetitions
            if (row := figures.get((measure, event))) is not None
            and (found := estimate_of(row.value, row.uncertainty)) is not None
        ]
        return (mean_of(read, share=constant_share(measure)), len(read)) if read else None


def films(
    submissions: Iterable[Submission], *, version: str = "", measures: Collection[str] | None = None
) -> dict[int, Film]:
    """The newest figures of each clip that was measured, by submission. Two queries.

    With `measures` only theirs: a film has some sixty, and a page may draw two.
    """
    videos = {submission.video_id: submission.pk for submission in submissions}
    read = films_of_videos(list(videos), version=version, measures=measures)
    return {videos[video]: film for video, film in read.items()}


def films_of_videos(
    videos: Sequence[int], *, version: str = "", measures: Collection[str] | None = None
) -> dict[int, Film]:
    runs = Run.objects.newest_measured(version).filter(video__in=videos)
    newest = {run.pk: run for run in runs.only("pk", "video_id", "pipeline_version")}
    rows: dict[int, dict[int, dict[tuple[str, str], Measurement]]] = {pk: {} for pk in newest}
    figures = Measurement.objects.filter(run__in=newest)
    if measures is not None:
        figures = figures.filter(measure__in=measures)
    for row in figures:
        rows[row.run_id].setdefault(row.repetition, {})[row.measure, row.event] = row
    return {
        newest[pk].video_id: Film(
            newest[pk].pipeline_version, pk, tuple(found for _number, found in sorted(reps.items()))
        )
        for pk, reps in rows.items()
    }


def rebase(criteria: Iterable[Criterion], *, version: str) -> None:
    """Give criteria the baseline that `version` reads in the same clip, or none.

    In memory only: a change is told between figures of one pipeline version.
    """
    other = [
        c
        for c in criteria
        if c.baseline is not None and c.baseline_version and c.baseline_version != version
    ]
    if not other:
        return
    videos = [c.baseline_video_id for c in other if c.baseline_video_id]
    read = films_of_videos(videos, version=version)
    for c in other:
        film = read.get(c.baseline_video_id or 0)
        found = film.mean(c.measure, c.event) if film else None
        mean = found[0] if found else None
        c.baseline, c.baseline_version = (mean.value if mean else None), version
        c.baseline_uncertainty = mean.sd if mean else None


def newest_version(measured: Mapping[int, Film], clips: Sequence[Submission]) -> str:
    """The pipeline that measured last; runs are never made anew by an older one."""
    newest = max(
        (measured[c.pk] for c in clips if c.pk in measured), key=lambda f: f.run, default=None
    )
    return newest.version if newest else ""
