"""Lesson films: what is in the file, who makes it, who sees it, and how it goes again."""

from __future__ import annotations

import io
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import av
import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from analysis import files, work
from analysis import services as analysis
from analysis.errors import TooHeavy
from analysis.models import LooseFile, Run
from coaching.intake.models import Submission
from coaching.intake.queries import stopped_run, with_runs
from coaching.people import audit
from coaching.people.errors import LessonError
from coaching.people.models import AuditEntry, Student, User
from coaching.people.queries import consents_missing
from coaching.people.services import joining
from coaching.people.services.consent import give_consents, withdraw_consents
from coaching.people.services.record import erase_record, export_record
from coaching.review.film import making
from coaching.review.models import FilmLink, LessonFilm, Mark, Review, WalkThrough
from coaching.review.queries import films as queries
from coaching.review.services import corrections, drafts, films, sending, walks
from tests import factories
from tests.coaching.review.clips import BITS, SIZE, make_clip, spoken

pytestmark = pytest.mark.django_db
LENGTH_S = 2.4
MARKED = 40  # the frame that a line is drawn on
# Frame 10 stands; from 0.5 s it plays at half speed; at 1.5 s frame 40 with its line is shown.
EVENTS: list[dict[str, Any]] = [
    {"t": 0, "do": "frame", "frame": 10},
    {"t": 0.5, "do": "speed", "value": 0.5},
    {"t": 0.5, "do": "play", "on": True, "frame": 10},
    {"t": 1.5, "do": "play", "on": False, "frame": MARKED},
]


def walked(
    student: Student, *, events: list[dict[str, Any]] | None = None, captions: str = ""
) -> WalkThrough:
    """A sent answer with a spoken walk-through over one clip, a line on frame 40."""
    clip = make_clip(student=student)
    coach = student.coach
    assert coach is not None
    review = drafts.open_draft(submissions=[clip], by=coach)
    key = uuid.uuid4()
    shown = [*EVENTS, {"t": 0.1, "do": "mark", "id": str(key)}]
    Mark.objects.create(
        review=review, key=key, video=clip.video, start_s=MARKED / 60, shape="upright",
        points=[[0.25, 0.5]],
    )  # fmt: skip
    walk = walks.start_walk(by=coach, review=review, video=clip.video)
    told = sorted(events or shown, key=lambda event: event["t"])
    walks.save_walk(by=coach, walk=walk, events=told, duration_s=LENGTH_S)
    walks.finish_walk(by=coach, walk=walk, sound=ContentFile(spoken(LENGTH_S), name="a.webm"))
    walks.save_captions(by=coach, walk=walk, captions=captions)
    sending.publish_review(review=Review.objects.get(pk=review.pk), by=coach)
    return WalkThrough.objects.get(pk=walk.pk)


def test_the_sound_waits_for_no_clip(
    student: Student,
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    told: list[tuple[int, str]] = []
    monkeypatch.setattr(
        "coaching.review.tasks.finalize_sound.apply_async",
        lambda args, retry, queue: told.append((args[0], queue)),
    )
    with django_capture_on_commit_callbacks(execute=True):
        walk = walked(student)
    assert told == [(walk.pk, "renders")]


def made(walk: WalkThrough, by: User) -> LessonFilm:
    film = films.ask_film(walk=walk, by=by)
    assert film.run is not None
    assert analysis.run(film.run.pk)
    film.run.refresh_from_db()
    assert (film.run.status, film.run.error_code) == (Run.Status.DONE, "")
    film.refresh_from_db()
    return film


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(making, "PIXELS", 480 * 640)


@pytest.fixture
def drawn(student: Student) -> LessonFilm:
    """A film made by the worker's own way."""
    assert student.user is not None
    return made(walked(student), student.user)


@pytest.fixture
def film(student: Student) -> LessonFilm:
    """A film whose file is a stand-in: for rights, links and erasing."""
    clip = factories.make_submission(student=student, video=factories.make_video(files=True))
    assert student.coach is not None
    review = drafts.open_draft(submissions=[clip], by=student.coach)
    walk = WalkThrough(review=review, video=clip.video, finished_at=timezone.now())
    walk.sound.save("a.m4a", ContentFile(b"sound"))
    walk.review = sending.publish_review(review=review, by=student.coach)
    film = LessonFilm(walk=walk, asked_of="", duration_s=2.4)
    film.file.save("a.mp4", ContentFile(b"film"))
    return film


def pictures(film: LessonFilm) -> list[np.ndarray]:
    with film.file.open("rb") as opened, av.open(io.BytesIO(opened.read())) as container:
        return [frame.to_ndarray(format="rgb24") for frame in container.decode(video=0)]


def number_in(picture: np.ndarray) -> int:
    """The frame's own number, written in blocks along its upper edge."""
    block = picture.shape[1] / BITS
    row = picture[round(block / 2)].mean(axis=1)
    return sum(1 << bit for bit in range(BITS) if row[round((bit + 0.5) * block)] > 128)


def has_line(picture: np.ndarray) -> bool:
    """Whether a dark line with a pale edge runs down at a quarter of the width."""
    across = picture[picture.shape[0] // 2 :, :].mean(axis=(0, 2))
    x = picture.shape[1] // 4
    return bool(across[x - 6 : x + 7].min() < 70 and across[x - 6 : x + 7].max() > 190)


# The file


def test_the_film_is_as_long_as_what_was_said_and_shows_it(drawn: LessonFilm) -> None:
    film = drawn
    walk = WalkThrough.objects.get(pk=film.walk_id)
    assert walk.duration_s == pytest.approx(LENGTH_S, abs=0.1)
    with film.file.open("rb") as opened, av.open(io.BytesIO(opened.read())) as container:
        video, sound = container.streams.video[0], container.streams.audio[0]
        assert (video.codec_context.name, sound.codec_context.name) == ("h264", "aac")
        assert video.format.name == "yuv420p"  # what phones play
        lengths = [float(s.duration * s.time_base) for s in (video, sound)]
        heard = sum(f.samples / f.sample_rate for f in container.decode(sound))
    assert lengths == pytest.approx([walk.duration_s] * 2, abs=0.05)
    assert heard == pytest.approx(walk.duration_s, abs=0.05)
    assert film.duration_s == pytest.approx(walk.duration_s, abs=0.05)
    seen = pictures(film)
    assert len(seen) == pytest.approx(30 * walk.duration_s, abs=1)
    numbers = [number_in(picture) for picture in seen]
    assert set(numbers[:15]) == {10}
    # A clip of 60 frames a second at half speed: each of its frames is one of the film's.
    assert numbers[16:44] == pytest.approx(list(range(11, 39)), abs=1)
    assert set(numbers[46:]) == {MARKED}
    assert [has_line(picture) for picture in (seen[5], seen[20], seen[50], seen[-1])] == [
        False, False, True, True,
    ]  # fmt: skip


def test_what_the_coach_came_close_to_fills_the_film(student: Student) -> None:
    """A window as wide as high, twice as close, its middle on the picture's own."""
    width, height = SIZE
    fit = [width / height, 1.0]
    view = {"scale": 2, "x": 0.5 - fit[0], "y": -0.5}
    assert student.user is not None
    walk = walked(student, events=[
        {"t": 0, "do": "frame", "frame": 10},
        {"t": 0, "do": "view", "value": view, "fit": fit},
    ])  # fmt: skip
    seen = pictures(made(walk, student.user))[0]
    assert seen.shape[0] == pytest.approx(seen.shape[1], abs=2)
    assert seen.mean() == pytest.approx(90, abs=4)  # grey all over: the blocks above are cut off


def test_a_comparison_shows_both_clips_as_they_lay(student: Student) -> None:
    """The top is frame 72 of the one and frame 60 of the other; both golfers are alike."""
    other = make_clip(student=student)
    assert student.user is not None and student.coach is not None
    corrections.correct(
        video=other.video, time_s=1.0, target="event:top", value={}, by=student.coach
    )
    walk = walked(student, events=[
        {"t": 0, "do": "frame", "frame": 72},
        {"t": 0, "do": "beside", "value": other.video_id, "how": "stretched"},
        {"t": 0.8, "do": "lie", "value": "wipe"}, {"t": 0.8, "do": "share", "value": 0.4},
        {"t": 1.6, "do": "beside", "value": None},
    ])  # fmt: skip
    seen = pictures(made(walk, student.user))
    side, wiped, alone = (seen[n] for n in (10, 36, 60))
    half = side.shape[1] // 2
    assert (number_in(side[:, :half]), number_in(side[:, half:])) == (60, 72)
    # Over each other they have the width of both, and the picture stands in its middle.
    wiped, alone = (whole[:, half // 2 : half // 2 + half] for whole in (wiped, alone))
    digits = number_in(wiped)
    assert digits == (60 & 0b111) | (72 & ~0b111)  # three digits of the other, then this one's
    assert number_in(alone) == 72


def test_captions_are_burned_in_at_their_time(student: Student) -> None:
    captions = "WEBVTT\n\n00:00:01.000 --> 00:00:02.000\nStay tall &amp; turn\n"
    assert student.user is not None
    seen = pictures(made(walked(student, captions=captions), student.user))
    foot = [picture[-36:, 240:].astype(int) for picture in (seen[10], seen[45], seen[70])]
    assert [part.max() > 220 and part.min() < 60 for part in foot] == [False, True, False]


def test_a_walk_of_odd_events_makes_a_film_all_the_same(student: Student) -> None:
    odd: list[dict[str, Any]] = [
        {"t": 0, "do": ["frame"]}, {"t": 0, "do": "frame", "frame": 1e9},
        {"t": 0.1, "do": "frame", "frame": -4}, {"t": 0.1, "do": "view", "value": {"scale": "x"}},
        {"t": 0.2, "do": "clip", "value": 10**9}, {"t": 0.3, "do": "beside", "value": 10**9},
        {"t": 0.4, "do": "loop", "value": [5]}, {"t": 0.4, "do": "figure", "value": {"id": 3}},
        {"t": 0.5, "do": "figure", "value": {"id": "x", "segments": [["hip_lead"], 4]}},
        {"t": 0.6, "do": "speed", "value": None}, {"t": 0.7, "do": "overlay", "id": {}, "on": 1},
        {"t": 0.8, "do": "repetition", "value": 99},
        {"t": 0.9, "do": "overlay", "id": "seat", "on": 1},
    ]  # fmt: skip
    assert student.user is not None
    assert made(walked(student, events=odd), student.user).file


# Making it


def test_a_film_is_made_once_and_anew_only_when_its_captions_changed(drawn: LessonFilm) -> None:
    film = drawn
    walk = film.walk
    user = walk.review.student.user
    assert films.ask_film(walk=walk, by=user).run_id == film.run_id
    assert queries.making_of(walk).state == "ready"
    first = film.file.name
    for captions in ("WEBVTT\n\n00:00.000 --> 00:01.000\nSo\n", ""):  # and back again
        walks.save_captions(by=walk.review.coach, walk=walk, captions=captions)
        assert queries.making_of(walk).stale
        again = made(walk, user)
        assert not queries.making_of(walk).stale and again.file.name != first
    assert LessonFilm.objects.count() == 1
    assert LooseFile.objects.filter(name=first).exists()  # goes with the transaction


def test_a_failure_is_seen_and_tried_again(
    student: Student, monkeypatch: pytest.MonkeyPatch, client: Client
) -> None:
    walk = walked(student)
    assert student.user is not None

    def breaks(*args: Any) -> Any:
        raise TooHeavy("too big")

    monkeypatch.setitem(work.WORK, Run.Kind.RENDER, breaks)
    film = films.ask_film(walk=walk, by=student.user)
    assert film.run is not None
    assert analysis.run(film.run.pk)
    client.force_login(student.user)
    page = client.get(reverse("review:film", args=[walk.pk])).content.decode()
    assert "needs more memory" in page and "Try again" in page
    clip = with_runs(Submission.objects.all()).get(video=walk.video)
    assert stopped_run(clip) is None  # the clip itself is as it was
    monkeypatch.setitem(work.WORK, Run.Kind.RENDER, films.render)
    assert client.post(reverse("review:make_film", args=[walk.pk])).status_code == 302
    assert analysis.run(film.run.pk)
    assert queries.making_of(walk).state == "ready"
    assert Run.objects.get(pk=film.run.pk).attempts == 1


def test_only_what_was_sent_can_be_filmed(student: Student, client: Client) -> None:
    walk = walked(student)
    Review.objects.filter(pk=walk.review_id).update(published_at=None)
    walk.refresh_from_db()
    coach = student.coach
    assert coach is not None
    with pytest.raises(LessonError) as raised:
        films.ask_film(walk=WalkThrough.objects.get(pk=walk.pk), by=coach)
    assert raised.value.status == 409
    client.force_login(coach)
    assert client.get(reverse("review:film", args=[walk.pk])).status_code == 404


def test_both_sides_may_make_and_download_it_and_a_look_is_written_down(film: LessonFilm) -> None:
    walk = film.walk
    for user, looks in ((walk.review.student.user, 0), (walk.review.coach, 1)):
        client = Client()
        client.force_login(user)
        answer = client.get(reverse("review:film_file", args=[walk.pk]), {"download": "1"})
        assert answer["Content-Disposition"].startswith("attachment")
        assert b"".join(answer.streaming_content) == film.file.read()  # type: ignore[attr-defined]
        film.file.seek(0)
        assert audit.of_student(walk.review.student).filter(act="saw_film").count() == looks


# Links


def link_of(film: LessonFilm, **more: Any) -> FilmLink:
    user = film.walk.review.student.user
    return films.make_link(film=film, by=user, days=7, **more)


def watched(link: FilmLink, name: str = "watch_file") -> Any:
    return Client().get(reverse(f"review:{name}", args=[link.token]))


def test_whoever_has_the_link_can_watch_until_it_ends(film: LessonFilm) -> None:
    student = film.walk.review.student
    link = link_of(film, label="  Uncle   Ben ")
    assert link.label == "Uncle Ben"
    page, played = watched(link, "watch"), watched(link)
    for answer in (page, played):
        assert answer.status_code == 200
        assert "noindex" in answer["X-Robots-Tag"] and "no-store" in answer["Cache-Control"]
        assert answer["Referrer-Policy"] == "same-origin"
    text = page.content.decode()
    assert student.name not in text and student.studio.name not in text
    assert "Uncle Ben" not in text
    list(played.streaming_content)
    list(watched(link).streaming_content)  # seeking is the same look
    (listed,) = queries.links_of(film)
    assert listed.is_open and listed.looks == 1
    assert audit.of_student(student).filter(act=AuditEntry.Act.SAW_BY_LINK, by=None).count() == 1
    films.end_link(link=link, by=student.user)
    assert [watched(link, name).status_code for name in ("watch", "watch_file")] == [404, 404]
    assert not queries.links_of(film)[0].is_open


def test_a_link_ends_by_itself_with_its_day(film: LessonFilm) -> None:
    link = link_of(film)
    days = (timezone.localdate(link.expires_at) - timezone.localdate()).days
    assert days == 7
    FilmLink.objects.filter(pk=link.pk).update(expires_at=timezone.now() - timedelta(seconds=1))
    assert watched(link).status_code == 404
    assert watched(link, "watch").status_code == 404


def test_only_the_students_side_makes_and_ends_links(film: LessonFilm, client: Client) -> None:
    walk, link = film.walk, link_of(film)
    client.force_login(walk.review.coach)
    data = {"days": "7"}
    assert client.post(reverse("review:make_link", args=[walk.pk]), data).status_code == 404
    assert client.post(reverse("review:end_link", args=[link.pk])).status_code == 404
    assert link.token not in client.get(reverse("review:film", args=[walk.pk])).content.decode()
    assert watched(link).status_code == 200


def test_of_a_minor_the_guardian_makes_the_link(film: LessonFilm, client: Client) -> None:
    student = film.walk.review.student
    Student.objects.filter(pk=student.pk).update(age_band=Student.AgeBand.MINOR)
    guardian = factories.make_guardian(student=student)
    student.consents.update(given_by=guardian)
    assert student.user is not None
    address = reverse("review:make_link", args=[film.walk_id])
    client.force_login(student.user)
    answer = client.post(address, {"days": "7", "label": "Granny"})
    assert answer.status_code == 403 and "Your guardian decides" in answer.content.decode()
    client.force_login(guardian)
    assert client.post(address, {"days": "7"}).status_code == 302
    link = FilmLink.objects.get()
    client.force_login(student.user)  # may end what shows them
    assert client.post(reverse("review:end_link", args=[link.pk])).status_code == 302
    assert watched(link).status_code == 404


def of_age(student: Student, guardian: User) -> None:
    """The guardian says so, the student agrees anew."""
    joining.describe_student(
        student=Student.objects.get(pk=student.pk), by=guardian, age_band=Student.AgeBand.ADULT
    )
    now = Student.objects.get(pk=student.pk)
    assert now.user is not None
    give_consents(student=now, by=now.user, purposes=["store", "share_coach"])
    assert not consents_missing(now)


def test_a_guardians_link_ends_for_good_when_the_student_comes_of_age(film: LessonFilm) -> None:
    student = film.walk.review.student
    Student.objects.filter(pk=student.pk).update(age_band=Student.AgeBand.MINOR)
    guardian = factories.make_guardian(student=student)
    student.consents.update(given_by=guardian)
    link = films.make_link(film=LessonFilm.objects.get(pk=film.pk), by=guardian, days=7)
    assert watched(link).status_code == 200
    of_age(student, guardian)
    assert [watched(link, name).status_code for name in ("watch", "watch_file")] == [404, 404]
    assert not queries.links_of(film)[0].is_open
    ended = audit.of_student(student).filter(act=AuditEntry.Act.LINKED, facts__ended=True)
    assert ended.count() == 1


def test_a_link_shows_nothing_that_who_made_it_may_not_show(film: LessonFilm) -> None:
    """As of links made before they were ended with the right."""
    student, link = film.walk.review.student, link_of(film)
    assert watched(link).status_code == 200
    for maker in (factories.make_guardian(student=student), None):
        FilmLink.objects.update(made_by=maker)
        assert watched(link).status_code == 404


@pytest.mark.parametrize("days", ["", "8", "-7", "1e3", "99999999999999999999"])
def test_another_length_is_refused_and_what_was_typed_stays(
    film: LessonFilm, client: Client, days: str
) -> None:
    client.force_login(film.walk.review.student.user)
    address = reverse("review:make_link", args=[film.walk_id])
    answer = client.post(address, {"days": days, "label": "Uncle"})
    assert answer.status_code == 400 and 'value="Uncle"' in answer.content.decode()
    assert not FilmLink.objects.exists()


def test_a_form_sent_twice_makes_one_link_and_there_is_an_end(film: LessonFilm) -> None:
    assert link_of(film, label="a") == link_of(film, label="a")
    for n in range(films.MOST_LINKS - 1):
        link_of(film, label=f"b{n}")
    with pytest.raises(LessonError):
        link_of(film, label="c")


def test_asked_for_too_often_it_waits(film: LessonFilm, monkeypatch: pytest.MonkeyPatch) -> None:
    link = link_of(film)
    monkeypatch.setattr("coaching.people.secret_links.LIMITS", {"page": "2/m/ip", "file": "2/m/ip"})
    for name in ("watch", "watch_file"):
        told = [watched(link, name).status_code for _ in range(3)]
        assert told == [200, 200, 429]


# How it goes


def strays() -> set[str]:
    """Films that nothing names; those of other tests lie there too."""
    found = files.orphans(before=timezone.now() + timedelta(hours=1))
    return {name for name in found if name.startswith("lesson/")}


def stored(film: LessonFilm) -> bool:
    return default_storage.exists(film.file.name)


@pytest.mark.django_db(transaction=True)
def test_withdrawing_takes_film_and_links_along(film: LessonFilm) -> None:
    student, link = film.walk.review.student, link_of(film)
    assert stored(film)
    withdraw_consents(student=student, by=student.user)
    assert not LessonFilm.objects.exists() and not stored(film)
    assert watched(link).status_code == 404


def test_void_consent_shows_nothing_until_it_is_given_again(film: LessonFilm) -> None:
    student, link = film.walk.review.student, link_of(film)
    student.consents.update(withdrawn_at=timezone.now())
    assert watched(link).status_code == 404
    client = Client()
    client.force_login(student.coach)
    assert client.get(reverse("review:film_file", args=[film.walk_id])).status_code == 404
    factories.make_consents(student, given_by=student.user)
    assert watched(link).status_code == 200


@pytest.mark.django_db(transaction=True)
def test_the_record_holds_it_and_is_erased_with_it(film: LessonFilm) -> None:
    student, link = film.walk.review.student, link_of(film)
    zipped = b"".join(export_record(student, by=student.user))
    assert film.file.name.encode() in zipped and link.token.encode() not in zipped
    assert not list(files.missing())
    erase_record(student=student, by=student.user)
    assert not stored(film) and not FilmLink.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_an_answer_taken_back_takes_its_film_back(film: LessonFilm) -> None:
    review = Review.objects.get(pk=film.walk.review_id)
    link = link_of(film)
    sending.take_back_review(review=review, by=review.coach)  # type: ignore[arg-type]
    assert not LessonFilm.objects.exists() and not stored(film)
    assert watched(link).status_code == 404


@pytest.mark.django_db(transaction=True)
def test_a_film_that_was_erased_while_it_was_drawn_is_not_kept(
    student: Student, monkeypatch: pytest.MonkeyPatch
) -> None:
    walk, before = walked(student), strays()
    assert student.user is not None
    film = films.ask_film(walk=walk, by=student.user)
    whole = films.render

    def slow(row: Run, progress: Any) -> Any:
        outcome = whole(row, progress)
        films.erase_films(student=student)
        return outcome

    monkeypatch.setitem(work.WORK, Run.Kind.RENDER, slow)
    assert film.run is not None
    analysis.run(film.run.pk)
    assert Run.objects.get(pk=film.run.pk).error_code == "erased"
    assert strays() == before
