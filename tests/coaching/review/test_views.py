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
from django.utils import timezone

from analysis import services as analysis_services
from analysis.models import Measurement, Video
from coaching import kept
from coaching.diagnosis.services import findings
from coaching.intake.models import Submission
from coaching.people.models import Membership, Student, User
from coaching.people.services.consent import withdraw_consents
from coaching.practice.services import assigning, library
from coaching.review import stills
from coaching.review.models import Review, Snippet
from coaching.review.queries import answers, curves
from coaching.review.services import corrections, drafts, marks, sending, walks
from tests import factories
from tests.coaching.review.clips import make_clip

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]


@pytest.fixture
def clip(student: Student) -> Submission:
    return make_clip(student=student)


@pytest.fixture
def review(clip: Submission, coach: User) -> Review:
    return drafts.open_draft(submissions=[clip], by=coach)


@pytest.fixture
def sent(review: Review, coach: User) -> Review:
    drafts.save_words(review=review, text="Turn more", revision=0, by=coach)
    return sending.publish_review(review=review, by=coach)


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
    assert not Review.objects.exists()  # looking begins nothing


MOST_QUERIES = 30  # of the room's page: what one part has read the others are handed


def test_the_room_reads_each_thing_once(
    coach: User, student: Student, client_for: ClientFor, django_assert_max_num_queries: Any
) -> None:
    request = factories.make_request(student=student, angles=2)
    clips = [make_clip(student=student, angle=angle) for angle in request.angles.all()]
    client, room = client_for(coach), reverse("review:room", args=[clips[0].pk])
    client.get(room)
    with django_assert_max_num_queries(MOST_QUERIES):
        assert client.get(room).status_code == 200
    review = drafts.open_draft(submissions=clips, by=coach)
    figure = Measurement.objects.filter(run__video=clips[0].video, value__isnull=False)[0]
    cause = findings.add_finding(
        review=review, by=coach, kind="cause", text="You stand far away", measurement=figure
    )
    findings.add_finding(
        review=review, by=coach, kind="compensation", text="You lean", because=[cause]
    )
    library.load_starter_library(by=None, studio=student.studio)
    for drill in student.studio.drills.order_by("pk")[:3]:
        assigning.assign_drill(
            review=review, by=coach, drill=drill, finding=cause, override_reason="Now"
        )
    with django_assert_max_num_queries(MOST_QUERIES):
        assert client.get(room).status_code == 200


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
    sending.publish_review(review=review, by=coach)
    assert client_for(student.user).get(url).status_code == 200
    assert client_for(stranger).get(url).status_code == 404


def writes(review: Review, clip: Submission) -> list[tuple[str, dict[str, Any]]]:
    mark = marks.add_mark(
        by=review.student.coach,
        review=review,
        video=clip.video,
        key=uuid.uuid4(),
        start_s=0.5,
        shape="note",
    )
    walk = walks.start_walk(by=review.student.coach, review=review, video=clip.video)
    snippet = Snippet.objects.create(studio=review.student.studio, title="a", text="a")
    correction = corrections.correct(
        video=clip.video, time_s=0.51, target="event:address", value={}, by=review.student.coach
    )
    return [
        (reverse("review:text", args=[review.pk]), {"text": "x", "revision": 0}),
        (
            reverse("review:add_mark", args=[review.pk]),
            {"video": clip.video_id, "key": str(uuid.uuid4()), "start_s": 0.5, "shape": "note"},
        ),
        (reverse("review:change_mark", args=[mark.pk]), {"revision": 0, "text": "y"}),
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
        (reverse("review:add_snippet", args=[review.student_id]), {"text": "say this"}),
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
    text = reverse("review:text", args=[review.pk])
    assert post(client, text, {"text": "x", "revision": 0}).status_code == 200
    assert post(client, reverse("review:send", args=[review.pk])).status_code == 404
    assert post(client_for(coach), reverse("review:send", args=[review.pk])).status_code == 302


def test_a_second_window_gets_both_versions(
    coach: User, review: Review, client_for: ClientFor
) -> None:
    url = reverse("review:text", args=[review.pk])
    post(client_for(coach), url, {"text": "mine", "revision": 0})
    answer = post(client_for(coach), url, {"text": "other", "revision": 0})
    assert answer.status_code == 409
    assert (answer.json()["theirs"], answer.json()["yours"]) == ("mine", "other")
    clip = review.submissions.get()
    page = client_for(coach).get(reverse("review:room", args=[clip.pk]))
    assert "other" in page.text
    resolve = reverse("review:resolve", args=[answer.json()["version"]])
    assert post(client_for(coach), resolve).status_code == 200


def test_a_correction_answers_with_figures_that_say_what_was_read_first(
    coach: User, clip: Submission, client_for: ClientFor
) -> None:
    url = reverse("review:correct", args=[clip.video_id])
    body = {"time_s": 1.3, "target": "event:top", "value": {"repetition": 0}}
    answer = post(client_for(coach), url, body)
    assert answer.status_code == 201
    assert "moved, was 1.20 s" in answer.json()["html"]
    assert "corrected, was 0.70 s" in answer.json()["html"]
    page = client_for(coach).get(reverse("review:figures", args=[clip.video_id])).text
    assert 'class="drawn"' in page and 'class="drawn"' not in answer.json()["html"]  # sent once
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


def test_stills_cut_to_the_golfer_read_the_archive_once(
    coach: User, clip: Submission, client_for: ClientFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[int] = []
    real = curves.archive

    def archive(run: Any) -> Any:
        read.append(run.pk)
        return real(run)

    monkeypatch.setattr(curves, "archive", archive)
    client, url = client_for(coach), reverse("review:still", args=[clip.video_id])
    for event in ("address", "top", "impact"):
        picture = client.get(url, {"event": event, "rep": 0, "size": "still"})
        assert picture.status_code == 200 and picture.content[:2] == b"\xff\xd8"
    assert len(read) == 1
    box = stills.golfer_box(clip.video, 1.0)
    assert box is not None and 0 <= box[0] < box[2] <= 1 and 0 <= box[1] < box[3] <= 1
    assert len(read) == 1


def kept_of(clip: Submission) -> list[str]:
    return [key for key in kept.cache._cache if f":clip-{clip.video_id}-" in key]


@pytest.mark.django_db(transaction=True)
def test_what_is_kept_of_a_clip_goes_with_it(
    coach: User, student: Student, client_for: ClientFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    clip, other = make_clip(student=student), make_clip(student=factories.make_student(coach=coach))
    client = client_for(coach)
    kept.cache.clear()

    def look(at: Submission) -> int:
        url = reverse("review:still", args=[at.video_id])
        return client.get(url, {"event": "top", "rep": 0, "size": "still"}).status_code

    assert (look(clip), look(other)) == (200, 200)
    assert len(kept_of(clip)) == 2  # the picture, and where the golfer stands
    assert student.user is not None
    withdraw_consents(student=student, by=student.user)
    assert kept_of(clip) == [] and len(kept_of(other)) == 2
    assert look(clip) == 404

    real = stills._cut

    def erased_meanwhile(video: Video, time_s: float, size: str) -> Any:
        picture = real(video, time_s, size)
        analysis_services.erase_media(video=other.video)
        return picture

    kept.cache.clear()
    monkeypatch.setattr(stills, "_cut", erased_meanwhile)
    look(other)
    assert kept_of(other) == []


@pytest.mark.django_db(transaction=True)
def test_a_kept_still_is_not_shown_once_consent_is_void(
    coach: User, clip: Submission, client_for: ClientFor
) -> None:
    client, url = client_for(coach), reverse("review:still", args=[clip.video_id])
    assert client.get(url, {"event": "top", "rep": 0}).status_code == 200
    clip.student.consents.update(withdrawn_at=timezone.now())
    assert client.get(url, {"event": "top", "rep": 0}).status_code == 404


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
    corrections.correct(video=other.video, time_s=1.45, target="event:top", value={}, by=coach)
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
    walk = walks.start_walk(by=review.student.coach, review=review, video=clip.video)
    walks.finish_walk(
        by=walk.review.student.coach,
        walk=walk,
        sound=ContentFile(b"\x1aE\xdf\xa3sound", name="a.webm"),
    )
    url = reverse("review:sound", args=[walk.pk])
    assert client_for(coach).get(url)["Content-Type"] == "audio/webm"
    assert client_for(student.user).get(url).status_code == 404  # not sent yet
    sending.publish_review(review=review, by=coach)
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
    drafts.save_words(review=review, text="Turn more", revision=0, by=coach)
    marks.add_mark(
        by=review.student.coach, review=review, video=clip.video, key=uuid.uuid4(),
        start_s=1.2, shape="upright",
        purpose="seat_line", points=[[0.3, 0.5]], text="Stay on this line",
    )  # fmt: skip
    sending.publish_review(review=review, by=coach)
    page = client_for(student.user).get(reverse("review:read", args=[review.pk])).text
    for text in ("Turn more", "Stay on this line", "Seat line", "time=1.200"):
        assert text in page


# A clip that was sent back.


def test_a_refused_clip_opens_what_can_be_done_about_it(
    coach: User, student: Student, client_for: ClientFor
) -> None:
    clip = factories.make_submission(student=student, video=factories.make_video(files=True))
    factories.make_checked(clip, reject="body_cut")
    client = client_for(coach)
    room = reverse("review:room", args=[clip.pk])
    page = client.get(room)
    assert page.status_code == 200
    assert "Part of you is outside the picture." in page.text
    assert "I can use your clip as it is." in page.text  # one press is enough
    for address in (
        reverse("intake:media", args=[clip.video_id, "still"]),
        reverse("review:use_refused", args=[clip.pk]),
        reverse("intake:ask", args=[student.pk]),
        reverse("thread", args=[student.pk]),
    ):
        assert address in page.text
    use = reverse("review:use_refused", args=[clip.pk])
    assert client.post(use, {"text": " "}).status_code == 400
    assert client.post(use, {"text": "I see enough."}).status_code == 302
    clip.refresh_from_db()
    assert clip.overridden_at is not None
    assert clip.video.runs.filter(kind="copy").exists()
    assert "review-room" in client.get(room).text


def test_a_file_without_a_film_can_only_be_asked_for_again(
    coach: User, student: Student, client_for: ClientFor
) -> None:
    clip = factories.make_submission(student=student)
    factories.make_run(video=clip.video, kind="check", status="failed", error_code="unreadable")
    page = client_for(coach).get(reverse("review:room", args=[clip.pk])).text
    assert reverse("review:use_refused", args=[clip.pk]) not in page
    assert reverse("intake:ask", args=[student.pk]) in page


def test_only_staff_use_a_refused_clip(
    student: Student, stranger: User, client_for: ClientFor
) -> None:
    clip = factories.make_submission(student=student)
    factories.make_checked(clip, reject="body_cut")
    for user in (student.user, stranger):
        address = reverse("review:use_refused", args=[clip.pk])
        assert client_for(user).post(address, {"text": "x"}).status_code == 404


def test_a_sibling_that_was_sent_back_is_not_answered_with_the_others(
    coach: User, student: Student
) -> None:
    request = factories.make_request(student=student, angles=2)
    good, bad = [
        factories.make_submission(student=student, angle=angle) for angle in request.angles.all()
    ]
    factories.make_measured(good, {})
    factories.make_checked(bad, reject="body_cut")
    assert answers.clips_to_answer(good) == [good]
