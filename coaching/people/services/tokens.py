"""Keys with which programs act as a person."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.http import Http404
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.people import audit
from coaching.people.errors import LessonError
from coaching.people.models import ApiToken, User
from coaching.people.once import SENT_TWICE, in_turn

MOST_TOKENS = 25


@transaction.atomic
def make_token(*, user: User, name: str, by_form: bool = False) -> tuple[ApiToken, str]:
    """A new key; dead ones are cleared away, and the oldest goes when there are too many.

    A form sent twice shows the last key alone: the others of a moment ago open nothing.
    """
    in_turn(user)
    if by_form:
        just_now = timezone.now() - SENT_TWICE
        user.api_tokens.filter(name=name.strip()[:80], created_at__gt=just_now).delete()
    rows = list(user.api_tokens.select_related("user").order_by("-pk"))
    alive = [row for row in rows if row.is_alive]
    gone = [row.pk for row in rows if not row.is_alive]
    gone += [row.pk for row in alive[MOST_TOKENS - 1 :]]
    user.api_tokens.filter(pk__in=gone).delete()
    if not name.strip():
        raise LessonError(_("Say what the key is for."), code="no_name")
    row, key = ApiToken.issue(user, name=name)
    _note(user, made=row.name)
    return row, key


@transaction.atomic
def remove_token(*, token: ApiToken, by: User) -> None:
    if token.user_id != by.pk:
        raise Http404
    token.delete()
    _note(by, removed=token.name)


def _note(user: User, **facts: Any) -> None:
    """Each studio the person works in sees that a program may act for them."""
    for membership in user.memberships.select_related("studio"):
        audit.write(audit.Act.TOKEN, by=user, studio=membership.studio, **facts)
