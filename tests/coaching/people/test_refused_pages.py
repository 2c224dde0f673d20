"""Pages that say why there is nothing: each has a sentence, and who is signed in finds the way."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import OperationalError
from django.test import Client, RequestFactory
from django.urls import reverse

from coaching import busy
from coaching.people.models import User
from tests import factories

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]
BROWSER = {"Accept": "text/html,*/*"}


def test_an_address_that_takes_forms_only_is_a_sentence_after_signing_in_again(
    client_for: ClientFor,
) -> None:
    coach = factories.make_coach()
    student = factories.make_student(coach=coach)
    url = reverse("thread_send", args=[student.pk])
    away = Client().post(url, {"text": "typed while the session ran out"})
    assert away.status_code == 302 and url in away["Location"]  # where signing in leads
    page = client_for(coach).get(url, headers=BROWSER)
    assert (page.status_code, page["Allow"]) == (405, "POST")
    assert "send it once more" in page.text and "Go to your page" in page.text
    assert not client_for(coach).get(url, headers={"Accept": "application/json"}).content


def test_a_page_that_is_not_there_says_who_is_signed_in(client_for: ClientFor) -> None:
    coach = factories.make_coach()
    page = client_for(coach).get("/students/999999/")
    assert page.status_code == 404 and f"signed in as {coach.email}" in page.text
    assert "signed in as " not in Client().get("/no-such-page/").text.replace(
        "signed in as somebody else", ""
    )


def test_busy_offers_to_try_again_only_what_can_be_asked_again(rf: RequestFactory) -> None:
    locked = OperationalError("database is locked")
    asked = busy.busy(rf.get("/students/", {"q": "jo"}, headers=BROWSER), locked)
    assert asked.status_code == 503 and 'href="/students/?q=jo"' in asked.text
    sent = busy.busy(rf.post("/students/1/thread/send/", headers=BROWSER), locked)
    assert "Send it once more" in sent.text and "Try again" not in sent.text
