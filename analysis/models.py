"""A clip, the work done on it, and the figures that came out.

Nothing here knows of lessons or students: a `Video` carries what the person who filmed
it has told us, and a submission points at its video, never the reverse.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from django.conf import settings
from django.db import models
from django.db.models import OuterRef, Q, Subquery
from django.utils import timezone

from analysis.columns import guarded
from analysis.core.pose import EVENTS, KINDS, VIEWS


def named(values: tuple[str, ...]) -> list[tuple[str, str]]:
    return [(value, value.replace("_", " ")) for value in values]


VIEW_CHOICES, KIND_CHOICES, EVENT_CHOICES = named(VIEWS), named(KINDS), named(EVENTS)


@guarded
class Video(models.Model):
    """One clip: the original, our own copy, and its table of frame times."""

    original = models.FileField(upload_to="original/%Y/%m/", max_length=200, blank=True)
    copy = models.FileField(upload_to="copy/%Y/%m/", max_length=200, blank=True)
    still = models.FileField(upload_to="still/%Y/%m/", max_length=200, blank=True)
    sha256 = models.CharField(max_length=64, db_index=True, blank=True)
    size_bytes = models.BigIntegerField(default=0)
    width = models.PositiveIntegerField(null=True)
    height = models.PositiveIntegerField(null=True)
    duration_s = models.FloatField(null=True)
    fps = models.FloatField(null=True)
    rotation = models.SmallIntegerField(default=0)

    view = models.CharField(max_length=16, choices=VIEW_CHOICES)
    kind = models.CharField(max_length=16, choices=KIND_CHOICES)
    handedness = models.CharField(max_length=5, choices=named(("right", "left")))
    stature_cm = models.FloatField()
    club_cm = models.FloatField(null=True, blank=True)
    repetitions = models.PositiveSmallIntegerField(null=True, blank=True)  # asked for

    created_at = models.DateTimeField(default=timezone.now)
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(stature_cm__gt=80) & Q(stature_cm__lt=250),
                name="video_stature_plausible",
            )
        ]

    @property
    def frame_times_s(self) -> np.ndarray:
        """When the copy's frames are shown, seconds, shape (frames,); empty before the copy."""
        kept = FrameTimes.objects.filter(video=self).first()
        return np.frombuffer(bytes(kept.raw) if kept else b"", dtype="<f8")

    def keep_frame_times(self, times: Sequence[float] | np.ndarray) -> None:
        raw = np.asarray(times, dtype="<f8").tobytes()
        FrameTimes.objects.update_or_create(video=self, defaults={"raw": raw})

    def measured(self, version: str = "") -> Run | None:
        """`RunQuerySet.newest_measured` of this clip, from memory when runs were prefetched."""
        done = [run for run in self.runs.all() if run.is_measured(version)]
        return max(done, key=lambda run: run.pk, default=None)

    def latest(self, kind: str) -> Run | None:
        """The newest run of `kind`, from memory when runs were prefetched."""
        runs = [run for run in self.runs.all() if run.kind == kind]
        return max(runs, key=lambda run: run.pk, default=None)


class FrameTimes(models.Model):
    """When each frame of a copy is shown; apart from `Video`, whose reads rarely need it."""

    video = models.OneToOneField(Video, on_delete=models.CASCADE, primary_key=True)
    raw = models.BinaryField(editable=False)  # seconds, little-endian float64


class LooseFile(models.Model):
    """The name of a stored file that no row names: not yet, or no longer.

    Written before the file is; gone with the transaction that makes a row name it. At
    `due_at` the sweep removes the file.
    """

    name = models.CharField(max_length=200, unique=True)
    due_at = models.DateTimeField()


class RunQuerySet(models.QuerySet["Run"]):
    def measured(self, version: str = "") -> RunQuerySet:
        """Finished measuring runs, of one pipeline version when it is named."""
        rows = self.filter(kind=Run.Kind.MEASURE, status=Run.Status.DONE)
        return rows.filter(pipeline_version=version) if version else rows

    def newest_measured(self, version: str = "") -> RunQuerySet:
        """The run whose figures count: each video's newest finished measuring run."""
        own = Run.objects.measured(version).filter(video=OuterRef("video")).order_by("-pk")
        return self.measured(version).filter(pk=Subquery(own.values("pk")[:1]))


@guarded
class Run(models.Model):
    """One piece of slow work on a video: the only stored state machine.

    queued  -> running          `run` claims it: a fresh uuid, heartbeat, attempts + 1
    running -> done | failed    `run`, only while the claim is still its own
    running -> queued | failed  `sweep`, when the heartbeat is too old; failed at the cap
    failed  -> queued           a person's retry
    """

    class Kind(models.TextChoices):
        CHECK = "check"
        COPY = "copy"
        MEASURE = "measure"
        RENDER = "render"

    class Status(models.TextChoices):
        QUEUED = "queued"
        RUNNING = "running"
        DONE = "done"
        FAILED = "failed"

    NEXT = {
        Status.QUEUED: {Status.RUNNING},
        Status.RUNNING: {Status.DONE, Status.FAILED, Status.QUEUED},
        Status.FAILED: {Status.QUEUED},
        Status.DONE: set(),
    }

    video = models.ForeignKey(Video, on_delete=models.CASCADE, related_name="runs")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    pipeline_version = models.CharField(max_length=40)
    options = models.JSONField(default=dict)
    options_key = models.CharField(max_length=64, default="")
    status = models.CharField(max_length=8, choices=Status.choices, default=Status.QUEUED)
    claim = models.UUIDField(null=True)
    heartbeat_at = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    progress = models.FloatField(default=0.0)
    stage = models.CharField(max_length=40, blank=True)
    error_code = models.CharField(max_length=40, blank=True)
    artifact = models.FileField(upload_to="artifact/%Y/%m/", max_length=200, blank=True)
    # check: clip facts and quality codes. measure: quality, seconds, versions.
    result = models.JSONField(default=dict)
    queued_at = models.DateTimeField(default=timezone.now)
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    # Waits until nothing else does: an old clip measured again by a newer pipeline.
    background = models.BooleanField(default=False)

    objects = RunQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["video", "kind", "pipeline_version", "options_key"],
                name="run_once_per_version",
            ),
            models.CheckConstraint(
                condition=~Q(status="failed") | ~Q(error_code=""), name="failed_run_has_a_code"
            ),
        ]
        indexes = [models.Index(fields=["status", "heartbeat_at"])]

    def is_measured(self, version: str = "") -> bool:
        done = (self.kind, self.status) == (Run.Kind.MEASURE, Run.Status.DONE)
        return done and version in ("", self.pipeline_version)


class InForce(models.Manager[Any]):
    """Rows of the newest set of their run: a correction adds a set and changes none."""

    def get_queryset(self) -> models.QuerySet[Any]:
        return super().get_queryset().filter(superseded_at__isnull=True)


@guarded
class EventTime(models.Model):
    """When an event of one repetition happened, or why it has no time."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="events")
    repetition = models.PositiveSmallIntegerField()
    event = models.CharField(max_length=16, choices=EVENT_CHOICES)
    time_s = models.FloatField(null=True)
    frame = models.PositiveIntegerField(null=True)
    uncertainty_s = models.FloatField(null=True)
    reason = models.CharField(max_length=40, blank=True)
    source = models.CharField(max_length=10, default="measured")
    superseded_at = models.DateTimeField(null=True, editable=False)

    everything = models.Manager()
    objects = InForce()

    class Meta:
        ordering = ["pk"]
        default_manager_name = "objects"
        constraints = [
            models.UniqueConstraint(
                fields=["run", "repetition", "event"],
                condition=Q(superseded_at__isnull=True),
                name="event_once_per_repetition",
            ),
            models.CheckConstraint(
                condition=Q(time_s__isnull=False) | ~Q(reason=""), name="absent_event_has_a_reason"
            ),
        ]


@guarded
class Measurement(models.Model):
    """One figure with its uncertainty (one standard deviation), or why there is none."""

    run = models.ForeignKey(Run, on_delete=models.CASCADE, related_name="measurements")
    repetition = models.PositiveSmallIntegerField()
    measure = models.CharField(max_length=32)
    event = models.CharField(max_length=16, choices=EVENT_CHOICES)
    value = models.FloatField(null=True)
    uncertainty = models.FloatField(null=True)
    unit = models.CharField(max_length=8, blank=True)
    reason = models.CharField(max_length=40, blank=True)
    source = models.CharField(max_length=10, blank=True)
    frame = models.PositiveIntegerField(null=True)
    time_s = models.FloatField(null=True)
    superseded_at = models.DateTimeField(null=True, editable=False)

    everything = models.Manager()
    objects = InForce()

    class Meta:
        ordering = ["pk"]
        default_manager_name = "objects"
        constraints = [
            models.UniqueConstraint(
                fields=["run", "repetition", "measure", "event"],
                condition=Q(superseded_at__isnull=True),
                name="measure_once_per_repetition",
            ),
            models.CheckConstraint(
                condition=(Q(value__isnull=False) & Q(uncertainty__isnull=False) & Q(reason=""))
                | (Q(value__isnull=True) & Q(uncertainty__isnull=True) & ~Q(reason="")),
                name="measure_has_value_or_reason",
            ),
        ]
        indexes = [models.Index(fields=["measure", "event"])]


@guarded
class Correction(models.Model):
    """What a person moved: tied to the clip's own time, so it survives every new run.

    `target` is `event:<event>` (value `{"repetition": n}`; `time_s` is the new time),
    `joint:<joint>` (value `{"x": 0..1, "y": 0..1}` of the picture) or `shaft`
    (value `{"grip": [x, y], "head": [x, y]}`, 0..1).
    """

    video = models.ForeignKey(Video, on_delete=models.CASCADE, related_name="corrections")
    time_s = models.FloatField()
    target = models.CharField(max_length=40)
    value = models.JSONField()
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now)
    undone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
