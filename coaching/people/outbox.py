"""Letters that let somebody in: stored with what they belong to, sent by the mail worker.

A process that dies loses none. The row goes once the mail server has taken the letter, because it
holds a link that opens something; a letter that nobody took for three days goes too, and its link
stands on the page or is asked for again.
"""

from __future__ import annotations

import logging
from datetime import timedelta
from smtplib import SMTPException

from django.conf import settings
from django.core.mail import send_mail
from django.db import transaction
from django.db.models import F, QuerySet
from django.utils import timezone

from analysis import sweeping
from coaching.people.models import Letter

logger = logging.getLogger(__name__)
KEPT_FOR = timedelta(days=3)
LONGEST_WAIT = timedelta(hours=1)
BATCH = 100


def put(*, subject: str, body: str, to: str) -> None:
    """Write a letter in the caller's transaction; it is sent when that holds."""
    Letter.objects.create(subject=subject, body=body, to=to)
    if not settings.MAIL_IN_BACKGROUND:
        transaction.on_commit(deliver)


def due() -> QuerySet[Letter]:
    return Letter.objects.filter(retry_at__lte=timezone.now()).order_by("pk")


def deliver() -> int:
    """Send what is due; how many letters went out."""
    old = Letter.objects.filter(created_at__lte=timezone.now() - KEPT_FOR)
    if gone := old.delete()[0]:
        logger.error("%d letters that no mail server took in three days are given up.", gone)
    sent = 0

    def send(letter: Letter) -> None:
        nonlocal sent
        sent += _send(letter)

    sweeping.each(list(due()[:BATCH]), send, what="A letter")
    return sent


def _send(letter: Letter) -> int:
    """Under a lease: whoever dies over it leaves it to the next turn after 1, 2, 4 ... minutes."""
    wait = min(timedelta(minutes=2 ** min(letter.attempts, 6)), LONGEST_WAIT)
    mine = Letter.objects.filter(pk=letter.pk, attempts=letter.attempts)
    if not mine.update(attempts=F("attempts") + 1, retry_at=timezone.now() + wait):
        return 0  # another worker has it
    try:
        send_mail(letter.subject, letter.body, None, [letter.to])
    except (OSError, SMTPException):
        logger.exception("A letter could not be sent; it is tried again.")
        return 0
    Letter.objects.filter(pk=letter.pk).delete()
    return 1
