"""A link that lets a phone without an account film one request, and nothing else."""

from __future__ import annotations

import base64
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from analysis.models import Run
from coaching.intake.models import FilmingLink, Request, RequestedAngle, Submission, Upload
from coaching.intake.services import filming_links as services
from coaching.people.errors import LessonError
from coaching.people.models import AuditEntry, Guardianship, Student, User
from coaching.people.services.consent import withdraw_consents
from tests import factories

pytestmark = pytest.mark.django_db
TUS = {"Tus-Resumable": "1.0.0"}
FILM = b"a film" * 1000


@pytest.fixture
def nell(coach: User) -> Student:
    minor = Student.AgeBand.MINOR
    student = factories.make_student(coach=coach, name="Nell Quist", age_band=minor, consents=False)
    factories.make_consents(student, given_by=factories.make_guardian(student=student))
    return student


@pytest.fixture
def guardian(nell: Student) -> User:
    user = nell.guardianships.get().user
    assert user is not None
    return user


@pytest.fixture
def asked(nell: Student) -> Request:
    return factories.make_request(student=nell)


@pytest.fixture
def link(asked: Request, guardian: User) -> FilmingLink:
    return services.make_link(request=asked, by=guardian, days=3)


def page_of(link: FilmingLink, name: str = "phone") -> Any:
    return Client().get(reverse(f"intake:{name}", args=[link.token]))


def opened(link: FilmingLink, angle: RequestedAngle, **metadata: str) -> Any:
    told = {"angle": str(angle.pk), "filename": "film.mp4"} | metadata
    line = ",".join(f"{k} {base64.b64encode(v.encode()).decode()}" for k, v in told.items())
    headers = TUS | {"Upload-Length": str(len(FILM)), "Upload-Metadata": line}
    return Client().post(reverse("intake:phone_uploads", args=[link.token]), headers=headers)


def send(link: FilmingLink, angle: RequestedAngle) -> Any:
    answer = opened(link, angle)
    assert answer.status_code == 201
    client, address = Client(), answer["Location"]
    moved = client.patch(
        address,
        FILM,
        content_type="application/offset+octet-stream",
        headers=TUS | {"Upload-Offset": "0"},
    )
    assert moved.status_code == 204
    return client.post(f"{address}/finish")


def test_a_film_is_sent_without_an_account_in_the_guardians_name(
    link: FilmingLink, guardian: User, django_capture_on_commit_callbacks: Any
) -> None:
    angle = link.request.angles.get()
    page = page_of(link)
    assert page.status_code == 200 and "Quist" not in page.text and "Nell" not in page.text
    assert page["Referrer-Policy"] == "same-origin"  # with none, its own form would be refused
    assert page["Cache-Control"] == "private, no-store" and "noindex" in page["X-Robots-Tag"]
    with django_capture_on_commit_callbacks():
        arrived = send(link, angle)
    clip = Submission.objects.get()
    assert clip.sent_by == guardian and clip.angle == angle
    with clip.video.original.open() as file:
        assert file.read() == FILM
    # The phone is led back to its own page, never to one that needs an account.
    assert arrived.json()["page"] == reverse("intake:phone", args=[link.token])
    assert "It is being checked" in page_of(link).text
    clip.video.runs.all().delete()
    factories.make_checked(clip)
    assert "everything that was asked for" in page_of(link, "phone_part").text
    assert opened(link, angle).json()["code"] == "all_here"


def test_a_film_that_cannot_be_used_is_asked_again_with_what_to_change(link: FilmingLink) -> None:
    clip = factories.make_submission(student=link.request.student, angle=link.request.angles.get())
    factories.make_checked(clip, reject="too_dark")
    page = page_of(link)
    assert "Please film this one again." in page.text and "dark" in page.text
    assert page.status_code == 200 and f"/media/{clip.video_id}/" not in page.text
    assert "Film it again" in page_of(link, "phone_part").text


def test_the_next_film_of_the_request_follows(nell: Student, guardian: User) -> None:
    asked = factories.make_request(student=nell, angles=0)
    first = factories.make_angle(request=asked, view="down_the_line")
    second = factories.make_angle(request=asked, view="face_on", position=1)
    link = services.make_link(request=asked, by=guardian, days=1)
    assert "Film 1 of 2" in page_of(link).text
    factories.make_submission(student=nell, angle=first)
    page = page_of(link).text
    assert "Film 2 of 2" in page and f'data-angle="{second.pk}"' in page


def over(link: FilmingLink) -> bool:
    """Nothing of it opens, and every way says the same."""
    angle = link.request.angles.first()
    assert angle is not None
    shown = [page_of(link), page_of(link, "phone_part"), opened(link, angle)]
    plain = Client().post(reverse("intake:phone_send", args=[link.token, angle.pk]))
    return all(a.status_code == 403 and "This link has ended." in a.text for a in [*shown, plain])


def test_it_ends_by_a_tap(link: FilmingLink, guardian: User, client: Client) -> None:
    client.force_login(guardian)
    place = reverse("intake:phone_link", args=[link.request_id])
    assert reverse("intake:phone", args=[link.token]) in client.get(place).text
    client.post(reverse("intake:end_phone_link", args=[link.pk]))
    assert over(link)
    assert reverse("intake:phone", args=[link.token]) not in client.get(place).text
    services.end_link(link=link, by=guardian)  # twice is once
    acts = AuditEntry.objects.filter(act="linked", facts__filming_link=link.pk)
    assert acts.count() == 2


def test_it_ends_by_its_day(link: FilmingLink) -> None:
    FilmingLink.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert over(link)


def test_it_ends_with_the_request(link: FilmingLink) -> None:
    Request.objects.update(closed_at=timezone.now())
    assert over(link)


def test_it_is_stopped_while_something_hurts_and_says_nothing_of_it(link: FilmingLink) -> None:
    Request.objects.update(suspended_at=timezone.now())
    assert (
        over(link) and "hurt" not in page_of(link).text.partition("<main")[2].partition("</main")[0]
    )


def test_it_ends_with_the_consent(link: FilmingLink, nell: Student, guardian: User) -> None:
    withdraw_consents(student=nell, by=guardian)
    assert over(link)
    factories.make_consents(nell, given_by=guardian)  # agreed to again, it stays over
    assert over(link)


def test_it_ends_with_the_guardian(link: FilmingLink) -> None:
    Guardianship.objects.update(ended_at=timezone.now())
    assert over(link)


def test_one_that_never_was_says_the_same(link: FilmingLink) -> None:
    link.token = "x" * 43
    assert over(link)


def test_it_reaches_no_other_film_and_no_other_upload(
    link: FilmingLink, nell: Student, guardian: User
) -> None:
    other = factories.make_request(student=nell).angles.get()
    assert opened(link, other).status_code == 409
    assert opened(link, link.request.angles.get(), purpose="voice").status_code == 400
    mine = Upload.objects.create(
        owner=guardian, student=nell, angle=other, length=5, expires_at=link.expires_at
    )
    for name in ("phone_upload", "finish_phone_upload"):
        address = reverse(f"intake:{name}", args=[link.token, mine.pk])
        way = Client().post if name.startswith("finish") else Client().delete
        assert way(address, headers=TUS).status_code == 404
    # It signs nobody in.
    client = Client()
    client.get(reverse("intake:phone", args=[link.token]))
    assert client.get(reverse("today", args=[nell.pk])).status_code == 302


def test_who_may_make_one(asked: Request, nell: Student, guardian: User, coach: User) -> None:
    assert nell.user is not None
    with pytest.raises(LessonError) as raised:
        services.make_link(request=asked, by=nell.user, days=3)
    assert raised.value.code == "guardian_decides"
    with pytest.raises(services.access.Http404):
        services.make_link(request=asked, by=coach, days=3)
    for days in (0, 2, 1000):
        with pytest.raises(LessonError):
            services.make_link(request=asked, by=guardian, days=days)
    twice = [services.make_link(request=asked, by=guardian, days=1) for _turn in range(2)]
    assert twice[0] == twice[1]  # a form sent twice
    grown = factories.make_student(coach=coach)
    assert grown.user is not None
    own = factories.make_request(student=grown)
    assert services.make_link(request=own, by=grown.user, days=7).made_by == grown.user


def test_nothing_is_made_where_nothing_is_missing(
    asked: Request, nell: Student, guardian: User, client: Client
) -> None:
    factories.make_submission(student=nell, angle=asked.angles.get())
    client.force_login(guardian)
    made = client.post(reverse("intake:make_phone_link", args=[asked.pk]), {"days": "3"})
    assert made.status_code == 409 and "here already" in made.text
    assert not FilmingLink.objects.exists()


def test_a_guardian_finds_it_at_home(asked: Request, guardian: User, client: Client) -> None:
    client.force_login(guardian)
    home = client.get(reverse("today", args=[asked.student_id])).text
    place = reverse("intake:phone_link", args=[asked.pk])
    assert place in home and "Send it to Nell’s phone" in home
    made = client.post(
        reverse("intake:make_phone_link", args=[asked.pk]), {"days": "1"}, follow=True
    )
    assert "Point the other phone" in made.text and '<path d="M0,0h1v1h-1z' in made.text


def test_without_script_the_form_sends(link: FilmingLink) -> None:
    angle = link.request.angles.get()
    address = reverse("intake:phone_send", args=[link.token, angle.pk])
    empty = Client().post(address, {})
    assert empty.status_code == 400 and "Nell" not in empty.text
    answer = Client().post(address, {"clip": SimpleUploadedFile("film.mp4", FILM)})
    assert answer.status_code == 302 and answer["Location"] == reverse(
        "intake:phone", args=[link.token]
    )
    assert Submission.objects.get().video.runs.get().kind == Run.Kind.CHECK
