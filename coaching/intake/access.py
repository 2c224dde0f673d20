"""Who may film, see or change what of the intake; a stranger's row is a 404."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404

from analysis.models import Video
from coaching.intake import queries
from coaching.intake.models import FilmingLink, Request, RequestedAngle, Submission, Upload
from coaching.people import access
from coaching.people.access import AnyUser
from coaching.people.models import User


def angle_act(user: AnyUser, pk: int) -> RequestedAngle:
    """An angle that `user` may film for."""
    rows = access.rows_acted(user, RequestedAngle, path="request__student")
    return get_object_or_404(rows.select_related("request__student__studio"), pk=pk)


def angle_read(user: AnyUser, pk: int) -> RequestedAngle:
    rows = access.rows_read(user, RequestedAngle, path="request__student")
    return get_object_or_404(rows.select_related("request__student__studio"), pk=pk)


def request_read(user: AnyUser, pk: int) -> Request:
    rows = queries.with_clips(access.rows_read(user, Request))
    return get_object_or_404(rows, pk=pk)


def request_act(user: AnyUser, pk: int) -> Request:
    """A request that `user` may film for."""
    rows = queries.with_clips(access.rows_acted(user, Request)).select_related("student__studio")
    return get_object_or_404(rows, pk=pk)


def filming_link_act(user: AnyUser, pk: int) -> FilmingLink:
    """A filming link that `user` may end."""
    rows = access.rows_acted(user, FilmingLink, "request__student").select_related(
        "request__student"
    )
    return get_object_or_404(rows, pk=pk)


def request_prepare(user: AnyUser, pk: int) -> Request:
    """A request that `user` may close: any staff of the student's studio."""
    return get_object_or_404(access.rows_taught(user, Request, roles=access.STAFF), pk=pk)


def submission_read(user: AnyUser, pk: int) -> Submission:
    """A clip that `user` may know of; its pictures are `video_see`'s matter."""
    return get_object_or_404(submissions_read(user), pk=pk)


def submission_act(user: AnyUser, pk: int) -> Submission:
    """A clip of the person himself or of his ward."""
    return get_object_or_404(queries.with_runs(access.rows_acted(user, Submission)), pk=pk)


def submission_retry(user: AnyUser, pk: int) -> Submission:
    """Anybody who may see a clip may let stopped work start again."""
    return submission_read(user, pk)


def video_see(user: AnyUser, pk: int) -> Video:
    """A clip's pictures: for the student's side always, for staff while they are shared."""
    rows = Video.objects.select_related("submission__student")
    seen = Q(submission__student__in=access.students_read(user))
    video = get_object_or_404(rows.filter(seen), pk=pk)
    student = video.submission.student
    if access.acts_for(user, student.pk) or queries.shares_with_coach(student):
        return video
    raise Http404


def upload_own(user: User, key: UUID) -> Upload:
    """An upload that `user` has opened."""
    return get_object_or_404(Upload.objects.select_related("submission"), owner=user, pk=key)


def recording_of(user: User, key: UUID, purpose: str = "") -> Upload:
    """A voice or demonstration that `user` has sent; a clip is no recording."""
    rows = Upload.objects.filter(owner=user).exclude(purpose=Upload.Purpose.CLIP)
    return get_object_or_404(rows.filter(purpose=purpose) if purpose else rows, pk=key)


def requests_read(user: AnyUser) -> QuerySet[Request]:
    return access.rows_read(user, Request)


def submissions_read(user: AnyUser) -> QuerySet[Submission]:
    """Clips that `user` may know of, with their runs."""
    return queries.with_runs(access.rows_read(user, Submission))
