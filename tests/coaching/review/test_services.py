"""Writes of the review room: drafts, marks, corrections, walk-throughs, sending."""

from __future__ import annotations

import io
import uuid
from typing import Any

import av
import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.core.management import call_command

from analysis import services as analysis_services
from coaching.intake.models import Submission
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.review import queries, services
from coaching.review.models import Mark, Review
from tests import factories
from tests.coaching.review.clips import make_clip, measure_film

pytestmark = pytest.mark.django_db


@pytest.fixture
def clip(student: Student) -> Submission:
    return make_clip(student=student)


@pytest.fixture
def review(clip: Submission, coach: User) -> Review:
    return services.open_draft(submissions=[clip], by=coach)


def figures(clip: Submission) -> dict[tuple[str, str], dict[str, Any]]:
    data = queries.player_data(queries.with_figures(clip.video_id))
    return {(m["id"], m["event"]): m for m in data["repetitions"][0]["measures"]}


def test_a_draft_is_opened_once(clip: Submission, coach: User, review: Review) -> None:
    assert services.open_draft(submissions=[clip], by=coach).pk == review.pk


def test_words_are_kept_by_revision_and_both_versions_survive_a_race(
    review: Review, coach: User
) -> None:
    assert services.save_words(review=review, words="first", revision=0, by=coach) == 1
    with pytest.raises(LessonError) as raised:
        services.save_words(review=review, words="late", revision=0, by=coach)
    assert raised.value.status == 409
    assert (raised.value.extra["theirs"], raised.value.extra["yours"]) == ("first", "late")
    assert review.versions.get().words == "late"
    review.refresh_from_db()
    assert review.words == "first"


def test_the_same_words_twice_are_no_race(review: Review, coach: User) -> None:
    services.save_words(review=review, words="same", revision=0, by=coach)
    assert services.save_words(review=review, words="same", revision=0, by=coach) == 1
    assert not review.versions.exists()


def line(**fields: Any) -> dict[str, Any]:
    return {"start_s": 0.5, "shape": "line", "points": [[0.1, 0.1], [0.2, 0.9]]} | fields


def test_a_mark_sent_twice_is_one(review: Review, clip: Submission) -> None:
    key = uuid.uuid4()
    marks = {services.add_mark(review=review, video=clip.video, key=key, **line()).pk for _ in "ab"}
    assert len(marks) == 1


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"points": [[0.1, 1.2]]}, "outside"),
        ({"points": [[0.1, float("nan")]]}, "outside"),
        ({"points": [[0.5, 0.5]] * 401, "shape": "free"}, "too_many_points"),
        ({"shape": "skull"}, "shape"),
        ({"start_s": 99.0}, "time"),
    ],
)
def test_a_mark_that_cannot_be_shown_is_refused(
    review: Review, clip: Submission, fields: dict[str, Any], code: str
) -> None:
    with pytest.raises(LessonError) as raised:
        services.add_mark(review=review, video=clip.video, key=uuid.uuid4(), **line(**fields))
    assert raised.value.code == code
    assert not Mark.objects.exists()


def test_a_mark_changed_in_two_windows_is_kept_twice(review: Review, clip: Submission) -> None:
    mark = services.add_mark(review=review, video=clip.video, key=uuid.uuid4(), **line())
    services.change_mark(mark=mark, revision=0, words="one")
    with pytest.raises(LessonError) as raised:
        services.change_mark(mark=mark, revision=0, words="two")
    assert raised.value.status == 409
    assert set(review.marks.values_list("words", flat=True)) == {"one", "two"}


def test_another_students_clip_takes_no_mark(review: Review) -> None:
    other = factories.make_submission()
    with pytest.raises(LessonError):
        services.add_mark(review=review, video=other.video, key=uuid.uuid4(), **line())


def test_a_moved_joint_changes_its_figures_marks_them_and_comes_back(
    clip: Submission, coach: User
) -> None:
    key = ("trunk_tilt_deg", "address")
    before = figures(clip)[key]["value"]
    hip = queries.player_data(clip.video)["curves"]["joints"]["hip_lead"][30]
    for joint in ("hip_lead", "hip_trail"):
        correction = services.correct(
            video=clip.video, time_s=0.5, target=f"joint:{joint}",
            value={"x": hip[0] - 0.05, "y": hip[1]}, by=coach,
        )  # fmt: skip
    after = figures(clip)[key]
    assert after["value"] > before + 3
    assert (after["source"], after["original"]) == ("corrected", before)
    for standing in clip.video.corrections.order_by("-pk"):
        services.undo_correction(correction=standing)
    back = figures(clip)[key]
    assert (back["value"], back["source"]) == (before, "measured")
    assert correction.undone_at is None  # the row stays as it was made; only the table knows


def test_a_moved_event_moves_what_is_read_there(clip: Submission, coach: User) -> None:
    services.correct(video=clip.video, time_s=1.3, target="event:top", value={}, by=coach)
    data = queries.player_data(queries.with_figures(clip.video_id))
    top = data["repetitions"][0]["events"]["top"]
    assert (top["time_s"], top["source"], top["original"]) == (1.3, "corrected", 1.2)
    assert figures(clip)["backswing_s", "top"]["value"] == pytest.approx(0.8)
    assert data["corrections"][0]["frame"] == 78


@pytest.mark.parametrize(
    ("target", "time_s", "value", "code"),
    [
        ("joint:hip_lead", 0.5, {"x": 1.5, "y": 0.5}, "outside"),
        ("joint:hip_lead", 0.5, {"x": "left", "y": 0.5}, "outside"),
        ("joint:hip_lead", 0.5, {}, "outside"),
        ("shaft", 0.5, {"grip": [0.5, 0.5]}, "outside"),
        ("event:top", 1.6, {}, "order"),
        ("event:top", 0.4, {}, "order"),
        ("event:top", 99.0, {}, "time"),
        ("event:lunch", 1.0, {}, "refused"),
        ("joint:tail", 1.0, {"x": 0.5, "y": 0.5}, "refused"),
    ],
)
def test_a_correction_that_cannot_be_is_refused_with_what_to_do(
    clip: Submission, coach: User, target: str, time_s: float, value: dict[str, Any], code: str
) -> None:
    before = figures(clip)
    with pytest.raises(LessonError) as raised:
        services.correct(video=clip.video, time_s=time_s, target=target, value=value, by=coach)
    assert raised.value.code == code
    assert not clip.video.corrections.exists()
    assert figures(clip) == before


def test_a_clip_erased_or_not_yet_measured_takes_no_correction(
    clip: Submission, coach: User, student: Student
) -> None:
    fresh = make_clip(student=student, measured=False)
    move = {"time_s": 0.5, "target": "event:address", "value": {}, "by": coach}
    with pytest.raises(LessonError) as raised:
        services.correct(video=fresh.video, **move)
    assert raised.value.code == "not_ready"
    analysis_services.erase_media(video=clip.video)
    with pytest.raises(LessonError) as raised:
        services.correct(video=clip.video, **move)
    assert (raised.value.code, raised.value.status) == ("gone", 410)


def test_a_left_handers_curves_lie_where_he_was_filmed(student: Student) -> None:
    right, left = make_clip(student=student), make_clip(student=student)
    left.video.handedness = "left"
    left.video.save()
    left.video.runs.all().delete()
    measure_film(left.video, handedness="left")
    x = [
        queries.player_data(queries.with_figures(c.video_id))["curves"]["joints"]["hip_lead"][0][0]
        for c in (right, left)
    ]
    assert x[0] + x[1] == pytest.approx(1)


def test_a_walk_through_keeps_what_was_done_and_refuses_twenty_minutes_more(
    review: Review, clip: Submission
) -> None:
    walk = services.start_walk(review=review, video=clip.video)
    events = [{"t": 0, "do": "frame", "frame": 3}, {"t": 1.5, "do": "play", "on": True}]
    services.save_walk(walk=walk, events=events, duration_s=2.0)
    with pytest.raises(LessonError) as raised:
        services.save_walk(walk=walk, events=events, duration_s=25 * 60)
    assert raised.value.status == 413
    with pytest.raises(LessonError):
        services.save_walk(walk=walk, events=events[::-1], duration_s=3.0)
    walk.refresh_from_db()
    assert walk.events == events


def spoken(seconds: float, *, cut: float = 1.0) -> bytes:
    """A tone as a browser records it, opus in WebM; `cut` keeps only a share of the bytes."""
    made = io.BytesIO()
    with av.open(made, "w", format="webm") as out:
        stream = out.add_stream("libopus", rate=48_000, layout="mono")
        t = np.arange(960)
        for block in range(int(seconds * 50)):
            tone = (0.3 * np.sin(2 * np.pi * 440 * (t + 960 * block) / 48_000)).astype(np.float32)
            frame = av.AudioFrame.from_ndarray(tone[None], format="flt", layout="mono")
            frame.sample_rate, frame.pts = 48_000, 960 * block
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    data = made.getvalue()
    return data[: int(len(data) * cut)]


@pytest.mark.parametrize(("cut", "least"), [(1.0, 2.9), (0.7, 1.5)])
def test_what_a_browser_recorded_becomes_one_format_even_when_it_broke_off(
    review: Review, clip: Submission, cut: float, least: float
) -> None:
    walk = services.start_walk(review=review, video=clip.video)
    services.finish_walk(walk=walk, sound=ContentFile(spoken(3.0, cut=cut), name="a.webm"))
    assert services.settle_walk_sound(walk.pk)
    walk.refresh_from_db()
    assert walk.sound.name.endswith(".m4a") and least < walk.duration_s < 3.2
    assert walk.sound.read()[4:8] == b"ftyp"
    assert not services.settle_walk_sound(walk.pk)  # a second delivery does nothing


def test_a_recording_without_sound_stays_as_it_is(review: Review, clip: Submission) -> None:
    walk = services.start_walk(review=review, video=clip.video)
    services.finish_walk(walk=walk, sound=ContentFile(b"no sound at all", name="a.webm"))
    assert not services.settle_walk_sound(walk.pk)
    walk.refresh_from_db()
    assert walk.sound.read() == b"no sound at all"


def test_sending_freezes_answers_and_tells(review: Review, clip: Submission, coach: User) -> None:
    services.save_words(review=review, words="Well done", revision=0, by=coach)
    review.refresh_from_db()
    services.publish_review(review=review, by=coach)
    clip.refresh_from_db()
    assert clip.answered_at is not None
    entry = Entry.objects.get(kind=Entry.Kind.REVIEWED)
    assert entry.refs == {"review": review.pk, "submissions": [clip.pk]}
    for act in (
        lambda: services.publish_review(review=review, by=coach),
        lambda: services.save_words(review=review, words="x", revision=1, by=coach),
        lambda: services.add_mark(review=review, video=clip.video, key=uuid.uuid4(), **line()),
        lambda: services.start_walk(review=review, video=clip.video),
    ):
        with pytest.raises(LessonError) as raised:
            act()
        assert (raised.value.status, raised.value.code) == (409, "published")
    assert Entry.objects.filter(kind=Entry.Kind.REVIEWED).count() == 1


def test_captions_hold_back_only_where_the_student_needs_them(
    review: Review, clip: Submission, coach: User
) -> None:
    walk = services.start_walk(review=review, video=clip.video)
    services.finish_walk(walk=walk, sound=ContentFile(b"sound", name="a.webm"))
    assert services.why_not_yet(review) == ""
    review.student.needs_captions = True
    with pytest.raises(LessonError) as raised:
        services.publish_review(review=review, by=coach)
    assert raised.value.code == "captions_needed"
    services.save_captions(walk=walk, captions="WEBVTT\n\n00:00.000 --> 00:02.000\nLook\n")
    services.publish_review(review=review, by=coach)


def test_wanted_lines_are_told_only_after_sending(
    review: Review, clip: Submission, coach: User, student: Student
) -> None:
    services.add_mark(
        review=review,
        video=clip.video,
        key=uuid.uuid4(),
        **line(purpose="shaft_wanted", wanted=True),
    )
    assert queries.wanted_marks(student) == []
    services.publish_review(review=review, by=coach)
    assert [m["purpose"] for m in queries.wanted_marks(student)] == ["shaft_wanted"]
    assert (
        queries.wanted_marks(student, review=services.open_draft(submissions=[clip], by=coach))
        == []
    )
    analysis_services.erase_media(video=clip.video)
    assert queries.wanted_marks(student) == []


def test_corrections_survive_a_new_measuring(clip: Submission, coach: User) -> None:
    services.correct(video=clip.video, time_s=1.3, target="event:top", value={}, by=coach)
    clip.video.runs.update(pipeline_version="before")
    measure_film(clip.video)
    analysis_services.refresh_figures(video=clip.video)
    assert figures(clip)["backswing_s", "top"]["source"] == "corrected"
    assert clip.video.runs.filter(kind="measure").count() == 2


def test_exported_corrections_name_nobody_and_leave_minors_out(
    clip: Submission, coach: User, student: Student, tmp_path: Any
) -> None:
    minor = factories.make_student(coach=coach, name="Kit Small", age_band=Student.AgeBand.MINOR)
    unknown = factories.make_student(coach=coach, name="No Age", age_band="")
    clips = [clip, make_clip(student=minor), make_clip(student=unknown)]
    for one in clips:
        services.correct(
            video=one.video, time_s=0.5, target="joint:head", value={"x": 0.5, "y": 0.2}, by=coach
        )
    path = tmp_path / "labels.jsonl"
    call_command("export_corrections", str(path))
    text = path.read_text()
    assert len(text.splitlines()) == 1
    assert '"target": "joint:head"' in text and '"read": {"x": 0.55, "y": 0.2}' in text
    for name in (student.name, coach.name, coach.email, student.email, clip.video.copy.name):
        assert name not in text
