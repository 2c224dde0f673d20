"""The demo without minutes of measuring: its clips bring figures of the kind they really bring."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.base import ContentFile

from analysis import services as analysis
from analysis import work as analysis_work
from analysis.figures import store_figures
from analysis.models import Run
from coaching.demo.acts import CLIPS
from tests.coaching.demo.measured import kept

# One dict of (value, one standard deviation) or a reason for each repetition.
FIGURES = kept()


@pytest.fixture
def quick_worker(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """A worker that knows each clip of the demo by its bytes; only `feet_cut` is refused."""
    names = {hashlib.sha256(p.read_bytes()).hexdigest(): p.stem for p in CLIPS.glob("*.mp4")}

    def work(step: Callable[[str, Run], Any]) -> Callable[..., Any]:
        return lambda row, progress: step(names[row.video.sha256], row)

    steps = {Run.Kind.CHECK: _check, Run.Kind.COPY: _copy, Run.Kind.MEASURE: _measure}
    monkeypatch.setattr(analysis_work, "WORK", {kind: work(step) for kind, step in steps.items()})


def _check(clip: str, row: Run) -> Any:
    cut = {"code": "body_cut", "level": "reject", "message": "", "frame": 0, "time_s": 0.0}
    result = {"quality": [cut] if clip == "feet_cut" else []}

    def store(run: Run) -> None:
        run.video.still.save("still.jpg", ContentFile(b"still"))
        if not result["quality"]:
            analysis.request_run(video=run.video, kind=Run.Kind.COPY)

    return result, [], store


def _copy(clip: str, row: Run) -> Any:
    def store(run: Run) -> None:
        run.video.copy.save("copy.mp4", ContentFile(b"copy"), save=False)
        run.video.keep_frame_times([i / 60 for i in range(120)])
        run.video.save()
        analysis.request_run(video=run.video, kind=Run.Kind.MEASURE)

    return {}, [], store


def _measure(clip: str, row: Run) -> Any:
    def store(run: Run) -> None:
        store_figures(run=run, repetitions=[_told(rep) for rep in FIGURES[clip]])

    return {"quality": []}, [], store


def _told(readings: dict[tuple[str, str], tuple[float, float] | str]) -> dict[str, Any]:
    """A repetition as `manage.py analyze` writes it."""
    moments = ("address", "top", "impact")
    rows: list[dict[str, Any]] = []
    for (measure, event), reading in readings.items():
        row: dict[str, Any] = {"id": measure, "event": event}
        if isinstance(reading, str):
            rows.append(row | {"reason": reading})
        else:
            value, u = reading
            unit = {"deg": "deg", "cm": "cm", "pct": "%"}.get(measure.rsplit("_", 1)[1], "")
            seen = {"unit": unit, "source": "measured", "frame": 30, "time_s": 0.5}
            rows.append(row | {"value": value, "uncertainty": u} | seen)
    return {
        "events": {
            name: {"time_s": 0.5 * i, "frame": 30 * i, "uncertainty_s": 0.01}
            for i, name in enumerate(moments)
        },
        "measures": rows,
    }
