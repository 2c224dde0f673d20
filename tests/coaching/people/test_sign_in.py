"""Signing in: limits, a second step, keys of programs, sessions, what a page lets a browser do."""

from __future__ import annotations

import pytest
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import (
    TOTP,
    format_hotp_value,
    hotp_value,
    yield_hotp_counters_from_time,
)
from django.conf import settings as live
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from coaching.people.models import ApiToken, Student, User
from coaching.settings import database
from tests import factories

pytestmark = pytest.mark.django_db
NEW = "another quiet morning 9"


def sign_in(client: Client, email: str, password: str = factories.PASSWORD, **headers: str):
    page = reverse("account_login")
    return client.post(page, {"login": email, "password": password}, headers=headers)


def test_no_header_gives_a_program_more_attempts(coach: User) -> None:
    codes = [
        APIClient()
        .post(
            "/api/login/",
            {"email": coach.email, "password": "no"},
            headers={"X-Forwarded-For": f"203.0.113.{number}"},
        )
        .status_code
        for number in range(12)
    ]
    assert codes[:10] == [400] * 10 and codes[10:] == [429, 429]


def test_a_stranger_behind_our_proxy_locks_nobody_else_out(coach: User, settings) -> None:
    """Behind a proxy every visitor has one REMOTE_ADDR: the header of our own proxy counts."""
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1
    there = Client(REMOTE_ADDR="172.18.0.1")
    for _ in range(10):
        sign_in(there, coach.email, "wrong", **{"X-Forwarded-For": "198.51.100.7, 203.0.113.9"})
    shut = sign_in(there, coach.email, **{"X-Forwarded-For": "203.0.113.9"})
    assert shut.status_code == 429
    here = Client(REMOTE_ADDR="172.18.0.1")
    assert sign_in(here, coach.email, **{"X-Forwarded-For": "198.51.100.7"}).status_code == 302


def test_a_device_that_was_here_before_is_never_locked_out_by_others(coach: User) -> None:
    """Even where every visitor seems to come from one place."""
    own = Client()
    assert sign_in(own, coach.email).status_code == 302
    own.post(reverse("account_logout"))
    stranger = Client()
    for _ in range(70):
        sign_in(stranger, coach.email, "wrong")
    assert sign_in(Client(), coach.email).status_code == 429
    assert sign_in(own, coach.email).status_code == 302
    # Nobody can write the cookie of such a device, nor use it for another account.
    borrowed = Client()
    borrowed.cookies["device"] = "x"
    sign_in(borrowed, factories.make_user(email="other@example.org").email)
    assert sign_in(borrowed, coach.email).status_code == 429
    forged = Client()
    forged.cookies["device"] = own.cookies["device"].value[:-2] + "xx"
    assert sign_in(forged, coach.email).status_code == 429


def test_an_unknown_address_costs_a_hash_too(coach: User, monkeypatch) -> None:
    """The time of an answer does not tell who has an account: both check one password."""
    from django.contrib.auth.hashers import MD5PasswordHasher

    hashes: list[str] = []
    real = MD5PasswordHasher.encode
    monkeypatch.setattr(
        MD5PasswordHasher,
        "encode",
        lambda self, password, salt: hashes.append(salt) or real(self, password, salt),
    )
    counts = []
    for email in (coach.email, "nobody@example.org"):
        hashes.clear()
        assert sign_in(Client(), email, "wrong").status_code == 200
        counts.append(len(hashes))
    assert counts == [1, 1]


def test_a_forgotten_password_says_the_same_of_everybody(
    coach: User, client: Client, mailoutbox: list
) -> None:
    pages = [
        client.post(reverse("account_reset_password"), {"email": email}, follow=True).content
        for email in (coach.email, "nobody@example.org")
    ]
    assert pages[0] == pages[1]
    assert not [mail for mail in mailoutbox if mail.to == ["nobody@example.org"]]


def test_a_new_password_ends_the_keys_of_programs(coach: User, client_for) -> None:
    _row, key = ApiToken.issue(coach, name="test")
    program = APIClient()
    program.credentials(HTTP_AUTHORIZATION=f"Token {key}")
    assert program.get("/api/students/").status_code == 200
    elsewhere = client_for(coach)
    here = client_for(coach)
    changed = here.post(
        reverse("account_change_password"),
        {"oldpassword": factories.PASSWORD, "password1": NEW, "password2": NEW},
    )
    assert changed.status_code == 302
    coach.refresh_from_db()
    assert coach.check_password(NEW)
    assert program.get("/api/students/").status_code == 401
    assert elsewhere.get(reverse("people:profile")).status_code == 302
    assert here.get(reverse("people:profile")).status_code == 200


def test_keys_are_made_listed_and_removed_on_a_page(coach: User, client_for) -> None:
    client, page = client_for(coach), reverse("people:tokens")
    made = client.post(page, {"name": "Backup"})
    key = made.context["made"]
    assert key in made.content.decode()
    shown = client.get(page).content.decode()
    assert "Backup" in shown and key not in shown
    token = ApiToken.objects.get()
    assert key not in token.digest
    stranger = factories.make_user()
    remove = reverse("people:token_remove", args=[token.pk])
    assert client_for(stranger).post(remove).status_code == 404
    assert client.post(remove).status_code == 302
    assert not ApiToken.objects.exists()


def test_a_key_expires(coach: User) -> None:
    from django.utils import timezone

    row, key = ApiToken.issue(coach, name="test")
    program = APIClient()
    program.credentials(HTTP_AUTHORIZATION=f"Token {key}")
    ApiToken.objects.filter(pk=row.pk).update(expires_at=timezone.now())
    assert program.get("/api/students/").status_code == 401


def code_of(secret: str) -> str:
    return format_hotp_value(hotp_value(secret, next(yield_hotp_counters_from_time())))


def test_a_second_step_is_asked_of_page_and_program(coach: User, client: Client) -> None:
    secret = "JBSWY3DPEHPK3PXP"
    TOTP.activate(coach, secret)
    RecoveryCodes.activate(coach)
    answer = sign_in(client, coach.email)
    assert answer.url == reverse("mfa_authenticate")
    assert client.get(reverse("people:profile")).status_code == 302  # not in yet
    wrong = client.post(answer.url, {"code": "000000"})
    assert wrong.status_code == 200
    assert client.post(answer.url, {"code": code_of(secret)}).status_code == 302
    assert client.get(reverse("people:profile")).status_code == 200
    given = {"email": coach.email, "password": factories.PASSWORD}
    refused = APIClient().post("/api/login/", given, format="json")
    assert (refused.status_code, refused.json()["code"]) == (403, "second_step")
    recovery = RecoveryCodes(coach.authenticator_set.get(type="recovery_codes"))
    code = recovery.get_unused_codes()[0]
    assert APIClient().post("/api/login/", given | {"code": code}, format="json").status_code == 200


def test_a_studio_may_ask_its_people_for_a_second_step(
    coach: User, student: Student, client_for
) -> None:
    studio = student.studio
    studio.second_step_required = True
    studio.save()
    client = client_for(coach)
    assert client.get(reverse("waiting")).url == reverse("mfa_index")
    assert client.get(reverse("mfa_index")).status_code == 200
    assert client.get(reverse("people:profile")).status_code == 200
    assert client_for(student.user).get(reverse("people:profile")).status_code == 200
    TOTP.activate(coach, "JBSWY3DPEHPK3PXP")
    assert client.get(reverse("waiting")).status_code == 200


@pytest.mark.parametrize(
    "name",
    ["account_email", "account_change_password", "mfa_index", "usersessions_list",
     "mfa_activate_totp", "mfa_add_webauthn", "account_reauthenticate", "people:tokens"],
)  # fmt: skip
def test_every_page_of_an_account_opens(name: str, coach: User, client_for) -> None:
    page = client_for(coach).get(reverse(name))
    assert page.status_code == 200
    assert '<main id="main"' in page.content.decode()


def test_what_cannot_be_taken_back_asks_for_the_password(student: Student, client_for) -> None:
    client = client_for(student.user, fresh=False)
    for name in ("people:export", "people:erase", "people:withdraw"):
        page = reverse(name, args=[student.pk])
        answer = client.get(page)
        assert answer.url.startswith(reverse("account_reauthenticate"))
    again = client.post(
        reverse("account_reauthenticate") + f"?next={page}", {"password": factories.PASSWORD}
    )
    assert again.url == page
    assert client.get(page).status_code == 200


def test_sessions_are_listed_and_ended(coach: User) -> None:
    here, there = Client(), Client()
    for client in (here, there):
        sign_in(client, coach.email)
        client.get(reverse("people:profile"))
    page = reverse("usersessions_list")
    assert len(here.get(page).context["sessions"]) == 2
    here.post(page)
    assert there.get(reverse("people:profile")).status_code == 302
    assert here.get(reverse("people:profile")).status_code == 200


def test_no_cache_keeps_a_page_of_somebody_signed_in(student: Student, client_for) -> None:
    page = client_for(student.user).get(reverse("people:profile"))
    assert "no-store" in page["Cache-Control"] and "private" in page["Cache-Control"]
    assert "geolocation=()" in page["Permissions-Policy"]
    assert "camera=(self)" in page["Permissions-Policy"]
    assert "Permissions-Policy" in Client().get(reverse("account_login"))


def test_nobody_signs_up_without_an_invitation(client: Client, db: None) -> None:
    form = {"email": "x@example.org", "password1": NEW}
    client.post(reverse("account_signup"), form)
    assert not User.objects.exists()


def test_options_of_the_database_reach_the_driver() -> None:
    found = database("postgres://u:p%40ss@db:6432/name?sslmode=verify-full&connect_timeout=5")
    assert found["OPTIONS"]["sslmode"] == "verify-full"
    assert found["OPTIONS"]["connect_timeout"] == 5
    assert (found["USER"], found["PASSWORD"], found["HOST"], found["PORT"], found["NAME"]) == (
        "u", "p@ss", "db", 6432, "name",
    )  # fmt: skip
    socket = database("postgres://u@/name?host=/run/postgresql")
    assert socket["OPTIONS"]["host"] == "/run/postgresql" and not socket["HOST"]
    assert database("sqlite:////var/a.sqlite3")["NAME"] == "/var/a.sqlite3"
    assert live.DATABASES["default"]["ENGINE"]
