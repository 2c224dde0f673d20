"""The library's forms for passkeys, which refuse whatever a program makes up, in words."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from allauth.mfa.adapter import get_adapter
from allauth.mfa.webauthn import forms

# What the decoder of answers raises for one that is torn or made up.
TORN = (ValueError, TypeError, LookupError, AttributeError, RecursionError)


def _read(clean: Callable[[], Any]) -> Any:
    try:
        return clean()
    except TORN as error:
        raise get_adapter().validation_error("incorrect_code") from error


class AddPasskey(forms.AddWebAuthnForm):  # type: ignore[misc]  # ships no types
    def clean(self) -> Any:
        return _read(super().clean)


class _Answer:
    def clean_credential(self) -> Any:
        return _read(super().clean_credential)  # type: ignore[misc]


class LogInByPasskey(_Answer, forms.LoginWebAuthnForm):  # type: ignore[misc]
    pass


class SecondStepByPasskey(_Answer, forms.AuthenticateWebAuthnForm):  # type: ignore[misc]
    pass


class FreshByPasskey(_Answer, forms.ReauthenticateWebAuthnForm):  # type: ignore[misc]
    pass
