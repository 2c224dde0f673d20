"""The browsers in which somebody asked for notifications: asked for, known again, and let go.

A browser is known by a cookie of its own, so that a session that runs out by itself ends no
notifications, and signing out there, or somebody else signing in, does.
"""

from __future__ import annotations

import base64
import binascii
import secrets
from typing import Any
from urllib.parse import urlsplit

from allauth.account.signals import password_changed
from allauth.usersessions.adapter import DefaultUserSessionsAdapter
from cryptography.hazmat.primitives.asymmetric import ec
from django.conf import settings
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.notify.models import LONGEST_ENDPOINT, PushSubscription
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.people.once import in_turn

MOST = 10  # browsers of one person; the one longest unseen goes
COOKIE = "push_device"
COOKIE_AGE_S = 400 * 24 * 3600  # as long as a browser keeps any


@transaction.atomic
def subscribe(
    *, user: User, session_key: str, endpoint: str, p256dh: str, auth: str
) -> PushSubscription:
    """Tell `user` in this browser from now on.

    Raises
    ------
    LessonError
        `no_push`: this server has no key. `push_service`: an address that is not one of
        `PUSH_HOSTS`. `push_keys`: keys that nothing can be closed with.
    """
    if not settings.PUSH_PRIVATE_KEY:
        raise LessonError(
            _("This server sends no notifications to devices."), code="no_push", status=409
        )
    if not _is_push_service(endpoint):
        raise LessonError(
            _("This browser's notifications go through a service that is not known here."),
            code="push_service",
        )
    if not (_is_point(p256dh) and len(_decoded(auth)) == 16):
        raise LessonError(_("Your browser gave no proper key. Try again."), code="push_keys")
    in_turn(user)
    PushSubscription.objects.filter(endpoint=endpoint).delete()  # whoever has it is in that browser
    rows = user.push_subscriptions.order_by("-seen_at", "-pk").values_list("pk", flat=True)
    user.push_subscriptions.filter(pk__in=list(rows[MOST - 1 :])).delete()
    return PushSubscription.objects.create(
        user=user,
        device=secrets.token_urlsafe(32),
        session_key=session_key,
        auth_hash=user.get_session_auth_hash(),
        endpoint=endpoint,
        p256dh=p256dh,
        auth=auth,
    )


def unsubscribe(*, subscription: PushSubscription, by: User) -> None:
    if subscription.user_id != by.pk:
        raise Http404
    subscription.delete()


def of_user(user: User) -> list[PushSubscription]:
    """The browsers in which something is told, the newest first."""
    rows = user.push_subscriptions.select_related("user").order_by("-created_at", "-pk")
    return [row for row in rows if row.is_alive]


def named(user: User | None) -> list[dict[str, Any]]:
    """For the record that somebody takes along: no address and no key, which open something."""
    if user is None:
        return []
    rows = user.push_subscriptions.order_by("pk")
    return [{"since": row.created_at, "last_signed_in_at": row.seen_at} for row in rows]


def remember(response: HttpResponse, subscription: PushSubscription) -> None:
    response.set_cookie(
        COOKIE,
        subscription.device,
        max_age=COOKIE_AGE_S,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def of_request(request: HttpRequest | None) -> PushSubscription | None:
    """The row of the browser that asks, whoever it belongs to."""
    device = request.COOKIES.get(COOKIE, "") if request is not None else ""
    return PushSubscription.objects.filter(device=device).first() if device else None


def _is_push_service(endpoint: str) -> bool:
    """Whether we may post there: https, no odd port, and a host that the operator named."""
    if len(endpoint) > LONGEST_ENDPOINT or not endpoint.isascii() or not endpoint.isprintable():
        return False
    try:
        parts = urlsplit(endpoint)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        return False
    plain = parts.scheme == "https" and port in {None, 443} and "@" not in parts.netloc
    return plain and any(_matches(host, name) for name in settings.PUSH_HOSTS)


def _matches(host: str, name: str) -> bool:
    return host.endswith(name[1:]) if name.startswith("*.") else host == name


def _is_point(text: str) -> bool:
    """Whether `text` is a public key of P-256, written as browsers do."""
    try:
        ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), _decoded(text))
    except ValueError:
        return False
    return len(_decoded(text)) == 65


def _decoded(text: str) -> bytes:
    try:
        return base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        return b""


class Sessions(DefaultUserSessionsAdapter):  # type: ignore[misc]  # the library ships no types
    """A session that its owner ends from afar takes the notifications of that browser along."""

    def end_sessions(self, sessions: list[Any]) -> None:
        keys = [session.session_key for session in sessions]
        PushSubscription.objects.filter(session_key__in=keys).delete()
        super().end_sessions(sessions)


def listen() -> None:
    """Called once the apps are ready."""
    user_logged_in.connect(_signed_in, dispatch_uid="push")
    user_logged_out.connect(_signed_out, dispatch_uid="push")
    password_changed.connect(_signed_in, dispatch_uid="push")


def _signed_in(sender: Any, request: HttpRequest | None, user: User, **more: Any) -> None:
    row = of_request(request)
    if row is None or request is None:
        return
    if row.user_id != user.pk:
        row.delete()  # the browser is somebody else's now
        return
    PushSubscription.objects.filter(pk=row.pk).update(
        auth_hash=user.get_session_auth_hash(),
        session_key=request.session.session_key or "",
        seen_at=timezone.now(),
    )


def _signed_out(sender: Any, request: HttpRequest | None, **more: Any) -> None:
    if request is None:
        return
    if (row := of_request(request)) is not None:
        row.delete()
    if key := request.session.session_key:
        PushSubscription.objects.filter(session_key=key).delete()
