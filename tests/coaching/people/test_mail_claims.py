"""No page says that we wrote to somebody where no e-mail leaves."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.conf import settings as project
from django.test import Client
from django.urls import reverse

from coaching.people.models import Student, User
from coaching.people.services import consent, students
from tests import factories
from tests.reading import read

CLAIM = re.compile(
    r"[Ww]e (have )?(wr[io]te|written|sen[dt]) (it |you |a link )?(to|a link|the)\b"
    r"|link is on its way|[Ll]ook into your mail\."
)
TEMPLATES = [
    path for path in (project.BASE_DIR / "templates").rglob("*.*")
    if not {"email", "mail"} & set(path.parts)  # what stands in a letter has left with it
]  # fmt: skip


def test_whatever_claims_a_letter_asks_first_whether_one_leaves() -> None:
    claims = {str(path): path.read_text() for path in TEMPLATES if CLAIM.search(path.read_text())}
    assert len(claims) >= 5
    assert [name for name, text in claims.items() if "mail_leaves %}" not in text] == []
    code = (project.BASE_DIR / "coaching").rglob("*.py")
    said = [path.name for path in code if re.search(r'"[^"\n]*' + CLAIM.pattern, path.read_text())]
    assert said == ["mail.py"]


@pytest.fixture
def minor(coach: User) -> Student:
    made = factories.make_student(coach=coach, age_band="under_18", consents=False)
    made.user.emailaddress_set.update(verified=False)
    return made


@pytest.mark.parametrize(("backend", "claimed"), [("console", False), ("locmem", True)])
def test_pages_claim_a_letter_only_where_it_leaves(
    minor: Student, coach: User, client_for: Any, settings: Any, backend: str, claimed: bool
) -> None:
    settings.EMAIL_BACKEND = f"django.core.mail.backends.{backend}.EmailBackend"
    owner = factories.make_coach(studio=minor.studio, role="owner")
    invited = students.invite_student(
        studio=minor.studio, by=coach, name="Kit", email="kit@example.org"
    )
    consent.name_guardian(student=minor, by=minor.user, name="Ada", email="ada@example.org")
    told = {
        "guardian_wait": client_for(minor.user).get(
            reverse("people:guardian_wait", args=[minor.pk])
        ),
        "guardian_add": client_for(owner).post(
            reverse("people:guardian_add", args=[minor.pk]),
            {"name": "Bo", "email": "bo@example.org"},
            follow=True,
        ),
        "member_invite": client_for(owner).post(
            reverse("people:member_invite", args=[minor.studio_id]),
            {"email": "new@example.org", "role": "coach"},
            follow=True,
        ),
        "student_edit": client_for(coach).get(
            reverse("people:student_edit", args=[invited.student_id])
        ),
        "password_reset": Client().get(reverse("account_reset_password")),
        "password_reset_done": Client().get(reverse("account_reset_password_done")),
        "resend": client_for(minor.user).post(
            reverse("account_email"),
            {"action_send": "", "email": minor.user.email},
            follow=True,
        ),
        "profile": client_for(minor.user).get(reverse("people:profile")),
    }
    found = {
        name: bool([text for text in read(page.content.decode()) if CLAIM.search(text)])
        for name, page in told.items()
    }
    assert found == dict.fromkeys(told, claimed)
