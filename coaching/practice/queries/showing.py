"""The coach's own picture or clip: of a step, of one assignment, of a drill; the nearest first."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath

from django.urls import reverse

from coaching.practice.models import Assignment, DrillVersion, Step

ENDINGS = {
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".png": "image/png",
    ".webp": "image/webp",
    ".mp4": "video/mp4",
    ".webm": "video/webm",
}


@dataclass(frozen=True)
class Own:
    """What is shown before the drawn positions; `of` is `step`, `assignment` or `version`."""

    of: str
    pk: int
    name: str

    @property
    def url(self) -> str:
        return reverse(f"practice:shown_{self.of}", args=[self.pk])

    @property
    def is_clip(self) -> bool:
        return ENDINGS.get(PurePath(self.name).suffix.lower(), "").startswith("video/")


def own_of(assignment: Assignment, step: Step | None = None) -> Own | None:
    """Of the step, else for this student, else of the drill; None where there is none."""
    found = own_of_version(assignment.drill_version)
    if assignment.shown:
        found = Own("assignment", assignment.pk, str(assignment.shown.name))
    if step is not None and step.shown:
        found = Own("step", step.pk, str(step.shown.name))
    return found


def own_of_version(version: DrillVersion) -> Own | None:
    return Own("version", version.pk, str(version.shown.name)) if version.shown else None
