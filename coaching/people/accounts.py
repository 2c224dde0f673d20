"""How people sign in: what the account library asks us for.

Failed sign-ins are counted under three keys, none of which lets a stranger lock somebody out:

- the network, whoever it tries: stops one place from trying everybody;
- the address *and* the network: stops one place from guessing one password. Somebody
  elsewhere who knows a coach's address only locks that address out of their own network;
- on a device that has signed in to this account before (a signed cookie says so), the
  device and nothing else: wrong passwords of others never count there.

A new password by e-mail signs in at once and makes the device known, so that a way in is
always left.
"""

from __future__ import annotations

import ipaddress
import secrets
from typing import Any
from urllib.parse import urlsplit

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.models import EmailAddress
from allauth.core.internal import ratelimit
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from coaching import addresses
from coaching.people import outbox, security
from coaching.people.errors import LessonError
from coaching.people.models import User

DEVICE_COOKIE = "device"
DEVICE_DAYS = 400


def device_of(request: HttpRequest, login: str) -> str:
    """The device's own name, when it has signed in to the account of `login` before."""
    value = request.get_signed_cookie(DEVICE_COOKIE, "", salt=DEVICE_COOKIE) or ""
    whose, _colon, name = value.partition(":")
    return name if name and secrets.compare_digest(whose, _digest(login)) else ""


def remember_device(request: HttpRequest, response: HttpResponse, user: User) -> None:
    name = device_of(request, user.email) or secrets.token_urlsafe(16)
    response.set_signed_cookie(
        DEVICE_COOKIE,
        f"{_digest(user.email)}:{name}",
        salt=DEVICE_COOKIE,
        max_age=DEVICE_DAYS * 86400,
        httponly=True,
        secure=settings.SESSION_COOKIE_SECURE,
        samesite="Lax",
    )


def network_of(ip: str) -> str:
    """The /64 of an IPv6 address, which one household has whole; an IPv4 address as it is."""
    address = ipaddress.ip_address(ip)
    if address.version == 4:
        return str(address)
    return str(ipaddress.ip_network((address, 64), strict=False))


def _digest(login: str) -> str:
    return salted_hmac("coaching.people.device", login.strip().lower()).hexdigest()[:24]


class Accounts(DefaultAccountAdapter):  # type: ignore[misc]  # ships no types
    error_messages = DefaultAccountAdapter.error_messages | {
        "email_password_mismatch": gettext_lazy(
            "We don’t know this address with this password: try again, or set a new password."
        ),
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """People come by invitation: see `people.views.joining`."""
        return False

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        login = str(credentials.get("email") or credentials.get("username") or "").lower()
        if device := device_of(request, login):
            action, key = "login_failed_known_device", device
        else:
            action, key = "login_failed", f"{login}|{network_of(self.get_client_ip(request))}"
        self._login_failed_rl_usage = ratelimit.consume(
            request, app="allauth.account", action=action, key=key
        )
        if not self._login_failed_rl_usage:
            security.note("too_many", request=request, account=security.digest(login))
            raise LessonError(
                _("Too many wrong passwords: wait a quarter of an hour, or set a new password."),
                code="too_many",
                status=429,
            )

    def login(self, request: HttpRequest, user: User) -> None:
        super().login(request, user)
        request.session[settings.LANGUAGE_COOKIE_NAME] = user.language

    def post_login(self, request: HttpRequest, user: User, **options: Any) -> HttpResponse:
        response: HttpResponse = super().post_login(request, user, **options)
        remember_device(request, response, user)
        return response

    def add_message(
        self,
        request: HttpRequest,
        level: int,
        message_template: str | None = None,
        *args: Any,
        **options: Any,
    ) -> None:
        """Signing in and out needs no applause."""
        if not (message_template or "").endswith(("logged_in.txt", "logged_out.txt")):
            super().add_message(request, level, message_template, *args, **options)

    def get_reset_password_from_key_url(self, key: str) -> str:
        return _here(super().get_reset_password_from_key_url(key))

    def get_email_confirmation_url(self, request: HttpRequest, emailconfirmation: Any) -> str:
        return _here(super().get_email_confirmation_url(request, emailconfirmation))

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """By the mail worker, so that the answer's time does not tell whether the address is
        known, and no letter is lost with this process."""
        whole = {"request": self.request, "email": email, "site": addresses.on_site("")} | context
        message = self.render_mail(template_prefix, email, whole)
        outbox.put(subject=message.subject, body=message.body, to=email)


def _here(address: str) -> str:
    """The address on this site: whoever asks for a letter also names the host it was asked of."""
    return addresses.on_site(urlsplit(address).path)


def prove_address(user: User) -> None:
    """Somebody opened a link that only this address received."""
    EmailAddress.objects.update_or_create(
        user=user, email=user.email, defaults={"verified": True, "primary": True}
    )


def ask_for_proof(request: HttpRequest, user: User) -> None:
    """Write to an address that counts once its link was opened."""
    row, _made = EmailAddress.objects.get_or_create(
        user=user, email=user.email, defaults={"primary": True}
    )
    if not row.verified:
        row.send_confirmation(request, signup=True)
