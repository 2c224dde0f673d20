"""The work of a run: check a clip, copy it, measure it. Slow, outside any transaction."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.core.files.base import ContentFile, File
from django.utils.module_loading import import_string

from analysis import files, scratch
from analysis.core.artifact import Artifact
from analysis.core.pose import Capture
from analysis.figures import active_corrections, corrected_figures, store_figures
from analysis.files import local_path
from analysis.models import Run, Video
from analysis.outcome import Outcome, Progress
from analysis.services import request_measuring, request_run


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


# The three kinds of work. Each returns what belongs in `Run.result`, the names of the files
# it wrote, and a function that stores the rest inside the closing transaction.


def _check(row: Run, progress: Progress) -> Outcome:
    from analysis import capture, video  # heavy libraries load in the worker only

    with local_path(row.video.original) as path:
        result = capture.check_video(
            path, capture=capture_of(row.video), estimator=estimator(), progress=progress
        )
        clip = result["clip"]
        still = video.still(path, time_s=_measuring_time_s(result)) if clip else b""
    names = (
        [files.write(row.video.still, f"{row.video_id}.jpg", ContentFile(still))] if clip else []
    )

    def store(run_row: Run) -> None:
        film = run_row.video
        if clip:
            film.width, film.height, film.fps = clip["width"], clip["height"], clip["fps"]
            film.duration_s, film.rotation = clip["duration_s"], clip["rotation"]
            files.put(film.still, names[0])
            film.save(update_fields=["width", "height", "fps", "duration_s", "rotation", "still"])
        if not refused(result):
            request_run(video=film, kind=Run.Kind.COPY)

    return result, names, store


def refused(result: dict[str, Any]) -> bool:
    """Whether a check's result holds a reason that the clip cannot be judged."""
    return any(code["level"] == "reject" for code in result.get("quality", ()))


def _measuring_time_s(result: dict[str, Any]) -> float:
    """The time of the frame that shows the first trouble, else the clip's middle."""
    for code in sorted(result["quality"], key=lambda code: code["level"] != "reject"):
        if code["level"] != "ok" and code.get("time_s") is not None:
            return float(code["time_s"])
    return float(result["clip"]["duration_s"]) / 2


def _copy(row: Run, progress: Progress) -> Outcome:
    from analysis import video

    with scratch.folder() as folder:
        target = folder / "copy.mp4"
        with local_path(row.video.original) as path:
            facts = video.make_copy(path, target, progress=progress)
        with target.open("rb") as source:
            name = files.write(row.video.copy, f"{row.video_id}.mp4", File(source))

    def store(run_row: Run) -> None:
        film = run_row.video
        files.put(film.copy, name)
        film.save(update_fields=["copy"])
        film.keep_frame_times(facts["frame_times_s"])
        request_measuring(video=film)

    return {}, [name], store


def _measure(row: Run, progress: Progress) -> Outcome:
    from analysis import pipeline

    names: list[str] = []
    made: list[Artifact] = []
    check = row.video.latest(Run.Kind.CHECK)
    # only where a person says that a refused clip is right does its work go on
    insisted = check is not None and refused(check.result or {})
    with scratch.folder() as folder:
        target = folder / "artifact.npz"
        with local_path(row.video.copy) as path:
            result = pipeline.analyse_video(
                path,
                capture=capture_of(row.video),
                estimator=estimator(),
                progress=progress,
                artifact_path=target,
                keep=made.append,
                insisted=insisted,
            )
        corrected = _corrected_already(row.video, made)
        if target.exists():
            with target.open("rb") as source:
                names = [files.write(row.artifact, f"{row.video_id}.npz", File(source))]

    def store(run_row: Run) -> None:
        if names:
            files.put(run_row.artifact, names[0])
            run_row.save(update_fields=["artifact"])
        store_figures(run=run_row, repetitions=result["reps"])
        if corrected is not None:
            store_figures(run=run_row, repetitions=corrected)

    return {key: value for key, value in result.items() if key != "reps"}, names, store


def _corrected_already(video: Video, made: list[Artifact]) -> list[dict[str, Any]] | None:
    """What a person moved outlives a new run: its figures by those corrections, if any."""
    rows = list(active_corrections(video))
    return corrected_figures(made[0], rows) if rows and made else None


WORK: dict[str, Callable[[Run, Progress], Outcome]] = {
    Run.Kind.CHECK: _check,
    Run.Kind.COPY: _copy,
    Run.Kind.MEASURE: _measure,
}
