"""Writes of the review room: drafts, marks, corrections, walk-throughs, sending."""

from __future__ import annotations

import uuid
from fractions import Fraction
from typing import Any

import av
import pytest
from django.core.files.base import ContentFile
from django.core.management import call_command
from django.urls import reverse

from analysis import services as analysis_services
from analysis.files import local_path
from coaching.intake.models import Submission
from coaching.lessons.models import Entry
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.review.models import Mark, Review, WalkThrough
from coaching.review.queries import answers, marked, player
from coaching.review.services import corrections, drafts, habits, sending
from coaching.review.services import marks as marks_services
from coaching.review.services import walks as walks_services
from coaching.review.sound import length_of
from tests import factories
from tests.coaching.review.clips import make_clip, measure_film, spoken

pytestmark = pytest.mark.django_db


@pytest.fixture
def clip(student: Student) -> Submission:
    return make_clip(student=student)


@pytest.fixture
def review(clip: Submission, coach: User) -> Review:
    return drafts.open_draft(submissions=[clip], by=coach)


def figures(clip: Submission) -> dict[tuple[str, str], dict[str, Any]]:
    data = player.player_data(player.with_figures(clip.video_id))
    return {(m["id"], m["event"]): m for m in data["repetitions"][0]["measures"]}


def test_a_draft_is_opened_once(clip: Submission, coach: User, review: Review) -> None:
    assert drafts.open_draft(submissions=[clip], by=coach).pk == review.pk


def test_words_are_kept_by_revision_and_both_versions_survive_a_race(
    review: Review, coach: User
) -> None:
    assert drafts.save_words(review=review, text="first", revision=0, by=coach) == 1
    with pytest.raises(LessonError) as raised:
        drafts.save_words(review=review, text="late", revision=0, by=coach)
    assert raised.value.status == 409
    assert (raised.value.extra["theirs"], raised.value.extra["yours"]) == ("first", "late")
    assert review.versions.get().text == "late"
    review.refresh_from_db()
    assert review.text == "first"


def test_the_same_words_twice_are_no_race(review: Review, coach: User) -> None:
    drafts.save_words(review=review, text="same", revision=0, by=coach)
    assert drafts.save_words(review=review, text="same", revision=0, by=coach) == 1
    assert not review.versions.exists()


def line(**fields: Any) -> dict[str, Any]:
    return {"start_s": 0.5, "shape": "line", "points": [[0.1, 0.1], [0.2, 0.9]]} | fields


def test_a_mark_sent_twice_is_one(review: Review, clip: Submission) -> None:
    key = uuid.uuid4()
    marks = {
        marks_services.add_mark(
            by=review.student.coach, review=review, video=clip.video, key=key, **line()
        ).pk
        for _ in "ab"
    }
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
        marks_services.add_mark(
            by=review.student.coach,
            review=review,
            video=clip.video,
            key=uuid.uuid4(),
            **line(**fields),
        )
    assert raised.value.code == code
    assert not Mark.objects.exists()


def test_a_mark_changed_in_two_windows_is_kept_twice(review: Review, clip: Submission) -> None:
    mark = marks_services.add_mark(
        by=review.student.coach, review=review, video=clip.video, key=uuid.uuid4(), **line()
    )
    marks_services.change_mark(by=mark.review.student.coach, mark=mark, revision=0, text="one")
    with pytest.raises(LessonError) as raised:
        marks_services.change_mark(by=mark.review.student.coach, mark=mark, revision=0, text="two")
    assert raised.value.status == 409
    assert set(review.marks.values_list("text", flat=True)) == {"one", "two"}


def test_another_students_clip_takes_no_mark(review: Review) -> None:
    other = factories.make_submission()
    with pytest.raises(LessonError):
        marks_services.add_mark(
            by=review.student.coach, review=review, video=other.video, key=uuid.uuid4(), **line()
        )


def test_a_moved_joint_changes_its_figures_marks_them_and_comes_back(
    clip: Submission, coach: User
) -> None:
    key = ("trunk_tilt_deg", "address")
    before = figures(clip)[key]["value"]
    hip = player.player_data(clip.video)["curves"]["joints"]["hip_lead"][30]
    for joint in ("hip_lead", "hip_trail"):
        correction = corrections.correct(
            video=clip.video, time_s=0.5, target=f"joint:{joint}",
            value={"x": hip[0] - 0.05, "y": hip[1]}, by=coach,
        )  # fmt: skip
    after = figures(clip)[key]
    assert after["value"] > before + 3
    assert (after["source"], after["original"]) == ("corrected", before)
    for standing in clip.video.corrections.order_by("-pk"):
        corrections.undo_correction(correction=standing, by=coach)
    back = figures(clip)[key]
    assert (back["value"], back["source"]) == (before, "measured")
    assert correction.undone_at is None  # the row stays as it was made; only the table knows


def test_a_moved_event_moves_what_is_read_there(clip: Submission, coach: User) -> None:
    corrections.correct(video=clip.video, time_s=1.3, target="event:top", value={}, by=coach)
    data = player.player_data(player.with_figures(clip.video_id))
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
        corrections.correct(video=clip.video, time_s=time_s, target=target, value=value, by=coach)
    assert raised.value.code == code
    assert not clip.video.corrections.exists()
    assert figures(clip) == before


def test_a_clip_erased_or_not_yet_measured_takes_no_correction(
    clip: Submission, coach: User, student: Student
) -> None:
    fresh = make_clip(student=student, measured=False)
    move = {"time_s": 0.5, "target": "event:address", "value": {}, "by": coach}
    with pytest.raises(LessonError) as raised:
        corrections.correct(video=fresh.video, **move)
    assert raised.value.code == "not_ready"
    analysis_services.erase_media(video=clip.video)
    with pytest.raises(LessonError) as raised:
        corrections.correct(video=clip.video, **move)
    assert (raised.value.code, raised.value.status) == ("gone", 410)


def test_a_left_handers_curves_lie_where_he_was_filmed(student: Student) -> None:
    right, left = make_clip(student=student), make_clip(student=student)
    left.video.handedness = "left"
    left.video.save()
    left.video.runs.all().delete()
    measure_film(left.video, handedness="left")
    x = [
        player.player_data(player.with_figures(c.video_id))["curves"]["joints"]["hip_lead"][0][0]
        for c in (right, left)
    ]
    assert x[0] + x[1] == pytest.approx(1)


def test_a_walk_through_keeps_what_was_done_and_refuses_twenty_minutes_more(
    review: Review, clip: Submission
) -> None:
    walk = walks_services.start_walk(by=review.student.coach, review=review, video=clip.video)
    events = [{"t": 0, "do": "frame", "frame": 3}, {"t": 1.5, "do": "play", "on": True}]
    walks_services.save_walk(by=walk.review.student.coach, walk=walk, events=events, duration_s=2.0)
    with pytest.raises(LessonError) as raised:
        walks_services.save_walk(
            by=walk.review.student.coach, walk=walk, events=events, duration_s=25 * 60
        )
    assert raised.value.status == 413
    with pytest.raises(LessonError):
        walks_services.save_walk(
            by=walk.review.student.coach, walk=walk, events=events[::-1], duration_s=3.0
        )
    walk.refresh_from_db()
    assert walk.events == events


def heard_s(stored: Any) -> float:
    """How long a stored sound is, by the stamps of its packets and by what is decoded from it.

    Not by what the row or its own header says: a file once claimed 48 times its length.
    """
    with local_path(stored) as path, av.open(str(path)) as container:
        stream = container.streams.audio[0]
        packets = [p for p in container.demux(stream) if p.pts is not None]
        stamped = float((packets[-1].pts + packets[-1].duration) * stream.time_base)
        header = float(stream.duration * stream.time_base)
        container.seek(0)
        decoded = sum(f.samples / f.sample_rate for f in container.decode(audio=0))
    assert stamped == pytest.approx(decoded, abs=0.1)
    assert header == pytest.approx(decoded, abs=0.1)
    return decoded


# Opus in WebM as most browsers record it, AAC in MP4 as Safari does, and plain waves.
@pytest.mark.parametrize(
    ("form", "codec", "rate", "layout"),
    [
        ("webm", "libopus", 48_000, "mono"),
        ("mp4", "aac", 44_100, "stereo"),
        ("wav", "pcm_s16le", 16_000, "mono"),
    ],
)
def test_a_converted_sound_is_as_long_as_what_was_spoken(
    review: Review, clip: Submission, coach: User, form: str, codec: str, rate: int, layout: str
) -> None:
    sound = spoken(1.5, form=form, codec=codec, rate=rate, layout=layout)
    walk = walks_services.start_walk(by=coach, review=review, video=clip.video)
    walks_services.finish_walk(by=coach, walk=walk, sound=ContentFile(sound, name=f"a.{form}"))
    assert walks_services.finalize_walk_sound(walk.pk)
    walk.refresh_from_db()
    assert heard_s(walk.sound) == pytest.approx(1.5, abs=0.1)
    assert walk.duration_s == pytest.approx(1.5, abs=0.1)


def test_a_sound_of_another_length_is_never_kept(
    review: Review, clip: Submission, coach: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stamped on a clock 48 times too slow, as it was once: what was recorded stays."""
    monkeypatch.setattr("coaching.review.sound.Fraction", lambda _one, rate: Fraction(48, rate))
    said = spoken(1.5)
    walk = walks_services.start_walk(by=coach, review=review, video=clip.video)
    walks_services.finish_walk(by=coach, walk=walk, sound=ContentFile(said, name="a.webm"))
    with pytest.raises(RuntimeError, match="were read"):
        walks_services.finalize_walk_sound(walk.pk)
    walk.refresh_from_db()
    assert walk.sound.read() == said


@pytest.mark.parametrize(("cut", "least"), [(1.0, 2.9), (0.7, 1.5)])
def test_what_a_browser_recorded_becomes_one_format_even_when_it_broke_off(
    review: Review, clip: Submission, cut: float, least: float
) -> None:
    walk = walks_services.start_walk(by=review.student.coach, review=review, video=clip.video)
    walks_services.finish_walk(
        by=walk.review.student.coach,
        walk=walk,
        sound=ContentFile(spoken(3.0, cut=cut), name="a.webm"),
    )
    assert walks_services.finalize_walk_sound(walk.pk)
    walk.refresh_from_db()
    assert walk.sound.name.endswith(".m4a") and least < walk.duration_s < 3.2
    assert heard_s(walk.sound) == pytest.approx(walk.duration_s, abs=0.1)
    assert walk.sound.read()[4:8] == b"ftyp"
    assert not walks_services.finalize_walk_sound(walk.pk)  # a second delivery does nothing


def test_a_recording_without_sound_stays_as_it_is(review: Review, clip: Submission) -> None:
    walk = walks_services.start_walk(by=review.student.coach, review=review, video=clip.video)
    walks_services.finish_walk(
        by=walk.review.student.coach,
        walk=walk,
        sound=ContentFile(b"no sound at all", name="a.webm"),
    )
    assert not walks_services.finalize_walk_sound(walk.pk)
    walk.refresh_from_db()
    assert walk.sound.read() == b"no sound at all"


def test_sending_freezes_answers_and_tells(review: Review, clip: Submission, coach: User) -> None:
    drafts.save_words(review=review, text="Well done", revision=0, by=coach)
    review.refresh_from_db()
    sending.publish_review(review=review, by=coach)
    clip.refresh_from_db()
    assert clip.answered_at is not None
    entry = Entry.objects.get(kind=Entry.Kind.REVIEWED)
    assert entry.refs == {"review": review.pk, "submissions": [clip.pk]}
    for act in (
        lambda: sending.publish_review(review=review, by=coach),
        lambda: drafts.save_words(review=review, text="x", revision=1, by=coach),
        lambda: marks_services.add_mark(
            by=review.student.coach, review=review, video=clip.video, key=uuid.uuid4(), **line()
        ),
        lambda: walks_services.start_walk(by=review.student.coach, review=review, video=clip.video),
    ):
        with pytest.raises(LessonError) as raised:
            act()
        assert (raised.value.status, raised.value.code) == (409, "published")
    assert Entry.objects.filter(kind=Entry.Kind.REVIEWED).count() == 1


def test_captions_hold_back_only_where_the_student_needs_them(
    review: Review, clip: Submission, coach: User
) -> None:
    walk = walks_services.start_walk(by=review.student.coach, review=review, video=clip.video)
    walks_services.finish_walk(
        by=walk.review.student.coach, walk=walk, sound=ContentFile(b"sound", name="a.webm")
    )
    assert sending.why_not_yet(review) == ""
    review.student.needs_captions = True
    with pytest.raises(LessonError) as raised:
        sending.publish_review(review=review, by=coach)
    assert raised.value.code == "captions_needed"
    walks_services.save_captions(
        by=walk.review.student.coach,
        walk=walk,
        captions="WEBVTT\n\n00:00.000 --> 00:02.000\nLook\n",
    )
    sending.publish_review(review=review, by=coach)


def test_wanted_lines_are_told_only_after_sending(
    review: Review, clip: Submission, coach: User, student: Student
) -> None:
    marks_services.add_mark(
        by=review.student.coach,
        review=review,
        video=clip.video,
        key=uuid.uuid4(),
        **line(purpose="shaft_wanted", wanted=True),
    )
    assert marked.wanted_marks(student) == []
    sending.publish_review(review=review, by=coach)
    assert [m["purpose"] for m in marked.wanted_marks(student)] == ["shaft_wanted"]
    assert (
        marked.wanted_marks(student, review=drafts.open_draft(submissions=[clip], by=coach)) == []
    )
    analysis_services.erase_media(video=clip.video)
    assert marked.wanted_marks(student) == []


def test_corrections_survive_a_new_measuring(clip: Submission, coach: User) -> None:
    corrections.correct(video=clip.video, time_s=1.3, target="event:top", value={}, by=coach)
    clip.video.runs.update(pipeline_version="before")
    measure_film(clip.video)
    corrections.correct(
        video=clip.video, time_s=0.5, target="joint:head", value={"x": 0.5, "y": 0.2}, by=coach
    )
    assert figures(clip)["backswing_s", "top"]["source"] == "corrected"
    assert clip.video.runs.filter(kind="measure").count() == 2


def test_exported_corrections_name_nobody_and_leave_minors_out(
    clip: Submission, coach: User, student: Student, tmp_path: Any
) -> None:
    minor = factories.make_student(coach=coach, name="Kit Small", age_band=Student.AgeBand.MINOR)
    unknown = factories.make_student(coach=coach, name="No Age", age_band="")
    clips = [clip, make_clip(student=minor), make_clip(student=unknown)]
    for one in clips:
        corrections.correct(
            video=one.video, time_s=0.5, target="joint:head", value={"x": 0.5, "y": 0.2}, by=coach
        )
    path = tmp_path / "labels.jsonl"
    call_command("export_corrections", str(path))
    text = path.read_text()
    assert len(text.splitlines()) == 1
    assert '"target": "joint:head"' in text and '"read": {"x": 0.55, "y": 0.2}' in text
    for name in (student.name, coach.name, coach.email, student.email, clip.video.copy.name):
        assert name not in text


@pytest.mark.django_db(transaction=True)
def test_the_worker_hears_of_a_sound_that_is_saved(
    coach: User, student: Student, monkeypatch: pytest.MonkeyPatch
) -> None:
    clip = factories.make_submission(student=student)
    review = drafts.open_draft(submissions=[clip], by=coach)
    walk = walks_services.start_walk(by=review.student.coach, review=review, video=clip.video)
    heard: list[str] = []
    monkeypatch.setattr(
        walks_services,
        "_notify_worker",
        lambda pk: heard.append(str(WalkThrough.objects.get(pk=pk).sound.name)),
    )
    walks_services.finish_walk(
        by=walk.review.student.coach, walk=walk, sound=ContentFile(b"x", name="a.webm")
    )
    assert heard and heard[0].endswith(".webm")


def test_a_sound_that_the_queue_forgot_is_turned_by_the_sweep(
    coach: User, student: Student
) -> None:
    walks = []
    for sound in (b"no sound at all", spoken(1.0)):
        clip = factories.make_submission(student=student)
        review = drafts.open_draft(submissions=[clip], by=coach)
        walk = walks_services.start_walk(by=review.student.coach, review=review, video=clip.video)
        walks_services.finish_walk(
            by=walk.review.student.coach, walk=walk, sound=ContentFile(sound, name="a.webm")
        )
        walks.append(walk)
    walks_services.settle_forgotten_sounds()
    walks[1].refresh_from_db()
    assert walks[1].sound.name.endswith(".m4a")
    with local_path(walks[1].sound) as path:  # the file itself, not what the row says
        assert length_of(path) == pytest.approx(1.0, abs=0.25)


def test_a_saved_sentence_names_whoever_it_is_offered_for(student: Student, coach: User) -> None:
    other = factories.make_student(coach=coach, name="Kit Lowe")
    habits.add_snippet(
        by=None,
        studio=student.studio,
        title="",
        text="Well done, Sam. Sam Reed turns.",
    )
    (offered,) = answers.snippets(coach, other)
    assert offered.text == "Well done, Kit. Kit turns."
    assert "Sam" not in offered.title
    assert answers.snippets(coach, student)[0].text == "Well done, Sam. Sam turns."


def test_a_kept_sentence_offers_nobody_anothers_name(coach: User, client_for: Any) -> None:
    """Kept in the room of one, about a second, and read by a third: by every way in."""
    studio = coach.memberships.get().studio
    names = ["Sam Reed", "Kit Lowe", "Ada Moss"]
    students = [factories.make_student(studio=studio, coach=coach, name=name) for name in names]
    client = client_for(coach)
    words = "Sam, watch Kit Lowe; Ada’s hips."
    room = reverse("review:add_snippet", args=[students[0].pk])
    kept = client.post(
        room, {"title": "Sam and Kit", "text": words}, content_type="application/json"
    )
    assert kept.status_code == 201, kept.content
    client.post(reverse("review:sentences", args=[studio.pk]), {"title": "Kit", "text": words})
    habits.add_snippet(by=None, studio=studio, title="Ada", text=words + " Well done, Sam Reed.")
    for student in students:
        others = {part for name in names if name != student.name for part in name.split()}
        offered = answers.snippets(coach, student)
        assert len(offered) == 3
        for sentence in offered:
            said = f"{sentence.title} {sentence.text}"
            assert not [part for part in others if part in said], (student.name, said)
            assert student.name.split()[0] in said
