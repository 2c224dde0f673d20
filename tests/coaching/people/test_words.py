"""The account library speaks in our words wherever it shows a page, a message or an e-mail."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import allauth
import pytest
from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext

from coaching.people.models import User
from coaching.people.words import WORDS
from tests.reading import read

LIBRARY = Path(allauth.__file__).parent
SOURCES = "".join(p.read_text() for p in LIBRARY.rglob("*") if p.suffix in (".py", ".html", ".txt"))
# What is switched off here, or said by a template of our own.
OFF = (
    "phone", "signup", "unknown_account", "account_already_exists", "verified_email_required",
    "trust", "warn_no_email", "already_logged_in", "email_confirm", "email_deleted", "password_set",
    "password_reset_code", "primary_email", "base_message", "base_notification", "/email.html",
    "confirm_email", "login_code", "password_reset_code", "messages/logged_in",
)  # fmt: skip
# Short and plain enough as they are.
PLAIN = {
    "Add", "Browser", "Cancel", "Confirm", "Download", "Edit", "Generate", "Key", "Manage",
    "Passkey", "Remove", "Save", "Security key", "Unspecified", "Usage", "Use a security key",
    "View", "Added on {{ created_at }}", "Last used {{ last_used }}", "Are you sure?",
    "This key does not indicate whether it is a passkey.",
}  # fmt: skip
SAID = re.compile(
    r"{% trans(?:late)? [\"'](.*?)[\"'] %}|{% blocktrans(?:late)?[^%]*%}(.*?){% endblocktrans", re.S
)


def said_by_the_library() -> set[str]:
    found: set[str] = set()
    for folder in ("account", "mfa", "usersessions"):
        for path in (LIBRARY / "templates" / folder).rglob("*.*"):
            name = str(path.relative_to(LIBRARY / "templates"))
            if (
                any(word in name for word in OFF)
                or (settings.BASE_DIR / "templates" / name).exists()
            ):
                continue
            found |= {a or b for a, b in SAID.findall(path.read_text())}
    return {text for text in found if "{% plural" not in text}


def test_every_sentence_of_the_library_is_ours_or_plain() -> None:
    said = said_by_the_library()
    assert len(said) > 60
    ours = {re.sub(r"%\((\w+)\)s", r"{{ \1 }}", key) for key in WORDS}
    ours |= {re.sub(r"%\((\w+)\)s", r"{{\1}}", key) for key in WORDS}
    assert said - PLAIN - ours == set()


@pytest.mark.parametrize("key", WORDS)
def test_no_word_of_ours_is_left_over(key: str) -> None:
    """A sentence that the library writes otherwise one day would come back in its own words."""
    inner = re.sub(r"%\\\((\w+)\\\)s", r"({{\\s*\1\\s*}}|%\\(\1\\)s)", re.escape(key))
    loose = re.sub(r"(\\ )+", r'[\\s"]+', inner)
    assert re.search(loose, SOURCES.replace("\\n", " ")), key
    assert gettext(key) == WORDS[key]
    assert set(re.findall(r"%\(\w+\)s|{\w+}", WORDS[key])) <= set(
        re.findall(r"%\(\w+\)s|{\w+}", key)
    )


@pytest.mark.parametrize(
    "name",
    ["account_reauthenticate", "account_email", "account_logout", "account_inactive",
     "account_change_password", "account_request_reauthentication_code", "mfa_index",
     "mfa_activate_totp", "mfa_add_webauthn", "mfa_list_webauthn", "mfa_generate_recovery_codes",
     "account_email_verification_sent", "account_reset_password_from_key_done",
     "usersessions_list"],
)  # fmt: skip
def test_a_page_of_the_library_speaks_our_words(name: str, coach: User, client_for: Any) -> None:
    texts = read(client_for(coach).get(reverse(name)).text)
    assert not [text for text in texts if text in WORDS]
    assert [text for text in texts if text in WORDS.values()]
