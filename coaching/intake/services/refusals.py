"""Why a clip cannot be taken, said before the first byte where that can be known."""

from __future__ import annotations

from django.conf import settings
from django.utils.translation import gettext as _

from coaching.intake import queries
from coaching.intake.models import RequestedAngle, Upload
from coaching.people.errors import LessonError
from coaching.people.models import Consent, Student

VOICE_MAX_BYTES = 200 * 1024**2


def refuse_unless_welcome(*, student: Student, angle: RequestedAngle | None) -> None:
    """Say before the first byte why a clip cannot be taken now.

    Raises
    ------
    LessonError
    """
    refuse_without_consent(student)
    if student.stature_cm is None:
        raise no_stature()
    if student.closed_at:
        raise LessonError(
            _("Your lessons here are closed. Write to your coach to open them again."),
            code="student_closed",
            status=409,
        )
    if angle is not None and angle.request.suspended_at:
        raise LessonError(
            _("Filming this is stopped because something hurt. Your coach will write to you."),
            code="suspended",
            status=409,
        )
    if angle is not None and angle.request.closed_at:
        raise LessonError(
            _("Your coach has closed this request. Look at your page for what to film now."),
            code="closed",
            status=409,
        )


def refuse_without_consent(student: Student) -> None:
    """Say whose consent is missing: before the first byte, and again before a clip is kept."""
    missing = queries.consents_missing(student)
    if missing and student.is_minor:
        raise LessonError(
            _("Before any video is kept, your guardian must agree. Ask them to open their link."),
            code="guardian_consent",
            status=403,
        )
    if Consent.Purpose.STORE in missing:
        raise LessonError(
            _("Before any video is kept, agree to it in your profile."), code="consent", status=403
        )
    if missing:
        raise LessonError(
            _("Your coach may not see your clips yet. Agree to share them in your profile."),
            code="consent",
            status=403,
        )


def no_stature() -> LessonError:
    return LessonError(
        _("Tell us how tall you are in your profile first: every length is measured by it."),
        code="stature",
    )


def max_bytes(purpose: str) -> int:
    return VOICE_MAX_BYTES if purpose == Upload.Purpose.VOICE else settings.UPLOAD_MAX_BYTES


def refuse_size(*, length: int | None, purpose: str) -> None:
    if purpose not in Upload.Purpose.values:
        raise LessonError(_("Say what the file is for."), code="purpose")
    if length is None and purpose != Upload.Purpose.VOICE:
        raise LessonError(_("Say how long the file is."), code="length")
    if length == 0 and purpose != Upload.Purpose.VOICE:
        raise LessonError(
            _("That file is empty. Choose the clip again, or film it once more."), code="empty"
        )
    if length is not None and length > max_bytes(purpose):
        raise too_big(purpose)


def too_big(purpose: str = Upload.Purpose.CLIP) -> LessonError:
    size = max_bytes(purpose) // 1024**2
    return LessonError(
        _("That file is over %(size)s MB. Cut the clip to the swings and send that.")
        % {"size": size},
        code="too_big",
        status=413,
    )


def no_room() -> LessonError:
    return LessonError(
        _("We have no room for your clip right now. Keep it on your phone and try again later."),
        code="disk_full",
        status=507,
    )


def refuse_duration(seconds: float | None) -> None:
    """The browser tells how long a clip is where it can read it."""
    if seconds is not None and seconds > settings.VIDEO_MAX_SECONDS:
        raise LessonError(
            _("That clip is longer than three minutes. Cut it to the swings and send that."),
            code="too_long",
            status=413,
        )


def gone() -> LessonError:
    return LessonError(
        _("That upload has waited too long. Choose the clip once more."), code="expired", status=410
    )


def storage_away() -> LessonError:
    """The bytes are in the buffer; finishing again, or the hourly sweep, goes on from there."""
    return LessonError(
        _("Your clip is here, but our store does not answer. Nothing is lost: wait a little."),
        code="storage_away",
        status=503,
    )
