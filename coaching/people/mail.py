"""The few letters that people's services send themselves: links that let somebody in."""

from __future__ import annotations

import logging
from functools import partial
from smtplib import SMTPException

from django.conf import settings
from django.core.mail import send_mail
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation

from coaching.people.models import Invitation

logger = logging.getLogger(__name__)


def address_of(invitation: Invitation) -> str:
    """The full address that the invited person opens."""
    return settings.SITE_URL.rstrip("/") + reverse("people:join", args=[invitation.token])


def send_invitation(invitation: Invitation, *, language: str = "") -> None:
    """Write to the invited person once the invitation is stored; without an address, nothing."""
    if not invitation.email:
        return
    context = {
        "invitation": invitation,
        "student": invitation.student,
        "studio": invitation.studio,
        "by": invitation.invited_by,
        "address": address_of(invitation),
    }
    with translation.override(language or translation.get_language()):
        text = render_to_string(f"people/mail/{invitation.kind}.txt", context)
    subject, _, body = text.partition("\n")
    transaction.on_commit(
        partial(_send, subject=subject.strip(), body=body.strip() + "\n", to=invitation.email)
    )


def _send(*, subject: str, body: str, to: str) -> None:
    """A mail server that is away must not undo what was done: the link stands on the page."""
    try:
        send_mail(subject, body, None, [to])
    except (OSError, SMTPException):
        logger.exception("An invitation could not be mailed.")
