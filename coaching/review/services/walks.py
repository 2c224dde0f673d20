"""Walk-throughs: what was said and done over a clip."""

from __future__ import annotations

import contextlib
import math
from datetime import timedelta
from functools import partial
from itertools import pairwise
from typing import Any

from django.core.files.base import File
from django.db import transaction
from django.utils import timezone
from django.utils.module_loading import import_string
from django.utils.translation import gettext as _
from kombu.exceptions import OperationalError

from analysis import files, sweeping
from analysis.models import Video
from coaching.intake.models import Upload
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.people.once import SENT_TWICE
from coaching.review.models import Review, WalkThrough
from coaching.review.services import sounds
from coaching.review.services.drafts import hold_draft
from coaching.review.services.marks import check_belongs

LONGEST_WALK_S = 20 * 60

FORGOTTEN = timedelta(days=2)  # after that a sound stays as the browser wrote it

MOST_EVENTS = 20_000


@transaction.atomic
def start_walk(
    *, review: Review, by: User, video: Video, upload: Upload | None = None
) -> WalkThrough:
    """Begin one. Asked twice for the same sound, or within a minute, it is the same."""
    access.require_staff(by, review.student)
    hold_draft(review)
    check_belongs(review, video)
    just_now = timezone.now() - SENT_TWICE
    begun = review.walk_throughs.filter(
        video=video, upload=upload, finished_at=None, demonstration="", events=[]
    )
    twin = begun.first() if upload else begun.filter(created_at__gt=just_now).first()
    return twin or WalkThrough.objects.create(review=review, video=video, upload=upload)


@transaction.atomic
def save_walk(
    *, walk: WalkThrough, by: User, events: list[dict[str, Any]], duration_s: float | None = None
) -> WalkThrough:
    """Keep what was done so far; called every few seconds while it is spoken."""
    access.require_staff(by, walk.review.student)
    hold_draft(walk.review)
    if walk.finished_at is not None:
        raise LessonError(_("This walk-through is finished. Record a new one."), status=409)
    if len(events) > MOST_EVENTS or (duration_s or 0) > LONGEST_WALK_S + 5:
        raise LessonError(
            _("A walk-through holds 20 minutes. What you said is kept; begin a second one."),
            code="too_long",
            status=413,
        )
    if not _timed(events):
        raise LessonError(_("What was done must be in order of time."), code="order")
    walk.events, walk.duration_s = events, duration_s
    walk.save(update_fields=["events", "duration_s"])
    return walk


def _timed(events: list[dict[str, Any]]) -> bool:
    times = [event.get("t") for event in events]
    numbers = [t for t in times if isinstance(t, int | float) and math.isfinite(t)]
    return len(numbers) == len(times) and all(a <= b for a, b in pairwise(numbers))


def finish_walk(*, walk: WalkThrough, by: User, sound: File[Any] | None = None) -> WalkThrough:
    """Close a walk-through with the sound that arrived, whole or broken off."""
    access.require_staff(by, walk.review.student)
    with files.stored(walk.sound, f"{walk.pk}.webm", sound) as name, transaction.atomic():
        hold_draft(walk.review)
        if name:
            files.put(walk.sound, name)
            # After the row is saved: a worker that is quick must find the sound.
            transaction.on_commit(partial(_notify_worker, walk.pk))
        walk.finished_at = walk.finished_at or timezone.now()
        walk.save(update_fields=["sound", "finished_at"])
    return walk


def _notify_worker(pk: int) -> None:
    """A broker that is away costs nothing: the sound is served as the browser wrote it."""
    finalize_sound = import_string("coaching.review.tasks.finalize_sound")  # it imports this module
    with contextlib.suppress(OperationalError):
        finalize_sound.apply_async(args=[pk], retry=False, queue="renders")


def finalize_walk_sound(pk: int) -> bool:
    """Turn the sound of a walk-through into what every browser plays; once."""
    walk = WalkThrough.objects.exclude(sound="").filter(pk=pk).first()
    return walk is not None and sounds.finalize(walk, "sound", "duration_s")


def settle_forgotten_sounds() -> int:
    """Turn the sounds that the queue forgot into what every browser plays."""
    since = timezone.now() - FORGOTTEN
    walks = WalkThrough.objects.exclude(sound="").exclude(sound__endswith=".m4a")
    recent = walks.filter(finished_at__gt=since).values_list("pk", flat=True)
    return sweeping.each(list(recent), finalize_walk_sound, what="The sound of a walk-through")


def add_demonstration(*, walk: WalkThrough, by: User, film: File[Any]) -> None:
    """Put the coach's own film beside a walk-through, in place of an earlier one."""
    access.require_staff(by, walk.review.student)
    shown = f"{walk.pk}-shown.webm"
    with files.stored(walk.demonstration, shown, film) as name, transaction.atomic():
        hold_draft(walk.review)
        files.put(walk.demonstration, name)
        if walk.upload_id is None:  # shown without a word: there is no sound to wait for
            walk.finished_at = walk.finished_at or timezone.now()
        walk.save(update_fields=["demonstration", "finished_at"])


@transaction.atomic
def remove_walk(*, walk: WalkThrough, by: User) -> None:
    access.require_staff(by, walk.review.student)
    hold_draft(walk.review)
    for file in (walk.sound, walk.demonstration):
        files.let_go(str(file.name or ""))
    walk.delete()


def save_captions(*, walk: WalkThrough, by: User, captions: str) -> None:
    """Keep the spoken words as WebVTT. They may be written after the review was sent."""
    access.require_staff(by, walk.review.student)
    if len(captions) > 200_000:
        raise LessonError(_("These captions are too long. Keep what was said."), status=413)
    text = captions.replace("\r\n", "\n").strip()
    if text and not text.startswith("WEBVTT"):
        raise LessonError(_("Captions begin with the line WEBVTT."), code="captions")
    walk.captions = text + "\n" if text else ""
    walk.save(update_fields=["captions"])
