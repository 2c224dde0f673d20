"""Who may see a clip's pictures, read an answer, or write into one."""

from __future__ import annotations

from django.db.models import QuerySet

from analysis.models import Correction, Video
from coaching.intake.access import video_see
from coaching.intake.models import Submission
from coaching.people import access
from coaching.review.models import FilmLink, Mark, Review, ReviewVersion, Snippet, WalkThrough
from coaching.review.queries import films
from coaching.review.queries.answers import BEGINS, blank, clips_to_answer, draft_of
from coaching.review.queries.player import with_figures


def video_read(user: access.AnyUser, pk: int) -> Video:
    """The clip of a submission whose pictures `user` may see, or 404."""
    return with_figures(video_see(user, pk).pk)


def video_prepare(user: access.AnyUser, pk: int) -> Video:
    """The clip of a student in whose studio `user` works, or 404."""
    rows = access.rows_taught(user, Submission, roles=access.STAFF)
    access.get_object_or_404(rows, video=pk)
    return video_see(user, pk)


def draft_write(user: access.AnyUser, pk: int) -> Review:
    """A review that `user` may work on: any role of the studio prepares, or 404."""
    rows = access.rows_taught(user, Review, roles=access.STAFF)
    return access.get_object_or_404(rows.select_related("student"), pk=pk)


def submission_prepare(user: access.AnyUser, pk: int) -> Submission:
    """A clip of a student in whose studio `user` works, or 404."""
    rows = access.rows_taught(user, Submission, roles=access.STAFF)
    return access.get_object_or_404(rows.select_related("student", "video", "angle"), pk=pk)


def draft_show(user: access.AnyUser, ref: str) -> Review:
    """The review that `ref` stands for, as it is; one that nobody has begun stays unwritten."""
    begins = BEGINS.fullmatch(ref)
    if begins is None:
        return draft_write(user, int(ref))
    submission = submission_prepare(user, int(begins["clip"]))
    clips = clips_to_answer(submission)
    return draft_of(clips) or blank(submission, clips)


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


def walks_read(user: access.AnyUser) -> QuerySet[WalkThrough]:
    """Walk-throughs of the answers that `user` may read."""
    return WalkThrough.objects.filter(review__in=reviews_read(user).values("pk"))


def film_walk(user: access.AnyUser, pk: int) -> WalkThrough:
    """A sent walk-through of which `user` may see and have the lesson film, or 404."""
    rows = access.rows_read(user, WalkThrough, "review__student")
    rows = rows.filter(review__published_at__isnull=False).exclude(sound="")
    walk = access.get_object_or_404(
        rows.select_related("video", "review__student__studio", "review__coach"), pk=pk
    )
    films.require_seeing(user, walk)
    return walk


def film_act(user: access.AnyUser, pk: int) -> WalkThrough:
    """A sent walk-through of the student's own side, who makes links to its film, or 404."""
    walk = film_walk(user, pk)
    access.require_acting(user, walk.review.student)
    return walk


def film_link_act(user: access.AnyUser, pk: int) -> FilmLink:
    """A link of the student's own side, or 404."""
    rows = access.rows_acted(user, FilmLink, "film__walk__review__student")
    return access.get_object_or_404(rows.select_related("film__walk__review__student"), pk=pk)


def walk_write(user: access.AnyUser, pk: int) -> WalkThrough:
    rows = access.rows_taught(user, WalkThrough, "review__student", roles=access.STAFF)
    return access.get_object_or_404(rows.select_related("review__student"), pk=pk)


def mark_write(user: access.AnyUser, pk: int) -> Mark:
    rows = access.rows_taught(user, Mark, "review__student", roles=access.STAFF)
    return access.get_object_or_404(rows.select_related("review", "video"), pk=pk)


def review_teach(user: access.AnyUser, pk: int) -> Review:
    """A review that `user` may send: owners and coaches only, or 404."""
    rows = access.rows_taught(user, Review).select_related("student")
    return access.get_object_or_404(rows, pk=pk)


def video_of(review: Review, pk: int) -> Video:
    """A clip of the student whom an answer is for, or 404."""
    return access.get_object_or_404(Video, pk=pk, submission__student=review.student_id)


def correction_prepare(user: access.AnyUser, pk: int) -> tuple[Correction, Video]:
    """A correction that `user` may take back, with its clip, or 404."""
    correction = access.get_object_or_404(Correction, pk=pk)
    return correction, video_prepare(user, correction.video_id)


def version_write(user: access.AnyUser, pk: int) -> ReviewVersion:
    """Words that lost a race, of a draft that `user` may work on, or 404."""
    rows = access.rows_taught(user, ReviewVersion, "review__student", roles=access.STAFF)
    return access.get_object_or_404(rows, pk=pk)


def snippet_write(user: access.AnyUser, pk: int) -> Snippet:
    """A saved sentence of a studio in which `user` works, or 404."""
    return access.get_object_or_404(Snippet, studio__in=access.studios(user), pk=pk)


def reviews_read(user: access.AnyUser) -> QuerySet[Review]:
    """Answers that were sent, and the drafts of the own studio."""
    taught = access.rows_taught(user, Review, roles=access.STAFF)
    read = access.rows_read(user, Review).filter(published_at__isnull=False)
    return taught | read
