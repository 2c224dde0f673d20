"""A recording that comes with a form: what may be one, and how it is played."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.db.models.fields.files import FieldFile
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils.translation import gettext as _

from coaching.intake import media
from coaching.people.errors import LessonError

ENDINGS = {
    ".webm": "audio/webm",
    ".mp4": "audio/mp4",
    ".m4a": "audio/mp4",
    ".mp3": "audio/mpeg",
    ".ogg": "audio/ogg",
    ".wav": "audio/wav",
}
MAX_BYTES = 32 * 1024 * 1024


def recording_of(request: HttpRequest) -> UploadedFile[Any] | None:
    """The field `voice` of a form; None where nothing was recorded.

    Raises
    ------
    LessonError
        `voice`: no recording. `too_big` (413).
    """
    voice = request.FILES.get("voice")
    if voice is None:
        return None
    if PurePath(voice.name or "").suffix.lower() not in ENDINGS:
        raise LessonError(_("Choose a recording (WebM, MP4, M4A, MP3, OGG, WAV)."), code="voice")
    if (voice.size or 0) > MAX_BYTES:
        raise LessonError(_("Keep a cue under 32 MB."), code="too_big", status=413)
    return voice


def play(request: HttpRequest, voice: FieldFile) -> HttpResponseBase:
    """Send a recording; the caller has checked that the reader may hear it."""
    ending = PurePath(str(voice.name)).suffix.lower()
    kind = ENDINGS.get(ending, "application/octet-stream")
    return media.serve(request, voice, filename=f"cue{ending}", content_type=kind)
