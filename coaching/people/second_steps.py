"""Secrets of second steps, encrypted in the database where the operator gives keys."""

from __future__ import annotations

import base64
import hashlib
from urllib.parse import urlsplit

from allauth.mfa.adapter import DefaultMFAAdapter
from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured

from coaching import addresses

ENCRYPTED = "fernet:"  # what was kept before there were keys has no such beginning


class SecondSteps(DefaultMFAAdapter):  # type: ignore[misc]
    """The codes of an app and the recovery codes, under the first of `SECOND_STEP_KEYS`.

    The others still open what they have closed. Without keys the secrets lie plain.
    """

    def encrypt(self, text: str) -> str:
        keys = _keys()
        return text if keys is None else ENCRYPTED + keys.encrypt(text.encode()).decode()

    def get_public_key_credential_rp_entity(self) -> dict[str, str]:
        """Passkeys belong to the host of `SITE_URL`, whatever host the page was asked of."""
        entity: dict[str, str] = super().get_public_key_credential_rp_entity()
        return entity | {"id": urlsplit(addresses.on_site("")).hostname or entity["id"]}

    def decrypt(self, encrypted_text: str) -> str:
        """
        Raises
        ------
        ImproperlyConfigured
            When the key that closed it is not among `SECOND_STEP_KEYS` any more.
        """
        if not encrypted_text.startswith(ENCRYPTED):
            return encrypted_text
        keys = _keys()
        try:
            if keys is None:
                raise InvalidToken
            return keys.decrypt(encrypted_text.removeprefix(ENCRYPTED)).decode()
        except InvalidToken:
            raise ImproperlyConfigured(
                "A second step was kept under a key that SECOND_STEP_KEYS does not name."
            ) from None


def _keys() -> MultiFernet | None:
    given = [hashlib.sha256(key.encode()).digest() for key in settings.SECOND_STEP_KEYS]
    return MultiFernet([Fernet(base64.urlsafe_b64encode(key)) for key in given]) if given else None
