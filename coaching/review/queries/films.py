"""Lesson films: who may see one, what it is made of, how far it is, and its links."""

from __future__ import annotations

import hashlib
import json
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone

from analysis.errors import MediaMissing
from analysis.files import local_path
from analysis.models import Run
from coaching.people import access
from coaching.people.models import AuditEntry
from coaching.people.queries import consents_missing, decides_for, shares_with_coach
from coaching.review.models import FilmLink, LessonFilm, WalkThrough
from coaching.review.queries.marked import mark_row
from coaching.review.queries.player import player_data, with_figures

if TYPE_CHECKING:
    from coaching.review.film.making import Plan


def require_seeing(by: access.AnyUser, walk: WalkThrough) -> None:
    """The student's side always, the studio while the clips are shown to it; or 404."""
    student = walk.review.student
    access.require_reading(by, student)
    if not (access.may_act(by, student) or shares_with_coach(student)):
        raise Http404


def content_of(walk: WalkThrough) -> str:
    """Stands for everything a film of `walk` would show; other captions make another film."""
    told = json.dumps([walk.events, walk.captions], sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()


def plan_of(walk: WalkThrough, stack: ExitStack, *, by_eye: str) -> Plan:
    """What a film of `walk` is made of; its files stay at hand until `stack` is closed.

    Clips that were opened or compared in it are part of it; of those that are gone, the rest of
    the film does without.

    Raises
    ------
    MediaMissing, StorageAway
        When the clip it begins with cannot be had.
    """
    from coaching.review.film.making import Plan
    from coaching.review.film.screen import Clip

    marks = [mark_row(mark) for mark in walk.review.marks.all()]
    clips = {}
    for pk in _shown(walk):
        video = with_figures(pk)
        try:
            path = stack.enter_context(local_path(video.copy))
        except MediaMissing:
            if pk == walk.video_id:
                raise
            continue
        own = [mark for mark in marks if mark["video"] == pk]
        clips[pk] = Clip(path, player_data(video), own)
    sound = None
    if str(walk.sound.name).endswith(".m4a"):  # else there was nothing in it to be heard
        sound = stack.enter_context(local_path(walk.sound))
    return Plan(
        clips=clips,
        first=walk.video_id,
        events=walk.events,
        captions=walk.captions,
        sound=sound,
        length_s=walk.duration_s or 0.0,
        by_eye=by_eye,
    )


def _shown(walk: WalkThrough) -> list[int]:
    """Keys of the clips that the walk-through shows: of this student, whatever it says."""
    named = {walk.video_id} | {
        event["value"]
        for event in walk.events
        if event.get("do") in ("clip", "beside") and isinstance(event.get("value"), int)
    }
    own = walk.review.student.submissions.filter(video__in=named, video__erased_at=None)
    return sorted({walk.video_id, *own.values_list("video", flat=True)})


@dataclass(frozen=True)
class Making:
    """How far a film is.

    `state` is `none`, `waiting`, `making`, `failed` or `ready`; a film that is there stays to be
    seen while a newer one is made. `stale` says that captions were changed since.
    """

    film: LessonFilm | None
    state: str
    share: float = 0.0
    error_code: str = ""
    stale: bool = False

    @property
    def done(self) -> bool:
        """Whether nothing will change by itself."""
        return self.state not in ("waiting", "making")


def making_of(walk: WalkThrough) -> Making:
    film = LessonFilm.objects.select_related("run").filter(walk=walk).first()
    if film is None:
        return Making(None, "none")
    status = film.run.status if film.run is not None else Run.Status.DONE
    if film.run is not None and status == Run.Status.FAILED:
        return Making(film, "failed", error_code=film.run.error_code)
    if film.run is not None and status != Run.Status.DONE:
        going = status == Run.Status.RUNNING
        return Making(film, "making" if going else "waiting", film.run.progress)
    if not film.file:
        return Making(film, "none")
    return Making(film, "ready", 1.0, stale=film.made_of != content_of(walk))


def open_links(film: LessonFilm) -> QuerySet[FilmLink]:
    return film.links.filter(ended_at=None, expires_at__gt=timezone.now())


@dataclass(frozen=True)
class Listed:
    """A link as its student sees it: how often it was written down that somebody watched."""

    link: FilmLink
    is_open: bool
    looks: int
    last_at: datetime | None


def links_of(film: LessonFilm) -> list[Listed]:
    """Every link of the film, the newest first."""
    rows = list(film.links.select_related("made_by").order_by("-pk"))
    student = film.walk.review.student_id
    seen: dict[Any, list[datetime]] = {}
    looks = AuditEntry.objects.filter(student_id=student, act=AuditEntry.Act.SAW_BY_LINK)
    for facts, at in looks.order_by("at").values_list("facts", "at"):
        seen.setdefault(facts.get("link"), []).append(at)
    now = timezone.now()
    return [
        Listed(
            link,
            link.ended_at is None and link.expires_at > now,
            len(seen.get(link.pk, ())),
            max(seen.get(link.pk, ()), default=None),
        )
        for link in rows
    ]


def link_open(token: str) -> FilmLink:
    """The link behind a secret address while it shows its film, or 404.

    It shows nothing once it was ended or its day is over, nothing while consent is void or
    the answer is taken back, and nothing that whoever made it could not show any more.
    """
    rows = FilmLink.objects.filter(token=token, ended_at=None, expires_at__gt=timezone.now())
    rows = rows.filter(film__walk__review__published_at__isnull=False).exclude(film__file="")
    rows = rows.select_related("film__walk__review__student__studio", "made_by")
    link = access.get_object_or_404(rows)
    student = link.film.walk.review.student
    if link.made_by is None or not decides_for(student, link.made_by) or consents_missing(student):
        raise Http404
    return link
