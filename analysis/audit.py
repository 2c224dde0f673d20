"""What does not belong together: rows without files, files without rows, rows without owners."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

from django.core.files.storage import default_storage
from django.utils import timezone

from analysis import files, scratch
from analysis.models import FrameTimes, LooseFile, Video


@dataclass(frozen=True)
class Fault:
    """One thing that does not belong; `mend` removes it, where that is safe."""

    kind: str
    what: str
    why: str
    mend: Callable[[], object] | None = None


def faults() -> list[Fault]:
    """Everything found, in the order in which it is told."""
    return [*_missing_files(), *_stray_files(), *_loose_files(), *_ownerless(), *_scratch()]


def _missing_files() -> list[Fault]:
    return [
        Fault(
            "row without its file",
            f"{row._meta.label} {row.pk}: {name}",
            "The row names a file that the store does not hold: bring it back from a backup.",
        )
        for row, name in files.missing()
    ]


def _stray_files() -> list[Fault]:
    return [
        Fault(
            "file without a row",
            name,
            "Nothing names it; the hourly sweep removes it when it is a day old.",
            partial(default_storage.delete, name),
        )
        for name in files.orphans(before=timezone.now() - timedelta(hours=1))
    ]


def _loose_files() -> list[Fault]:
    overdue = LooseFile.objects.filter(due_at__lte=timezone.now() - timedelta(hours=2))
    return [
        Fault(
            "file that should be gone",
            note.name,
            "Its removal has been due for two hours: does the store answer?",
            partial(files.discard, note.name),
        )
        for note in overdue
    ]


def _ownerless() -> list[Fault]:
    """Videos that no submission points at, nor anything else."""
    owners = [
        r.get_accessor_name()
        for r in Video._meta.related_objects
        if r.one_to_one and r.related_model is not FrameTimes  # a part of the video itself
    ]
    lost = Video.objects.filter(
        **{f"{name}__isnull": True for name in owners if name},
        created_at__lte=timezone.now() - timedelta(hours=1),
    )
    return [
        Fault(
            "video of nobody",
            f"video {video.pk}",
            "No submission points at it: what it belonged to was erased.",
            partial(_remove_video, video),
        )
        for video in lost
    ]


def _remove_video(video: Video) -> None:
    from analysis import services

    services.erase_media(video=video)
    video.delete()


def _scratch() -> list[Fault]:
    return [
        Fault(
            "folder of a dead process",
            str(path),
            "A worker was killed over it; the next start or sweep removes it.",
            partial(scratch.remove, path),
        )
        for path in scratch.left_behind()
    ]
