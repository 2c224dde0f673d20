"""Lesson films: wished for, made by a worker, shown by a link that the student makes and ends."""

from __future__ import annotations

import uuid
from contextlib import ExitStack
from typing import Any

from django.core.files.base import File
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from analysis import files, scratch
from analysis import services as analysis
from analysis.errors import MediaErased
from analysis.models import Run
from analysis.outcome import Outcome, Progress
from coaching.people import access, audit, secret_links
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.people.once import SENT_TWICE, in_turn
from coaching.people.queries import consents_missing, decides_for
from coaching.people.texts import short_line
from coaching.review.models import FilmLink, LessonFilm, Review, WalkThrough
from coaching.review.queries import films as queries
from coaching.review.script_words import SENTENCES
from coaching.review.services import walks

DAYS = (7, 30, 90)  # for how long a link may show a film
MOST_LINKS = 10  # open ones of one film
NOT_MADE = _l("The film is not made yet. Wait until it can be played.")


@transaction.atomic
def ask_film(*, walk: WalkThrough, by: User) -> LessonFilm:
    """Wish for a film, or try again; asked twice, it is made once.

    Raises
    ------
    LessonError
        409 before the answer is sent, or when there is no voice or no clip to make it of.
    """
    queries.require_seeing(by, walk)
    in_turn(walk)
    if walk.review.published_at is None:
        raise LessonError(
            _("Send the answer first: the film is made of what was sent."), status=409
        )
    if not walk.sound or walk.finished_at is None:
        raise LessonError(_("Nothing was said here that a film could be made of."), status=409)
    if not walk.video.copy:
        raise LessonError(
            _("The clip is no longer here, so no film can be made of it."), status=409
        )
    content = queries.content_of(walk)
    film = LessonFilm.objects.select_related("run").filter(walk=walk).first()
    if film is None:
        film = LessonFilm(walk=walk)
    elif film.asked_of == content and film.run is not None:
        if film.run.status == Run.Status.FAILED:
            analysis.retry_run(run=film.run)
        if film.file or film.run.status != Run.Status.DONE:
            return film
    film.asked_of, film.asked_by = content, by
    # A name of its own: captions may be changed and changed back, and each wish makes a film.
    film.run = analysis.request_run(
        video=walk.video, kind=Run.Kind.RENDER, options={"film": uuid.uuid4().hex}
    )
    film.save()
    return film


def render(row: Run, progress: Progress) -> Outcome:
    """The work of a run that draws a film: the file, and how to keep it.

    Raises
    ------
    MediaErased
        When nobody wishes for it any more.
    """
    from coaching.review.film import making  # OpenCV and PyAV load in the worker only

    wanted = LessonFilm.objects.filter(run=row).select_related("walk__review__student__user")
    film = wanted.first()
    if film is None:
        raise MediaErased(f"run {row.pk}")
    walks.finalize_walk_sound(film.walk_id)
    walk = film.walk
    walk.refresh_from_db()
    content = queries.content_of(walk)
    with scratch.folder() as folder, ExitStack() as stack:
        target = folder / "film.mp4"
        with translation.override(_language(walk)):
            by_eye = str(SENTENCES["by_eye"])
        facts = making.make(queries.plan_of(walk, stack, by_eye=by_eye), target, progress)
        with target.open("rb") as source:
            name = files.write(film.file, f"{walk.pk}.mp4", File(source))

    def store(run_row: Run) -> None:
        kept = LessonFilm.objects.select_for_update().filter(run=run_row).first()
        if kept is None:  # erased, or wished for anew, while it was drawn
            raise MediaErased(f"run {run_row.pk}")
        files.put(kept.file, name)
        kept.made_of, kept.duration_s = content, facts["duration_s"]
        kept.save(update_fields=["file", "made_of", "duration_s"])

    return facts, [name], store


def _language(walk: WalkThrough) -> str:
    user = walk.review.student.user
    return user.language if user is not None else translation.get_language() or "en"


def remove_films(rows: QuerySet[LessonFilm]) -> None:
    """Films, their files and their links go; call it inside a transaction."""
    for film in rows:
        files.let_go(str(film.file.name or ""))
        film.delete()


def erase_films(*, student: Student) -> None:
    """Consent is withdrawn: what shows the student goes with the clips it was made of."""
    remove_films(LessonFilm.objects.filter(walk__review__student=student))


def remove_films_of(review: Review) -> None:
    """An answer that was taken back is no longer to be seen by anybody."""
    remove_films(LessonFilm.objects.filter(walk__review=review))


@transaction.atomic
def make_link(*, film: LessonFilm, by: User, days: int, label: str = "") -> FilmLink:
    """A link that shows the film to whoever has it, until the end of a day.

    Raises
    ------
    LessonError
        403 for a minor, whose guardian decides; 409 before the film is there, while consent is
        void, or when there are many links already; 400 for other lengths than are offered.
    """
    student = film.walk.review.student
    access.require_acting(by, student)
    in_turn(film)
    if not decides_for(student, by):
        raise LessonError(
            _("Your guardian decides who sees you: ask them to make the link."),
            code="guardian_decides",
            status=403,
        )
    if not film.file:
        raise LessonError(str(NOT_MADE), code="not_made", status=409)
    if consents_missing(student):
        raise LessonError(
            _("Agree first that your clips are stored and shown; then make the link."), status=409
        )
    if days not in DAYS:
        raise LessonError(_("Choose how long the link shows the film."), code="days")
    open_links = queries.open_links(film)
    label = short_line(label, most=60)
    just_now = timezone.now() - SENT_TWICE
    twin = open_links.filter(made_by=by, label=label, created_at__gt=just_now).first()
    if twin is not None:
        return twin
    if open_links.count() >= MOST_LINKS:
        raise LessonError(
            _("This film has ten open links. End one before you make another."), status=409
        )
    link = FilmLink.objects.create(
        film=film, made_by=by, label=label, expires_at=secret_links.end_of_day(student, days)
    )
    audit.write(
        audit.Act.LINKED, by=by, student=student, link=link.pk, until=f"{link.expires_at:%Y-%m-%d}"
    )
    return link


@transaction.atomic
def end_link(*, link: FilmLink, by: User) -> None:
    """From now on the address shows nothing. Ended twice, it is ended once."""
    student = link.film.walk.review.student
    access.require_acting(by, student)
    _end(link, student, by=by)


def end_links(*, student: Student) -> None:
    """Who made them decides no longer: the student's links end, whoever agrees from now on.

    Call it inside a transaction.
    """
    for link in FilmLink.objects.filter(film__walk__review__student=student).order_by("pk"):
        _end(link, student, by=None)


def _end(link: FilmLink, student: Student, *, by: User | None) -> None:
    if FilmLink.objects.filter(pk=link.pk, ended_at=None).update(ended_at=timezone.now()):
        audit.write(audit.Act.LINKED, by=by, student=student, link=link.pk, ended=True)


def note_watched(link: FilmLink) -> None:
    """Somebody with the link looked at the film: it stands in the student's log."""
    facts: dict[str, Any] = {"link": link.pk}
    audit.saw(audit.Act.SAW_BY_LINK, by=None, student=link.film.walk.review.student, **facts)
