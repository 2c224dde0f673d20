"""Every write of the review room. A published review never changes."""

from __future__ import annotations

import contextlib
import math
import tempfile
import uuid
from collections.abc import Iterable
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

from django.core.files.base import File
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone
from django.utils.module_loading import import_string
from django.utils.translation import gettext as _
from kombu.exceptions import OperationalError

from analysis import services as analysis_services
from analysis.core.pose import EVENTS, JOINTS
from analysis.models import Correction, EventTime, Video
from coaching.intake.models import Submission, Upload
from coaching.lessons import services as lessons
from coaching.lessons import words as lesson_words
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import Studio, User
from coaching.review import queries
from coaching.review.models import Mark, Review, ReviewVersion, Snippet, WalkThrough

MOST_POINTS = 400
MOST_MARKS = 200
LONGEST_WALK_S = 20 * 60
MOST_EVENTS = 20_000
SHAPES = ("upright", "line", "across", "arrow", "angle", "ring", "free", "words", "note")
# After a short backswing the hands may be level before they have dropped 10 cm.
_FREE_ORDER = frozenset({"transition", "lead_arm_down"})


# Drafts.


@transaction.atomic
def open_draft(*, submissions: Iterable[Submission], by: User) -> Review:
    """The draft that answers these clips: the one begun before, by whomever, or a new one."""
    clips = list(submissions)
    student = clips[0].student
    begun = Review.objects.filter(
        student=student, published_at=None, submissions__in=[clip.pk for clip in clips]
    )
    review = begun.order_by("pk").first() or Review.objects.create(student=student, coach=by)
    missing = {clip.pk for clip in clips} - set(review.submissions.values_list("pk", flat=True))
    if missing:
        review.submissions.add(*missing)
    return review


def save_words(*, review: Review, words: str, revision: int, by: User) -> int:
    """Keep what is written; returns the new revision.

    Raises
    ------
    LessonError
        409 `changed_elsewhere` when another tab or coach was faster: the words of this one
        are kept as a version, and both come back. Not atomic, or the version would be lost.
    """
    _refuse_published(review)
    rows = Review.objects.filter(pk=review.pk, revision=revision, published_at=None)
    if rows.update(words=words, revision=F("revision") + 1):
        return revision + 1
    standing = Review.objects.get(pk=review.pk)
    _refuse_published(standing)
    if standing.words == words:
        return standing.revision
    version = ReviewVersion.objects.create(review=review, author=by, words=words)
    raise LessonError(
        _("These words were changed in another window. Both are kept: choose one, or join them."),
        code="changed_elsewhere",
        status=409,
        theirs=standing.words,
        yours=words,
        revision=standing.revision,
        version=version.pk,
    )


def settle_version(*, version: ReviewVersion) -> None:
    """Somebody has chosen: the version that lost is not offered again."""
    ReviewVersion.objects.filter(pk=version.pk, settled_at=None).update(settled_at=timezone.now())


def _refuse_published(review: Review) -> None:
    if review.published_at is not None:
        raise LessonError(
            _("This review was sent and no longer changes. Open the clip again to add another."),
            code="published",
            status=409,
        )


# Marks: notes and drawings on a moment.


@transaction.atomic
def add_mark(*, review: Review, video: Video, key: uuid.UUID, **fields: Any) -> Mark:
    """Keep a drawing or note; sent twice it is one."""
    _refuse_published(review)
    _check_belongs(review, video)
    if review.marks.count() >= MOST_MARKS:
        raise LessonError(
            _("This review holds %(most)d marks, more than anyone can follow. Remove some first.")
            % {"most": MOST_MARKS}
        )
    fields = _checked_mark(video, **fields)
    mark, _made = Mark.objects.get_or_create(
        review=review, key=key, defaults={"video": video, **fields}
    )
    return mark


def change_mark(*, mark: Mark, revision: int, **fields: Any) -> Mark:
    """Move or rewrite a mark.

    Raises
    ------
    LessonError
        409 when it was changed elsewhere meanwhile: this version is kept as a second mark,
        whose row comes back as `copy`.
    """
    _refuse_published(mark.review)
    whole = {name: getattr(mark, name) for name in _MARK_FIELDS} | fields
    whole = _checked_mark(mark.video, **whole)
    rows = Mark.objects.filter(pk=mark.pk, revision=revision, review__published_at=None)
    if rows.update(revision=F("revision") + 1, **whole):
        mark.refresh_from_db()
        return mark
    second = Mark.objects.create(review=mark.review, video=mark.video, **whole)
    mark.refresh_from_db()
    raise LessonError(
        _("This mark was changed in another window. Both are kept; remove the one you don’t want."),
        code="changed_elsewhere",
        status=409,
        theirs=queries.mark_row(mark),
        copy=queries.mark_row(second),
    )


def remove_mark(*, mark: Mark) -> None:
    _refuse_published(mark.review)
    mark.delete()


_MARK_FIELDS = ("start_s", "end_s", "purpose", "shape", "points", "words", "wanted")


def _checked_mark(video: Video, *, start_s: float, end_s: float | None = None, purpose: str = "",
                  shape: str, points: list[Any] | None = None, words: str = "",
                  wanted: bool = False) -> dict[str, Any]:  # fmt: skip
    points = points or []
    if shape not in SHAPES:
        raise LessonError(_("Choose what the mark is for first."), code="shape")
    if len(points) > MOST_POINTS:
        raise LessonError(
            _("This drawing has more points than can be shown. Draw it in fewer strokes."),
            code="too_many_points",
            status=413,
        )
    if not all(_inside(point) for point in points):
        raise LessonError(
            _("The mark lies outside the picture. Place it on the picture."), code="outside"
        )
    _check_time(video, start_s)
    if end_s is not None:
        _check_time(video, end_s)
        start_s, end_s = sorted((start_s, end_s))
    return {
        "start_s": start_s, "end_s": end_s, "purpose": purpose, "shape": shape,
        "points": points, "words": words.strip(), "wanted": wanted,
    }  # fmt: skip


def _inside(point: Any) -> bool:
    return len(point) == 2 and all(math.isfinite(v) and 0 <= v <= 1 for v in point)


def _check_belongs(review: Review, video: Video) -> None:
    if not review.submissions.filter(video=video).exists():
        raise LessonError(_("This clip is not part of the review. Open it from the waiting list."))


def _check_time(video: Video, time_s: float) -> None:
    if not (math.isfinite(time_s) and 0 <= time_s <= (video.duration_s or math.inf) + 1):
        raise LessonError(
            _("That moment lies outside the clip. Choose one inside it."), code="time"
        )


# Corrections: figures follow at once, the worker refits afterwards.


def correct(
    *, video: Video, time_s: float, target: str, value: dict[str, Any], by: User
) -> Correction:
    """Move an event, a joint or the shaft, and recompute the figures.

    Raises
    ------
    LessonError
        When the place lies outside the picture, the time outside the clip, the events
        would be out of order, or there is nothing measured to correct.
    """
    _check_correctable(video)
    _check_time(video, time_s)
    kind, _sep, name = target.partition(":")
    if kind == "event" and name in EVENTS:
        value = {"repetition": _check_order(video, name, time_s, value)}
    elif kind == "joint" and name in JOINTS:
        value = {"x": value.get("x"), "y": value.get("y")}
        _check_places([[value["x"], value["y"]]])
    elif target == "shaft":
        value = {"grip": value.get("grip"), "head": value.get("head")}
        _check_places([value["grip"], value["head"]])
    else:
        raise LessonError(_("This can’t be corrected. Choose a moment, a joint or the shaft."))
    correction = analysis_services.correct(
        video=video, time_s=time_s, target=target, value=value, author=by
    )
    return correction


def undo_correction(*, correction: Correction) -> None:
    """Take a correction back; what the computer read stands again."""
    analysis_services.undo_correction(correction=correction)


def _check_correctable(video: Video) -> None:
    state = queries.state(video)
    if state == "gone":
        raise LessonError(
            _("This clip was erased meanwhile; its figures stay as they are."),
            code="gone",
            status=410,
        )
    if state != "ready":
        raise LessonError(
            _("This clip is not measured yet. Correct it when its figures are here."),
            code="not_ready",
        )


def _check_places(places: list[Any]) -> None:
    for place in places:
        numbers = isinstance(place, list) and all(isinstance(v, int | float) for v in place)
        if not numbers or not _inside(place):
            raise LessonError(
                _("That place lies outside the picture. Put the point where you see it, inside."),
                code="outside",
            )


def _check_order(video: Video, event: str, time_s: float, value: dict[str, Any]) -> int:
    """The repetition meant; refuses a time on the wrong side of a neighbouring event."""
    run = queries.newest_measuring(video)
    rows = list(EventTime.objects.filter(run=run))
    repetition = value.get("repetition")
    if repetition is None or not any(row.repetition == repetition for row in rows):
        timed = [row for row in rows if row.time_s is not None]
        nearest = min(timed, key=lambda row: abs(row.time_s - time_s), default=None)
        repetition = nearest.repetition if nearest else 0
    place = EVENTS.index(event)
    for row in rows:
        if row.repetition != repetition or row.time_s is None or row.event == event:
            continue
        if {row.event, event} == _FREE_ORDER:
            continue
        before = EVENTS.index(row.event) < place
        if (before and row.time_s >= time_s) or (not before and row.time_s <= time_s):
            told = _("%(event)s must come after %(other)s (%(time).2f s). Choose a later moment.")
            if not before:
                told = _(
                    "%(event)s must come before %(other)s (%(time).2f s). Choose an earlier moment."
                )
            names = {
                "event": lesson_words.event_name(event).capitalize(),
                "other": lesson_words.event_name(row.event),
                "time": row.time_s,
            }
            raise LessonError(told % names, code="order")
    return int(repetition)


# Walk-throughs.


@transaction.atomic
def start_walk(*, review: Review, video: Video, upload: Upload | None = None) -> WalkThrough:
    _refuse_published(review)
    _check_belongs(review, video)
    return WalkThrough.objects.create(review=review, video=video, upload=upload)


def save_walk(
    *, walk: WalkThrough, events: list[dict[str, Any]], duration_s: float | None = None
) -> WalkThrough:
    """Keep what was done so far; called every few seconds while it is spoken."""
    _refuse_published(walk.review)
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
    numbers = all(isinstance(t, int | float) and math.isfinite(t) for t in times)
    return numbers and all(a <= b for a, b in pairwise(times))


def finish_walk(*, walk: WalkThrough, sound: File[Any] | None = None) -> WalkThrough:
    """Close a walk-through with the sound that arrived, whole or broken off."""
    _refuse_published(walk.review)
    if sound is not None:
        walk.sound.save(f"{walk.pk}.webm", sound, save=False)
        transaction.on_commit(partial(_tell_worker, walk.pk))
    walk.finished_at = walk.finished_at or timezone.now()
    walk.save(update_fields=["sound", "finished_at"])
    return walk


def _tell_worker(pk: int) -> None:
    """A broker that is away costs nothing: the sound is served as the browser wrote it."""
    settle_sound = import_string("coaching.review.tasks.settle_sound")  # it imports this module
    with contextlib.suppress(OperationalError):
        settle_sound.apply_async(args=[pk], retry=False)


def settle_walk_sound(pk: int) -> bool:
    """Turn what a browser recorded into AAC, which every browser plays; once.

    Browsers write different formats, and a recording that broke off has no length.
    """
    from coaching.review import sound  # PyAV loads in the worker only

    walk = WalkThrough.objects.exclude(sound="").filter(pk=pk).first()
    if walk is None or str(walk.sound.name).endswith(".m4a"):
        return False
    raw = str(walk.sound.name)
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "sound.m4a"
        with analysis_services.local_path(walk.sound) as path:
            try:
                duration_s = sound.to_aac(path, made)
            except ValueError:
                return False  # nothing to hear in it: the raw file stays as it is
        with made.open("rb") as file:
            name = walk.sound.storage.save(
                walk.sound.field.generate_filename(walk, f"{walk.pk}.m4a"), File(file)
            )
    rows = WalkThrough.objects.filter(pk=pk, sound=raw)
    won = rows.update(sound=name, duration_s=duration_s) == 1
    walk.sound.storage.delete(raw if won else name)
    return won


def add_demonstration(*, walk: WalkThrough, film: File[Any]) -> None:
    """Put the coach's own film beside a walk-through, in place of an earlier one."""
    _refuse_published(walk.review)
    old = walk.demonstration.name
    walk.demonstration.save(f"{walk.pk}-shown.webm", film, save=False)
    if walk.upload_id is None:  # shown without a word: there is no sound to wait for
        walk.finished_at = walk.finished_at or timezone.now()
    walk.save(update_fields=["demonstration", "finished_at"])
    if old:
        walk.demonstration.storage.delete(old)


def remove_walk(*, walk: WalkThrough) -> None:
    _refuse_published(walk.review)
    files = [file for file in (walk.sound, walk.demonstration) if file]
    walk.delete()
    for file in files:
        file.storage.delete(file.name)


def save_captions(*, walk: WalkThrough, captions: str) -> None:
    """Keep the spoken words as WebVTT. They may be written after the review was sent."""
    if len(captions) > 200_000:
        raise LessonError(_("These captions are too long. Keep what was said."), status=413)
    text = captions.replace("\r\n", "\n").strip()
    if text and not text.startswith("WEBVTT"):
        raise LessonError(_("Captions begin with the line WEBVTT."), code="captions")
    walk.captions = text + "\n" if text else ""
    walk.save(update_fields=["captions"])


# What is said every day.


def add_snippet(*, studio: Studio, title: str, words: str) -> Snippet:
    if not words.strip():
        raise LessonError(_("Write the words first, then keep them."))
    return Snippet.objects.create(
        studio=studio, title=(title.strip() or words.strip())[:60], words=words.strip()
    )


def remove_snippet(*, snippet: Snippet) -> None:
    snippet.delete()


def preferences_of(user: User) -> dict[str, Any]:
    """Review-room habits; whether single keys act at all is asked on the person's own page."""
    return {**user.preferences.get("review", {}), "keys_on": user.preferences.get("keys", True)}


def save_preferences(*, user: User, **changed: Any) -> dict[str, Any]:
    """Review-room habits: speed, brightness, keys, overlays."""
    if "keys_on" in changed:
        user.preferences = {**user.preferences, "keys": changed.pop("keys_on")}
    kept = {**user.preferences.get("review", {}), **changed}
    user.preferences = {**user.preferences, "review": kept}
    user.save(update_fields=["preferences"])
    return preferences_of(user)


# Sending.


def why_not_yet(review: Review) -> str:
    """Why the review cannot be sent now, as a sentence with what to do; empty when it can."""
    if (
        review.student.needs_captions
        and review.walk_throughs.filter(captions="").exclude(sound="").exists()
    ):
        return _("%(name)s reads what you say: write the captions of your walk-through first.") % {
            "name": review.student.name
        }
    return ""


@transaction.atomic
def publish_review(*, review: Review, by: User) -> Review:
    """Freeze a review, answer its clips and tell the thread.

    Composed with assignments by the slice on the right, in its transaction.

    Raises
    ------
    LessonError
        409 when it was sent already; 400 when captions are needed first.
    """
    refusal = why_not_yet(review)
    if refusal:
        raise LessonError(refusal, code="captions_needed")
    now = timezone.now()
    won = Review.objects.filter(pk=review.pk, published_at=None).update(published_at=now, coach=by)
    if not won:
        _refuse_published(Review.objects.get(pk=review.pk))
    review.refresh_from_db()
    review.walk_throughs.filter(Q(sound="") & Q(demonstration="")).delete()
    clips = list(review.submissions.values_list("pk", flat=True))
    Submission.objects.filter(pk__in=clips, answered_at=None).update(answered_at=now)
    lessons.record(
        student=review.student,
        kind=Entry.Kind.REVIEWED,
        author=by,
        words=review.words,
        review=review.pk,
        submissions=clips,
    )
    return review
