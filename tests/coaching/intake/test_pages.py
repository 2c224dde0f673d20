"""Each page and each press: its success, its refusal and its stranger."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import get_resolver, reverse
from django.utils import timezone

from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.people.models import Student, User
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def angle(student: Student) -> RequestedAngle:
    return factories.make_angle(request=factories.make_request(student=student, angles=0))


@pytest.fixture
def clip(angle: RequestedAngle) -> Submission:
    clip = factories.make_submission(angle=angle, video=factories.make_video(files=True))
    factories.make_checked(clip, reject="wrong_view")
    return clip


def form(**changes: str) -> dict[str, str]:
    """The coach's form as the page sends it: two angles, and an empty third row."""
    data = {"angle-TOTAL_FORMS": "3", "angle-INITIAL_FORMS": "2", "words": "Please.", "due_on": ""}
    for row, view in enumerate(("down_the_line", "face_on", "")):
        data |= {
            f"angle-{row}-view": view, f"angle-{row}-kind": "swing",
            f"angle-{row}-repetitions": "3", f"angle-{row}-effort": "full",
            f"angle-{row}-ball": "ball", f"angle-{row}-club": "7 iron",
        }  # fmt: skip
    return data | changes


def names() -> list[str]:
    """Pages of the intake that name somebody's object; uploads have tests of their own."""
    patterns = get_resolver("coaching.intake.urls").url_patterns
    return sorted(
        str(p.name) for p in patterns if "upload" not in str(p.name) and p.name != "framing_model"
    )


@pytest.mark.parametrize("name", names())
def test_a_strangers_page_is_not_there(
    name: str, clip: Submission, stranger: User, client_for: Callable[[User], Client]
) -> None:
    assert clip.angle is not None
    pk = {
        "ask": clip.student_id, "request": clip.angle.request_id, "close": clip.angle.request_id,
        "film": clip.angle.pk, "send": clip.angle.pk, "club": clip.angle.pk, "media": clip.video_id,
    }.get(name, clip.pk)  # fmt: skip
    url = reverse(f"intake:{name}", args=[pk, "copy"] if name == "media" else [pk])
    for user in (stranger, factories.make_student(coach=stranger).user):
        client = client_for(user)  # type: ignore[arg-type]
        answers = {client.get(url).status_code, client.post(url, form()).status_code}
        assert answers <= {404, 405}
        assert 404 in answers
    out = Client()
    assert {out.get(url).status_code, out.post(url).status_code} <= {302, 405}
    clip.refresh_from_db()
    assert (clip.override_words, clip.angle.request.closed_at) == ("", None)
    assert Request.objects.count() == 1


# The coach asks


def test_the_coach_sends_a_request(student: Student, coach: User, client_for: Any) -> None:
    answer = client_for(coach).post(f"/students/{student.pk}/ask/", form(due_on="2099-01-01"))
    assert answer.status_code == 302
    request = Request.objects.get()
    assert [a.view for a in request.angles.all()] == ["down_the_line", "face_on"]
    assert (request.words, str(request.due_on)) == ("Please.", "2099-01-01")


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"angle-0-view": "", "angle-1-view": ""}, "Choose at least one angle."),
        ({"angle-0-repetitions": "11"}, "less than or equal to 10"),
        ({"angle-0-view": "sideways"}, "sideways is not one of the available choices"),
        ({"due_on": "2001-01-01"}, "Choose today or a later day."),
        ({"angle-TOTAL_FORMS": "x"}, "ManagementForm data is missing"),
    ],
)
def test_what_the_coach_cannot_ask(
    student: Student, coach: User, client_for: Any, changes: dict[str, str], sentence: str
) -> None:
    answer = client_for(coach).post(f"/students/{student.pk}/ask/", form(**changes))
    assert answer.status_code == 400
    assert sentence in answer.content.decode()
    assert not Request.objects.exists()


@pytest.mark.parametrize("place", ["foam", "none"])
def test_a_preset_asks_for_the_ball_that_is_there(
    student: Student, coach: User, client_for: Any, place: str
) -> None:
    Student.objects.update(practice_place=place)
    page = client_for(coach).get(f"/students/{student.pk}/ask/?preset=two-angles")
    assert [row["ball"].value() for row in page.context["rows"]][:2] == [place, place]


def test_a_request_is_closed(angle: RequestedAngle, coach: User, client_for: Any) -> None:
    assert client_for(coach).post(f"/requests/{angle.request_id}/close/").status_code == 302
    angle.request.refresh_from_db()
    assert angle.request.closed_at is not None


def test_a_student_does_not_ask_or_close(angle: RequestedAngle, client_for: Any) -> None:
    client = client_for(angle.request.student.user)
    assert client.get(f"/students/{angle.request.student_id}/ask/").status_code == 404
    assert client.post(f"/requests/{angle.request_id}/close/").status_code == 404


# The student films and sends


def test_the_filming_page_by_kind_view_and_hand(student: Student, client_for: Any) -> None:
    client = client_for(student.user)
    for hand in ("right", "left"):
        Student.objects.update(handedness=hand)
        for view in ("down_the_line", "face_on", "rear", "overhead", "other"):
            for kind in ("setup", "hold", "rehearsal", "swing", "bar"):
                angle = factories.make_angle(
                    request=factories.make_request(student=student, angles=0), view=view, kind=kind
                )
                page = client.get(f"/film/{angle.pk}/")
                assert page.status_code == 200
                text = page.content.decode()
                assert "Nobody holds the phone inside it" in text
                assert 'capture="environment"' in text


# A turn with a held club


@pytest.mark.parametrize(("asked", "across"), [("bar", "hips"), ("bar-chest", "chest")])
def test_the_coach_says_where_the_club_is_held(
    student: Student, coach: User, client_for: Any, asked: str, across: str
) -> None:
    page = f"/students/{student.pk}/ask/"
    client_for(coach).post(page, form(**{"angle-0-kind": asked}))
    angle = RequestedAngle.objects.get(view="down_the_line")
    assert (angle.kind, angle.bar_across) == ("bar", across)
    assert f"across the {across}" in client_for(student.user).get(f"/film/{angle.pk}/").text
    assert f"turn with a club across the {across}" in client_for(coach).get(page).text


def test_the_chest_preset_fills_the_form(student: Student, coach: User, client_for: Any) -> None:
    page = client_for(coach).get(f"/students/{student.pk}/ask/?preset=turn-chest").text
    assert '<option value="bar-chest" selected>' in page


def test_the_club_is_measured_where_it_is_needed(
    student: Student, coach: User, stranger: User, client_for: Any
) -> None:
    angle = factories.make_angle(
        request=factories.make_request(student=student, angles=0), kind="bar"
    )
    film, club = f"/film/{angle.pk}/", f"/film/{angle.pk}/club/"
    client = client_for(student.user)
    assert "Without it the turn can" in client.get(film).text
    refused = client.post(club, {"club": "9 ft"})
    assert refused.status_code == 400 and "Lay a tape along the club" in refused.text
    assert client.post(club, {"club": "37 in"}).status_code == 302
    student.refresh_from_db()
    assert student.club_cm == 94.0
    assert 'value="94 cm"' in client.get(film).text
    for other in (stranger, coach):
        assert client_for(other).post(club, {"club": "99"}).status_code == 404
    swing = factories.make_angle(request=angle.request)
    assert "How long is the club" not in client.get(f"/film/{swing.pk}/").text


def test_the_coach_sees_the_page_but_cannot_send(
    angle: RequestedAngle, coach: User, client_for: Any
) -> None:
    client = client_for(coach)
    page = client.get(f"/film/{angle.pk}/")
    assert page.status_code == 200
    assert b"clip-upload" not in page.content
    assert client.post(f"/film/{angle.pk}/send/").status_code == 404


@pytest.mark.parametrize("why", ["suspended_at", "closed_at"])
def test_a_stopped_request_says_so_before_filming(
    angle: RequestedAngle, client_for: Any, why: str
) -> None:
    Request.objects.update(**{why: timezone.now()})
    page = client_for(angle.request.student.user).get(f"/film/{angle.pk}/")
    assert page.context["barred"]
    assert b"clip-upload" not in page.content


def test_pages_without_script_need_no_inline_code(
    angle: RequestedAngle, clip: Submission, client_for: Any
) -> None:
    """The content policy refuses inline script and style; nothing may rely on them."""
    client = client_for(angle.request.student.user)
    for url in (f"/film/{angle.pk}/", f"/clips/{clip.pk}/", f"/requests/{angle.request_id}/"):
        text = client.get(url).content.decode()
        assert " style=" not in text
        assert "<script>" not in text
        assert " onclick=" not in text


# What became of it


def test_the_state_as_a_fragment_and_for_programs(clip: Submission, client_for: Any) -> None:
    client = client_for(clip.student.user)
    part = client.get(f"/clips/{clip.pk}/progress/").content.decode()
    assert "data-done" in part
    assert "<html" not in part
    told = client.get(f"/clips/{clip.pk}/progress.json").json()
    assert (told["state"], told["done"]) == ("refused", True)
    assert told["advice"][0]["do"]


def test_insisting_by_form(clip: Submission, client_for: Any) -> None:
    client = client_for(clip.student.user)
    refused = client.post(f"/clips/{clip.pk}/override/", {"words": ""})
    assert (refused.status_code, "Add a word" in refused.content.decode()) == (400, True)
    assert client.post(f"/clips/{clip.pk}/override/", {"words": "It is right."}).status_code == 302
    clip.refresh_from_db()
    assert clip.override_words == "It is right."


def test_a_coach_does_not_insist_for_the_student(
    clip: Submission, coach: User, client_for: Any
) -> None:
    for name in ("override", "word"):
        answer = client_for(coach).post(f"/clips/{clip.pk}/{name}/", {"words": "x"})
        assert answer.status_code == 404


@pytest.mark.parametrize("who", ["student", "coach"])
def test_measuring_again_by_form(
    angle: RequestedAngle, coach: User, client_for: Any, who: str
) -> None:
    clip = factories.make_submission(angle=angle)
    run = factories.make_run(video=clip.video, kind="check", status="failed")
    client = client_for(coach if who == "coach" else clip.student.user)
    assert client.post(f"/clips/{clip.pk}/retry/").status_code == 302
    run.refresh_from_db()
    assert run.status == "queued"
    again = client.post(f"/clips/{clip.pk}/retry/")
    assert (again.status_code, "going on" in again.content.decode()) == (409, True)


def test_the_page_of_a_request_says_what_is_missing(angle: RequestedAngle, client_for: Any) -> None:
    client = client_for(angle.request.student.user)
    url = f"/requests/{angle.request_id}/"
    assert "One angle is still missing" in client.get(url).content.decode()
    factories.make_checked(factories.make_submission(angle=angle))
    assert "Everything asked for is here" in client.get(url).content.decode()


def test_the_coach_is_told_in_his_own_words(clip: Submission, coach: User, client_for: Any) -> None:
    text = client_for(coach).get(f"/clips/{clip.pk}/").content.decode()
    assert f"{clip.student.name}: Please film it again" in text
    assert reverse("review:room", args=[clip.pk]) in text
    for theirs in ("Film it again", "I think it can be used", "Send the word", "Replace this clip"):
        assert theirs not in text
