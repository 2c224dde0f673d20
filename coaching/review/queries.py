"""What the review room shows: the data of a clip, its figures, drafts and wanted lines."""

from __future__ import annotations

import logging
import math
from typing import Any

import numpy as np
from django.core.cache import cache
from django.db.models import QuerySet
from django.urls import reverse

from analysis import artifact
from analysis.core.measures import centre_of_mass_m, nearest_frame
from analysis.core.pose import EVENTS, JOINTS
from analysis.core.remeasure import Artifact, remeasure
from analysis.errors import MediaMissing
from analysis.models import Correction, EventTime, Run, Video
from analysis.services import local_path
from coaching.intake.access import video_see
from coaching.intake.models import Submission
from coaching.people import access
from coaching.people.models import Consent, Student
from coaching.review import change
from coaching.review.models import Mark, Review, Snippet, WalkThrough
from coaching.review.segments import SEGMENTS

logger = logging.getLogger(__name__)
# A joint's curve is kept to a ten-thousandth of the picture: a tenth of a pixel.
_DIGITS = 4


def video_read(user: access.AnyUser, pk: int) -> Video:
    """The clip of a submission whose pictures `user` may see, or 404."""
    return with_figures(video_see(user, pk).pk)


def with_figures(pk: int) -> Video:
    """A clip with everything the room asks of it, in a handful of queries."""
    rows = Video.objects.select_related("submission__student", "submission__angle")
    return rows.prefetch_related("runs__events", "runs__measurements").get(pk=pk)


def video_prepare(user: access.AnyUser, pk: int) -> Video:
    """The clip of a student in whose studio `user` works, or 404."""
    rows = access.rows_taught(user, Submission, roles=access.STAFF)
    access.get_object_or_404(rows, video=pk)
    return video_see(user, pk)


def draft_write(user: access.AnyUser, pk: int) -> Review:
    """A review that `user` may work on: any role of the studio prepares, or 404."""
    rows = access.rows_taught(user, Review, roles=access.STAFF)
    return access.get_object_or_404(rows.select_related("student"), pk=pk)


def review_read(user: access.AnyUser, pk: int) -> Review:
    """A published review for whom it was written; a draft for its studio only; or 404."""
    rows = access.rows_read(user, Review).select_related("student", "coach")
    review = access.get_object_or_404(rows, pk=pk)
    if review.published_at is None and not access.is_staff_of(user, review.student):
        raise access.Http404
    return review


def walk_read(user: access.AnyUser, pk: int) -> WalkThrough:
    walk = access.get_object_or_404(
        access.rows_read(user, WalkThrough, "review__student").select_related("review__student"),
        pk=pk,
    )
    review_read(user, walk.review_id)
    return walk


def walk_write(user: access.AnyUser, pk: int) -> WalkThrough:
    rows = access.rows_taught(user, WalkThrough, "review__student", roles=access.STAFF)
    return access.get_object_or_404(rows.select_related("review__student"), pk=pk)


def mark_write(user: access.AnyUser, pk: int) -> Mark:
    rows = access.rows_taught(user, Mark, "review__student", roles=access.STAFF)
    return access.get_object_or_404(rows.select_related("review", "video"), pk=pk)


def snippets(user: access.AnyUser, student: Student) -> QuerySet[Snippet]:
    """What this studio says every day."""
    return Snippet.objects.filter(studio__in=access.studios(user), studio=student.studio_id)


def newest_measuring(video: Video) -> Run | None:
    """The newest finished measuring run."""
    done = [r for r in video.runs.all() if (r.kind, r.status) == ("measure", Run.Status.DONE)]
    return max(done, key=lambda run: run.pk, default=None)


def clips_to_answer(submission: Submission) -> list[Submission]:
    """The clip and its siblings of the same request that are not yet answered, in order."""
    if submission.angle is None:
        return [submission]
    siblings = Submission.objects.filter(
        angle__request=submission.angle.request_id, replaced_by=None, answered_at=None
    )
    ids = {s.pk for s in siblings} | {submission.pk}
    rows = Submission.objects.filter(pk__in=ids).select_related("video", "angle")
    return list(rows.order_by("angle__position", "pk"))


def sent_about(submission: Submission) -> list[Review]:
    """Reviews of a clip that were sent before, newest first."""
    sent = submission.reviews.filter(published_at__isnull=False)
    return list(sent.order_by("-published_at")[:5])


def comparable_clips(video: Video) -> list[Submission]:
    """Other measured clips of the same student and angle, newest first."""
    submission = video.submission
    rows = Submission.objects.filter(student=submission.student_id, video__view=video.view)
    rows = rows.exclude(video=video.pk).exclude(video__copy="").select_related("video", "angle")
    return list(rows.order_by("-created_at")[:50])


# What the player needs, in one answer.


def player_data(video: Video) -> dict[str, Any]:
    """Everything the player shows of a clip, as plain JSON values.

    Returns
    -------
    dict
        `state` is `ready`, `measuring`, `failed` or `gone`; `frame_times_s` the copy's
        table; `repetitions` events and measures, a corrected figure with its `original`;
        `curves` joints and shaft in 0..1 of the picture as filmed; `corrections` those
        that stand, each with its `frame`; `stature_share` the student's stature in
        shares of width and height.
    """
    times = np.round(video.frame_times_s, 6)
    run = newest_measuring(video)
    held = _archive(run)
    return {
        "id": video.pk,
        "view": video.view,
        "kind": video.kind,
        "handedness": video.handedness,
        "width": video.width,
        "height": video.height,
        "url": reverse("intake:media", args=[video.pk, "copy"]) if video.copy else "",
        "state": state(video),
        "frame_times_s": times.tolist(),
        **_measured(video, run),
        "curves": _curves(held) if held else _NO_CURVES,
        "stature_share": _stature_share(held) if held else None,
    }


def figures_data(video: Video) -> dict[str, Any]:
    """The part of `player_data` that a correction changes."""
    return _measured(video, newest_measuring(video))


def state(video: Video) -> str:
    """In one word: is there a picture, and are there figures."""
    if video.erased_at or (not video.copy and not video.original):
        return "gone"
    runs = list(video.runs.all())
    newest = max(runs, key=lambda run: run.pk, default=None)
    if video.copy and newest_measuring(video):
        return "ready"
    if newest is not None and newest.status == Run.Status.FAILED:
        return "failed"
    return "measuring"


_NO_CURVES: dict[str, Any] = {"frames": [], "joints": {}, "shaft": None, "ball": None}


def _measured(video: Video, run: Run | None) -> dict[str, Any]:
    standing = _corrected(video)
    original = _originals(run) if run and standing else {}
    return {
        "repetitions": _repetitions(run, original) if run else [],
        "corrections": [
            {
                "id": row.pk,
                "time_s": row.time_s,
                "frame": nearest_frame(video.frame_times_s, row.time_s),
                "target": row.target,
                "value": row.value,
            }
            for row in standing
        ],
    }


def _corrected(video: Video) -> list[Any]:
    return list(video.corrections.filter(undone_at__isnull=True).order_by("pk"))


def _repetitions(run: Run, original: dict[tuple[Any, ...], Any]) -> list[dict[str, Any]]:
    reps: dict[int, dict[str, Any]] = {}
    for row in run.events.all():
        rep = reps.setdefault(row.repetition, {"events": {}, "measures": []})
        rep["events"][row.event] = _event(row) | _was(original, row, row.event)
    for row in run.measurements.all():
        rep = reps.setdefault(row.repetition, {"events": {}, "measures": []})
        rep["measures"].append(
            {
                "pk": row.pk,
                "id": row.measure,
                "event": row.event,
                "value": row.value,
                "uncertainty": row.uncertainty,
                "unit": row.unit,
                "reason": row.reason,
                "source": row.source,
                "time_s": row.time_s,
                "segments": SEGMENTS.get(row.measure, ()),
            }
            | _was(original, row, row.measure, row.event)
        )
    for rep in reps.values():
        rep["events"] = {e: rep["events"][e] for e in EVENTS if e in rep["events"]}
        rep["measures"].sort(key=lambda m: EVENTS.index(m["event"]))
    return [reps[number] for number in sorted(reps)]


def _event(row: EventTime) -> dict[str, Any]:
    kept = {"time_s": row.time_s, "frame": row.frame, "uncertainty_s": row.uncertainty_s}
    return kept | {"reason": row.reason, "source": row.source}


def _was(original: dict[tuple[Any, ...], Any], row: Any, *key: str) -> dict[str, Any]:
    if row.source != "corrected":
        return {}
    return {"original": original.get((row.repetition, *key))}


def _originals(run: Run) -> dict[tuple[Any, ...], Any]:
    """What the computer read before anybody moved anything.

    A run's archive never changes, so it is reckoned once and kept while corrections go on.
    """
    key = f"review-original-{run.pk}-{run.artifact.name}"
    kept: dict[tuple[Any, ...], Any] | None = cache.get(key)
    if kept is None:
        held = _archive(run)
        kept = _readings(remeasure(held, [])) if held else {}
        cache.set(key, kept, 3600)
    return kept


def _readings(repetitions: list[dict[str, Any]]) -> dict[tuple[Any, ...], Any]:
    kept: dict[tuple[Any, ...], Any] = {}
    for number, rep in enumerate(repetitions):
        for event, row in rep["events"].items():
            kept[number, event] = row.get("time_s")
        for row in rep["measures"]:
            kept[number, row["id"], row["event"]] = row.get("value")
    return kept


def _archive(run: Run | None) -> Artifact | None:
    if run is None or not run.artifact:
        return None
    try:
        with local_path(run.artifact) as path:
            return artifact.load(path)
    except (MediaMissing, ValueError):
        logger.warning("The archive of run %s cannot be read.", run.pk)
        return None


def _curves(held: Artifact) -> dict[str, Any]:
    """All repetitions' curves in one table, by frame, as filmed."""
    parts = [_part(held, k) for k in range(len(held.meta["reps"]))]
    if not parts:
        return _NO_CURVES
    frames = np.concatenate([part["frames"] for part in parts])
    frames, first = np.unique(frames, return_index=True)
    joined = {
        name: np.concatenate([part["points"][name] for part in parts])[first]
        for name in parts[0]["points"]
    }
    shaft = {end: _listed(joined.pop(f"shaft_{end}")) for end in ("grip", "head")}
    balls = [part["ball"] for part in parts if np.isfinite(part["ball"]).all()]
    return {
        "frames": frames.tolist(),
        "joints": {name: _listed(curve) for name, curve in joined.items()},
        "shaft": shaft,
        "ball": [round(float(v), _DIGITS) for v in balls[0]] if balls else None,
    }


def _part(held: Artifact, k: int) -> dict[str, Any]:
    px = held.of(k, "joints_px")
    points = dict(zip(JOINTS, np.moveaxis(px, 1, 0), strict=True))
    points["com"] = centre_of_mass_m(px)
    points["shaft_grip"], points["shaft_head"] = _shaft(held, k, len(px))
    ball = (
        held.of(k, "shaft/ball_px")
        if f"rep{k}/shaft/ball_px" in held.arrays
        else np.full(2, np.nan)
    )
    return {
        "frames": held.of(k, "frame"),
        "points": {name: _shares(held, held.in_frames(k, curve)) for name, curve in points.items()},
        "ball": _shares(held, ball),
    }


def _shaft(held: Artifact, k: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Grip and club head by frame; NaN where the shaft was not seen."""
    nothing = np.full((count, 2), np.nan)
    if f"rep{k}/shaft/frame" not in held.arrays:
        return nothing, nothing.copy()
    angle = np.radians(held.of(k, "shaft/angle_deg"))
    way = np.stack([np.cos(angle), -np.sin(angle)], axis=1)
    grip = held.of(k, "shaft/grip_px")
    far = grip + held.of(k, "shaft/length_px")[:, None] * way
    seen = np.isfinite(far).all(axis=1)
    rows, found = np.searchsorted(held.of(k, "frame"), held.of(k, "shaft/frame")), nothing
    head = nothing.copy()
    keep = seen & (rows < count)
    found[rows[keep]], head[rows[keep]] = grip[keep], far[keep]
    return found, head


def _shares(held: Artifact, points_px: np.ndarray) -> np.ndarray:
    """Pixels of the working picture as 0..1 of the picture as filmed."""
    shares = points_px / np.array(held.meta["size_px"], float)
    if held.capture.handedness == "left":
        shares = shares.copy()
        shares[..., 0] = 1 - shares[..., 0]
    return shares


def _listed(curve: np.ndarray) -> list[list[float] | None]:
    rounded = np.round(curve, _DIGITS)
    return [point if math.isfinite(sum(point)) else None for point in rounded.tolist()]


def _stature_share(held: Artifact) -> dict[str, float] | None:
    scales = [rep.get("scale_m_per_px") for rep in held.meta["reps"]]
    if not scales or not scales[0]:
        return None
    width, height = held.meta["size_px"]
    pixels = held.capture.stature_cm / 100 / scales[0]
    return {"x": round(pixels / width, _DIGITS), "y": round(pixels / height, _DIGITS)}


def figure_groups(repetitions: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The figures of each of `figures_data`'s repetitions, grouped by moment in order.

    Returns
    -------
    list of dict
        `number` and `moments`, each with `event`, `time_s`, `reason` and `figures`.
    """
    groups = []
    for number, rep in enumerate(repetitions):
        moments = [
            {"event": event, **row, "figures": [m for m in rep["measures"] if m["event"] == event]}
            for event, row in rep["events"].items()
        ]
        groups.append({"number": number, "moments": moments})
    return groups


def corrections_to_export() -> list[Correction]:
    """Standing corrections of grown-ups' clips that still exist and are still shared.

    A student whose age band is not known counts as a minor.
    """
    rows = Correction.objects.filter(undone_at=None, video__erased_at=None)
    grown = (Student.AgeBand.ADULT, Student.AgeBand.SENIOR)
    rows = rows.filter(
        video__submission__student__age_band__in=grown,
        video__submission__student__consents__purpose=Consent.Purpose.STORE,
        video__submission__student__consents__withdrawn_at=None,
    )
    kept = rows.select_related("video").prefetch_related(
        "video__runs__events", "video__runs__measurements"
    )
    return list(kept.distinct().order_by("pk"))


# Comparing.


def differences(
    first: Video, second: Video, *, reps: tuple[int, int] = (0, 0)
) -> list[dict[str, Any]]:
    """Each measure that both clips list, with its change told in words.

    Returns
    -------
    list of dict
        `measure`, `event`, `unit`, `first`, `second` ((value, u) or None), `difference`,
        `least` (minimal detectable change), `reading`. Every figure is absent when the
        clips show different angles.
    """
    both = [_by_measure(video, rep) for video, rep in zip((first, second), reps, strict=True)]
    rows = []
    for key, (a, unit) in both[0].items():
        if key not in both[1]:
            continue
        b = both[1][key][0]
        word, difference, least = change.reading(a, b)
        rows.append(
            {
                "measure": key[0],
                "event": key[1],
                "unit": unit or both[1][key][1],
                "first": a,
                "second": b,
                "difference": difference,
                "least": least,
                "reading": str(word),
            }
        )
    order = (str(change.Reading.CHANGED), str(change.Reading.NOT_SEEN))
    return sorted(rows, key=lambda r: order.index(r["reading"]) if r["reading"] in order else 2)


def conditions(first: Submission, second: Submission) -> list[tuple[str, str, str]]:
    """What was different when the two were filmed: (what, then, now)."""
    told = [_told(first), _told(second)]
    return [
        (what, told[0][what], told[1][what])
        for what in told[0]
        if told[0][what] != told[1][what] and told[0][what] and told[1][what]
    ]


def _told(submission: Submission) -> dict[str, str]:
    angle, video = submission.angle, submission.video
    return {
        "angle": video.get_view_display(),
        "kind of film": video.get_kind_display(),
        "hand": video.handedness,
        "club": angle.club if angle else "",
        "effort": angle.get_effort_display() if angle else "",
        "ball": angle.get_ball_display() if angle else "",
    }


def _by_measure(video: Video, rep: int) -> dict[tuple[str, str], tuple[Any, str]]:
    run = newest_measuring(video)
    if run is None:
        return {}
    return {
        (row.measure, row.event): (
            None if row.value is None else (row.value, row.uncertainty),
            row.unit,
        )
        for row in run.measurements.all()
        if row.repetition == rep
    }


def moments(review: Review, clips: list[Submission]) -> list[dict[str, Any]]:
    """The noted moments of a review in order, each with its still: readable without script."""
    order = {clip.video_id: place for place, clip in enumerate(clips)}
    kept: dict[tuple[int, float], dict[str, Any]] = {}
    for mark in review.marks.all():
        key = (mark.video_id, round(mark.start_s, 2))
        row = kept.setdefault(
            key, {"video": mark.video_id, "time_s": mark.start_s, "words": [], "marks": []}
        )
        row["marks"].append(mark_row(mark))
        if mark.words:
            row["words"].append(mark.words)
    return sorted(kept.values(), key=lambda row: (order.get(row["video"], 99), row["time_s"]))


# Marks and walk-throughs.


def mark_row(mark: Mark) -> dict[str, Any]:
    return {
        "id": mark.pk,
        "key": str(mark.key),
        "revision": mark.revision,
        "video": mark.video_id,
        "start_s": mark.start_s,
        "end_s": mark.end_s,
        "purpose": mark.purpose,
        "shape": mark.shape,
        "points": mark.points,
        "words": mark.words,
        "wanted": mark.wanted,
    }


def walk_row(walk: WalkThrough) -> dict[str, Any]:
    return {
        "id": walk.pk,
        "video": walk.video_id,
        "events": walk.events,
        "captions": walk.captions,
        "duration_s": walk.duration_s,
        "sound": reverse("review:sound", args=[walk.pk]) if walk.sound else "",
        "demonstration": reverse("review:demonstration", args=[walk.pk])
        if walk.demonstration
        else "",
        "finished": walk.finished_at is not None,
    }


def review_data(review: Review) -> dict[str, Any]:
    """A review's marks and walk-throughs, for the room and the reading page."""
    return {
        "id": review.pk,
        "revision": review.revision,
        "published": review.published_at is not None,
        "marks": [mark_row(mark) for mark in review.marks.all()],
        "walks": [walk_row(walk) for walk in review.walk_throughs.order_by("pk")],
    }


def wanted_marks(student: Student, *, review: Review | None = None) -> list[dict[str, Any]]:
    """Lines the coach wants to see next time, newest first, each with its still.

    Those of one sent review, or of all; lines on erased clips are left out.
    """
    rows = Mark.objects.filter(
        review__student=student,
        review__published_at__isnull=False,
        wanted=True,
        video__erased_at=None,
    )
    if review is not None:
        rows = rows.filter(review=review)
    return [
        mark_row(mark)
        | {"still": f"{reverse('review:still', args=[mark.video_id])}?time={mark.start_s:.3f}"}
        for mark in rows.order_by("-review__published_at", "start_s")[:12]
    ]
