"""Measured films of a held club."""

from __future__ import annotations

from collections.abc import Sequence

from analysis import PIPELINE_VERSION
from analysis.models import EventTime
from coaching.intake.models import Submission
from coaching.people.models import Student
from coaching.review.turncheck import TURNS
from tests import factories

Reading = tuple[float, float] | str


def hold_a_bar(
    student: Student,
    *,
    figure: Sequence[Reading],
    bar: Sequence[Reading],
    across: str = "hips",
    view: str = "down_the_line",
    version: str = PIPELINE_VERSION,
) -> Submission:
    """One film, a repetition for each reading; the other line's figure reads something else."""
    angle = factories.make_angle(
        request=factories.make_request(student=student, angles=0),
        view=view, kind="bar", bar_across=across,
    )  # fmt: skip
    clip = factories.make_submission(angle=angle)
    factories.make_checked(clip)
    factories.make_run(video=clip.video, kind="copy")
    run = factories.make_run(video=clip.video, pipeline_version=version)
    other = next(measure for key, measure in TURNS.items() if key != across)
    for n, (read, held) in enumerate(zip(figure, bar, strict=True)):
        for measure, reading in (
            (TURNS[across], read), ("bar_turn_deg", held), (other, (55.0, 4.0)),
        ):  # fmt: skip
            factories.make_measurement(run=run, repetition=n, measure=measure, reading=reading)
        for place, event in enumerate(("address", "top")):
            EventTime.objects.create(
                run=run, repetition=n, event=event, time_s=0.5 * place + 4 * n, uncertainty_s=0.05
            )
    return clip
