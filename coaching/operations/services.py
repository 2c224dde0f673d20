"""What an owner does about work that came to nothing."""

from __future__ import annotations

from django.utils.translation import gettext as _

from analysis import services as analysis
from analysis.models import Run
from coaching.notify.models import Notice
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import User


def retry_run(*, run: Run, by: User) -> None:
    """Try a failed run of the studio's again.

    Raises
    ------
    Http404
        When `by` does not own the studio.
    LessonError
        409 when somebody has tried it already.
    """
    access.require_role(by, run.video.submission.student.studio)
    if not analysis.retry_run(run=run):
        raise LessonError(
            _("The work on this film is going on already."), code="not_stopped", status=409
        )


def retry_email(*, notice: Notice, by: User) -> None:
    """Send an email again with the next turn, its tries counted from nothing."""
    access.require_role(by, notice.entry.thread.student.studio)
    waiting = Notice.objects.filter(pk=notice.pk, sent_at=None)
    if not waiting.update(attempts=0, retry_at=None):
        raise LessonError(_("This email has gone out already."), code="sent", status=409)
