"""The security log: who came in, who was turned away, what rights changed. For the operator.

One logger, `causeway.security`, whose lines hold numbers and digests and never a name or an
address. The digest of an address or a network is the same each time on one server, so that
a hundred tries of one are seen as such, and says nothing without the server's secret.
"""

from __future__ import annotations

import logging
from functools import partial
from typing import Any

from allauth.account import signals as account
from allauth.account.adapter import get_adapter
from allauth.mfa import signals as second_step
from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed
from django.db import transaction
from django.http import HttpRequest
from django.utils.crypto import salted_hmac

logger = logging.getLogger("causeway.security")
REFUSED = {"sign_in_failed", "key_refused", "form_refused", "too_many"}


def note(event: str, *, request: HttpRequest | None = None, **facts: Any) -> None:
    """One line; `facts` are numbers, codes and digests."""
    if request is not None and {"REMOTE_ADDR", "HTTP_X_FORWARDED_FOR"} & set(request.META):
        facts["network"] = digest(get_adapter().get_client_ip(request))
    level = logging.WARNING if event in REFUSED else logging.INFO
    logger.log(level, event, extra={"event": event} | facts)


def note_once_stored(event: str, **facts: Any) -> None:
    """The line of what a transaction does, written when it holds."""
    transaction.on_commit(partial(note, event, **facts), robust=True)


def digest(value: str) -> str:
    """Twelve signs that stand for an address or a network on this server."""
    return salted_hmac("coaching.people.security", value.strip().lower()).hexdigest()[:12]


def listen() -> None:
    """Called once the apps are ready."""
    user_logged_in.connect(_signed_in, dispatch_uid="security")
    user_logged_out.connect(_signed_out, dispatch_uid="security")
    user_login_failed.connect(_failed, dispatch_uid="security")
    for signal, event in (
        (account.password_changed, "password_changed"),
        (account.password_reset, "password_reset"),
        (account.email_confirmed, "address_proved"),
        (account.email_changed, "address_changed"),
        (second_step.authenticator_added, "second_step_added"),
        (second_step.authenticator_removed, "second_step_removed"),
        (second_step.authenticator_reset, "recovery_codes_renewed"),
    ):
        signal.connect(_Told(event), weak=False, dispatch_uid=f"security-{event}")


class _Told:
    def __init__(self, event: str) -> None:
        self.event = event

    def __call__(self, request: HttpRequest | None = None, user: Any = None, **more: Any) -> None:
        if user is None and (row := more.get("email_address")) is not None:
            user = getattr(row, "user", None)
        note(self.event, request=request, by=getattr(user, "pk", None))


def _signed_in(sender: Any, request: HttpRequest | None, user: Any, **more: Any) -> None:
    note("signed_in", request=request, by=user.pk)


def _signed_out(sender: Any, request: HttpRequest | None, user: Any, **more: Any) -> None:
    note("signed_out", request=request, by=getattr(user, "pk", None))


def _failed(sender: Any, credentials: dict[str, Any], request: Any = None, **more: Any) -> None:
    login = str(credentials.get("email") or credentials.get("username") or "")
    note("sign_in_failed", request=request, account=digest(login))
