"""What a coach says about one finding: recorded in the room, played at the finding."""

from __future__ import annotations

import contextlib
from datetime import timedelta
from functools import partial
from typing import Any

from django.core.files.base import File
from django.db import transaction
from django.utils import timezone
from django.utils.module_loading import import_string
from django.utils.translation import gettext as _
from kombu.exceptions import OperationalError

from analysis import files, sweeping
from coaching.diagnosis.models import Finding
from coaching.diagnosis.services.findings import refuse_sent
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.people.texts import short_line
from coaching.review.models import Review
from coaching.review.services import sounds

FORGOTTEN = timedelta(days=30)  # after that a recording stays as the browser wrote it


def keep_voice(*, finding: Finding, by: User, voice: File[Any]) -> Finding:
    """Keep a recording in place of an earlier one; what was typed to that one goes with it."""
    access.require_staff(by, finding.student)
    with files.stored(finding.voice, voice.name or "voice", voice) as name, transaction.atomic():
        refuse_sent(finding.review)
        finding.refresh_from_db(fields=["voice"])
        files.put(finding.voice, name)
        finding.voice_s, finding.voice_text = None, ""
        finding.save(update_fields=["voice", "voice_s", "voice_text"])
        transaction.on_commit(partial(_notify_worker, finding.pk))
    return finding


@transaction.atomic
def remove_voice(*, finding: Finding, by: User) -> None:
    access.require_staff(by, finding.student)
    refuse_sent(finding.review)
    finding.refresh_from_db(fields=["voice"])
    files.let_go(str(finding.voice.name or ""))
    Finding.objects.filter(pk=finding.pk).update(voice="", voice_s=None, voice_text="")


@transaction.atomic
def write_voice(*, finding: Finding, by: User, text: str) -> None:
    """What is said, in writing."""
    access.require_staff(by, finding.student)
    refuse_sent(finding.review)
    text = short_line(text, most=1000)
    Finding.objects.filter(pk=finding.pk).update(voice_text=text)


def refuse_unwritten(*, review: Review, by: User) -> None:
    """A student who reads what is said gets no recording without its words.

    Raises
    ------
    LessonError
        `captions_needed`
    """
    access.require_teaching(by, review.student)
    unwritten = review.findings.exclude(voice="").filter(voice_text="")
    if review.student.needs_captions and unwritten.exists():
        raise LessonError(
            _("%(name)s reads what you say: write down what you said of each finding first.")
            % {"name": review.student.name},
            code="captions_needed",
        )


def _notify_worker(pk: int) -> None:
    """A broker that is away costs nothing: the recording is played as the browser wrote it."""
    finalize_voice = import_string("coaching.diagnosis.tasks.finalize_voice")
    with contextlib.suppress(OperationalError):
        finalize_voice.apply_async(args=[pk], retry=False, queue="renders")


def finalize_voice(pk: int) -> bool:
    """Turn a recording into what every browser plays; once."""
    finding = Finding.objects.exclude(voice="").filter(pk=pk).first()
    return finding is not None and sounds.finalize(finding, "voice", "voice_s")


def settle_forgotten_voices() -> int:
    """Those that the queue forgot."""
    rows = Finding.objects.exclude(voice="").exclude(voice__endswith=".m4a")
    recent = rows.filter(created_at__gt=timezone.now() - FORGOTTEN).values_list("pk", flat=True)
    return sweeping.each(list(recent), finalize_voice, what="What was said of a finding")
