"""Passkeys, codes and recovery codes, attacked: none opens an account that is not its own."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import (
    TOTP,
    format_hotp_value,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from coaching.people.models import Letter, User
from tests import factories
from tests.at_once import at_once
from tests.passkey import Passkey

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]
LOGIN = "/accounts/2fa/webauthn/login/"
SECRET = "JBSWY3DPEHPK3PXP"
AJAX = {"X-Requested-With": "XMLHttpRequest", "Accept": "application/json"}


@pytest.fixture(autouse=True)
def as_in_production(settings: Any) -> None:
    """Where no key is set, any origin may ask: `make run` on one's own machine."""
    settings.MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = False


def fresh(client: Client) -> Client:
    answer = client.post(
        reverse("account_reauthenticate"), {"password": factories.PASSWORD, "next": "/"}
    )
    assert answer.status_code == 302
    return client


def added(client: Client, key: Passkey, **how: Any) -> Any:
    """Register `key` as the browser would."""
    page = fresh(client).get(reverse("mfa_add_webauthn"))
    answer = key.made(page.context["js_data"]["creation_options"], **how)
    data = {"name": "Phone", "passwordless": "on", "credential": json.dumps(answer)}
    return client.post(reverse("mfa_add_webauthn"), data)


def asked(client: Client) -> Any:
    answer = client.get(reverse("mfa_login_webauthn"), headers=AJAX)
    assert answer.status_code == 200
    return answer.json()["request_options"]


def try_in(client: Client, credential: Any) -> bool:
    """Whether it signs somebody in."""
    data = {"credential": json.dumps(credential)}
    answer = client.post(reverse("mfa_login_webauthn"), data)
    assert answer.status_code == 302
    return client.get(reverse("people:profile")).status_code == 200


@pytest.fixture
def key(coach: User, client_for: ClientFor) -> Passkey:
    made = Passkey()
    assert added(client_for(coach), made).status_code == 302
    assert Authenticator.objects.filter(user=coach, type="webauthn").count() == 1
    return made


def test_a_passkey_opens_its_own_account(key: Passkey, coach: User) -> None:
    client = Client()
    assert try_in(client, key.signed(asked(client)))
    assert client.get(reverse("people:profile")).context["user"] == coach


def test_an_answer_counts_once_and_in_its_own_session(key: Passkey) -> None:
    client, other = Client(), Client()
    answer = key.signed(asked(client))
    asked(other)
    assert not try_in(other, answer)  # another session was asked something else
    assert not try_in(Client(), answer)  # and this one nothing
    assert try_in(client, answer)
    client.post(reverse("account_logout"))
    assert not try_in(client, answer)
    asked(client)
    assert not try_in(client, answer)


@pytest.mark.parametrize(
    "how",
    [
        {"origin": "https://evil.example"},
        {"origin": "https://testserver.evil.example"},
        {"origin": "http://testserver"},
        {"verified": False},  # lifted off the desk: no finger, no PIN
    ],
)
def test_another_origin_or_an_unverified_person_is_refused(
    key: Passkey, how: dict[str, Any]
) -> None:
    client = Client()
    assert not try_in(client, key.signed(asked(client), **how))


def test_a_key_of_another_site_or_account_is_refused(key: Passkey, client_for: ClientFor) -> None:
    thief = factories.make_coach()
    own = Passkey()
    assert added(client_for(thief), own).status_code == 302
    client = Client()
    own.user = key.user  # my key, your name
    assert not try_in(client, own.signed(asked(client)))
    key.rp = "evil.example"
    assert not try_in(client, key.signed(asked(client)))
    forged = Passkey(user=key.user, id=key.id)  # your key's name, my signature
    assert not try_in(client, forged.signed(asked(client)))


def test_the_host_that_was_asked_names_no_site(
    key: Passkey, coach: User, client_for: ClientFor, settings: Any
) -> None:
    settings.ALLOWED_HOSTS = ["*"]
    client = fresh(client_for(coach))
    page = client.get(reverse("mfa_add_webauthn"), headers={"Host": "evil.example"})
    options = page.context["js_data"]["creation_options"]["publicKey"]
    assert options["rp"]["id"] == "testserver"
    answer = Client().get(reverse("mfa_login_webauthn"), headers=AJAX | {"Host": "evil.example"})
    assert answer.json()["request_options"]["publicKey"]["rpId"] == "testserver"


def test_a_removed_passkey_opens_nothing(key: Passkey, coach: User, client_for: ClientFor) -> None:
    row = Authenticator.objects.get(user=coach, type="webauthn")
    stranger = fresh(client_for(factories.make_coach()))
    assert stranger.post(reverse("mfa_remove_webauthn", args=[row.pk])).status_code == 404
    client = Client()
    answer = key.signed(asked(client))
    mine = fresh(client_for(coach))
    assert mine.post(reverse("mfa_remove_webauthn", args=[row.pk])).status_code == 302
    assert not try_in(client, answer)


def test_a_key_is_added_and_removed_only_after_a_fresh_sign_in(
    key: Passkey, coach: User, client_for: ClientFor
) -> None:
    """As of somebody who finds the coach's phone unlocked."""
    row = Authenticator.objects.get(user=coach, type="webauthn")
    client = client_for(coach)
    session = client.session
    session["account_authentication_methods"] = []
    session.save()
    for name, args in (("mfa_add_webauthn", []), ("mfa_remove_webauthn", [row.pk]),
                       ("mfa_activate_totp", []), ("mfa_view_recovery_codes", [])):  # fmt: skip
        for ask in (client.get, client.post) if "view" not in name else (client.get,):
            answer = ask(reverse(name, args=args))
            assert answer.status_code == 302 and "/reauthenticate" in answer.url, name
    assert Authenticator.objects.filter(pk=row.pk).exists()


FAR = "OTk5OTk5OTk5OTk5OTk5OTk5OTk5OTk"  # a number that no row has
TORN = {"clientDataJSON": "AA", "authenticatorData": "AA", "signature": "AA", "userHandle": "MQ"}
MADE = {"clientDataJSON": "e30", "attestationObject": "oA"}
ODD: dict[str, Any] = {
    "nothing": None,
    "a number": 1,
    "a text": "x",
    "a list": [],
    "an empty one": {},
    "lists": [[]],
    "an id": {"id": 1},
    "no response": {"response": None},
    "a list for a response": {"response": []},
    "nobody": {"response": {"userHandle": None}},
    "a number for a name": {"response": {"userHandle": 7}},
    "no text": {"response": {"userHandle": "//////"}},
    "somebody far": {"response": {"userHandle": FAR}},
    "torn": {"id": "AA", "rawId": "AA", "response": TORN},
    "two ids": {"id": "AA", "rawId": "AB", "type": "public-key", "response": {}},
    "made up": {"id": "AA", "rawId": "AA", "type": "public-key", "response": MADE},
}
DEEP = "[" * 20_000 + "]" * 20_000


@pytest.mark.parametrize("odd", [*ODD, "not JSON", "deep"])
def test_odd_answers_are_refused_in_words(odd: str, coach: User, client_for: ClientFor) -> None:
    text = json.dumps(ODD[odd]) if odd in ODD else DEEP if odd == "deep" else odd
    client = Client()
    asked(client)
    answer = client.post(reverse("mfa_login_webauthn"), {"credential": text})
    if odd == "deep":  # refused at the door
        assert answer.status_code == 400
    else:
        assert answer.status_code == 302 and answer.url == reverse("account_login")
    client = fresh(client_for(coach))
    client.get(reverse("mfa_add_webauthn"))
    answer = client.post(reverse("mfa_add_webauthn"), {"name": "Phone", "credential": text})
    assert answer.status_code == (400 if odd == "deep" else 200)
    assert not Authenticator.objects.exists()


@pytest.mark.parametrize("what", list(MADE))
def test_a_torn_registration_is_refused(what: str, coach: User, client_for: ClientFor) -> None:
    client = fresh(client_for(coach))
    page = client.get(reverse("mfa_add_webauthn"))
    answer = Passkey().made(page.context["js_data"]["creation_options"])
    whole = answer["response"][what]
    for torn in (whole[: len(whole) // 2], "", whole + whole, None, 5):
        answer["response"][what] = torn
        data = {"name": "Phone", "credential": json.dumps(answer)}
        assert client.post(reverse("mfa_add_webauthn"), data).status_code == 200
    assert not Authenticator.objects.exists()


@pytest.mark.parametrize("what", ["clientDataJSON", "authenticatorData", "signature", "userHandle"])
def test_a_torn_answer_is_refused(what: str, key: Passkey) -> None:
    client = Client()
    answer = key.signed(asked(client))
    whole = answer["response"][what]
    for torn in (whole[: len(whole) // 2], "", whole + whole, None, 5):
        answer["response"][what] = torn
        assert not try_in(client, answer)


# Codes


def code_now(ahead: int = 0) -> str:
    return format_hotp_value(hotp_value(SECRET, next(yield_hotp_counters_from_time()) + ahead))


def half_in(user: User) -> tuple[Client, str]:
    """Somebody who knows the password, before the second step."""
    client = Client()
    given = {"login": user.email, "password": factories.PASSWORD}
    answer = client.post(reverse("account_login"), given)
    assert answer.url == reverse("mfa_authenticate")
    return client, answer.url


def program(user: User, code: str, **headers: str) -> Any:
    given = {"email": user.email, "password": factories.PASSWORD, "code": code}
    return APIClient().post("/api/login/", given, format="json", headers=headers)


def test_codes_cannot_be_guessed_from_many_places(coach: User) -> None:
    """Ten tries in a quarter of an hour for the account: by pages and programs together."""
    TOTP.activate(coach, SECRET)
    RecoveryCodes.activate(coach)
    taken = 0
    for number in range(14):
        place = {"X-Forwarded-For": f"203.0.113.{number}", "REMOTE_ADDR": f"203.0.113.{number}"}
        if number % 2:
            assert program(coach, "000000", **place).status_code in (403, 429)
        else:
            client, address = half_in(coach)
            page = client.post(address, {"code": "000000"}, headers=place)
            assert page.status_code == 200
            taken += "Too many" in page.text
    assert taken >= 2
    client, address = half_in(coach)
    assert client.post(address, {"code": code_now()}).status_code == 200  # not even the right one
    assert program(coach, code_now()).status_code == 403
    assert not coach.api_tokens.exists()


def test_a_code_counts_once_wherever_it_is_sent(coach: User) -> None:
    TOTP.activate(coach, SECRET)
    code = code_now()
    client, address = half_in(coach)
    assert client.post(address, {"code": code}).status_code == 302
    other, address = half_in(coach)
    assert other.post(address, {"code": code}).status_code == 200
    assert other.get(reverse("people:profile")).status_code == 302
    assert program(coach, code).status_code == 403


@pytest.mark.django_db(transaction=True)
def test_a_recovery_code_counts_once_however_often_it_comes(coach: User) -> None:
    TOTP.activate(coach, SECRET)
    RecoveryCodes.activate(coach)
    codes = RecoveryCodes(Authenticator.objects.get(user=coach, type="recovery_codes"))
    code = codes.get_unused_codes()[0]
    given: list[int] = []
    assert at_once(lambda: given.append(program(coach, code).status_code), 4) == []
    assert sorted(given) == [200, 403, 403, 403]
    client, address = half_in(coach)
    assert client.post(address, {"code": code}).status_code == 200
    assert coach.api_tokens.count() == 1


def test_half_way_in_is_nowhere(coach: User) -> None:
    TOTP.activate(coach, SECRET)
    client, _address = half_in(coach)
    for page in ("waiting", "people:profile", "people:tokens", "mfa_index", "mfa_activate_totp",
                 "mfa_add_webauthn", "mfa_deactivate_totp", "account_email",
                 "account_change_password"):  # fmt: skip
        answer = client.get(reverse(page))
        assert answer.status_code == 302 and "/login" in answer.url, page
    assert client.get("/api/students/", headers={"Accept": "application/json"}).status_code == 401


def test_a_mailed_password_leaves_the_second_step(coach: User, client: Client) -> None:
    """Who reads the mailbox has one of two steps."""
    TOTP.activate(coach, SECRET)
    client.post(reverse("account_reset_password"), {"email": coach.email})
    letter = Letter.objects.get()
    link = next(word for word in letter.body.split() if "/key/" in word)
    page = client.get(link.replace("http://testserver", ""), follow=True)
    new = "another quiet evening 9"
    answer = client.post(page.request["PATH_INFO"], {"password1": new, "password2": new})
    assert answer.url == reverse("mfa_authenticate")
    assert client.get(reverse("people:profile")).status_code == 302
    client.post(answer.url, {"code": code_now()})
    assert client.get(reverse("people:profile")).status_code == 200
