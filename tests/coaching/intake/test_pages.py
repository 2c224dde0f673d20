"""Each page and each press: its success, its refusal and its stranger."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from pathlib import Path
from typing import Any

import brotli
import pytest
from django.test import Client
from django.urls import get_resolver, reverse
from django.utils import timezone

from coaching.intake.models import Request, RequestedAngle, RequestSet, Submission
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
    data = {"angle-TOTAL_FORMS": "3", "angle-INITIAL_FORMS": "2", "text": "Please.", "due_on": ""}
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
    for_anybody = {"framing_model", "phone", "phone_part", "phone_send"}  # by a link, or public
    return sorted(
        str(p.name) for p in patterns if "upload" not in str(p.name) and p.name not in for_anybody
    )


@pytest.mark.parametrize("name", names())
def test_a_strangers_page_is_not_there(
    name: str, clip: Submission, stranger: User, client_for: Callable[[User], Client]
) -> None:
    assert clip.angle is not None
    pk = {
        "ask": clip.student_id, "request": clip.angle.request_id, "close": clip.angle.request_id,
        "film": clip.angle.pk, "send": clip.angle.pk, "club": clip.angle.pk, "media": clip.video_id,
        "phone_link": clip.angle.request_id, "make_phone_link": clip.angle.request_id,
    }.get(name, clip.pk)  # fmt: skip
    own_set = RequestSet.objects.create(studio=clip.student.studio, title="First", angles=[])
    args = {
        "media": [pk, "copy"],
        "sets": [clip.student.studio_id],
        "set": [clip.student.studio_id, own_set.pk],
        "set_remove": [clip.student.studio_id, own_set.pk],
    }
    url = reverse(f"intake:{name}", args=args.get(name, [pk]))
    for user in (stranger, factories.make_student(coach=stranger).user):
        client = client_for(user)  # type: ignore[arg-type]
        answers = {client.get(url).status_code, client.post(url, form()).status_code}
        assert answers <= {404, 405}
        assert 404 in answers
    out = Client()
    assert {out.get(url).status_code, out.post(url).status_code} <= {302, 405}
    clip.refresh_from_db()
    assert (clip.override_note, clip.angle.request.closed_at) == ("", None)
    assert Request.objects.count() == 1


# The coach asks


def test_the_coach_sends_a_request(student: Student, coach: User, client_for: Any) -> None:
    answer = client_for(coach).post(f"/students/{student.pk}/ask/", form(due_on="2099-01-01"))
    assert answer.status_code == 302
    request = Request.objects.get()
    assert [a.view for a in request.angles.all()] == ["down_the_line", "face_on"]
    assert (request.text, str(request.due_on)) == ("Please.", "2099-01-01")


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


def test_the_network_of_the_check_goes_out_packed(
    angle: RequestedAngle, client_for: Any, settings: Any, tmp_path: Path
) -> None:
    network = b"weights" * 500
    (tmp_path / "pose_lite.task").write_bytes(network)
    settings.MODELS_DIR = tmp_path
    client = client_for(angle.request.student.user)
    plain = client.get("/film/model", headers={"Accept-Encoding": "gzip"})
    assert plain.getvalue() == network
    assert not plain.has_header("Content-Encoding")

    (tmp_path / "pose_lite.task.gz").write_bytes(gzip.compress(network))
    packed = client.get("/film/model", headers={"Accept-Encoding": "gzip, br"})
    assert packed["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.getvalue()) == network
    asked = client.get("/film/model")  # a client that cannot unpack
    assert asked.getvalue() == network
    assert "Accept-Encoding" in asked["Vary"]
    (tmp_path / "pose_lite.task.br").write_bytes(brotli.compress(network))
    smaller = client.get("/film/model", headers={"Accept-Encoding": "gzip, deflate, br;q=1.0"})
    assert smaller["Content-Encoding"] == "br"
    assert brotli.decompress(smaller.getvalue()) == network
    without = client.get("/film/model", headers={"Accept-Encoding": "gzip, brand"})
    assert without["Content-Encoding"] == "gzip"
    told = client.get(f"/film/{angle.pk}/", headers={"Accept-Encoding": "br"}).context
    assert told["check_bytes"] - told["check_line_bytes"] >= len(network) - 100


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
    refused = client.post(f"/clips/{clip.pk}/override/", {"text": ""})
    assert (refused.status_code, "Add a word" in refused.content.decode()) == (400, True)
    assert client.post(f"/clips/{clip.pk}/override/", {"text": "It is right."}).status_code == 302
    clip.refresh_from_db()
    assert clip.override_note == "It is right."


def test_a_coach_does_not_insist_for_the_student(
    clip: Submission, coach: User, client_for: Any
) -> None:
    for name in ("override", "right", "word"):
        answer = client_for(coach).post(f"/clips/{clip.pk}/{name}/", {"text": "x"})
        assert answer.status_code == 404


def test_a_doubt_that_is_a_mistake_is_answered_with_one_tap(
    angle: RequestedAngle, coach: User, client_for: Any
) -> None:
    clip = factories.make_submission(angle=angle)
    codes = ("wrong_view", "several_people", "blurred")
    factories.make_run(
        video=clip.video,
        kind="check",
        quality=[{"code": code, "level": "warn", "message": "", "frame": 0} for code in codes],
    )
    client, url = client_for(clip.student.user), f"/clips/{clip.pk}/"
    right = f"{url}right/"
    before = client.get(url).text
    assert "Is the clip right?" in before
    assert "Good to use" not in before.split("</h1>")[0].split("<h1>")[-1]
    assert right not in client_for(coach).get(url).text

    for _press in range(2):
        assert client.post(right).status_code == 302
    after = client.get(url).text
    assert ("Good to use" in after, "Is the clip right?" in after) == (True, False)
    assert "Next time put the phone" not in after  # it stood where it should
    assert "Next time wipe the lens" in after  # no network read that from the picture
    said = clip.student.thread.entries.get(kind="message")
    assert said.refs["right"] == ["wrong_view", "several_people"]
    assert said.no_answer_at is not None
    clip.refresh_from_db()
    assert clip.overridden_at is None  # nothing was refused, and the promise stays


def test_a_refused_clip_is_not_called_right_with_one_tap(clip: Submission, client_for: Any) -> None:
    client = client_for(clip.student.user)
    assert f"/clips/{clip.pk}/right/" not in client.get(f"/clips/{clip.pk}/").text
    client.post(f"/clips/{clip.pk}/right/")
    assert not clip.student.thread.entries.filter(kind="message").exists()


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
    assert "One film is still missing" in client.get(url).content.decode()
    factories.make_checked(factories.make_submission(angle=angle))
    assert "Everything asked for is here" in client.get(url).content.decode()


def test_the_coach_is_told_in_his_own_words(clip: Submission, coach: User, client_for: Any) -> None:
    text = client_for(coach).get(f"/clips/{clip.pk}/").content.decode()
    assert f"{clip.student.name}: Please film it again" in text
    assert reverse("review:room", args=[clip.pk]) in text
    for theirs in ("Film it again", "I think it can be used", "Replace this clip"):
        assert theirs not in text


def test_what_the_ball_did_is_said_with_the_clip(
    clip: Submission, client_for: Callable[[User], Client]
) -> None:
    mine = client_for(clip.student.user)
    page = mine.get(reverse("intake:submission", args=[clip.pk])).content.decode()
    assert "What did the ball do?" in page and page.count('class="flight"') == 9
    url = reverse("intake:ball", args=[clip.pk])
    assert mine.post(url, {"flight": "right-left", "strike": "thin"}).status_code == 302
    clip.refresh_from_db()
    assert (clip.flight, clip.height, clip.strike) == ("right-left", "", "thin")
    refused = mine.post(url, {"flight": "up"})
    assert refused.status_code == 400 and "Choose one of the pictures." in refused.content.decode()
    clip.answered_at = timezone.now()
    clip.save()
    assert mine.post(url, {"strike": "fat"}).status_code == 409


def test_a_ball_is_asked_about_only_where_one_flies(
    clip: Submission, client_for: Callable[[User], Client]
) -> None:
    mine = client_for(clip.student.user)
    assert clip.angle is not None
    film = reverse("intake:film", args=[clip.angle.pk])
    assert "What did the ball do?" in mine.get(film).content.decode()
    RequestedAngle.objects.update(kind="setup")
    assert "What did the ball do?" not in mine.get(film).content.decode()


def test_one_heading_wins_where_swings_are_missing(
    student: Student, client_for: Callable[[User], Client]
) -> None:
    as_student = client_for(student.user)
    asked = factories.make_request(student=student, angles=0)
    angle = factories.make_angle(request=asked, view="down_the_line", repetitions=3)
    first = factories.make_submission(angle=angle)
    factories.make_checked(first)
    factories.make_run(video=first.video, kind="copy")
    quality = [{"code": "fewer_swings", "level": "warn"}, {"code": "body_cut", "level": "warn"}]
    factories.make_run(video=first.video, result={"quality": quality, "reps": [{}]})
    page = as_student.get(f"/clips/{first.pk}/").content.decode()
    assert "Your coach has it, but two swings are missing." in page
    assert "Good to use" not in page and "film again" not in page and "again" not in page
    assert f"/film/{angle.pk}/?swings=2" in page and "Film the other two" in page
    film = as_student.get(f"/film/{angle.pk}/?swings=2").content.decode()
    assert "2 swings" in film and 'data-repetitions="2"' in film

    second = factories.make_submission(angle=angle)
    factories.make_checked(second)
    factories.make_run(video=second.video, kind="copy")
    factories.make_run(video=second.video, result={"quality": quality, "reps": [{}, {}]})
    page = as_student.get(f"/clips/{second.pk}/").content.decode()
    assert "missing" not in page and "Good to use" in page


@pytest.mark.parametrize("swings", ["0", "4", "x", "-1", "999999999999999999999"])
def test_a_nonsense_number_of_swings_is_all_of_them(
    student: Student, client_for: Callable[[User], Client], swings: str
) -> None:
    as_student = client_for(student.user)
    asked = factories.make_request(student=student, angles=0)
    angle = factories.make_angle(request=asked, view="down_the_line", repetitions=3)
    page = as_student.get(f"/film/{angle.pk}/", {"swings": swings}).content.decode()
    assert 'data-repetitions="3"' in page
