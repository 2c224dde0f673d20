"""Who a program acts as: `Authorization: Token …`, a key that expires and can be removed."""

from __future__ import annotations

from datetime import timedelta

from allauth.account.internal.flows.reauthentication import did_recently_reauthenticate
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework import authentication, exceptions
from rest_framework.request import Request as ApiRequest

from coaching.people import security
from coaching.people.errors import LessonError
from coaching.people.models import ApiToken, User
from coaching.people.queries import lacks_second_step, zone_of

FRESH = timedelta(minutes=10)
USED_AGAIN = timedelta(minutes=5)


class TokenAuthentication(authentication.TokenAuthentication):
    def authenticate_credentials(self, key: str) -> tuple[User, ApiToken]:
        digest = ApiToken.digest_of(key)
        token = ApiToken.objects.select_related("user").filter(digest=digest).first()
        if token is None or not token.is_alive:
            security.note("key_refused", whose=token.user_id if token else None)
            raise exceptions.AuthenticationFailed(_("This key opens nothing: sign in again."))
        refuse_without_second_step(token.user)
        now = timezone.now()
        if token.last_used_at is None or now - token.last_used_at > USED_AGAIN:
            ApiToken.objects.filter(pk=token.pk).update(last_used_at=now)
        timezone.activate(zone_of(token.user))  # `OwnTimeZone` puts it back after the answer
        return token.user, token


class TokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = "coaching.api.authentication.TokenAuthentication"
    name = "tokenAuth"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        return {"type": "apiKey", "in": "header", "name": "Authorization",
                "description": "`Token` and the key, parted by a space"}  # fmt: skip


def refuse_without_second_step(user: User) -> None:
    """Pages lead to where it is set up (`people.middleware.SecondStep`); a program is told."""
    if lacks_second_step(user):
        raise LessonError(
            _("Your studio asks for a second step at sign-in: set it up on your page first."),
            code="second_step",
            status=403,
        )


def refuse_unless_fresh(request: ApiRequest) -> None:
    """What cannot be taken back needs a sign-in of the last ten minutes."""
    if isinstance(request.auth, ApiToken):
        fresh = timezone.now() - request.auth.created_at < FRESH
    else:
        fresh = did_recently_reauthenticate(request._request)
    if not fresh:
        raise LessonError(
            _("Sign in again first: this needs a sign-in of the last ten minutes."),
            code="sign_in_again",
            status=403,
        )
