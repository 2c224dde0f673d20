"""The few letters that people's services send themselves: links that let somebody in."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings
from django.core.signing import Signer
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.crypto import constant_time_compare
from django.utils.translation import gettext as _

from coaching import addresses
from coaching.people import outbox
from coaching.people.errors import LessonError
from coaching.people.models import Invitation, Student, User
from coaching.people.queries import studio_zone

SALT = "coaching.people.mail"


def mail_leaves() -> bool:
    """Whether e-mail reaches anybody: a console or dummy backend only prints or drops it."""
    return not any(name in settings.EMAIL_BACKEND for name in ("console", "dummy", "filebased"))


def on_pages(_request: HttpRequest) -> dict[str, bool]:
    """`mail_leaves` in every template: none says that we wrote where nothing leaves."""
    return {"mail_leaves": mail_leaves()}


def wrote_to(email: str) -> str:
    """What is said after a letter was put into the outbox."""
    words = _("We wrote to %s.") if mail_leaves() else _("Invited %s. No e-mail leaves.")
    return words % email


def address_of(invitation: Invitation) -> str:
    """The full address in the e-mail. Its proof is on no page: who has it reads that mailbox."""
    proof = Signer(salt=SALT).signature(f"{invitation.pk}:{invitation.email}")
    return f"{addresses.page('people:join', invitation.token)}?mailed={proof}"


def came_by_mail(invitation: Invitation, proof: str) -> bool:
    """Whether the link was opened from the e-mail, and not handed over in another way."""
    expected = Signer(salt=SALT).signature(f"{invitation.pk}:{invitation.email}")
    return bool(invitation.email) and constant_time_compare(proof, expected)


INVITATIONS_A_DAY = 60  # by one person, whatever they are for
GUARDIAN_LETTERS_A_DAY = 3  # for one student


def refuse_too_many_letters(*, by: User | None, student: Student | None = None) -> None:
    """Nobody makes us write to strangers without end."""
    since = timezone.now() - timedelta(days=1)
    recent = Invitation.objects.filter(created_at__gt=since).exclude(email="")
    asked = recent.filter(student=student, kind=Invitation.Kind.GUARDIAN) if student else None
    if (asked is not None and asked.count() >= GUARDIAN_LETTERS_A_DAY) or (
        by is not None and recent.filter(invited_by=by).count() >= INVITATIONS_A_DAY
    ):
        raise LessonError(
            _("That is enough e-mails for one day: try again tomorrow."),
            code="too_many",
            status=429,
        )


def send_invitation(invitation: Invitation, *, language: str = "") -> None:
    """Write to the invited person once the invitation is stored; without an address, nothing.

    The demo's people are invented, so nothing goes there either.
    """
    if not invitation.email or (invitation.studio and invitation.studio.is_demo):
        return
    context = {
        "invitation": invitation,
        "student": invitation.student,
        "studio": invitation.studio,
        "by": invitation.invited_by,
        "address": address_of(invitation),
    }
    zone = studio_zone(invitation.studio)
    with translation.override(language or translation.get_language()), timezone.override(zone):
        text = render_to_string(f"people/mail/{invitation.kind}.txt", context)
    subject, _, body = text.partition("\n")
    outbox.put(subject=subject.strip(), body=body.strip() + "\n", to=invitation.email)
