"""The life of a run: claimed once, closed only by its claim, never lost, told on commit."""

from __future__ import annotations

import contextlib
import errno
import uuid
from collections.abc import Callable
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from django.core.files.base import ContentFile, File
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import DatabaseError, IntegrityError, OperationalError, transaction
from django.utils import timezone

from analysis import PIPELINE_VERSION, figures, files, services
from analysis import work as work_module
from analysis.errors import MediaErased, MediaMissing, UnreadableVideo
from analysis.models import LooseFile, Measurement, Run, Video
from tests import factories

pytestmark = pytest.mark.django_db
Kind, Status = Run.Kind, Run.Status


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """What the queue was told."""
    pks: list[int] = []
    monkeypatch.setattr(
        "analysis.tasks.run_task.apply_async", lambda args, **kw: pks.append(args[0])
    )
    return pks


@pytest.fixture
def work(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """`work(f)`: every kind of run does `f(row, progress)`."""

    def replace(f: Callable[..., Any]) -> None:
        monkeypatch.setattr(work_module, "WORK", dict.fromkeys(Kind.values, f))

    return replace


def nothing(row: Run, progress: Any) -> tuple[dict[str, Any], list[str], Any]:
    return {"quality": []}, [], lambda run: None


def stale(run: Run, **fields: Any) -> Run:
    """A run whose worker has not been heard of for an hour."""
    fields = {
        "status": Status.RUNNING,
        "claim": uuid.uuid4(),
        "attempts": 1,
        "heartbeat_at": timezone.now() - timedelta(hours=1),
    } | fields
    Run.objects.filter(pk=run.pk).update(**fields)
    run.refresh_from_db()
    return run


# Asking


def test_a_run_is_asked_for_once_and_told_on_commit(
    told: list[int], django_capture_on_commit_callbacks: Any
) -> None:
    video = factories.make_video()
    with django_capture_on_commit_callbacks(execute=True):
        first = services.request_run(video=video, kind=Kind.CHECK)
        assert told == []
        again = services.request_run(video=video, kind=Kind.CHECK)
    assert again == first
    assert told == [first.pk]


def test_other_options_are_another_run_whatever_their_order() -> None:
    video = factories.make_video()
    first = services.request_run(video=video, kind=Kind.RENDER, options={"a": 1, "b": 2})
    assert services.request_run(video=video, kind=Kind.RENDER, options={"b": 2, "a": 1}) == first
    assert services.request_run(video=video, kind=Kind.RENDER, options={"a": 2}) != first


def test_a_rolled_back_request_is_never_told(
    told: list[int], django_capture_on_commit_callbacks: Any
) -> None:
    with (
        django_capture_on_commit_callbacks(execute=True),
        contextlib.suppress(ZeroDivisionError),
        transaction.atomic(),
    ):
        services.request_run(video=factories.make_video(), kind=Kind.CHECK)
        raise ZeroDivisionError
    assert told == []


def test_a_broker_that_is_away_loses_nothing(
    monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any, caplog: Any
) -> None:
    def away(**kwargs: Any) -> None:
        raise ConnectionError("nobody listens")

    monkeypatch.setattr("analysis.tasks.run_task.apply_async", away)
    with django_capture_on_commit_callbacks(execute=True):
        run = services.request_run(video=factories.make_video(), kind=Kind.CHECK)
    run.refresh_from_db()
    assert run.status == Status.QUEUED
    assert "broker is away" in caplog.text


# Claiming and closing


def test_a_run_is_claimed_once(work: Callable[..., None]) -> None:
    run = factories.make_run(kind=Kind.CHECK, status=Status.QUEUED)
    seen: list[tuple[str, int]] = []

    def look(row: Run, progress: Any) -> Any:
        row.refresh_from_db()
        seen.append((row.status, row.attempts))
        assert services.run(row.pk) is False  # a second delivery while it runs
        return nothing(row, progress)

    work(look)
    assert services.run(run.pk) is True
    assert services.run(run.pk) is False  # and after it is done
    run.refresh_from_db()
    assert seen == [("running", 1)]
    assert (run.status, run.progress, run.attempts) == ("done", 1.0, 1)
    assert run.finished_at is not None


def test_a_run_that_vanished_is_a_quiet_no_op() -> None:
    assert services.run(10**9) is False


def test_progress_keeps_the_lease(work: Callable[..., None]) -> None:
    run = factories.make_run(kind=Kind.COPY, status=Status.QUEUED)
    seen: list[tuple[str, float]] = []

    def half(row: Run, progress: Any) -> Any:
        old = timezone.now() - timedelta(hours=1)
        Run.objects.filter(pk=row.pk).update(heartbeat_at=old)
        progress("copy", 0.5)
        row.refresh_from_db()
        assert row.heartbeat_at is not None and row.heartbeat_at > old
        seen.append((row.stage, row.progress))
        return nothing(row, progress)

    work(half)
    services.run(run.pk)
    assert seen == [("copy", 0.5)]


def test_a_worker_back_from_the_dead_cannot_overwrite(work: Callable[..., None]) -> None:
    run = factories.make_run(kind=Kind.CHECK, status=Status.QUEUED)
    stored: list[str] = []

    def slow(row: Run, progress: Any) -> Any:
        stale(row, claim=row.claim)
        services.sweep()  # the lease is over: back to the queue
        work(lambda r, p: ({"by": "second"}, [], lambda run: stored.append("second")))
        assert services.run(row.pk) is True  # another worker does it
        return {"by": "first"}, [], lambda run: stored.append("first")

    work(slow)
    assert services.run(run.pk) is False
    run.refresh_from_db()
    assert stored == ["second"]
    assert run.result == {"by": "second"}
    assert run.attempts == 2


def test_a_stale_claim_closes_nothing_while_another_worker_is_at_it(
    work: Callable[..., None],
) -> None:
    run = factories.make_run(kind=Kind.CHECK, status=Status.QUEUED)
    stored: list[str] = []

    def overtaken(row: Run, progress: Any) -> Any:
        Run.objects.filter(pk=row.pk).update(claim=uuid.uuid4())
        return {"by": "first"}, [], lambda run: stored.append("first")

    work(overtaken)
    assert services.run(run.pk) is False
    run.refresh_from_db()
    assert (run.status, run.result, stored) == ("running", {"quality": []}, [])


def test_progress_after_losing_the_claim_stops_the_work(work: Callable[..., None]) -> None:
    run = factories.make_run(kind=Kind.CHECK, status=Status.QUEUED)

    def overtaken(row: Run, progress: Any) -> Any:
        Run.objects.filter(pk=row.pk).update(claim=uuid.uuid4())
        progress("check", 0.5)
        raise AssertionError("not reached")

    work(overtaken)
    assert services.run(run.pk) is False
    run.refresh_from_db()
    assert run.status == Status.RUNNING


def test_a_trouble_of_the_clip_is_final_and_named(work: Callable[..., None]) -> None:
    run = factories.make_run(kind=Kind.COPY, status=Status.QUEUED)

    def unreadable(row: Run, progress: Any) -> Any:
        raise UnreadableVideo("no picture")

    work(unreadable)
    assert services.run(run.pk) is True
    run.refresh_from_db()
    assert (run.status, run.error_code) == ("failed", "unreadable")


def test_a_passing_trouble_is_tried_again_up_to_the_cap(
    work: Callable[..., None], settings: Any
) -> None:
    settings.RUN_MAX_ATTEMPTS = 2
    run = factories.make_run(kind=Kind.COPY, status=Status.QUEUED)

    def missing(row: Run, progress: Any) -> Any:
        raise MediaMissing("storage is away")

    work(missing)
    assert services.run(run.pk) is False
    run.refresh_from_db()
    assert (run.status, run.attempts) == ("queued", 1)
    assert services.run(run.pk) is True
    run.refresh_from_db()
    assert (run.status, run.error_code) == ("failed", "media_missing")


def test_a_full_disk_is_a_passing_trouble(work: Callable[..., None]) -> None:
    run = factories.make_run(kind=Kind.COPY, status=Status.QUEUED)

    def full(run: Run) -> None:
        raise OSError(errno.ENOSPC, "no space left on device")

    work(lambda row, progress: ({}, [], full))
    assert services.run(run.pk) is False
    run.refresh_from_db()
    assert run.status == Status.QUEUED


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (ZeroDivisionError(), "internal"),
        (type("SoftTimeLimitExceeded", (Exception,), {})(), "timed_out"),
    ],
)
def test_a_mistake_of_ours_is_visible_and_logged(
    work: Callable[..., None], error: Exception, code: str
) -> None:
    run = factories.make_run(kind=Kind.MEASURE, status=Status.QUEUED)

    def wrong(row: Run, progress: Any) -> Any:
        raise error

    work(wrong)
    with pytest.raises(type(error)):
        services.run(run.pk)
    run.refresh_from_db()
    assert (run.status, run.error_code) == ("failed", code)


def test_a_locked_database_leaves_the_run_to_the_sweep(work: Callable[..., None]) -> None:
    run = factories.make_run(kind=Kind.COPY, status=Status.QUEUED)

    def locked(run: Run) -> None:
        raise OperationalError("database is locked")

    work(lambda row, progress: ({}, [], locked))
    with pytest.raises(OperationalError):
        services.run(run.pk)
    run.refresh_from_db()
    assert run.status == Status.RUNNING  # rolled back whole; its heartbeat grows old


def test_what_was_half_stored_goes_again(work: Callable[..., None]) -> None:
    run = factories.make_run(kind=Kind.COPY, status=Status.QUEUED)
    written: list[str] = []

    def breaks(row: Run) -> None:
        files.put(row.video.copy, written[0])
        row.video.save()
        raise ValueError("the next step went wrong")

    def does(row: Run, progress: Any) -> Any:
        written.append(files.write(row.video.copy, "a.mp4", ContentFile(b"copy")))
        return {}, written, breaks

    work(does)
    with pytest.raises(ValueError, match="the next step went wrong"):
        services.run(run.pk)
    assert not default_storage.exists(written[0])
    assert not LooseFile.objects.exists()
    assert Video.objects.get(pk=run.video_id).copy.name == ""


def test_listeners_are_told_inside_the_closing_transaction(
    work: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    heard: list[tuple[int, str, bool]] = []

    def listener(*, run: Run) -> None:
        heard.append((run.pk, run.status, transaction.get_connection().in_atomic_block))

    monkeypatch.setattr(services, "on_run_closed", [listener])
    work(nothing)
    run = factories.make_run(kind=Kind.CHECK, status=Status.QUEUED)
    services.run(run.pk)
    assert heard == [(run.pk, "done", True)]


# Sweeping


def test_sweep_gives_a_dead_workers_run_to_the_queue(told: list[int]) -> None:
    run = stale(factories.make_run(kind=Kind.CHECK, status=Status.QUEUED))
    assert services.sweep() == 1
    run.refresh_from_db()
    assert run.status == Status.QUEUED
    assert told == [run.pk]


def test_sweep_leaves_a_living_worker_alone(told: list[int]) -> None:
    run = stale(factories.make_run(kind=Kind.CHECK), heartbeat_at=timezone.now())
    assert services.sweep() == 0
    run.refresh_from_db()
    assert (run.status, told) == ("running", [])


def test_sweep_gives_up_at_the_cap(told: list[int], settings: Any) -> None:
    run = stale(factories.make_run(kind=Kind.CHECK), attempts=settings.RUN_MAX_ATTEMPTS)
    services.sweep()
    run.refresh_from_db()
    assert (run.status, run.error_code, told) == ("failed", "too_heavy", [])


@pytest.mark.parametrize(
    ("kind", "queue"),
    [
        (Kind.CHECK, "checks"),
        (Kind.COPY, "films"),
        (Kind.MEASURE, "films"),
        (Kind.RENDER, "renders"),
    ],
)
def test_every_kind_of_run_has_its_queue_first_and_when_it_is_tried_again(
    kind: str,
    queue: str,
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    queues: list[tuple[int, str]] = []
    monkeypatch.setattr(
        "analysis.tasks.run_task.apply_async",
        lambda args, retry, queue: queues.append((args[0], queue)),
    )
    video = factories.make_video()
    with django_capture_on_commit_callbacks(execute=True):
        run = services.request_run(video=video, kind=kind)
    Run.objects.filter(pk=run.pk).update(status=Status.FAILED, error_code="internal")
    with django_capture_on_commit_callbacks(execute=True):
        assert services.retry_run(run=run)
    Run.objects.filter(pk=run.pk).update(queued_at=timezone.now() - timedelta(hours=1))
    services.sweep()
    assert queues == [(run.pk, queue)] * 3


def test_sweep_tells_the_queue_of_what_it_forgot_once_per_lease(told: list[int]) -> None:
    long_ago = timezone.now() - timedelta(hours=1)
    forgotten = factories.make_run(kind=Kind.CHECK, status=Status.QUEUED, queued_at=long_ago)
    factories.make_run(kind=Kind.COPY, status=Status.QUEUED)  # just told
    services.sweep()
    services.sweep()
    assert told == [forgotten.pk]


def test_a_person_tries_again(told: list[int], django_capture_on_commit_callbacks: Any) -> None:
    run = factories.make_run(kind=Kind.MEASURE, status=Status.FAILED, attempts=3)
    with django_capture_on_commit_callbacks(execute=True):
        assert services.retry_run(run=run) is True
        assert services.retry_run(run=run) is False  # pressed twice
    run.refresh_from_db()
    assert (run.status, run.attempts, run.error_code, told) == ("queued", 0, "", [run.pk])


def test_no_move_outside_the_table() -> None:
    run = factories.make_run(status=Status.DONE)
    with pytest.raises(ValueError, match="done cannot become running"):
        services._move(run.pk, source=Status.DONE, target=Status.RUNNING)


def test_a_failed_run_must_say_why() -> None:
    run = factories.make_run(status=Status.QUEUED)
    with pytest.raises(IntegrityError), transaction.atomic():
        Run.objects.filter(pk=run.pk).update(status="failed", error_code="")


# The three kinds of work, on stand-ins for the heavy modules


# An archive of which nothing is read anew: its view is not measured.
UNMEASURED = SimpleNamespace(capture=SimpleNamespace(view="rear"))


@pytest.fixture
def heavy(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """Stand-ins for decoding and measuring; each attribute can be replaced."""
    from analysis import capture, pipeline, video

    clip = {"width": 720, "height": 1280, "fps": 60.0, "duration_s": 2.0, "rotation": 0}
    fake = SimpleNamespace(
        quality=[],
        clip=clip,
        reps=[{"events": {"top": {"time_s": 0.5, "frame": 30, "uncertainty_s": 0.01}}, "measures": [
            {"id": "pelvis_turn_deg", "event": "top", "view": "down_the_line", "value": 38.0,
             "uncertainty": 2.0, "unit": "deg", "source": "measured", "frame": 30, "time_s": 0.5},
            {"id": "shaft_pitch_deg", "event": "top", "view": "down_the_line", "value": None,
             "reason": "shaft_end_on"},
        ]}],
    )  # fmt: skip

    def copied(src: Any, dst: Any, progress: Any = None) -> dict[str, Any]:
        dst.write_bytes(b"our copy")
        return {"frame_times_s": [0.0, 0.25, 0.75]}

    def analysed(
        path: Any, *, artifact_path: Any, keep: Any, insisted: bool, **kw: Any
    ) -> dict[str, Any]:
        artifact_path.write_bytes(b"archive")
        keep(UNMEASURED)
        fake.insisted = insisted
        return {"clip": clip, "quality": [], "reps": fake.reps, "seconds": {}, "versions": {}}

    monkeypatch.setattr(
        capture, "check_video", lambda path, **kw: {"clip": fake.clip, "quality": fake.quality}
    )
    monkeypatch.setattr(video, "still", lambda path, time_s, **kw: b"jpeg at %.2f" % time_s)
    monkeypatch.setattr(video, "make_copy", copied)
    monkeypatch.setattr(pipeline, "analyse_video", analysed)
    return fake


def queued(video: Video, kind: str) -> Run:
    return services.request_run(video=video, kind=kind)


def test_check_copy_measure_follow_each_other(heavy: SimpleNamespace) -> None:
    video = factories.make_video()
    video.original.save("clip.mov", ContentFile(b"film"))
    services.run(queued(video, Kind.CHECK).pk)
    services.run(video.runs.get(kind=Kind.COPY).pk)
    services.run(video.runs.get(kind=Kind.MEASURE).pk)
    video.refresh_from_db()
    assert (video.width, video.fps) == (720, 60.0)
    assert video.still.read() == b"jpeg at 1.00"
    assert video.copy.read() == b"our copy"
    np.testing.assert_array_equal(video.frame_times_s, [0.0, 0.25, 0.75])
    run = video.runs.get(kind=Kind.MEASURE)
    assert run.artifact.read() == b"archive"
    assert set(run.measurements.values_list("measure", "value", "reason")) == {
        ("pelvis_turn_deg", 38.0, ""),
        ("shaft_pitch_deg", None, "shaft_end_on"),
    }
    assert "reps" not in run.result


@pytest.mark.parametrize("level", ["warn", "reject"])
def test_a_clip_that_a_person_says_is_right_is_measured_as_such(
    heavy: SimpleNamespace, level: str
) -> None:
    heavy.quality = [{"code": "wrong_view", "level": level, "frame": 9, "time_s": 0.15}]
    video = factories.make_video()
    video.original.save("clip.mov", ContentFile(b"film"))
    services.run(queued(video, Kind.CHECK).pk)
    services.run(queued(video, Kind.COPY).pk)
    services.run(video.runs.get(kind=Kind.MEASURE).pk)
    assert heavy.insisted is (level == "reject")


def test_a_refused_clip_goes_no_further_and_shows_the_frame(heavy: SimpleNamespace) -> None:
    heavy.quality = [{"code": "body_cut", "level": "reject", "frame": 9, "time_s": 0.15}]
    video = factories.make_video()
    video.original.save("clip.mov", ContentFile(b"film"))
    services.run(queued(video, Kind.CHECK).pk)
    video.refresh_from_db()
    assert video.still.read() == b"jpeg at 0.15"
    assert set(video.runs.values_list("kind", "status")) == {("check", "done")}


def test_a_file_that_is_no_film_has_an_answer_but_no_still(heavy: SimpleNamespace) -> None:
    heavy.clip, heavy.quality = None, [{"code": "unreadable", "level": "reject"}]
    video = factories.make_video()
    video.original.save("clip.mp4", ContentFile(b"a letter"))
    services.run(queued(video, Kind.CHECK).pk)
    video.refresh_from_db()
    assert (video.still.name, video.width) == ("", None)
    assert video.runs.get().result["quality"][0]["code"] == "unreadable"


def test_a_missing_file_waits_for_the_storage() -> None:
    run = queued(factories.make_video(), Kind.CHECK)
    assert services.run(run.pk) is False
    run.refresh_from_db()
    assert (run.status, run.attempts) == ("queued", 1)


# Erasing


def test_erasing_takes_every_file_and_may_be_repeated(
    heavy: SimpleNamespace, django_capture_on_commit_callbacks: Any
) -> None:
    video = factories.make_video(files=True)
    run = factories.make_run(video=video)
    run.artifact.save("a.npz", ContentFile(b"archive"))
    paths = [file.path for file in (video.original, video.copy, video.still, run.artifact)]
    with django_capture_on_commit_callbacks(execute=True):
        services.erase_media(video=video)
        services.erase_media(video=video)
        assert all(default_storage.exists(path) for path in paths)  # nothing before the commit
    video.refresh_from_db()
    run.refresh_from_db()
    assert not any(default_storage.exists(path) for path in paths)
    assert not LooseFile.objects.exists()
    assert video.erased_at is not None
    assert not (video.original or video.copy or video.still or run.artifact)


def test_a_worker_does_not_bring_an_erased_clip_back(heavy: SimpleNamespace) -> None:
    video = factories.make_video()
    video.original.save("clip.mov", ContentFile(b"film"))
    run = queued(video, Kind.COPY)
    claim = uuid.uuid4()
    Run.objects.filter(pk=run.pk).update(status=Status.RUNNING, claim=claim, attempts=1)
    run.refresh_from_db()
    result, _names, store = work_module._copy(run, lambda stage, share: None)
    services.erase_media(video=video)
    with pytest.raises(MediaErased):
        services._close(run, claim, Status.DONE, store=store, result=result)
    video.refresh_from_db()
    assert video.copy.name == ""


def test_an_erased_clip_is_not_worked_on(heavy: SimpleNamespace) -> None:
    video = factories.make_video(files=True)
    run = queued(video, Kind.MEASURE)
    services.erase_media(video=video)
    assert services.run(run.pk) is True
    run.refresh_from_db()
    assert (run.status, run.error_code) == ("failed", "erased")


# Corrections


@pytest.fixture
def recomputed(monkeypatch: pytest.MonkeyPatch) -> list[list[dict[str, Any]]]:
    """Corrections that the figures were recomputed with; the figure counts them."""
    calls: list[list[dict[str, Any]]] = []

    def remeasure(loaded: Any, corrections: list[dict[str, Any]]) -> list[dict[str, Any]]:
        calls.append(corrections)
        moved = {"id": "pelvis_turn_deg", "event": "top", "uncertainty": 1.0, "unit": "deg"}
        return [{"events": {}, "measures": [{**moved, "value": 40.0 + len(corrections)}]}]

    monkeypatch.setattr("analysis.core.remeasure.remeasure", remeasure)
    monkeypatch.setattr("analysis.artifact.load", lambda path: UNMEASURED)
    return calls


def test_a_correction_moves_the_figures_at_once_and_back(recomputed: list[Any], coach: Any) -> None:
    video = factories.make_video(files=True)
    run = factories.make_run(video=video)
    run.artifact.save("a.npz", ContentFile(b"archive"))
    kept = figures.correct(
        video=video, time_s=0.52, target="event:top", value={"repetition": 0}, author=coach
    )
    assert run.measurements.get().value == 41.0
    assert recomputed[-1] == [{"time_s": 0.52, "target": "event:top", "value": 0.52}]
    figures.undo_correction(correction=kept)
    assert run.measurements.get().value == 40.0


@pytest.mark.parametrize("overtaken", [1, 3])
def test_a_correction_that_is_overtaken_loses_nobodys(
    recomputed: list[Any], coach: Any, monkeypatch: pytest.MonkeyPatch, overtaken: int
) -> None:
    video = factories.make_video(files=True)
    run = factories.make_run(video=video)
    run.artifact.save("a.npz", ContentFile(b"archive"))
    compute, others = figures._figures_of, iter(range(overtaken))

    def slowly(run: Any, rows: Any) -> Any:
        rows = list(rows)
        if next(others, None) is not None:  # somebody else's is kept meanwhile
            video.corrections.create(time_s=0.1, target="shaft", value={}, author=coach)
        return compute(run, rows)

    monkeypatch.setattr(figures, "_figures_of", slowly)
    figures.correct(video=video, time_s=0.5, target="joint:grip", value={}, author=coach)
    assert run.measurements.get().value == 40.0 + overtaken + 1


def test_corrections_outlive_a_new_run(
    heavy: SimpleNamespace, recomputed: list[Any], coach: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    video = factories.make_video(files=True)
    figures.correct(
        video=video, time_s=0.52, target="joint:grip", value={"x": 0.5, "y": 0.5}, author=coach
    )
    monkeypatch.setattr(services, "PIPELINE_VERSION", "a later one")

    def load(path: Any) -> Any:
        raise AssertionError("what was measured is at hand: its archive is not read again")

    monkeypatch.setattr("analysis.artifact.load", load)
    run = queued(video, Kind.MEASURE)
    services.run(run.pk)
    assert run.measurements.get().value == 41.0


def test_a_clip_without_an_archive_keeps_its_figures(recomputed: list[Any], coach: Any) -> None:
    run = factories.make_run()
    factories.make_measurement(run=run)
    figures.correct(video=run.video, time_s=0.1, target="shaft", value={}, author=coach)
    assert run.measurements.get().value == 38.0
    assert recomputed == []


def test_the_heartbeat_survives_a_locked_database(
    work: Callable[..., None], settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The beat's own thread meets a lock, tries again, and the run still closes."""
    settings.RUN_LEASE_SECONDS = 0.04
    beats: list[int] = []

    class Locked:
        def update(self, **fields: Any) -> int:
            beats.append(1)
            if len(beats) == 1:
                raise DatabaseError("database is locked")
            return 1

    monkeypatch.setattr(services.Run, "objects", SimpleNamespace(filter=lambda **kw: Locked()))
    with services._heartbeat(1, uuid.uuid4()):
        for _ in range(400):
            if len(beats) >= 3:
                break
            services.time.sleep(0.01)
    assert len(beats) >= 3


@pytest.mark.slow
def test_a_real_clip_from_check_to_a_corrected_figure(settings: Any, coach: Any) -> None:
    settings.ESTIMATOR = "analysis.estimators.MediaPipeEstimator"
    clip = settings.BASE_DIR / "coaching" / "demo" / "clips" / "baseline_dtl.mp4"
    video = factories.make_video(stature_cm=178.0)
    with clip.open("rb") as file:
        video.original.save("clip.mp4", File(file))
    services.run(queued(video, Kind.CHECK).pk)
    services.run(video.runs.get(kind=Kind.COPY).pk)
    first = video.runs.get(kind=Kind.MEASURE)
    services.run(first.pk)
    video.refresh_from_db()
    tops = first.events.filter(event="top", time_s__isnull=False)
    assert tops.count() == 1
    assert first.measurements.filter(value__isnull=False).count() > 5
    frames = video.frame_times_s
    assert tops.get().frame == int(np.argmin(np.abs(frames - tops.get().time_s)))

    moved = tops.get().time_s - 0.08
    figures.correct(
        video=video, time_s=moved, target="event:top", value={"repetition": 0}, author=coach
    )
    assert tops.get().time_s == pytest.approx(moved, abs=1e-3)
    assert tops.get().source == "corrected"


# Figures in force, and old clips measured again


def figure(value: float) -> list[dict[str, Any]]:
    row = {"id": "pelvis_turn_deg", "event": "top", "value": value, "uncertainty": 2.0}
    event = {"time_s": 0.5, "frame": 30, "uncertainty_s": 0.01}
    return [{"events": {"top": event}, "measures": [row | {"unit": "deg"}]}]


def test_a_new_set_leaves_the_one_before_as_it_was() -> None:
    run = factories.make_run()
    for value in (38.0, 41.0):
        figures.store_figures(run=run, repetitions=figure(value))
    assert run.measurements.get().value == 41.0
    assert run.events.count() == 1
    both = Measurement.everything.filter(run=run).order_by("pk")
    assert [(row.value, row.superseded_at is None) for row in both] == [
        (38.0, False),
        (41.0, True),
    ]
    prefetched = Run.objects.prefetch_related("measurements").get(pk=run.pk)
    assert [row.value for row in prefetched.measurements.all()] == [41.0]


def old_clip(**fields: Any) -> Video:
    video = factories.make_video(files=True)
    factories.make_run(video=video, pipeline_version="before", **fields)
    return video


def test_remeasure_asks_once_for_each_old_clip_in_the_background(told: list[int]) -> None:
    old, new, erased = old_clip(), factories.make_video(files=True), old_clip()
    factories.make_run(video=new)
    services.erase_media(video=erased)
    factories.make_run(kind=Kind.MEASURE, status=Status.FAILED)  # was never measured at all
    assert services.remeasure_old() == 1
    assert services.remeasure_old() == 0
    run = old.runs.get(background=True)
    assert (run.status, run.pipeline_version) == ("queued", PIPELINE_VERSION)
    assert told == [], "the queue is not told: the sweep takes it up"


def test_the_command_says_how_many_wait(capsys: pytest.CaptureFixture[str]) -> None:
    old_clip()
    old_clip()
    call_command("remeasure", limit=1)
    assert capsys.readouterr().out.startswith("1 clips wait")


def test_the_background_waits_for_everybody_else(told: list[int]) -> None:
    long_ago = timezone.now() - timedelta(hours=1)
    first, _second = (
        factories.make_run(status=Status.QUEUED, background=True, queued_at=long_ago)
        for _ in range(2)
    )
    person = factories.make_run(status=Status.QUEUED, queued_at=timezone.now())
    assert services.sweep() == 0, "somebody's clip has just been queued"
    Run.objects.filter(pk=person.pk).update(
        status=Status.RUNNING, heartbeat_at=timezone.now(), claim=uuid.uuid4()
    )
    assert services.sweep() == 0
    Run.objects.filter(pk=person.pk).update(status=Status.DONE)
    assert services.sweep() == 1
    assert services.sweep() == 0
    assert told == [first.pk], "one at a time, and once per lease"
