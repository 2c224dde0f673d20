"""What is handed on leads to `SITE_URL`, whatever host the page was asked of."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.conf import settings as live
from django.test import Client
from django.urls import reverse

from coaching.intake.services import filming_links
from coaching.notify import services as notify
from coaching.people.models import Student, User
from coaching.review.models import FilmLink, LessonFilm
from tests import factories
from tests.coaching.review.test_films import walked

pytestmark = pytest.mark.django_db
SITE = "https://lessons.example.org"
ClientFor = Callable[[User], Client]


@pytest.fixture(autouse=True)
def two_hosts(settings: Any) -> None:
    settings.SITE_URL, settings.ALLOWED_HOSTS = SITE, ["*"]


def asked_of_another_host(client: Client, name: str, *args: object) -> str:
    return client.get(reverse(name, args=args), headers={"Host": "evil.example:8080"}).text


def test_an_invitation(coach: User, client_for: ClientFor) -> None:
    coming = factories.make_student(coach=coach, joined=False, email="coming@example.org")
    token = factories.make_invitation(student=coming, invited_by=coach).token
    for page in ("student", "people:student_edit"):
        text = asked_of_another_host(client_for(coach), page, coming.pk)
        assert f"{SITE}/join/{token}/" in text and "evil.example" not in text


def test_the_calendar(coach: User, client_for: ClientFor) -> None:
    feed = reverse("notify:calendar", args=[notify.feed_of(coach).token])
    text = asked_of_another_host(client_for(coach), "notify:settings")
    assert f"{SITE}{feed}" in text and f"webcal://lessons.example.org{feed}" in text
    assert "evil.example" not in text


def test_a_film_link(student: Student, client_for: ClientFor) -> None:
    walk = walked(student)
    film = LessonFilm.objects.create(walk=walk, file="lesson/a.mp4", asked_of="a", made_of="a")
    assert student.user is not None
    link = FilmLink.objects.create(
        film=film, made_by=student.user, expires_at="2099-01-01T00:00:00Z"
    )
    text = asked_of_another_host(client_for(student.user), "review:film", walk.pk)
    assert f"{SITE}/watch/{link.token}/" in text and "evil.example" not in text


def test_a_filming_link(student: Student, client_for: ClientFor) -> None:
    assert student.user is not None
    asked = factories.make_request(student=student)
    link = filming_links.make_link(request=asked, by=student.user, days=1)
    text = asked_of_another_host(client_for(student.user), "intake:phone_link", asked.pk)
    assert f"{SITE}/phone/{link.token}/" in text and "evil.example" not in text


def test_one_module_makes_full_addresses() -> None:
    """A page that takes the request's host would hand out whatever host was asked."""
    asks = re.compile(r"build_absolute_uri|get_host|\.SITE_URL|request\.scheme")
    named = {
        str(path.relative_to(live.BASE_DIR))
        for folder, kind in (("coaching", "*.py"), ("templates", "*.html"))
        for path in (live.BASE_DIR / folder).rglob(kind)
        if asks.search(path.read_text())
    }
    # views/studio.py compares: where a form leads back to must be this host
    assert named == {
        "coaching/addresses.py",
        "coaching/notify/queries.py",  # an id of an event, which is no address
        "coaching/people/views/studio.py",
    }
