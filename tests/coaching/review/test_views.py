"""Who sees what in the review room, and what each endpoint answers."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse

from analysis import services as analysis_services
from coaching.intake.models import Submission
from coaching.people.models import Membership, Student, User
from coaching.review import services
from coaching.review.models import Review, Snippet
from tests import factories
from tests.coaching.review.clips import make_clip

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]


@pytest.fixture
def clip(student: Student) -> Submission:
    return make_clip(student=student)


@pytest.fixture
def review(clip: Submission, coach: User) -> Review:
    return services.open_draft(submissions=[clip], by=coach)


@pytest.fixture
def sent(review: Review, coach: User) -> Review:
    services.save_words(review=review, words="Turn more", revision=0, by=coach)
    return services.publish_review(review=review, by=coach)


def post(client: Client, url: str, body: Any = None) -> Any:
    return client.post(url, json.dumps(body or {}), content_type="application/json")


def test_the_room_holds_all_clips_of_a_request(
    coach: User, student: Student, client_for: ClientFor
) -> None:
    request = factories.make_request(student=student, angles=2)
    clips = [make_clip(student=student, angle=angle) for angle in request.angles.all()]
    page = client_for(coach).get(reverse("review:room", args=[clips[1].pk]))
    assert page.status_code == 200
    for clip in clips:
        assert f'data-clip="{clip.video_id}"' in page.text
    assert Review.objects.get().submissions.count() == 2
    client_for(coach).get(reverse("review:room", args=[clips[0].pk]))
    assert Review.objects.count() == 1


def test_queries_of_the_room_do_not_grow_with_figures(
    coach: User, clip: Submission, client_for: ClientFor, django_assert_max_num_queries: Any
) -> None:
    client = client_for(coach)
    client.get(reverse("review:room", args=[clip.pk]))
    with django_assert_max_num_queries(90):
        client.get(reverse("review:room", args=[clip.pk]))


PAGES = ["data", "figures", "still"]


@pytest.mark.parametrize("name", PAGES)
def test_a_clip_is_seen_by_its_student_and_coach_only(
    name: str,
    coach: User,
    student: Student,
    stranger: User,
    clip: Submission,
    client_for: ClientFor,
) -> None:
    url = reverse(f"review:{name}", args=[clip.video_id])
    url += "?event=top&rep=0" if name == "still" else ""
    assert client_for(coach).get(url).status_code == 200
    assert client_for(student.user).get(url).status_code == 200
    assert client_for(stranger).get(url).status_code == 404
    assert Client().get(url).status_code in (302, 401, 403)


def test_the_room_is_not_for_students_or_strangers(
    student: Student, stranger: User, clip: Submission, client_for: ClientFor
) -> None:
    url = reverse("review:room", args=[clip.pk])
    for user in (student.user, stranger):
        assert client_for(user).get(url).status_code == 404
    assert not Review.objects.exists()


def test_a_draft_is_read_by_its_studio_a_sent_review_by_its_student(
    coach: User, student: Student, stranger: User, review: Review, client_for: ClientFor
) -> None:
    url = reverse("review:read", args=[review.pk])
    assert client_for(student.user).get(url).status_code == 404
    assert client_for(coach).get(url).status_code == 200
    services.publish_review(review=review, by=coach)
    assert client_for(student.user).get(url).status_code == 200
    assert client_for(stranger).get(url).status_code == 404


def writes(review: Review, clip: Submission) -> list[tuple[str, dict[str, Any]]]:
    mark = services.add_mark(
        review=review, video=clip.video, key=uuid.uuid4(), start_s=0.5, shape="note"
    )
    walk = services.start_walk(review=review, video=clip.video)
    snippet = Snippet.objects.create(studio=review.student.studio, title="a", words="a")
    correction = services.correct(
        video=clip.video, time_s=0.51, target="event:address", value={}, by=None
    )
    return [
        (reverse("review:words", args=[review.pk]), {"words": "x", "revision": 0}),
        (
            reverse("review:add_mark", args=[review.pk]),
            {"video": clip.video_id, "key": str(uuid.uuid4()), "start_s": 0.5, "shape": "note"},
        ),
        (reverse("review:change_mark", args=[mark.pk]), {"revision": 0, "words": "y"}),
        (
            reverse("review:correct", args=[clip.video_id]),
            {"time_s": 0.52, "target": "event:address", "value": {}},
        ),
        (reverse("review:undo", args=[correction.pk]), {}),
        (reverse("review:start_walk", args=[review.pk]), {"video": clip.video_id}),
        (reverse("review:save_walk", args=[walk.pk]), {"events": [{"t": 0}], "duration_s": 1}),
        (reverse("review:captions", args=[walk.pk]), {"captions": "WEBVTT\n"}),
        (reverse("review:finish_walk", args=[walk.pk]), {}),
        (reverse("review:remove_walk", args=[walk.pk]), {}),
        (reverse("review:remove_mark", args=[mark.pk]), {}),
        (reverse("review:add_snippet", args=[review.student_id]), {"words": "say this"}),
        (reverse("review:remove_snippet", args=[snippet.pk]), {}),
    ]


def test_every_write_is_the_studios_alone(
    coach: User, student: Student, stranger: User, review: Review, clip: Submission,
    client_for: ClientFor,
) -> None:  # fmt: skip
    acts = writes(review, clip)
    for url, body in acts:
        for user in (student.user, stranger):
            assert post(client_for(user), url, body).status_code == 404, (url, user)
    for url, body in acts:
        answer = post(client_for(coach), url, body)
        assert answer.status_code in (200, 201, 204), (url, answer.text)


def test_an_assistant_prepares_but_does_not_send(
    coach: User, review: Review, client_for: ClientFor
) -> None:
    helper = factories.make_user()
    Membership.objects.create(user=helper, studio=review.student.studio, role="assistant")
    client = client_for(helper)
    words = reverse("review:words", args=[review.pk])
    assert post(client, words, {"words": "x", "revision": 0}).status_code == 200
    assert post(client, reverse("review:publish", args=[review.pk])).status_code == 404
    assert post(client_for(coach), reverse("review:publish", args=[review.pk])).status_code == 200


def test_a_second_window_gets_both_versions(
    coach: User, review: Review, client_for: ClientFor
) -> None:
    url = reverse("review:words", args=[review.pk])
    post(client_for(coach), url, {"words": "mine", "revision": 0})
    answer = post(client_for(coach), url, {"words": "other", "revision": 0})
    assert answer.status_code == 409
    assert (answer.json()["theirs"], answer.json()["yours"]) == ("mine", "other")
    clip = review.submissions.get()
    page = client_for(coach).get(reverse("review:room", args=[clip.pk]))
    assert "other" in page.text
    settle = reverse("review:settle", args=[answer.json()["version"]])
    assert post(client_for(coach), settle).status_code == 200


def test_a_correction_answers_with_figures_that_say_what_was_read_first(
    coach: User, clip: Submission, client_for: ClientFor
) -> None:
    url = reverse("review:correct", args=[clip.video_id])
    body = {"time_s": 1.3, "target": "event:top", "value": {"repetition": 0}}
    answer = post(client_for(coach), url, body)
    assert answer.status_code == 201
    assert "moved, was 1.20 s" in answer.json()["html"]
    assert "corrected, was 0.70 s" in answer.json()["html"]
    undone = post(client_for(coach), reverse("review:undo", args=[answer.json()["correction"]]))
    assert "corrected" not in undone.json()["html"]


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"time_s": "soon", "target": "shaft", "value": {}},
        {"time_s": 1, "target": "shaft", "value": 3},
    ],
)
def test_a_senseless_correction_is_a_400(
    body: dict[str, Any], coach: User, clip: Submission, client_for: ClientFor
) -> None:
    url = reverse("review:correct", args=[clip.video_id])
    assert post(client_for(coach), url, body).status_code == 400


def test_stills_of_moments_that_are_not_there_are_404(
    coach: User, clip: Submission, client_for: ClientFor
) -> None:
    client = client_for(coach)
    url = reverse("review:still", args=[clip.video_id])
    picture = client.get(url, {"event": "top", "rep": 0})
    assert picture["Content-Type"] == "image/jpeg" and picture.content[:2] == b"\xff\xd8"
    assert picture["Cache-Control"].startswith("private")
    for query in ({"event": "delivery"}, {"event": "top", "rep": 7}, {"rep": "x"}, {"time": "x"}):
        assert client.get(url, query).status_code == 404
    analysis_services.erase_media(video=clip.video)
    assert client.get(url, {"event": "top"}).status_code == 404


def test_an_erased_clip_leaves_the_room_standing(
    coach: User, clip: Submission, client_for: ClientFor
) -> None:
    analysis_services.erase_media(video=clip.video)
    client = client_for(coach)
    assert client.get(reverse("review:room", args=[clip.pk])).status_code == 200
    data = client.get(reverse("review:data", args=[clip.video_id])).json()
    assert (data["state"], data["url"]) == ("gone", "")
    assert data["repetitions"]


def test_a_clip_still_measured_says_so(
    coach: User, student: Student, client_for: ClientFor
) -> None:
    clip = factories.make_submission(student=student)
    clip.video.original.save("a.mov", ContentFile(b"x"))
    factories.make_run(video=clip.video, kind="check", status="running")
    client = client_for(coach)
    assert "as soon as" in client.get(reverse("review:room", args=[clip.pk])).text
    assert client.get(reverse("review:data", args=[clip.video_id])).json()["state"] == "measuring"


def test_comparing_tells_conditions_and_changes(
    coach: User, student: Student, stranger: User, clip: Submission, client_for: ClientFor
) -> None:
    angle = factories.make_angle(
        request=factories.make_request(student=student, angles=0), ball="foam", effort="tenth"
    )
    other = make_clip(student=student, angle=angle)
    services.correct(video=other.video, time_s=1.45, target="event:top", value={}, by=coach)
    url = f"{reverse('review:compare')}?a={clip.video_id}&b={other.video_id}"
    page = client_for(coach).get(url)
    assert "a foam ball" in page.text and "a tenth of full speed" in page.text
    assert "changed" in page.text and "no change that can be seen" in page.text
    assert client_for(student.user).get(url).status_code == 200
    assert client_for(stranger).get(url).status_code == 404
    theirs = make_clip(student=factories.make_student(coach=coach))
    assert (
        client_for(coach)
        .get(url.replace(f"b={other.video_id}", f"b={theirs.video_id}"))
        .status_code
        == 404
    )
    assert client_for(coach).get(reverse("review:compare")).status_code == 404


def test_the_sound_is_heard_by_whom_it_is_for(
    coach: User, student: Student, stranger: User, review: Review, clip: Submission,
    client_for: ClientFor,
) -> None:  # fmt: skip
    walk = services.start_walk(review=review, video=clip.video)
    services.finish_walk(walk=walk, sound=ContentFile(b"\x1aE\xdf\xa3sound", name="a.webm"))
    url = reverse("review:sound", args=[walk.pk])
    assert client_for(coach).get(url)["Content-Type"] == "audio/webm"
    assert client_for(student.user).get(url).status_code == 404  # not sent yet
    services.publish_review(review=review, by=coach)
    part = client_for(student.user).get(url, headers={"Range": "bytes=0-3"})
    assert part.status_code == 206
    assert client_for(stranger).get(url).status_code == 404


def test_habits_are_remembered(coach: User, client_for: ClientFor) -> None:
    url = reverse("review:preferences")
    assert post(client_for(coach), url, {"speed": 0.25}).status_code == 200
    assert post(client_for(coach), url, {"keys_on": False}).json()["keys_on"] is False
    coach.refresh_from_db()
    assert coach.preferences["review"] == {"speed": 0.25}
    assert coach.preferences["keys"] is False
    assert post(client_for(coach), url, {"speed": 9}).status_code == 400


def test_the_sent_review_shows_words_and_moments_without_script(
    student: Student, review: Review, clip: Submission, coach: User, client_for: ClientFor
) -> None:
    services.save_words(review=review, words="Turn more", revision=0, by=coach)
    services.add_mark(
        review=review, video=clip.video, key=uuid.uuid4(), start_s=1.2, shape="upright",
        purpose="seat_line", points=[[0.3, 0.5]], words="Stay on this line",
    )  # fmt: skip
    services.publish_review(review=review, by=coach)
    page = client_for(student.user).get(reverse("review:read", args=[review.pk])).text
    for words in ("Turn more", "Stay on this line", "Seat line", "time=1.200"):
        assert words in page
